/* Asking for control: which drives a take is of, and the claims that say so.
 *
 * A boat whose policy is to carry on with the drive that is left must be able to change hands with it, too: a drive that is dead, or
 * refuses, must keep nobody from the other one.
 */

#include "station.h"

/* A drive that kept a take from being complete is left out of the next one, if that comes so soon: whoever saw the first one fail,
 * and pressed the key once more, means to have what there is. */
#define PRESSED_AGAIN_NS (10000 * NODE_MS)

bool station_echo_heard(const station_echo *echo, int64_t now_ns)
{
    return now_ns - echo->heard_ns < node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
}

/* The drives a take that begins is of. All, where the policy is all or nothing. Else those that are heard, but for those that kept
 * the last take from being complete; taken anew while it holds, all that are heard. Where that leaves none, all. */
static void want_drives(station *self, int64_t now_ns, bool anew)
{
    bool any_heard = false;
    bool any_able = false;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        const bool heard = echo->mine && self->carries_on && station_echo_heard(echo, now_ns);
        any_heard = any_heard || heard;
        any_able = any_able || (heard && (anew || now_ns >= echo->left_out_until_ns));
    }
    for (place = 0u; place < self->drive_count; place++) {
        station_echo *echo = &self->drives[place];
        const bool able = anew || now_ns >= echo->left_out_until_ns;
        echo->wanted = echo->mine && (!any_heard || (station_echo_heard(echo, now_ns) && (!any_able || able)));
    }
    for (place = 0u; place < self->drive_count; place++) {
        self->drives[place].left_out_until_ns = -NODE_NEVER;
    }
}

/* The drives wanted, as BUSIM_TAKES_. */
static uint8_t wanted_drives(const station *self)
{
    uint8_t wanted = 0u;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        if (self->drives[place].wanted) {
            wanted = (uint8_t)(wanted | (uint8_t)busim_boat_drives[place].instance);
        }
    }
    return wanted;
}

void station_take(station *self, int64_t now_ns, node_actions *actions)
{
    const bool sound = station_lever_sound(&self->levers[0]) && station_lever_sound(&self->levers[1]);
    const bool in_neutral =
        self->levers[0].asked.gear == BUSIM_GEAR_NEUTRAL && self->levers[1].asked.gear == BUSIM_GEAR_NEUTRAL;
    /* Where it may take with its levers matched, the drives judge the match: they know gear and throttle, it does not. */
    const bool allowed = sound && (in_neutral || busim_node_station->matched_take);
    const uint8_t event = (uint8_t)(allowed ? BUSIM_STATION_ON_TAKE : BUSIM_STATION_ON_REFUSED);
    const bool anew = self->state == BUSIM_STATION_IS_HOLDING;
    const bool moved = station_take_row(self, event, actions);
    if (moved && self->state == BUSIM_STATION_IS_CLAIMING) {
        self->number = self->highest = busim_number_next(self->highest);
        want_drives(self, now_ns, anew);
        station_wheel_want(&self->wheel, now_ns);
        self->claim_due_ns = now_ns;
        self->transfer_until_ns = now_ns + node_timeout_ns(BUSIM_BOAT_TIMING_TRANSFER_MS);
    }
    station_set_deadline(self);
    station_show(self, now_ns, actions);
}

void station_tell_claim(station *self, node_actions *actions)
{
    busim_claim claim;
    busim_frame frame;
    self->claim_counter = busim_counter_next(self->claim_counter);
    claim.number = self->number;
    claim.wanted = wanted_drives(self);
    if (self->wheel.wanted) {
        claim.wanted = (uint8_t)(claim.wanted | BUSIM_TAKES_RUDDER);
    }
    claim.gear_1 = self->levers[0].asked.gear;
    claim.throttle_1 = self->levers[0].asked.throttle_permille;
    claim.gear_2 = self->levers[1].asked.gear;
    claim.throttle_2 = self->levers[1].asked.throttle_permille;
    claim.withdrawn = self->state == BUSIM_STATION_IS_WITHDRAWING ? 1u : 0u;
    if (busim_claim_pack(&claim, BUSIM_NODE_ADDRESS, self->claim_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, BUSIM_BOAT_TIMING_CLAIM_MS * NODE_MS);
    }
}

void station_leave_out(station *self, int64_t now_ns)
{
    bool any_mine = false;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        any_mine = any_mine || (echo->wanted && station_is_mine(self, echo->station, echo->number));
    }
    for (place = 0u; place < self->drive_count && any_mine && self->carries_on; place++) {
        station_echo *echo = &self->drives[place];
        if (echo->wanted && !station_is_mine(self, echo->station, echo->number) && station_echo_heard(echo, now_ns)) {
            echo->left_out_until_ns = now_ns + PRESSED_AGAIN_NS;
        }
    }
}
