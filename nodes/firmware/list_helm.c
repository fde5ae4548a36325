/* See list_helm.h. */

#include "list_helm.h"

#define LET_GO_OF_NS NODE_SECOND /* a key not heard pressed for so long was let go, or its station is silent */
#define LOCK_FORGOTTEN_NS ((int64_t)BUSIM_ALARM_LOCK_FORGOTTEN_MS * NODE_MS)

void list_helm_start(list_helm *helm, int64_t now_ns)
{
    uint16_t place;
    helm->drive_count = 0u;
    for (place = 0u; place < busim_boat_drives_count; place++) {
        const uint8_t address = (uint8_t)busim_boat_drives[place].address;
        if (busim_node_watch_of(busim_id(BUSIM_CODE_DRIVE_OBEYS, address)) != NULL && helm->drive_count < LIST_DRIVES) {
            list_drive *drive = &helm->drives[helm->drive_count++];
            drive->address = address;
            drive->heard_ns = -NODE_NEVER;
            drive->station = 0u;
            drive->master = 0u;
            drive->asked = false;
        }
    }
    for (place = 0u; place < busim_boat_stations_count; place++) {
        list_key *key = &helm->keys[place];
        key->address = (uint8_t)busim_boat_stations[place].address;
        key->pressed_ns = NODE_NEVER;
        key->heard_ns = -NODE_NEVER;
        key->locks = 0u;
        key->locks_ns = -NODE_NEVER;
    }
    helm->nobody_ns = now_ns;
    helm->lost = false;
}

/* ---------------------------------------------------------------------------------- what it hears */

const list_drive *list_drive_at(const list_helm *helm, uint8_t address)
{
    uint8_t place;
    for (place = 0u; place < helm->drive_count; place++) {
        if (helm->drives[place].address == address) {
            return &helm->drives[place];
        }
    }
    return NULL;
}

void list_helm_obeys(list_helm *helm, int64_t now_ns, const busim_frame *frame, const busim_drive_obeys *said)
{
    uint8_t place;
    for (place = 0u; place < helm->drive_count; place++) {
        list_drive *drive = &helm->drives[place];
        if (drive->address == busim_address_of(frame->id)) {
            drive->heard_ns = now_ns;
            drive->asked = said->station == 0u && said->cause == BUSIM_CAUSE_NEUTRAL_NOW;
            drive->station = said->station;
            drive->master = said->station != 0u ? said->station : drive->master;
        }
    }
}

void list_helm_key(list_helm *helm, int64_t now_ns, uint8_t station, bool pressed, uint16_t locks)
{
    uint16_t place;
    for (place = 0u; place < busim_boat_stations_count; place++) {
        list_key *key = &helm->keys[place];
        if (key->address == station) {
            key->pressed_ns = !pressed ? NODE_NEVER : key->pressed_ns == NODE_NEVER ? now_ns : key->pressed_ns;
            key->heard_ns = pressed ? now_ns : key->heard_ns;
            key->locks = (uint16_t)(locks & ~(1u << station)); /* nobody locks out a key of its own */
            key->locks_ns = now_ns;
        }
    }
}

/* ---------------------------------------------------------------------------------- what it sees */

uint16_t list_helm_stuck(list_helm *helm, int64_t now_ns)
{
    uint16_t found = 0u;
    uint16_t place;
    for (place = 0u; place < busim_boat_stations_count; place++) {
        list_key *key = &helm->keys[place];
        if (key->pressed_ns == NODE_NEVER) {
            continue;
        }
        if (now_ns - key->heard_ns >= LET_GO_OF_NS) {
            key->pressed_ns = NODE_NEVER;
        } else if (now_ns - key->pressed_ns >= (int64_t)BUSIM_ALARM_KEY_STUCK_MS * NODE_MS) {
            found = (uint16_t)(found | (1u << key->address));
        }
    }
    return found;
}

/* Every drive heard obeys nobody: at once after a loss, else once there was time to take control. */
static bool nobody(list_helm *helm, int64_t now_ns)
{
    bool any_heard = false;
    bool any_obeys = false;
    bool all_asked = true;
    uint8_t place;
    for (place = 0u; place < helm->drive_count; place++) {
        const list_drive *drive = &helm->drives[place];
        if (now_ns - drive->heard_ns < node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS)) {
            any_heard = true;
            any_obeys = any_obeys || drive->station != 0u;
            all_asked = all_asked && drive->asked;
        }
    }
    if (!any_heard || any_obeys) {
        helm->nobody_ns = NODE_NEVER;
        helm->lost = helm->lost || any_obeys;
        return false;
    }
    if (helm->nobody_ns == NODE_NEVER) {
        helm->nobody_ns = now_ns;
    }
    return (helm->lost && !all_asked) || now_ns - helm->nobody_ns >= (int64_t)BUSIM_ALARM_NOBODY_AFTER_MS * NODE_MS;
}

void list_helm_causes(list_helm *helm, int64_t now_ns, list_causes *causes)
{
    uint16_t locked = 0u; /* keys that some station names stuck */
    uint16_t stuck;
    uint16_t place;
    if (nobody(helm, now_ns)) {
        list_causes_add(causes, BUSIM_ALARM_IS_ABOUT_NOBODY_IN_CONTROL, 0u);
    }
    for (place = 0u; place < busim_boat_stations_count; place++) {
        if (now_ns - helm->keys[place].locks_ns < LOCK_FORGOTTEN_NS) {
            locked = (uint16_t)(locked | helm->keys[place].locks);
        }
    }
    stuck = list_helm_stuck(helm, now_ns);
    for (place = 0u; place < busim_boat_stations_count; place++) {
        const uint8_t station = helm->keys[place].address;
        if ((((unsigned)stuck & ~(unsigned)locked) >> station & 1u) != 0u) {
            list_causes_add(causes, BUSIM_ALARM_IS_ABOUT_NEUTRAL_KEY_STUCK, station);
        }
    }
    for (place = 0u; place < busim_boat_stations_count; place++) {
        const uint8_t station = helm->keys[place].address;
        if (((unsigned)locked >> station & 1u) != 0u) {
            list_causes_add(causes, BUSIM_ALARM_IS_ABOUT_KEY_LOCKED_OUT, station);
        }
    }
}
