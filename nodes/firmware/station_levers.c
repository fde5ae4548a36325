/* A lever's one or two sensors: what they mean, and whether they can be believed. Out of range or apart for too long, or never
 * read, is a fault; a faulty lever counts as neutral, and tracks that were apart are believed again once they agree in neutral.
 */

#include "station.h"

#define OUT_OF_RANGE_PERMILLE 30
#define TRACKS_APART_PERMILLE 40 /* sampled one after the other they differ while a lever moves */
/* A frame before a drive would let go of a station that fell silent: until then a lever out of range means what it meant last, or
 * the less that its other track asks for; and of two tracks that are apart the one counts that asks for less. */
#define PATIENCE_NS node_timeout_ns(BUSIM_BOAT_TIMING_CONTROL_TIMEOUT_MS - BUSIM_BOAT_TIMING_LEVER_MS)

void station_lever_start(station_lever *lever, bool fitted)
{
    lever->fitted = fitted;
    lever->tracks[0] = lever->tracks[1] = 0;
    lever->read[0] = lever->read[1] = false;
    lever->apart_since_ns = NODE_NEVER;
    lever->apart = false;
    lever->out_since_ns = NODE_NEVER;
    lever->faulty = true;
    lever->asked.gear = BUSIM_GEAR_NEUTRAL;
    lever->asked.throttle_permille = 0u;
}

/* What one track's value means; false where it is out of range. */
static bool meaning_of(int32_t value, busim_asked *asked)
{
    const int32_t low = busim_node_station->lever_low_permille;
    const int32_t high = busim_node_station->lever_high_permille;
    const int32_t first = busim_node_station->lever_gear_permille;
    const int32_t middle = (low + high) / 2;
    int32_t travel;
    asked->gear = BUSIM_GEAR_NEUTRAL;
    asked->throttle_permille = 0u;
    if (value < low - OUT_OF_RANGE_PERMILLE || value > high + OUT_OF_RANGE_PERMILLE) {
        return false;
    }
    travel = value >= middle ? (value - middle) * 1000 / (high - middle) : (middle - value) * 1000 / (middle - low);
    if (travel >= first) {
        asked->gear = value > middle ? BUSIM_GEAR_AHEAD : BUSIM_GEAR_ASTERN;
        asked->throttle_permille = (uint16_t)(((travel < 1000 ? travel : 1000) - first) * 1000 / (1000 - first));
    }
    return true;
}

static void compare(station_lever *lever, int64_t now_ns, uint8_t gear)
{
    const int32_t apart = lever->tracks[0] + lever->tracks[1] - busim_node_station->lever_low_permille -
                          busim_node_station->lever_high_permille;
    if (apart <= TRACKS_APART_PERMILLE && apart >= -TRACKS_APART_PERMILLE) {
        lever->apart_since_ns = NODE_NEVER;
        if (gear == BUSIM_GEAR_NEUTRAL) {
            lever->apart = false;
        }
    } else if (lever->apart_since_ns == NODE_NEVER) {
        lever->apart_since_ns = now_ns;
    } else if (now_ns - lever->apart_since_ns >= PATIENCE_NS) {
        lever->apart = true;
    }
}

/* What both ask for; neutral where they differ in gear. */
static busim_asked less_of(busim_asked one, busim_asked other)
{
    busim_asked less = busim_both_ask(one, other);
    if (less.gear == BUSIM_GEAR_NEUTRAL) {
        less.throttle_permille = 0u;
    }
    return less;
}

/* What its tracks mean now; false where they are not believed. `readable`: one of two can be read, and means that. */
static bool meaning_now(station_lever *lever, int64_t now_ns, busim_asked *asked, bool *readable)
{
    const int32_t ends = busim_node_station->lever_low_permille + busim_node_station->lever_high_permille;
    const bool first_read = lever->read[0] && meaning_of(lever->tracks[0], asked);
    busim_asked second;
    bool second_read;
    *readable = false;
    if (busim_node_station->lever_tracks != 2) {
        return first_read;
    }
    second_read = lever->read[1] && meaning_of(ends - lever->tracks[1], &second);
    if (!first_read || !second_read) {
        *readable = first_read || second_read;
        if (second_read) {
            *asked = second;
        }
        return false;
    }
    *asked = less_of(*asked, second);
    compare(lever, now_ns, asked->gear);
    return !lever->apart;
}

void station_lever_read(station_lever *lever, int64_t now_ns)
{
    busim_asked asked = {BUSIM_GEAR_NEUTRAL, 0u};
    bool readable;
    const bool believed = meaning_now(lever, now_ns, &asked, &readable);
    if (!believed && !lever->apart && !lever->faulty) {
        if (lever->out_since_ns == NODE_NEVER) {
            lever->out_since_ns = now_ns;
        }
        if (now_ns - lever->out_since_ns < PATIENCE_NS) {
            if (readable) {
                lever->asked = less_of(lever->asked, asked);
            }
            return;
        }
    }
    lever->out_since_ns = NODE_NEVER;
    lever->faulty = !believed;
    lever->asked = asked;
    if (!believed) {
        lever->asked.gear = BUSIM_GEAR_NEUTRAL;
        lever->asked.throttle_permille = 0u;
    }
}

bool station_lever_sound(const station_lever *lever)
{
    return !lever->fitted || (!lever->faulty && lever->out_since_ns == NODE_NEVER);
}
