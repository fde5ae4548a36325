/* The station's calls of the seam, and its main task: see station.h. */

#include "station.h"

#define FAR_OUT 100000

static station the_station;

void station_set_deadline(station *self)
{
    int64_t due_ns = node_earlier(self->lever_due_ns, self->member.beat_due_ns);
    due_ns = node_earlier(due_ns, self->member.identity_due_ns);
    due_ns = node_earlier(due_ns, self->claim_due_ns);
    due_ns = node_earlier(due_ns, self->neutral_now_due_ns);
    due_ns = node_earlier(due_ns, self->wheel.due_ns);
    self->deadline_ns = node_earlier(due_ns, self->condition.due_ns);
}

static bool any_lever_faulty(const station *self)
{
    return (self->levers[0].fitted && self->levers[0].faulty) || (self->levers[1].fitted && self->levers[1].faulty);
}

/* The number its frames carry while it asks for control, or has it. */
static uint16_t number_in_frames(const station *self)
{
    return self->state == BUSIM_STATION_IS_CLAIMING || self->state == BUSIM_STATION_IS_HOLDING ? self->number : 0u;
}

/* What is asked of the drive of this instance. One that was let go of while another is held is asked for neutral: it may only be
 * mute, and must not follow a lever that is not shown as in control of it. */
static busim_asked asked_of(const station *self, uint8_t instance)
{
    static const busim_asked neutral = {BUSIM_GEAR_NEUTRAL, 0u};
    uint8_t place;
    for (place = 0u; place < self->drive_count && self->state == BUSIM_STATION_IS_HOLDING; place++) {
        const station_echo *echo = &self->drives[place];
        if (busim_boat_drives[place].instance == (int32_t)instance && echo->mine && !echo->held) {
            return neutral;
        }
    }
    return self->levers[instance - 1u].asked;
}

static void tell_levers(station *self, node_actions *actions)
{
    const busim_asked one = asked_of(self, 1u);
    const busim_asked other = asked_of(self, 2u);
    busim_lever lever;
    busim_frame frame;
    lever.number = number_in_frames(self);
    lever.gear_1 = one.gear;
    lever.throttle_1 = one.throttle_permille;
    lever.gear_2 = other.gear;
    lever.throttle_2 = other.throttle_permille;
    lever.lever_fault = any_lever_faulty(self) ? 1u : 0u;
    lever.warm_up = 0u;
    if (busim_lever_pack(&lever, BUSIM_NODE_ADDRESS, self->lever_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, BUSIM_BOAT_TIMING_LEVER_MS * NODE_MS);
    }
}

static void tell_alarms(station *self, int64_t now_ns, node_actions *actions)
{
    static const uint8_t lever_fault = BUSIM_ALARM_IS_ABOUT_LEVER_FAULT;
    const bool faulty = any_lever_faulty(self) || (self->wheel.fitted && self->wheel.faulty);
    const uint8_t let_go_of = station_let_go_of(self, now_ns);
    list_causes seen;
    seen.count = 0u;
    if (let_go_of != 0u) {
        list_causes_add(&seen, BUSIM_ALARM_IS_ABOUT_LET_GO, let_go_of);
    }
    list_look(&self->list, now_ns, &lever_fault, faulty ? 1u : 0u, &seen, actions);
}

/* Every lever period: the task that the heartbeat stands for. */
static void main_task(station *self, int64_t now_ns, node_actions *actions)
{
    uint8_t place;
    self->lever_due_ns = node_following(self->lever_due_ns, BUSIM_BOAT_TIMING_LEVER_MS * NODE_MS, now_ns);
    self->member.task_ran = true;
    for (place = 0u; place < STATION_DRIVES; place++) {
        station_lever *lever = &self->levers[place];
        if (lever->fitted && (lever->out_since_ns != NODE_NEVER || busim_node_station->lever_tracks == 2)) {
            station_lever_read(lever, now_ns);
        }
    }
    self->lever_counter = busim_counter_next(self->lever_counter);
    tell_levers(self, actions);
    station_watch_time(self, now_ns, actions);
    station_look_at_lock(self, now_ns);
    tell_alarms(self, now_ns, actions);
}

/* ---------------------------------------------------------------------------------- calls of the seam */

static void on_start(void *memory, int64_t now_ns, uint8_t reset_cause, node_actions *actions)
{
    static const list_outputs listed = {STATION_OUT_SOUNDER, STATION_OUT_ALARMS, STATION_OUT_ALARMS_HIDDEN, STATION_OUT_ALARM};
    station *self = (station *)memory;
    uint8_t place;
    node_member_start(&self->member, now_ns, reset_cause);
    self->member.working = true;
    node_alarms_start(&self->alarms);
    list_start(&self->list, &self->alarms, &listed, now_ns);
    self->deadline_ns = now_ns;
    self->lever_due_ns = now_ns;
    self->lever_counter = 0u;
    station_control_start(self);
    for (place = 0u; place < STATION_DRIVES; place++) {
        station_lever_start(&self->levers[place], (self->mine & (1u << place)) != 0u);
    }
    station_wheel_start(&self->wheel, now_ns);
    station_keys_start(self);
    station_condition_start(&self->condition);
    self->shows = STATION_SHOWS_NOTHING_YET;
    self->show_due_ns = 0;
    self->divided_ns = NODE_NEVER;
    station_show(self, now_ns, actions);
}

static void on_frame(void *memory, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    station *self = (station *)memory;
    if (list_frame(&self->list, now_ns, bus, frame) || node_alarms_frame(&self->alarms, now_ns, bus, frame)) {
        return;
    }
    switch (busim_code_of(frame->id)) {
    case BUSIM_CODE_CLAIM:
        station_hear_claim(self, frame);
        break;
    case BUSIM_CODE_DRIVE_OBEYS:
        station_hear_drive(self, now_ns, bus, frame, actions);
        break;
    case BUSIM_CODE_RUDDER_STATE:
        station_hear_rudder(self, now_ns, bus, frame, actions);
        break;
    case BUSIM_CODE_CONDITION:
        if (station_condition_hear(&self->condition, now_ns, bus, frame)) {
            station_set_deadline(self);
        }
        break;
    case BUSIM_CODE_PRESS:
        if (station_condition_ask(&self->condition, now_ns, frame)) {
            station_set_deadline(self);
        }
        break;
    default:
        break;
    }
}

static void read_track(station *self, int64_t now_ns, uint16_t channel, int32_t value)
{
    station_lever *lever = &self->levers[channel / 2u];
    const uint8_t track = (uint8_t)(channel % 2u);
    if (lever->fitted && (int32_t)track < busim_node_station->lever_tracks) {
        /* Far out of range is out of range, and sums of it must not overflow. */
        lever->tracks[track] = value < -FAR_OUT ? -FAR_OUT : value > FAR_OUT ? FAR_OUT : value;
        lever->read[track] = true;
        station_lever_read(lever, now_ns);
    }
}

static void on_input(void *memory, int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions)
{
    station *self = (station *)memory;
    switch (channel) {
    case STATION_IN_LEVER_1:
    case STATION_IN_LEVER_1B:
    case STATION_IN_LEVER_2:
    case STATION_IN_LEVER_2B:
        read_track(self, now_ns, channel, value);
        break;
    case STATION_IN_WHEEL:
        if (self->wheel.fitted) {
            station_wheel_read(&self->wheel, value);
        }
        break;
    case STATION_IN_LOCK_OUT:
        station_press_lock_out(self, now_ns, value != 0);
        break;
    case STATION_IN_ACKNOWLEDGE:
        if (value != 0) {
            list_acknowledge(&self->list, now_ns);
        }
        break;
    case STATION_IN_SILENCE:
        if (value != 0) {
            list_silence(&self->list, now_ns);
        }
        break;
    case STATION_IN_TAKE:
        if (value != 0) {
            station_take(self, now_ns, actions);
        }
        break;
    case STATION_IN_NEUTRAL_NOW:
        station_press_neutral_now(self, now_ns, value != 0, actions);
        break;
    default:
        break;
    }
}

static void on_deadline(void *memory, int64_t now_ns, node_actions *actions)
{
    station *self = (station *)memory;
    if (now_ns >= self->lever_due_ns) {
        main_task(self, now_ns, actions);
    }
    if (now_ns >= self->claim_due_ns) {
        self->claim_due_ns = node_following(self->claim_due_ns, BUSIM_BOAT_TIMING_CLAIM_MS * NODE_MS, now_ns);
        station_tell_claim(self, actions);
    }
    if (now_ns >= self->wheel.due_ns) {
        self->wheel.due_ns = node_following(self->wheel.due_ns, BUSIM_PERIOD_WHEEL_MS * NODE_MS, now_ns);
        station_wheel_tell(&self->wheel, self->wheel.keeps != 0u ? self->wheel.keeps : number_in_frames(self), actions);
    }
    if (now_ns >= self->neutral_now_due_ns) {
        station_tell_neutral_now(self, now_ns, actions);
    }
    if (now_ns >= self->member.beat_due_ns || now_ns >= self->member.identity_due_ns) {
        node_member_beat(&self->member, now_ns, actions);
    }
    if (now_ns >= self->condition.due_ns) {
        station_condition_tell(&self->condition, now_ns, actions);
    }
    station_set_deadline(self);
}

static const node_calls calls = {on_start, on_frame, on_input, NULL, NULL, on_deadline};
static const node_channel inputs[] = {
    {"lever.1", STATION_IN_LEVER_1, false, true},
    {"lever.1b", STATION_IN_LEVER_1B, false, true},
    {"lever.2", STATION_IN_LEVER_2, false, true},
    {"lever.2b", STATION_IN_LEVER_2B, false, true},
    {"wheel", STATION_IN_WHEEL, false, true},
    {"take", STATION_IN_TAKE, false, false},
    {"neutral_now", STATION_IN_NEUTRAL_NOW, false, false},
    {"lock_out", STATION_IN_LOCK_OUT, false, false},
    {"acknowledge", STATION_IN_ACKNOWLEDGE, false, false},
    {"silence", STATION_IN_SILENCE, false, false},
    {NULL, 0u, false, false},
};
static const node_channel outputs[] = {
    {"shows", STATION_OUT_SHOWS, false, false},
    {"sounder", STATION_OUT_SOUNDER, false, false},
    {"alarms", STATION_OUT_ALARMS, false, false},
    {"alarms_hidden", STATION_OUT_ALARMS_HIDDEN, false, false},
    {"alarm.", STATION_OUT_ALARM, true, false},
    {NULL, 0u, false, false},
};

const node the_node = {"station", &calls, &the_station, &the_station.deadline_ns, inputs, outputs};
