/* The drive's calls of the seam, and its deadlines: see drive.h. */

#include "drive.h"

#define SENSOR_WAIT_NS (200 * NODE_MS) /* after a start: by then every sensor was read */
#define FAR_OUT 1000000

static drive the_drive;

/* ---------------------------------------------------------------------------------- when it wants to be called */

/* While a station is obeyed, what it must not stay silent for. */
static int64_t control_due_ns(const drive *self, int64_t now_ns)
{
    const drive_station *station = &self->stations[self->obeyed_place];
    int64_t due_ns = drive_other_due_ns(self, now_ns);
#ifndef BROKEN_NO_TIMEOUT
    due_ns = node_earlier(due_ns, self->lever_ns + node_timeout_ns(BUSIM_BOAT_TIMING_CONTROL_TIMEOUT_MS));
#endif
    return node_earlier(due_ns, station->heartbeat.heard_ns + node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS));
}

void drive_set_deadline(drive *self, int64_t now_ns)
{
    int64_t due_ns = node_earlier(self->report_due_ns, self->member.beat_due_ns);
    due_ns = node_earlier(due_ns, self->member.identity_due_ns);
    due_ns = node_earlier(due_ns, self->shift_due_ns);
    due_ns = node_earlier(due_ns, self->permission_due_ns);
    if (self->obeyed != 0u) {
        due_ns = node_earlier(due_ns, control_due_ns(self, now_ns));
    }
    if (self->state == BUSIM_DRIVE_IS_ENGAGED) {
        if (self->steering.fitted && (int32_t)self->asked_throttle_permille > self->steering.cap_permille) {
            due_ns = node_earlier(due_ns, drive_cap_due_ns(&self->steering));
        }
    } else if (self->state == BUSIM_DRIVE_IS_WAKING) {
        due_ns = node_earlier(due_ns, self->wake_until_ns);
    } else if (self->state == BUSIM_DRIVE_IS_DWELLING) {
        due_ns = node_earlier(due_ns, self->dwell_until_ns);
    } else if (self->state == BUSIM_DRIVE_IS_SLOWING || self->state == BUSIM_DRIVE_IS_FORCED_IDLE) {
        const int64_t idle_due_ns = self->idle_since_ns + self->me->idle_wait_ms * NODE_MS;
        if (idle_due_ns > now_ns) {
            due_ns = node_earlier(due_ns, idle_due_ns);
        }
    }
    self->deadline_ns = due_ns;
}

/* ---------------------------------------------------------------------------------- what every call does */

void drive_told(drive *self, node_actions *actions)
{
    if (self->untold) {
        drive_tell_obeys(self, actions);
    }
    drive_follow_permission(self, actions);
}

void drive_limit(drive *self, int64_t now_ns, node_actions *actions)
{
    uint16_t most;
    if (!self->steering.fitted || self->state != BUSIM_DRIVE_IS_ENGAGED ||
        (int32_t)self->asked_throttle_permille <= self->steering.cap_permille) {
        return;
    }
    most = drive_most_permille(&self->steering, now_ns, self->asked_throttle_permille);
    if (self->asked_throttle_permille > most) {
        self->asked_throttle_permille = most;
        node_output(actions, DRIVE_OUT_THROTTLE, most);
    }
}

/* Where its sensors can't be believed it gives control up, and asks for an engine stop where nothing else is left. */
static void doubt(drive *self, int64_t now_ns, node_actions *actions)
{
    drive_doubts_look(&self->doubts, now_ns, self);
    if (self->doubts.doubt != BUSIM_DRIVE_FAULT_NONE) {
        if (self->fault == BUSIM_DRIVE_FAULT_NONE) {
            self->fault = self->doubts.doubt;
        }
        if (self->state != BUSIM_DRIVE_IS_SLOWING) { /* there idle is commanded, and the gear comes out after it whatever happens */
            drive_lose(self, now_ns, BUSIM_CAUSE_ACTUATOR, actions);
        }
    }
    if ((self->state == BUSIM_DRIVE_IS_FORCED_DISENGAGING || self->state == BUSIM_DRIVE_IS_FORCED_NEUTRAL) &&
        drive_doubts_ask_stop(&self->doubts, self)) {
        drive_stop_engine(self, actions);
    }
}

/* Has the station that is obeyed been lost? */
static void watch_control(drive *self, int64_t now_ns, node_actions *actions)
{
    bool silent = now_ns - self->lever_ns >= node_timeout_ns(BUSIM_BOAT_TIMING_CONTROL_TIMEOUT_MS);
    if (self->obeyed == 0u) {
        return;
    }
#ifdef BROKEN_NO_TIMEOUT
    silent = false;
#endif
    if (silent) {
        drive_lose(self, now_ns, self->bus_off ? BUSIM_CAUSE_CONTROLLER : BUSIM_CAUSE_LEVER_LOST, actions);
    } else if (!drive_heartbeat_good(&self->stations[self->obeyed_place], now_ns)) {
        drive_lose(self, now_ns, BUSIM_CAUSE_HEARTBEAT_LOST, actions);
    } else if (now_ns >= drive_other_due_ns(self, now_ns)) {
        drive_lose(self, now_ns, drive_other_cause(&self->other, now_ns), actions);
    }
}

/* ---------------------------------------------------------------------------------- calls of the seam */

static void start_control(drive *self, int64_t now_ns)
{
    self->state = BUSIM_DRIVE_IS_WAKING;
    self->last_row = 0u;
    self->cause = BUSIM_CAUSE_NONE;
    self->last_gear = BUSIM_GEAR_NEUTRAL;
    self->untold = false;
    self->idle_since_ns = now_ns;
    self->dwell_until_ns = NODE_NEVER;
    self->shift_due_ns = NODE_NEVER;
    self->out_due_ns = NODE_NEVER;
    self->wake_until_ns = now_ns + SENSOR_WAIT_NS;
    self->obeyed = 0u;
    self->may_hold = false;
    self->obeyed_place = DRIVE_NO_PLACE;
    self->number = 0u;
    self->wanted = 0u;
    self->changed_ns = 0;
    self->lever_id = DRIVE_NO_ID;
#ifdef BROKEN_OBEYS_OLD_HOLDER
    self->old_lever_id = DRIVE_NO_ID;
#endif
    self->any_lever = false;
    self->unequal_ns = -NODE_NEVER;
    self->lever_ns = 0;
    self->previous.gear = BUSIM_GEAR_NEUTRAL;
    self->previous.throttle_permille = 0u;
    self->acted_on = 0u;
}

static void on_start(void *memory, int64_t now_ns, uint8_t reset_cause, node_actions *actions)
{
    drive *self = (drive *)memory;
    self->me = busim_node_drive;
    node_member_start(&self->member, now_ns, reset_cause);
    node_alarms_start(&self->alarms);
    self->deadline_ns = now_ns;
    self->bus_off = false;
    drive_senses_start(&self->senses, self->me->has_neutral_switch);
    drive_doubts_start(&self->doubts);
    self->asked_gear = BUSIM_GEAR_NEUTRAL;
    self->asked_throttle_permille = 0u;
    self->engine_stop = false;
    self->fault = BUSIM_DRIVE_FAULT_NONE;
    start_control(self, now_ns);
    drive_watches_start(self);
    self->obeys_counter = 0u;
    self->state_counter = 0u;
    self->permission_counter = 0u;
    self->report_due_ns = now_ns;
    self->permission_due_ns = now_ns;
    self->permit = -1;
    node_output(actions, DRIVE_OUT_THROTTLE, 0);
}

static void hear_heartbeat(drive *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    const uint8_t place = drive_place_of(busim_address_of(frame->id));
    if (place == DRIVE_NO_PLACE || !self->stations[place].may_control) {
        return;
    }
    if (drive_hear_heartbeat(&self->stations[place], now_ns, bus, frame) && place == self->obeyed_place &&
        !self->stations[place].heartbeat.same_boat) {
        drive_lose(self, now_ns, BUSIM_CAUSE_OTHER_BOAT_FILE, actions);
        drive_told(self, actions);
    }
}

static void on_frame(void *memory, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    drive *self = (drive *)memory;
#ifdef BROKEN_BEAT_FROM_TIMER
    if (self->state == BUSIM_DRIVE_IS_ENGAGED) {
        return;
    }
#endif
    if (node_alarms_frame(&self->alarms, now_ns, bus, frame)) {
        return;
    }
    switch (busim_code_of(frame->id)) {
    case BUSIM_CODE_LEVER:
        drive_on_lever(self, now_ns, bus, frame, actions);
        break;
    case BUSIM_CODE_CLAIM:
        drive_on_claim(self, now_ns, bus, frame, actions);
        break;
    case BUSIM_CODE_NEUTRAL_NOW:
        drive_on_neutral_now(self, now_ns, frame, actions);
        break;
    case BUSIM_CODE_HEARTBEAT:
        hear_heartbeat(self, now_ns, bus, frame, actions);
        break;
    case BUSIM_CODE_DRIVE_OBEYS:
        if (self->other.fitted && drive_hear_other(&self->other, now_ns, bus, frame) && self->obeyed != 0u) {
            drive_set_deadline(self, now_ns); /* what follows from it waits for its time */
        }
        break;
    case BUSIM_CODE_RUDDER_STATE:
        if (self->steering.fitted && drive_hear_rudder(&self->steering, now_ns, bus, frame)) {
            drive_limit(self, now_ns, actions);
            drive_set_deadline(self, now_ns);
        }
        break;
    default:
        break;
    }
}

/* Far out of range is out of range, and sums of it must not overflow; the one number that stands for "never read" is nothing a
 * sensor shows. */
static int32_t shown(int32_t value)
{
    return value <= -FAR_OUT ? -FAR_OUT + 1 : value > FAR_OUT ? FAR_OUT : value;
}

static void on_input(void *memory, int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions)
{
    drive *self = (drive *)memory;
    switch (channel) {
    case DRIVE_IN_SHIFT_POSITION:
        self->senses.shift_permille = shown(value);
        break;
    case DRIVE_IN_THROTTLE_POSITION:
        self->senses.throttle_permille = shown(value);
        break;
    case DRIVE_IN_RPM:
        self->senses.rpm = shown(value);
        break;
    case DRIVE_IN_NEUTRAL_SWITCH:
        if (self->me->has_neutral_switch) {
            self->senses.neutral_switch = value != 0 ? BUSIM_SWITCH_CLOSED : BUSIM_SWITCH_OPEN;
            self->senses.switch_seen = true;
        }
        break;
    default:
        break;
    }
    doubt(self, now_ns, actions);
    drive_look(self, now_ns, actions);
    drive_told(self, actions);
}

static void on_controller(void *memory, int64_t now_ns, uint8_t bus, node_controller state, node_actions *actions)
{
    drive *self = (drive *)memory;
    (void)now_ns;
    (void)actions;
    if (BUSIM_NODE_BUSES == (1u << bus)) {
        self->bus_off = state == NODE_BUS_OFF; /* noticed as the loss of everybody: one that is back in time has cost nothing */
    }
}

static void on_deadline(void *memory, int64_t now_ns, node_actions *actions)
{
    drive *self = (drive *)memory;
#ifdef BROKEN_BEAT_FROM_TIMER
    if (self->state == BUSIM_DRIVE_IS_ENGAGED) { /* broken on purpose: its main task is dead from here on, and nobody sees it */
        node_member_beat(&self->member, now_ns, actions);
        self->deadline_ns = node_earlier(self->member.beat_due_ns, self->member.identity_due_ns);
        return;
    }
#endif
    watch_control(self, now_ns, actions);
    doubt(self, now_ns, actions);
    drive_limit(self, now_ns, actions);
    drive_look(self, now_ns, actions);
    if (now_ns >= self->report_due_ns) {
        self->report_due_ns = node_following(self->report_due_ns, BUSIM_BOAT_TIMING_DRIVE_MS * NODE_MS, now_ns);
        self->member.task_ran = true;
        drive_tell_obeys(self, actions);
        drive_tell_state(self, actions);
        drive_tell_alarms(self, now_ns, actions);
    }
    drive_tell_permission(self, now_ns, actions);
    node_member_beat(&self->member, now_ns, actions);
    drive_set_deadline(self, now_ns);
    drive_told(self, actions);
}

static const node_calls calls = {on_start, on_frame, on_input, NULL, on_controller, on_deadline};
static const node_channel inputs[] = {{"shift_position", DRIVE_IN_SHIFT_POSITION, false, true},
                                      {"throttle_position", DRIVE_IN_THROTTLE_POSITION, false, true},
                                      {"neutral_switch", DRIVE_IN_NEUTRAL_SWITCH, false, false},
                                      {"rpm", DRIVE_IN_RPM, false, true},
                                      {NULL, 0u, false, false}};
static const node_channel outputs[] = {{"shift", DRIVE_OUT_SHIFT, false, false},
                                       {"throttle", DRIVE_OUT_THROTTLE, false, true},
                                       {"engine_stop", DRIVE_OUT_ENGINE_STOP, false, false},
                                       {"start_permit", DRIVE_OUT_START_PERMIT, false, false},
                                       {NULL, 0u, false, false}};

const node the_node = {"drive", &calls, &the_drive, &the_drive.deadline_ns, inputs, outputs};
