/* What the drive knows of others: stations' heartbeats, the other drive, the rudder. See drive.h. */

#include "drive.h"

static const int64_t long_ago_ns = -NODE_NEVER;

/* ---------------------------------------------------------------------------------- stations */

static void start_station(drive_station *station, uint8_t address)
{
    node_watch_start(&station->heartbeat.counter, BUSIM_CODE_HEARTBEAT, address);
    station->heartbeat.heard_ns = long_ago_ns;
    station->heartbeat.same_boat = false;
    node_watch_start(&station->claim_counter, BUSIM_CODE_CLAIM, address);
    station->any_claim = false;
    station->pressed_ns = long_ago_ns;
    station->locks = 0u;
    station->locks_before = 0u;
    station->locks_ns = long_ago_ns;
    station->any_key = false;
}

uint8_t drive_place_of(uint8_t address)
{
    uint8_t place;
    for (place = 0u; place < busim_boat_stations_count; place++) {
        if (busim_boat_stations[place].address == (int32_t)address) {
            return place;
        }
    }
    return DRIVE_NO_PLACE;
}

static bool may_control(const busim_drive_plan *me, int32_t address)
{
    uint16_t place;
    for (place = 0u; place < me->stations_count; place++) {
        if ((int32_t)me->stations[place] == address) {
            return true;
        }
    }
    return false;
}

bool drive_hear_heartbeat(drive_station *station, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_heartbeat heartbeat;
    const busim_result result = busim_heartbeat_unpack(frame, &heartbeat);
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) ||
        node_judge(&station->heartbeat.counter, now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return false;
    }
    station->heartbeat.heard_ns = now_ns;
    station->heartbeat.same_boat = heartbeat.helm_fingerprint == BUSIM_BOAT_FINGERPRINT_OF_HELM;
    return true;
}

bool drive_heartbeat_good(const drive_station *station, int64_t now_ns)
{
    return station->heartbeat.same_boat &&
           now_ns - station->heartbeat.heard_ns < node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
}

/* ---------------------------------------------------------------------------------- the other drive */

bool drive_hear_other(drive_other *other, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_drive_obeys said;
    const busim_result result = busim_drive_obeys_unpack(frame, &said);
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) ||
        node_judge(&other->counter, now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return false;
    }
    other->heard_ns = now_ns;
    if (said.station == other->station && said.number == other->number) {
        return false;
    }
    other->station = said.station;
    other->number = said.number;
    other->changed_ns = now_ns;
    return true;
}

static int64_t later(int64_t one_ns, int64_t other_ns)
{
    return one_ns > other_ns ? one_ns : other_ns;
}

/* Does the other one obey what this one must not go together with? Of a take of both, anything else; where the station took this one
 * alone, only a take of another station that goes before: of two stations that each took one drive, one has to give way. */
static bool drives_apart(const drive *self, bool both)
{
    const drive_other *other = &self->other;
    if (both) {
        return (other->station != self->obeyed || other->number != self->number) &&
               (other->station != 0u || self->me->on_other_lost != BUSIM_ON_OTHER_LOST_CARRY_ON);
    }
    return other->station != 0u && other->station != self->obeyed &&
           (busim_number_newer(other->number, self->number) ||
            (other->number == self->number && other->station < self->obeyed));
}

int64_t drive_other_due_ns(const drive *self, int64_t now_ns)
{
    const drive_other *other = &self->other;
    const uint8_t takes_both = BUSIM_TAKES_DRIVE_1 | BUSIM_TAKES_DRIVE_2;
    const bool both = (self->wanted & takes_both) == takes_both;
    int64_t silent_ns;
    int64_t due_ns = NODE_NEVER;
    if (!other->fitted || self->obeyed == 0u || (!both && busim_boat_stations[self->obeyed_place].drives_count < 2u)) {
        return NODE_NEVER;
    }
    silent_ns = later(other->heard_ns, self->changed_ns) + node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
    if (self->me->when_apart == BUSIM_WHEN_APART_NEUTRAL) {
        due_ns = silent_ns;
    }
    if (now_ns < silent_ns && drives_apart(self, both)) {
        due_ns = node_earlier(due_ns, later(other->changed_ns, self->changed_ns) + node_timeout_ns(BUSIM_BOAT_TIMING_OVERLAP_MS));
    }
    return due_ns;
}

uint8_t drive_other_cause(const drive_other *other, int64_t now_ns)
{
    const bool heard = now_ns - other->heard_ns < node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
    return heard && other->station != 0u ? BUSIM_CAUSE_PARTITION : BUSIM_CAUSE_OTHER_DRIVE_LOST;
}

/* ---------------------------------------------------------------------------------- the rudder */

bool drive_hear_rudder(drive_steering *steering, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_rudder_state said;
    const busim_result result = busim_rudder_state_unpack(frame, &said);
    const uint8_t fault = steering->fault;
    const int64_t nobody_since_ns = steering->nobody_since_ns;
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) ||
        node_judge(&steering->counter, now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return false;
    }
    steering->heard_ns = now_ns;
    steering->fault = said.fault;
    if (said.station != 0u) {
        steering->nobody_since_ns = NODE_NEVER;
    } else if (steering->nobody_since_ns == NODE_NEVER) {
        steering->nobody_since_ns = now_ns;
    }
    return steering->fault != fault || steering->nobody_since_ns != nobody_since_ns;
}

int64_t drive_cap_due_ns(const drive_steering *steering)
{
    if (steering->fault != BUSIM_RUDDER_FAULT_NONE) {
        return long_ago_ns;
    }
    return node_earlier(steering->heard_ns + node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS),
                        steering->nobody_since_ns + node_timeout_ns(BUSIM_BOAT_TIMING_TRANSFER_MS));
}

uint16_t drive_most_permille(drive_steering *steering, int64_t now_ns, uint16_t lever_permille)
{
    const bool capped = now_ns >= drive_cap_due_ns(steering);
    if ((int32_t)lever_permille <= steering->cap_permille) {
        steering->held_back = false; /* only the lever itself lets go of the cap: no throttle opens unasked */
    } else if (capped) {
        steering->held_back = true;
    }
    return capped || steering->held_back ? (uint16_t)steering->cap_permille : 1000u;
}

/* ---------------------------------------------------------------------------------- all of them */

void drive_watches_start(drive *self)
{
    uint8_t place;
    for (place = 0u; place < DRIVE_STATIONS; place++) {
        const int32_t address = place < busim_boat_stations_count ? busim_boat_stations[place].address : 0;
        start_station(&self->stations[place], (uint8_t)address);
        self->stations[place].may_control = may_control(self->me, address);
    }
    self->other.fitted = false;
    for (place = 0u; place < busim_boat_drives_count; place++) {
        if (busim_boat_drives[place].instance != self->me->instance) {
            self->other.fitted = true;
            self->other.address = (uint8_t)busim_boat_drives[place].address;
        }
    }
    node_watch_start(&self->other.counter, BUSIM_CODE_DRIVE_OBEYS, self->other.address);
    self->other.heard_ns = long_ago_ns;
    self->other.changed_ns = long_ago_ns;
    self->other.station = 0u;
    self->other.number = 0u;
    self->steering.fitted = busim_boat_rudders_count > 0u;
    self->steering.address = (uint8_t)busim_boat_rudders[0].address;
    self->steering.cap_permille = busim_boat_rudders[0].no_steer_permille;
    node_watch_start(&self->steering.counter, BUSIM_CODE_RUDDER_STATE, self->steering.address);
    self->steering.heard_ns = long_ago_ns;
    self->steering.fault = BUSIM_RUDDER_FAULT_NONE;
    self->steering.nobody_since_ns = long_ago_ns;
    self->steering.held_back = false;
}
