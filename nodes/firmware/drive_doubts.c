/* Where a drive's sensors contradict each other, its commands, or what machinery can do: found here, acted on in drive.c.
 * The page, under "What a drive doubts". Seen at each of the drive's inputs and deadlines.
 */

#include "drive.h"

#define STANDS_NS (200 * NODE_MS) /* switch and feedback are read at different moments, and a switch has play */
#define NEUTRAL_WITHIN_PERMILLE 100
#define CERTAINLY_OUT_OF_NEUTRAL_PERMILLE 500
#define STILL_IN_GEAR_PERMILLE 750
#define BELOW_STOP_PERMILLE 30
#define ABOVE_FULL_PERMILLE 1030
#define APART_PERMILLE 100 /* a throttle further from where it was told to be has to be on its way */
#define AWAY_PERMILLE 30
#define PROGRESS_NS (500 * NODE_MS)
#define RACING_NS (2 * NODE_SECOND)
#define RUNNING_ON_NS (5 * NODE_SECOND)

void drive_doubts_start(drive_doubts *doubts)
{
    doubts->doubt = BUSIM_DRIVE_FAULT_NONE;
    doubts->throttle = BUSIM_DRIVE_FAULT_NONE;
    doubts->side = 0;
    doubts->from_permille = 0;
    doubts->from_ns = 0;
    doubts->disagree_since_ns = NODE_NEVER;
    doubts->astray_since_ns = NODE_NEVER;
    doubts->out_since_ns = NODE_NEVER;
    doubts->racing_since_ns = NODE_NEVER;
    doubts->running_on_since_ns = NODE_NEVER;
}

/* Feedback neutral, and the independent switch still open. */
static bool not_out(const drive_senses *senses)
{
    return senses->neutral_switch == BUSIM_SWITCH_OPEN && senses->shift_permille >= -NEUTRAL_WITHIN_PERMILLE &&
           senses->shift_permille <= NEUTRAL_WITHIN_PERMILLE;
}

static bool disagree(const drive_senses *senses)
{
    const int32_t at = senses->shift_permille;
    if (at == DRIVE_UNSEEN) {
        return false;
    }
    if (senses->neutral_switch == BUSIM_SWITCH_CLOSED) {
        return at <= -CERTAINLY_OUT_OF_NEUTRAL_PERMILLE || at >= CERTAINLY_OUT_OF_NEUTRAL_PERMILLE;
    }
    return not_out(senses);
}

/* Has the shift left the gear it was told to be in, or neutral? */
static bool astray(const drive *self)
{
    if (self->state == BUSIM_DRIVE_IS_ENGAGED) {
        const int64_t at = self->senses.shift_permille;
        return (self->asked_gear == BUSIM_GEAR_AHEAD ? at : -at) < STILL_IN_GEAR_PERMILLE;
    }
    return drive_at_rest(self) && drive_sensed_gear(&self->senses) != BUSIM_GEAR_NEUTRAL;
}

static bool out_of_range(const drive_senses *senses)
{
    const int32_t at = senses->throttle_permille;
    return at != DRIVE_UNSEEN && (at < -BELOW_STOP_PERMILLE || at > ABOVE_FULL_PERMILLE);
}

static bool races(const drive *self)
{
    return self->senses.rpm > self->me->shift_rpm * 3 / 2 && self->asked_throttle_permille == 0u &&
           drive_throttle_at_stop(&self->senses) && drive_sensed_gear(&self->senses) == BUSIM_GEAR_NEUTRAL;
}

static bool runs_on(const drive *self)
{
    return self->engine_stop && self->senses.rpm > self->me->shift_rpm / 2;
}

static void follow_throttle(drive_doubts *doubts, int64_t now_ns, const drive *self)
{
    const int32_t at = self->senses.throttle_permille;
    const int64_t apart = (int64_t)self->asked_throttle_permille - at;
    const int64_t looked_ns = now_ns - doubts->from_ns;
    int8_t side = 0;
    int64_t came;
    if (at != DRIVE_UNSEEN && (apart > APART_PERMILLE || apart < -APART_PERMILLE)) {
        side = apart > 0 ? 1 : -1;
    }
    if (side != doubts->side) {
        doubts->side = side;
        doubts->from_ns = now_ns;
        doubts->from_permille = at;
        doubts->throttle = BUSIM_DRIVE_FAULT_NONE;
        return;
    }
    if (side == 0 || looked_ns < PROGRESS_NS) {
        return;
    }
    came = ((int64_t)at - doubts->from_permille) * side;
    /* Half as far as its actuator goes in that time: 1000 permille in throttle_ms. */
    if (came * 2 * self->me->throttle_ms * (NODE_MS / 1000) >= looked_ns) {
        doubts->throttle = BUSIM_DRIVE_FAULT_NONE;
    } else if (doubts->throttle == BUSIM_DRIVE_FAULT_NONE) {
        doubts->throttle = came < -AWAY_PERMILLE ? BUSIM_DRIVE_FAULT_THROTTLE_FEEDBACK_IMPLAUSIBLE
                                                 : BUSIM_DRIVE_FAULT_THROTTLE_DOES_NOT_ARRIVE;
    }
    doubts->from_ns = now_ns;
    doubts->from_permille = at;
}

/* Has this stood for so long? */
static bool stands(int64_t *since_ns, int64_t now_ns, bool holds, int64_t for_ns)
{
    if (!holds) {
        *since_ns = NODE_NEVER;
    } else if (*since_ns > now_ns) {
        *since_ns = now_ns;
    }
    return holds && now_ns - *since_ns >= for_ns;
}

void drive_doubts_look(drive_doubts *doubts, int64_t now_ns, const drive *self)
{
    const bool disagrees = stands(&doubts->disagree_since_ns, now_ns, disagree(&self->senses), STANDS_NS);
    const bool strays = stands(&doubts->astray_since_ns, now_ns, astray(self), STANDS_NS);
    const bool out = stands(&doubts->out_since_ns, now_ns, out_of_range(&self->senses), STANDS_NS);
    const bool racing = stands(&doubts->racing_since_ns, now_ns, races(self), RACING_NS);
    const bool running_on = stands(&doubts->running_on_since_ns, now_ns, runs_on(self), RUNNING_ON_NS);
    follow_throttle(doubts, now_ns, self);
    if (disagrees) {
        doubts->doubt = BUSIM_DRIVE_FAULT_SHIFT_FEEDBACK_AND_SWITCH_DISAGREE;
    } else if (strays) {
        doubts->doubt = BUSIM_DRIVE_FAULT_SHIFT_DOES_NOT_ARRIVE;
    } else if (out) {
        doubts->doubt = BUSIM_DRIVE_FAULT_THROTTLE_FEEDBACK_IMPLAUSIBLE;
    } else if (doubts->throttle != BUSIM_DRIVE_FAULT_NONE) {
        doubts->doubt = doubts->throttle;
    } else {
        doubts->doubt = racing || running_on ? BUSIM_DRIVE_FAULT_RPM_UNLIKE_COMMAND : BUSIM_DRIVE_FAULT_NONE;
    }
}

bool drive_doubts_ask_stop(const drive_doubts *doubts, const drive *self)
{
    switch (doubts->doubt) {
    case BUSIM_DRIVE_FAULT_SHIFT_FEEDBACK_AND_SWITCH_DISAGREE:
        return not_out(&self->senses); /* the actuator has been where it was sent, and the gear is not out */
    case BUSIM_DRIVE_FAULT_SHIFT_DOES_NOT_ARRIVE:
        return self->state == BUSIM_DRIVE_IS_FORCED_NEUTRAL; /* coming out it has its time; it was out, and goes in by itself */
    case BUSIM_DRIVE_FAULT_RPM_UNLIKE_COMMAND:
        return true;
    default:
        return (self->fault == BUSIM_DRIVE_FAULT_THROTTLE_DOES_NOT_ARRIVE ||
                self->fault == BUSIM_DRIVE_FAULT_THROTTLE_FEEDBACK_IMPLAUSIBLE) &&
               self->senses.rpm > self->me->shift_rpm;
    }
}
