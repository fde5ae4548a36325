/* What a station's display has to say of who is in control. It never says "in control here" where the rudder obeys another station,
 * or nobody; nor where it holds but a part of its drives.
 */

#include "station.h"

#define DIVIDED_NS (100 * NODE_MS) /* a good take reaches the drives one after the other: that is shown as before */

/* How many different masters the drives heard have, up to 2, and one of them. */
static uint8_t masters_of(const station *self, int64_t now_ns, uint8_t *master)
{
    uint8_t count = 0u;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        if (echo->mine && station_echo_heard(echo, now_ns)) {
            if (count == 0u) {
                *master = echo->station;
                count = 1u;
            } else if (echo->station != *master) {
                count = 2u;
            }
        }
    }
    if (count == 0u && self->wheel.fitted && busim_node_station->drives_count == 0u && station_wheel_heard(&self->wheel, now_ns)) {
        *master = self->wheel.station;
        count = 1u;
    }
    return count;
}

/* It has control of one drive of two, whether the other is heard or not. */
static bool holds_a_part(const station *self)
{
    bool part = false;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        part = part || (self->drives[place].mine && !self->drives[place].held);
    }
    return part && self->state == BUSIM_STATION_IS_HOLDING;
}

static uint8_t to_show(const station *self, int64_t now_ns)
{
    const uint8_t steered_by = station_wheel_steered_by(&self->wheel, now_ns);
    uint8_t master = 0u;
    const uint8_t masters = masters_of(self, now_ns, &master);
    if (masters == 0u) {
        return STATION_SHOWS_NOTHING_HEARD;
    }
    if (self->state == BUSIM_STATION_IS_CLAIMING) {
        return STATION_SHOWS_ASKING;
    }
    if (masters > 1u) {
        return STATION_SHOWS_DIVIDED;
    }
    if (master == 0u) {
        return STATION_SHOWS_NOBODY;
    }
    if ((steered_by != 0u && steered_by != master) || holds_a_part(self)) {
        return STATION_SHOWS_DIVIDED;
    }
    if (master != BUSIM_NODE_ADDRESS) {
        return STATION_SHOWS_ANOTHER;
    }
    if (self->state != BUSIM_STATION_IS_HOLDING) {
        return STATION_SHOWS_LOST;
    }
    return self->wheel.fitted && steered_by == 0u ? STATION_SHOWS_NOT_STEERING : STATION_SHOWS_HERE;
}

/* When the first of those heard falls silent. */
static int64_t silent_ns(const station *self, int64_t now_ns)
{
    const int64_t missing_ns = node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
    int64_t first_ns = NODE_NEVER;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const int64_t due_ns = self->drives[place].heard_ns + missing_ns;
        if (self->drives[place].mine && due_ns > now_ns) {
            first_ns = node_earlier(first_ns, due_ns);
        }
    }
    if (self->wheel.fitted && self->wheel.heard_ns + missing_ns > now_ns) {
        first_ns = node_earlier(first_ns, self->wheel.heard_ns + missing_ns);
    }
    return first_ns;
}

void station_show(station *self, int64_t now_ns, node_actions *actions)
{
    uint8_t shows = to_show(self, now_ns);
    self->show_due_ns = silent_ns(self, now_ns);
    if (shows != STATION_SHOWS_DIVIDED) {
        self->divided_ns = NODE_NEVER;
    } else {
        const uint8_t steered_by = station_wheel_steered_by(&self->wheel, now_ns);
        const bool rudder_elsewhere = steered_by != 0u && steered_by != BUSIM_NODE_ADDRESS;
        self->divided_ns = node_earlier(self->divided_ns, now_ns + DIVIDED_NS);
        if (now_ns < self->divided_ns && !(rudder_elsewhere && self->state == BUSIM_STATION_IS_HOLDING)) {
            shows = self->shows;
            self->show_due_ns = node_earlier(self->show_due_ns, self->divided_ns);
        }
    }
    if (shows != self->shows) {
        self->shows = shows;
        node_output(actions, STATION_OUT_SHOWS, shows);
    }
}
