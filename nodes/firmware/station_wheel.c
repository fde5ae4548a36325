/* A station's wheel: what its sensor means, the wheel frames, and what the rudder says of who steers.
 *
 * A station that lost its drives, or let go of them, goes on steering with the take it had as long as the rudder obeys that one and
 * nobody else took over: neutral is no reason for a boat that still makes way to lose her steering too. Nor is a take of another
 * station's that may still be withdrawn, or one of its own: until the rudder follows it, the old one steers.
 */

#include "station.h"

#define PORT_PERMILLE 100
#define MIDDLE_PERMILLE 500
#define STARBOARD_PERMILLE 900
#define OUT_OF_RANGE_PERMILLE 30
/* By then a take that a drive reports is complete, or the drive was told that it is withdrawn, one claim lost included. */
#define SETTLED_NS node_timeout_ns(BUSIM_BOAT_TIMING_TRANSFER_MS + 2 * BUSIM_BOAT_TIMING_CLAIM_MS)

void station_wheel_start(station_wheel *wheel, int64_t now_ns)
{
    wheel->fitted = busim_node_station->steers && busim_boat_rudders_count > 0u;
    wheel->rudder = (uint8_t)busim_boat_rudders[0].address;
    wheel->angle_cdeg = 0;
    wheel->faulty = true;
    wheel->counter = 0u;
    wheel->due_ns = wheel->fitted ? now_ns : NODE_NEVER;
    node_watch_start(&wheel->rudder_counter, BUSIM_CODE_RUDDER_STATE, wheel->rudder);
    wheel->heard_ns = -NODE_NEVER;
    wheel->station = 0u;
    wheel->number = 0u;
    wheel->fault = BUSIM_RUDDER_FAULT_NONE;
    wheel->wanted = false;
    wheel->held = false;
    wheel->keeps = 0u;
    wheel->taken_ns = NODE_NEVER;
}

void station_wheel_read(station_wheel *wheel, int32_t permille)
{
    int32_t travel;
    int32_t way;
    wheel->faulty = permille < PORT_PERMILLE - OUT_OF_RANGE_PERMILLE || permille > STARBOARD_PERMILLE + OUT_OF_RANGE_PERMILLE;
    if (wheel->faulty) {
        return;
    }
    travel = permille < PORT_PERMILLE ? PORT_PERMILLE : permille > STARBOARD_PERMILLE ? STARBOARD_PERMILLE : permille;
    travel -= MIDDLE_PERMILLE;
    way = (travel > 0 ? travel : -travel) * busim_boat_rudders[0].hard_over_cdeg / (STARBOARD_PERMILLE - MIDDLE_PERMILLE);
    wheel->angle_cdeg = (int16_t)(travel > 0 ? way : -way);
}

bool station_wheel_heard(const station_wheel *wheel, int64_t now_ns)
{
    return now_ns - wheel->heard_ns < node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
}

uint8_t station_wheel_steered_by(const station_wheel *wheel, int64_t now_ns)
{
    return wheel->fitted && station_wheel_heard(wheel, now_ns) ? wheel->station : 0u;
}

/* A take begins. It is of the rudder too, unless that can't come of it: then its drives can be had all the same. */
void station_wheel_want(station_wheel *wheel, int64_t now_ns)
{
    wheel->wanted = wheel->fitted && !wheel->faulty && station_wheel_heard(wheel, now_ns) &&
                    wheel->fault != BUSIM_RUDDER_FAULT_MOVED_UNASKED;
}

void station_wheel_tell(station_wheel *wheel, uint16_t number, node_actions *actions)
{
    busim_wheel message;
    busim_frame frame;
    wheel->counter = busim_counter_next(wheel->counter);
    message.number = number;
    message.angle_or_rate = wheel->angle_cdeg;
    message.kind = BUSIM_WHEEL_KIND_ANGLE;
    message.wheel_fault = wheel->faulty ? 1u : 0u;
    if (busim_wheel_pack(&message, BUSIM_NODE_ADDRESS, wheel->counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, BUSIM_PERIOD_WHEEL_MS * NODE_MS);
    }
}

bool station_wheel_hear(station_wheel *wheel, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_rudder_state said;
    const busim_result result = busim_rudder_state_unpack(frame, &said);
    bool changed;
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) ||
        node_judge(&wheel->rudder_counter, now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return false;
    }
    changed = !station_wheel_heard(wheel, now_ns) || said.station != wheel->station || said.number != wheel->number ||
              said.fault != wheel->fault;
    wheel->heard_ns = now_ns;
    wheel->station = said.station;
    wheel->number = said.number;
    wheel->fault = said.fault;
    return changed;
}

/* The drives it holds are held on to: steering lost is no reason for neutral, and thrust may be what is left to steer by. Once a
 * drive has reported another station's newer take for SETTLED_NS, that take is complete. */
bool station_wheel_watch(station_wheel *wheel, int64_t now_ns, uint16_t number, bool holding, bool taken)
{
    const bool heard = station_wheel_heard(wheel, now_ns);
    const bool steers = heard && wheel->station == BUSIM_NODE_ADDRESS;
    const bool held = wheel->held;
    const uint16_t before = wheel->keeps;
    bool over;
    if (!taken) {
        wheel->taken_ns = NODE_NEVER;
    } else if (wheel->taken_ns == NODE_NEVER) {
        wheel->taken_ns = now_ns;
    }
    over = !holding && taken && now_ns - wheel->taken_ns >= SETTLED_NS;
    wheel->held = held && steers && wheel->number == number;
    wheel->keeps = steers && ((holding && wheel->number == number) || (wheel->number == before && !over)) ? wheel->number : 0u;
    return (holding && held && !wheel->held) ||
           (before != 0u && wheel->keeps == 0u && !over && !(heard && wheel->station != 0u));
}
