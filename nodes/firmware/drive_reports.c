/* What the drive tells: whom it obeys, what it asks and senses, its alarms, whether the starter may turn. See drive.h. */

#include "drive.h"

#define PERMISSION_NS (100 * NODE_MS)
#define TURNING_RPM 100

static int32_t within(int32_t value, int32_t lowest, int32_t highest)
{
    return value < lowest ? lowest : value > highest ? highest : value;
}

/* A whole number of tens, rounded down. */
static int32_t tens(int32_t value)
{
    return value >= 0 ? value / 10 : -((9 - value) / 10);
}

void drive_tell_obeys(drive *self, node_actions *actions)
{
    busim_drive_obeys said;
    busim_frame frame;
    self->untold = false;
    self->obeys_counter = busim_counter_next(self->obeys_counter);
    said.station = self->obeyed;
    said.number = self->number;
    said.acted_on = self->acted_on;
    said.row = self->last_row;
    said.state = self->state;
    said.cause = self->cause;
    said.instance = (uint8_t)self->me->instance;
    if (busim_drive_obeys_pack(&said, BUSIM_NODE_ADDRESS, self->obeys_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, BUSIM_BOAT_TIMING_DRIVE_MS * NODE_MS);
    }
}

static uint8_t engine_of(const drive *self)
{
    if (self->engine_stop) {
        return BUSIM_ENGINE_STOP_ASKED;
    }
    if (self->senses.rpm == DRIVE_UNSEEN) {
        return BUSIM_ENGINE_NOT_KNOWN;
    }
    return self->senses.rpm >= TURNING_RPM ? BUSIM_ENGINE_RUNNING : BUSIM_ENGINE_STOPPED;
}

void drive_tell_state(drive *self, node_actions *actions)
{
    const drive_senses *senses = &self->senses;
    busim_drive_state said;
    busim_frame frame;
    self->state_counter = busim_counter_next(self->state_counter);
    said.instance = (uint8_t)self->me->instance;
    said.asked_gear = self->asked_gear;
    said.sensed_gear = drive_sensed_gear(senses);
    said.neutral_switch = senses->neutral_switch;
    said.asked_throttle = (uint8_t)(self->asked_throttle_permille >> 2);
    said.sensed_throttle = (uint8_t)(within(senses->throttle_permille, 0, 1023) >> 2);
    said.shift_position = (int8_t)within(tens(senses->shift_permille), -128, 127);
    said.rpm = (uint16_t)(within(senses->rpm, 0, 8191) >> 3);
    said.engine = engine_of(self);
    said.fault = self->fault;
    if (busim_drive_state_pack(&said, BUSIM_NODE_ADDRESS, self->state_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, BUSIM_BOAT_TIMING_DRIVE_MS * NODE_MS);
    }
}

/* ---------------------------------------------------------------------------------- alarms */

static uint8_t alarm_of_fault(uint8_t fault)
{
    switch (fault) {
    case BUSIM_DRIVE_FAULT_SHIFT_DOES_NOT_ARRIVE:
        return BUSIM_ALARM_IS_ABOUT_SHIFT_FAULT;
    case BUSIM_DRIVE_FAULT_SHIFT_FEEDBACK_AND_SWITCH_DISAGREE:
    case BUSIM_DRIVE_FAULT_THROTTLE_FEEDBACK_IMPLAUSIBLE:
        return BUSIM_ALARM_IS_ABOUT_SENSOR_FAULT;
    default: /* an engine whose speed is unlike the command may be the throttle's linkage: the worse one is said */
        return BUSIM_ALARM_IS_ABOUT_THROTTLE_FAULT;
    }
}

#define UNEQUAL_FOR_NS NODE_SECOND /* copies that differ now and then are one alarm */

void drive_tell_alarms(drive *self, int64_t now_ns, node_actions *actions)
{
    uint8_t causes[3];
    uint8_t count = 0u;
    if (self->cause != BUSIM_CAUSE_NONE && self->cause != BUSIM_CAUSE_NEUTRAL_NOW && self->cause != BUSIM_CAUSE_ACTUATOR) {
        causes[count++] = BUSIM_ALARM_IS_ABOUT_CONTROL_LOST;
    }
    if (self->fault != BUSIM_DRIVE_FAULT_NONE) {
        causes[count++] = alarm_of_fault(self->fault);
    }
    if (now_ns - self->unequal_ns < UNEQUAL_FOR_NS) {
        causes[count++] = BUSIM_ALARM_IS_ABOUT_UNEQUAL_ORDERS;
    }
    node_alarms_tell(&self->alarms, now_ns, causes, count, actions);
}

/* ---------------------------------------------------------------------------------- may the starter turn? */

static uint8_t why_not(const drive *self)
{
    if (self->engine_stop || self->fault != BUSIM_DRIVE_FAULT_NONE) {
        return BUSIM_CAUSE_ACTUATOR;
    }
    if (self->senses.neutral_switch != BUSIM_SWITCH_CLOSED || !drive_at_rest(self) ||
        drive_sensed_gear(&self->senses) != BUSIM_GEAR_NEUTRAL) {
        return BUSIM_CAUSE_GEAR_IN;
    }
    return drive_throttle_at_stop(&self->senses) ? BUSIM_CAUSE_NONE : BUSIM_CAUSE_ACTUATOR;
}

void drive_follow_permission(drive *self, node_actions *actions)
{
    const int8_t permit = why_not(self) == BUSIM_CAUSE_NONE ? 1 : 0;
    if (permit != self->permit) {
        self->permit = permit;
        node_output(actions, DRIVE_OUT_START_PERMIT, permit);
    }
}

void drive_tell_permission(drive *self, int64_t now_ns, node_actions *actions)
{
    busim_permission said;
    busim_frame frame;
    if (now_ns < self->permission_due_ns) {
        return;
    }
    self->permission_due_ns = node_following(self->permission_due_ns, PERMISSION_NS, now_ns);
    self->permission_counter = busim_counter_next(self->permission_counter);
    said.instance = (uint8_t)self->me->instance;
    said.cause = why_not(self);
    said.may_start = said.cause == BUSIM_CAUSE_NONE ? 1u : 0u;
    said.inhibit = self->engine_stop ? 1u : 0u;
    if (busim_permission_pack(&said, BUSIM_NODE_ADDRESS, self->permission_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, PERMISSION_NS);
    }
}
