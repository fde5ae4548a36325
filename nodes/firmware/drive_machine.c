/* What the drive does: the exported state table carried out. Whom it obeys, and why, is decided in drive_orders.c and drive.c.
 *
 * Which state follows on which is nowhere but in busim_drive_table: an event without a row there changes nothing.
 */

#include "drive.h"

bool drive_has_row(const drive *self, uint8_t event)
{
    return busim_row_of(&busim_drive_table, self->state, event) != NULL;
}

bool drive_at_rest(const drive *self)
{
    return self->state == BUSIM_DRIVE_IS_UNCLAIMED || self->state == BUSIM_DRIVE_IS_NEUTRAL ||
           self->state == BUSIM_DRIVE_IS_DWELLING || self->state == BUSIM_DRIVE_IS_FORCED_NEUTRAL;
}

void drive_stop_engine(drive *self, node_actions *actions)
{
    if (self->me->has_engine_stop && !self->engine_stop) {
        self->engine_stop = true;
        node_output(actions, DRIVE_OUT_ENGINE_STOP, 1);
    }
}

/* How long the shift actuator may take: half again its time, and 200 ms. */
static int64_t shift_allowance_ns(const drive *self)
{
    return ((int64_t)self->me->shift_ms * 3 / 2 + 200) * NODE_MS;
}

/* Outputs of the state it has come to. Idle first, where it goes idle; no state but engaged gives throttle. */
static void enter(drive *self, int64_t now_ns, node_actions *actions)
{
    const uint8_t state = self->state;
    const bool goes_idle = state == BUSIM_DRIVE_IS_SLOWING || state == BUSIM_DRIVE_IS_FORCED_IDLE;
    self->shift_due_ns = NODE_NEVER;
    if (state == BUSIM_DRIVE_IS_ENGAGED) {
        return;
    }
    if (state == BUSIM_DRIVE_IS_ENGAGING) {
        self->last_gear = self->asked_gear;
        self->out_due_ns = NODE_NEVER;
        self->shift_due_ns = now_ns + shift_allowance_ns(self);
        node_output(actions, DRIVE_OUT_SHIFT, self->asked_gear);
        return;
    }
    if (self->asked_throttle_permille != 0u || goes_idle) {
        self->asked_throttle_permille = 0u;
        node_output(actions, DRIVE_OUT_THROTTLE, 0);
    }
    if (goes_idle || state == BUSIM_DRIVE_IS_HELD_IDLE) {
        return;
    }
    self->asked_gear = BUSIM_GEAR_NEUTRAL;
    node_output(actions, DRIVE_OUT_SHIFT, BUSIM_GEAR_NEUTRAL);
    if (state == BUSIM_DRIVE_IS_DISENGAGING || state == BUSIM_DRIVE_IS_FORCED_DISENGAGING) {
        if (self->out_due_ns == NODE_NEVER) {
            self->out_due_ns = now_ns + shift_allowance_ns(self);
        }
        self->shift_due_ns = self->out_due_ns;
    }
    if (state == BUSIM_DRIVE_IS_FORCED_DISENGAGING && !drive_throttle_at_stop(&self->senses)) {
        drive_stop_engine(self, actions);
    }
}

void drive_event(drive *self, int64_t now_ns, uint8_t event, node_actions *actions)
{
    const busim_row *row = busim_row_of(&busim_drive_table, self->state, event);
    if (row == NULL) {
        return;
    }
    if (self->state != BUSIM_DRIVE_IS_SLOWING) {
        self->idle_since_ns = now_ns; /* in slowing idle was commanded already, and its wait goes on */
    }
    self->state = row->next_state;
    self->last_row = row->number;
    self->untold = true;
    node_row(actions, row->number, self->cause);
    enter(self, now_ns, actions);
    drive_set_deadline(self, now_ns);
}

/* The policy to stay engaged is for a helm that is lost, not for somebody's wish for neutral, nor for a stuck actuator. */
static bool helm_is_lost(uint8_t cause)
{
    return cause == BUSIM_CAUSE_LEVER_LOST || cause == BUSIM_CAUSE_HEARTBEAT_LOST || cause == BUSIM_CAUSE_OTHER_BOAT_FILE ||
           cause == BUSIM_CAUSE_LEVER_FAULT || cause == BUSIM_CAUSE_CONTROLLER;
}

static void obey_nobody(drive *self, uint8_t cause)
{
    self->obeyed = 0u;
    self->obeyed_place = DRIVE_NO_PLACE;
    self->lever_id = DRIVE_NO_ID;
    self->cause = cause;
    self->may_hold = self->me->on_loss == BUSIM_ON_LOSS_IDLE && helm_is_lost(cause);
}

/* At idle already, and the gear not in yet: it must not go in while idle is waited for. */
static void turn_back(drive *self, int64_t now_ns, node_actions *actions)
{
    self->asked_gear = BUSIM_GEAR_NEUTRAL;
    self->out_due_ns = now_ns + shift_allowance_ns(self);
    node_output(actions, DRIVE_OUT_SHIFT, BUSIM_GEAR_NEUTRAL);
}

static bool holds_on(const drive *self)
{
    return self->may_hold && self->asked_gear != BUSIM_GEAR_NEUTRAL && drive_sensed_gear(&self->senses) == self->asked_gear;
}

#define NOTHING_SEEN 0xFFu
#define OUT_LATE 0xFEu /* no event of the table: the gear should have been out by now */

static uint8_t seen_waking(const drive *self, int64_t now_ns)
{
    if (!drive_all_seen(&self->senses)) {
        return now_ns >= self->wake_until_ns ? BUSIM_DRIVE_ON_FOUND_OFF_NEUTRAL : NOTHING_SEEN;
    }
    if (drive_sensed_gear(&self->senses) == BUSIM_GEAR_NEUTRAL && drive_throttle_at_stop(&self->senses)) {
        return BUSIM_DRIVE_ON_FOUND_NEUTRAL;
    }
    return BUSIM_DRIVE_ON_FOUND_OFF_NEUTRAL;
}

static uint8_t seen_going_idle(const drive *self, int64_t now_ns)
{
    const bool forced = self->state == BUSIM_DRIVE_IS_FORCED_IDLE;
    const bool runs_away = self->doubts.doubt == BUSIM_DRIVE_FAULT_THROTTLE_FEEDBACK_IMPLAUSIBLE;
    const bool waited = now_ns - self->idle_since_ns >= self->me->idle_wait_ms * NODE_MS || (forced && runs_away);
    const bool slow = self->senses.rpm >= 0 && self->senses.rpm < self->me->shift_rpm;
    if (drive_throttle_at_stop(&self->senses) && (slow || waited)) {
        return forced && holds_on(self) ? BUSIM_DRIVE_ON_HELD : BUSIM_DRIVE_ON_AT_IDLE;
    }
    return waited ? BUSIM_DRIVE_ON_IDLE_WAIT_OVER : NOTHING_SEEN;
}

static uint8_t seen(const drive *self, int64_t now_ns)
{
    switch (self->state) {
    case BUSIM_DRIVE_IS_WAKING:
        return seen_waking(self, now_ns);
    case BUSIM_DRIVE_IS_SLOWING:
    case BUSIM_DRIVE_IS_FORCED_IDLE:
        return seen_going_idle(self, now_ns);
    case BUSIM_DRIVE_IS_ENGAGING:
        if (drive_sensed_gear(&self->senses) == self->asked_gear) {
            return BUSIM_DRIVE_ON_GEAR_IN;
        }
        return now_ns >= self->shift_due_ns ? BUSIM_DRIVE_ON_STUCK : NOTHING_SEEN;
    case BUSIM_DRIVE_IS_DISENGAGING:
    case BUSIM_DRIVE_IS_FORCED_DISENGAGING:
        if (drive_sensed_gear(&self->senses) == BUSIM_GEAR_NEUTRAL) {
            return BUSIM_DRIVE_ON_GEAR_OUT;
        }
        if (now_ns < self->shift_due_ns) {
            return NOTHING_SEEN;
        }
        return self->state == BUSIM_DRIVE_IS_DISENGAGING ? BUSIM_DRIVE_ON_STUCK : OUT_LATE;
    case BUSIM_DRIVE_IS_DWELLING:
        return now_ns >= self->dwell_until_ns ? BUSIM_DRIVE_ON_DWELL_OVER : NOTHING_SEEN;
    default:
        return NOTHING_SEEN;
    }
}

static void note_fault(drive *self, uint8_t fault)
{
    if (self->fault == BUSIM_DRIVE_FAULT_NONE) {
        self->fault = fault;
    }
}

/* What goes with something seen, before its row is taken. */
static void prepare(drive *self, int64_t now_ns, uint8_t event, node_actions *actions)
{
    switch (event) {
    case BUSIM_DRIVE_ON_STUCK:
        note_fault(self, BUSIM_DRIVE_FAULT_SHIFT_DOES_NOT_ARRIVE);
        self->out_due_ns = NODE_NEVER; /* its engine is stopped only once it has had that time again */
        obey_nobody(self, BUSIM_CAUSE_ACTUATOR);
        if (self->state == BUSIM_DRIVE_IS_ENGAGING) {
            turn_back(self, now_ns, actions);
        }
        break;
    case BUSIM_DRIVE_ON_IDLE_WAIT_OVER:
        if (self->state == BUSIM_DRIVE_IS_SLOWING) {
            note_fault(self, BUSIM_DRIVE_FAULT_THROTTLE_DOES_NOT_ARRIVE);
            obey_nobody(self, BUSIM_CAUSE_ACTUATOR);
        }
        break;
    case BUSIM_DRIVE_ON_FOUND_OFF_NEUTRAL:
        self->cause = BUSIM_CAUSE_WOKE_OFF_NEUTRAL;
        break;
    case BUSIM_DRIVE_ON_FOUND_NEUTRAL:
    case BUSIM_DRIVE_ON_GEAR_OUT:
        self->member.working = true;
        self->out_due_ns = NODE_NEVER;
        self->dwell_until_ns = now_ns + self->me->dwell_ms * NODE_MS;
        break;
    default:
        break;
    }
}

void drive_look(drive *self, int64_t now_ns, node_actions *actions)
{
    uint8_t round;
    for (round = 0u; round < 4u; round++) { /* a state may follow on another at once */
        const uint8_t event = seen(self, now_ns);
        if (event == NOTHING_SEEN) {
            return;
        }
        if (event == OUT_LATE) {
            note_fault(self, BUSIM_DRIVE_FAULT_SHIFT_DOES_NOT_ARRIVE);
            self->shift_due_ns = NODE_NEVER;
            self->out_due_ns = NODE_NEVER;
            drive_stop_engine(self, actions);
            continue;
        }
        prepare(self, now_ns, event, actions);
        drive_event(self, now_ns, event, actions);
    }
}

void drive_lose(drive *self, int64_t now_ns, uint8_t cause, node_actions *actions)
{
    const bool engaging = self->state == BUSIM_DRIVE_IS_ENGAGING;
    if (!drive_has_row(self, BUSIM_DRIVE_ON_LOST)) { /* lost already: a wish for neutral counts all the same */
        self->may_hold = self->may_hold && helm_is_lost(cause);
        return;
    }
    obey_nobody(self, cause);
    drive_event(self, now_ns, BUSIM_DRIVE_ON_LOST, actions);
    if (engaging) {
        turn_back(self, now_ns, actions);
    }
    drive_look(self, now_ns, actions);
}
