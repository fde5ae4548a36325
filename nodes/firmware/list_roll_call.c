/* See list_roll_call.h. */

#include "list_roll_call.h"

#include "watch.h"

#define TOGETHER_NS ((int64_t)BUSIM_ALARM_TOGETHER_MS * NODE_MS)
/* Nodes behind one cut are found missing one after another, as their heartbeats would have come. */
#define SETTLE_NS (2 * (int64_t)BUSIM_BOAT_TIMING_HEARTBEAT_MS * NODE_MS)

/* ---------------------------------------------------------------------------------- causes */

bool list_same_cause(list_cause one, list_cause other)
{
    return one.which == other.which && one.about == other.about;
}

static list_cause cause_of(uint8_t which, uint8_t about)
{
    list_cause cause;
    cause.which = which;
    cause.about = about;
    return cause;
}

bool list_causes_have(const list_causes *causes, list_cause cause)
{
    uint8_t place;
    for (place = 0u; place < causes->count; place++) {
        if (list_same_cause(causes->entry[place], cause)) {
            return true;
        }
    }
    return false;
}

void list_causes_add(list_causes *causes, uint8_t which, uint8_t about)
{
    const list_cause cause = cause_of(which, about);
    if (causes->count < LIST_MOST_CAUSES && !list_causes_have(causes, cause)) {
        causes->entry[causes->count++] = cause;
    }
}

/* As in a dictionary: a child that has a place keeps it. */
static void put_under(list_parents *parents, list_cause child, list_cause parent)
{
    uint8_t place;
    for (place = 0u; place < parents->count; place++) {
        if (list_same_cause(parents->entry[place].child, child)) {
            parents->entry[place].parent = parent;
            return;
        }
    }
    if (parents->count < LIST_MOST_PARENTS) {
        parents->entry[parents->count].child = child;
        parents->entry[parents->count].parent = parent;
        parents->count++;
    }
}

list_cause list_parent_of(const list_roll_call *call, list_cause child)
{
    uint8_t place;
    for (place = 0u; place < call->parents.count; place++) {
        if (list_same_cause(call->parents.entry[place].child, child)) {
            return call->parents.entry[place].parent;
        }
    }
    return cause_of(0u, 0u);
}

/* ---------------------------------------------------------------------------------- hearing */

static bool of_helm(uint8_t address)
{
    return address <= BUSIM_LAST_HELM_ADDRESS;
}

static bool is_on(unsigned buses, uint8_t bus)
{
    return ((buses >> bus) & 1u) != 0u;
}

void list_roll_call_start(list_roll_call *call, int64_t now_ns)
{
    uint16_t place;
    call->count = 0u;
    call->changed_ns = now_ns;
    call->causes.count = 0u;
    call->parents.count = 0u;
    for (place = 0u; place < busim_node_watches_count; place++) {
        const busim_watched *watched = &busim_node_watches[place];
        const uint8_t address = busim_address_of(watched->id);
        if (busim_code_of(watched->id) == BUSIM_CODE_HEARTBEAT && address != BUSIM_NODE_ADDRESS && call->count < LIST_MOST_OTHERS) {
            list_presence *presence = &call->members[call->count++];
            uint8_t bus;
            presence->address = address;
            presence->buses = watched->buses;
            presence->missing = 0u;
            presence->same_boat = true;
            presence->back_ns = now_ns;
            node_watch_start(&presence->counter, BUSIM_CODE_HEARTBEAT, address);
            for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
                presence->heard_ns[bus] = now_ns;
            }
        }
    }
    call->due_ns = call->count > 0u ? now_ns + node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS) : NODE_NEVER;
}

const list_presence *list_presence_of(const list_roll_call *call, uint8_t address)
{
    uint8_t place;
    for (place = 0u; place < call->count; place++) {
        if (call->members[place].address == address) {
            return &call->members[place];
        }
    }
    return NULL;
}

bool list_is_gone(const list_presence *presence)
{
    return presence->missing == presence->buses;
}

/* Note a heartbeat; true where it is a new one. One that only the other bus of a pair brought first shows that this bus is sound. */
static bool heard_by(list_presence *presence, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    const int16_t before = presence->counter.bus[bus].counter.last;
    const bool counts = node_judge(&presence->counter, now_ns, bus, frame) == BUSIM_ACCEPTED;
    if (counts || presence->counter.bus[bus].counter.last != before) {
        presence->heard_ns[bus] = now_ns;
    }
    return counts;
}

void list_roll_call_hear(list_roll_call *call, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    list_presence *presence = NULL;
    busim_heartbeat heartbeat;
    const busim_result result = busim_heartbeat_unpack(frame, &heartbeat);
    const bool sound = result == BUSIM_OK || result == BUSIM_OUT_OF_RANGE;
    bool same_boat;
    uint8_t place;
    for (place = 0u; place < call->count; place++) {
        if (call->members[place].address == busim_address_of(frame->id)) {
            presence = &call->members[place];
        }
    }
    if (presence == NULL) {
        return;
    }
    if (!sound || !heard_by(presence, now_ns, bus, frame)) {
        if (presence->missing != 0u) {
            call->due_ns = now_ns;
        }
        return;
    }
    /* What a navigation node does hangs on nothing of the helm's. */
    same_boat = heartbeat.helm_fingerprint == BUSIM_BOAT_FINGERPRINT_OF_HELM || !of_helm(presence->address);
    if (same_boat != presence->same_boat || presence->missing != 0u) {
        presence->same_boat = same_boat;
        call->due_ns = now_ns;
    }
}

/* ---------------------------------------------------------------------------------- naming what is silent */

/* Nodes of one trunk that are silent on its bus: in the order of the trunk from here outwards, or all but this node. */
typedef struct silent_ones {
    uint8_t address[LIST_MOST_OTHERS];
    int64_t heard_ns[LIST_MOST_OTHERS];
    uint8_t count;
} silent_ones;

static bool silent_on(const list_roll_call *call, uint8_t address, uint8_t bus, int64_t *heard_ns)
{
    const list_presence *presence = list_presence_of(call, address);
    if (presence == NULL || !is_on(presence->missing, bus)) {
        return false;
    }
    *heard_ns = presence->heard_ns[bus];
    return true;
}

static void put_group(list_roll_call *call, list_cause parent, const silent_ones *members)
{
    uint8_t place;
    list_causes_add(&call->causes, parent.which, parent.about);
    for (place = 0u; place < members->count; place++) {
        const list_presence *presence = list_presence_of(call, members->address[place]);
        const bool gone = presence != NULL && list_is_gone(presence);
        const uint8_t which = gone ? BUSIM_ALARM_IS_ABOUT_NODE_LOST : BUSIM_ALARM_IS_ABOUT_ONE_BUS_LOST;
        put_under(&call->parents, cause_of(which, members->address[place]), parent);
    }
}

/* From the far end of the trunk inwards, as long as they are silent and fell silent together; nearest first in the result.
 * `way` 1: towards the end of the list, -1: towards its beginning. */
static silent_ones lost_towards(const list_roll_call *call, const busim_tap *tap, int here, int way)
{
    silent_ones lost;
    int64_t first_ns = 0;
    int64_t last_ns = 0;
    int place = way > 0 ? (int)tap->roll_count - 1 : 0;
    uint8_t turned;
    lost.count = 0u;
    for (; place != here && lost.count < LIST_MOST_OTHERS; place -= way) {
        int64_t heard_ns;
        if (!silent_on(call, tap->roll[place], tap->bus, &heard_ns)) {
            break;
        }
        first_ns = lost.count == 0u ? heard_ns : node_earlier(first_ns, heard_ns);
        last_ns = lost.count == 0u || heard_ns > last_ns ? heard_ns : last_ns;
        if (last_ns - first_ns > TOGETHER_NS) {
            break;
        }
        lost.address[lost.count] = tap->roll[place];
        lost.heard_ns[lost.count] = heard_ns;
        lost.count++;
    }
    for (turned = 0u; turned + 1u < (unsigned)lost.count - turned; turned++) {
        const uint8_t other = (uint8_t)(lost.count - 1u - turned);
        const uint8_t address = lost.address[turned];
        const int64_t heard_ns = lost.heard_ns[turned];
        lost.address[turned] = lost.address[other];
        lost.heard_ns[turned] = lost.heard_ns[other];
        lost.address[other] = address;
        lost.heard_ns[other] = heard_ns;
    }
    return lost;
}

/* Did anybody else on this bus fall silent with them? */
static bool elsewhere_too(const silent_ones *silent, const silent_ones *lost)
{
    int64_t newest_ns = 0;
    uint8_t place;
    uint8_t each;
    for (place = 0u; place < lost->count; place++) {
        newest_ns = place == 0u || lost->heard_ns[place] > newest_ns ? lost->heard_ns[place] : newest_ns;
    }
    for (place = 0u; place < silent->count; place++) {
        const int64_t apart_ns = silent->heard_ns[place] - newest_ns;
        bool one_of_them = false;
        for (each = 0u; each < lost->count; each++) {
            one_of_them = one_of_them || lost->address[each] == silent->address[place];
        }
        if (!one_of_them && apart_ns <= TOGETHER_NS && apart_ns >= -TOGETHER_NS) {
            return true;
        }
    }
    return false;
}

/* Everybody missing on a bus whom the rest of it is heard without: one alarm, the others under it. */
static void name_beyond(list_roll_call *call, const busim_tap *tap)
{
    silent_ones silent;
    uint16_t place;
    int here = -1;
    int way;
    silent.count = 0u;
    for (place = 0u; place < tap->roll_count; place++) {
        if (tap->roll[place] == BUSIM_NODE_ADDRESS) {
            here = (int)place;
        } else if (silent.count < LIST_MOST_OTHERS &&
                   silent_on(call, tap->roll[place], tap->bus, &silent.heard_ns[silent.count])) {
            silent.address[silent.count++] = tap->roll[place];
        }
    }
    if (here < 0) {
        return;
    }
    if (silent.count > 1u && (uint16_t)(silent.count + 1u) == tap->roll_count) { /* nobody at all by this bus of several */
        put_group(call, cause_of(BUSIM_ALARM_IS_ABOUT_ONE_BUS_LOST, BUSIM_NODE_ADDRESS), &silent);
        return;
    }
    for (way = 1; way >= -1; way -= 2) {
        const silent_ones lost = lost_towards(call, tap, here, way);
        if (lost.count > 1u && !elsewhere_too(&silent, &lost)) {
            put_group(call, cause_of(BUSIM_ALARM_IS_ABOUT_BUS_LOST_BEYOND, lost.address[0]), &lost);
        }
    }
}

/* Everybody of the helm lost: they stand under that, and so do navigation nodes that are lost too. */
static bool name_all_lost(list_roll_call *call)
{
    const list_cause nothing = cause_of(BUSIM_ALARM_IS_ABOUT_HEARS_NOTHING, BUSIM_NODE_ADDRESS);
    bool helm = false;
    uint8_t place;
    for (place = 0u; place < call->count; place++) {
        if (of_helm(call->members[place].address)) {
            helm = true;
            if (!list_is_gone(&call->members[place])) {
                return false;
            }
        }
    }
    if (!helm) {
        return false;
    }
    list_causes_add(&call->causes, nothing.which, nothing.about);
    for (place = 0u; place < call->count; place++) {
        if (list_is_gone(&call->members[place])) {
            put_under(&call->parents, cause_of(BUSIM_ALARM_IS_ABOUT_NODE_LOST, call->members[place].address), nothing);
        }
    }
    return true;
}

static void name_each(list_roll_call *call)
{
    uint8_t place;
    for (place = 0u; place < call->count; place++) {
        const list_presence *presence = &call->members[place];
        if (list_is_gone(presence)) {
            list_causes_add(&call->causes, BUSIM_ALARM_IS_ABOUT_NODE_LOST, presence->address);
        } else if (presence->missing != 0u) {
            list_causes_add(&call->causes, BUSIM_ALARM_IS_ABOUT_ONE_BUS_LOST, presence->address);
        }
        if (!presence->same_boat) {
            list_causes_add(&call->causes, BUSIM_ALARM_IS_ABOUT_OTHER_BOAT_FILE, presence->address);
        }
    }
}

/* What was grouped by a bus, as it was until now. */
static list_parents grouped(const list_parents *parents)
{
    list_parents kept;
    uint8_t place;
    kept.count = 0u;
    for (place = 0u; place < parents->count; place++) {
        const uint8_t which = parents->entry[place].parent.which;
        if (which == BUSIM_ALARM_IS_ABOUT_BUS_LOST_BEYOND || which == BUSIM_ALARM_IS_ABOUT_ONE_BUS_LOST) {
            kept.entry[kept.count++] = parents->entry[place];
        }
    }
    return kept;
}

static void name(list_roll_call *call, bool settled)
{
    list_parents before = grouped(&call->parents);
    bool all_lost;
    uint16_t place;
    call->causes.count = 0u;
    call->parents.count = 0u;
    all_lost = name_all_lost(call);
    name_each(call);
    if (!settled) { /* what was grouped stays so until it is known what became of it */
        for (place = 0u; place < before.count; place++) {
            list_causes_add(&call->causes, before.entry[place].parent.which, before.entry[place].parent.about);
        }
        for (place = 0u; place < call->parents.count; place++) {
            put_under(&before, call->parents.entry[place].child, call->parents.entry[place].parent);
        }
        call->parents = before;
    } else if (!all_lost) {
        for (place = 0u; place < busim_node_taps_count; place++) {
            name_beyond(call, &busim_node_taps[place]);
        }
    }
}

void list_roll_call_look(list_roll_call *call, int64_t now_ns)
{
    int64_t due_ns = NODE_NEVER;
    int64_t settled_ns;
    bool quiet = call->causes.count == 0u && call->parents.count == 0u;
    uint8_t place;
    for (place = 0u; place < call->count; place++) {
        list_presence *presence = &call->members[place];
        const uint8_t before = presence->missing;
        uint8_t missing = 0u;
        uint8_t bus;
        for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
            const int64_t gone_ns = presence->heard_ns[bus] + node_timeout_ns(BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
            if (is_on(presence->buses, bus) && gone_ns <= now_ns) {
                missing = (uint8_t)(missing | (1u << bus));
            } else if (is_on(presence->buses, bus)) {
                due_ns = node_earlier(due_ns, gone_ns);
            }
        }
        presence->missing = missing;
        quiet = quiet && missing == 0u && before == 0u && presence->same_boat;
        if (missing != before) {
            call->changed_ns = now_ns;
            if (before == presence->buses) {
                presence->back_ns = now_ns;
            }
        }
    }
    settled_ns = call->changed_ns + SETTLE_NS;
    call->due_ns = now_ns < settled_ns ? node_earlier(due_ns, settled_ns) : due_ns;
    if (!quiet) {
        name(call, now_ns >= settled_ns);
    }
}
