/* Rules of the protocol that have memory: see busim_rules.h. */

#include "busim_rules.h"

#include <stddef.h>

/* ---------------------------------------------------------------------------------- the counter of safety frames */

void busim_counter_start(busim_counter_watch *watch, uint8_t max_gap)
{
    watch->last = -1;
    watch->candidate = -1;
    watch->max_gap = max_gap;
}

busim_verdict busim_counter_judge(busim_counter_watch *watch, uint8_t counter)
{
    if (watch->last >= 0) {
        const uint8_t ahead = (uint8_t)(counter - (uint8_t)watch->last);
        if (ahead == 0u) {
            return BUSIM_DUPLICATE;
        }
        if (ahead <= watch->max_gap) {
            watch->last = counter;
            watch->candidate = -1;
            return BUSIM_ACCEPTED;
        }
    }
    if (watch->candidate >= 0 && (uint8_t)(counter - (uint8_t)watch->candidate) == 1u) {
        watch->last = counter;
        watch->candidate = -1;
        return BUSIM_ACCEPTED;
    }
    watch->candidate = counter;
    return BUSIM_REFUSED;
}

uint8_t busim_counter_next(uint8_t counter)
{
    return (uint8_t)(counter + 1u);
}

/* ---------------------------------------------------------------------------------- timeouts */

void busim_timeout_start(busim_timeout *timeout)
{
    timeout->fed_ms = 0u;
    timeout->over = true;
}

void busim_timeout_feed(busim_timeout *timeout, uint32_t now_ms)
{
    timeout->fed_ms = now_ms;
    timeout->over = false;
}

bool busim_timeout_over(busim_timeout *timeout, uint32_t now_ms, uint32_t limit_ms)
{
    const uint32_t elapsed_ms = (uint32_t)(now_ms - timeout->fed_ms);
    /* Half way round or more: fed after `now_ms` was read, by an interrupt say. */
    if (elapsed_ms < 0x80000000ul && elapsed_ms >= limit_ms) {
        timeout->over = true;
    }
    return timeout->over;
}

/* ---------------------------------------------------------------------------------- one sender on several buses */

uint32_t busim_pair_limit_ms(uint8_t code)
{
    switch (code) {
    case BUSIM_CODE_CLAIM:
        return BUSIM_BOAT_TIMING_TRANSFER_MS;
    case BUSIM_CODE_LEVER:
    case BUSIM_CODE_WHEEL:
        return BUSIM_BOAT_TIMING_CONTROL_TIMEOUT_MS;
    case BUSIM_CODE_DRIVE_OBEYS:
        return BUSIM_BOAT_TIMING_AGE_MAX_MS;
    case BUSIM_CODE_ALARM:
    case BUSIM_CODE_CONDITION:
        return BUSIM_ALARM_UNCONFIRMED_MS;
    case BUSIM_CODE_ALARM_ANSWER:
        return BUSIM_ALARM_ANSWER_LONGEST_MS;
    default:
        return BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS;
    }
}

void busim_pair_start(busim_pair_watch *watch, uint8_t buses, uint8_t max_gap, uint32_t limit_ms)
{
    uint8_t bus;
    for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
        busim_bus_watch *each = &watch->bus[bus];
        busim_counter_start(&each->counter, max_gap);
        busim_timeout_start(&each->silence);
        busim_timeout_start(&each->near);
        each->astray = false;
    }
    watch->buses = buses;
    watch->last = -1;
    watch->alone_bus = -1;
    busim_timeout_start(&watch->alone);
    watch->limit_ms = limit_ms;
}

/* Does another bus than this one stand at the counter acted on last? */
static bool stands_elsewhere(const busim_pair_watch *watch, uint8_t bus)
{
    uint8_t other;
    for (other = 0u; other < BUSIM_MOST_BUSES; other++) {
        if (other != bus && (((unsigned)watch->buses >> other) & 1u) != 0u && watch->bus[other].counter.last == watch->last) {
            return true;
        }
    }
    return false;
}

/* Of a frame so far ahead of the last acted on: does it count? */
static bool is_new(busim_pair_watch *watch, uint32_t now_ms, uint8_t bus, uint8_t ahead)
{
    busim_bus_watch *each = &watch->bus[bus];
    const uint32_t half_ms = watch->limit_ms / 2u;
    const bool keeps_up = busim_timeout_over(&each->near, now_ms, half_ms) && !each->astray;
    const bool alone = busim_timeout_over(&watch->alone, now_ms, half_ms);
    if (ahead != 0u && ((ahead < 0x80u && keeps_up) || alone || !stands_elsewhere(watch, bus))) {
        return true;
    }
    if (ahead > each->counter.max_gap && ahead < 0x100u - each->counter.max_gap) {
        each->astray = true;
    } else if (each->astray) {
        each->astray = false;
        busim_timeout_feed(&each->near, now_ms);
    }
    return false;
}

/* A frame by `bus` is acted on: that one keeps up, and who brought nothing for long does not. */
static void acted_on(busim_pair_watch *watch, uint32_t now_ms, uint8_t bus)
{
    uint8_t other;
    busim_timeout_start(&watch->bus[bus].near);
    watch->bus[bus].astray = false;
    for (other = 0u; other < BUSIM_MOST_BUSES; other++) {
        if (busim_timeout_over(&watch->bus[other].silence, now_ms, watch->limit_ms)) {
            watch->bus[other].astray = true;
        }
    }
}

busim_verdict busim_pair_judge(busim_pair_watch *watch, uint32_t now_ms, uint8_t bus, uint8_t counter)
{
    busim_bus_watch *each;
    busim_verdict verdict;
    if (bus >= BUSIM_MOST_BUSES || (((unsigned)watch->buses >> bus) & 1u) == 0u) {
        return BUSIM_REFUSED;
    }
    each = &watch->bus[bus];
    verdict = busim_counter_judge(&each->counter, counter);
    if (verdict != BUSIM_ACCEPTED) {
        return verdict;
    }
    if (watch->alone_bus != (int16_t)bus || busim_timeout_over(&each->silence, now_ms, watch->limit_ms)) {
        watch->alone_bus = (int16_t)bus;
        busim_timeout_feed(&watch->alone, now_ms);
    }
    busim_timeout_feed(&each->silence, now_ms);
    if (watch->last < 0) {
        uint8_t other;
        for (other = 0u; other < BUSIM_MOST_BUSES; other++) {
            busim_timeout_feed(&watch->bus[other].silence, now_ms); /* whoever is not heard from now on is silent */
        }
    } else if (!is_new(watch, now_ms, bus, (uint8_t)(counter - (uint8_t)watch->last))) {
        return BUSIM_DUPLICATE;
    }
    watch->last = counter;
    acted_on(watch, now_ms, bus);
    return BUSIM_ACCEPTED;
}

/* ---------------------------------------------------------------------------------- heartbeats */

void busim_heartbeat_fill(busim_heartbeat *heartbeat, uint8_t state, uint8_t reset_cause, uint8_t build)
{
    heartbeat->state = state;
    heartbeat->reset_cause = reset_cause;
    heartbeat->helm_fingerprint = BUSIM_BOAT_FINGERPRINT_OF_HELM;
    heartbeat->lighting_fingerprint = BUSIM_BOAT_FINGERPRINT_OF_LIGHTING;
    heartbeat->build = build;
}

void busim_heartbeat_start(busim_heartbeat_watch *watch, uint8_t buses)
{
    static const busim_heartbeat nothing = {0u, 0u, 0u, 0u, 0u};
    busim_pair_start(&watch->counter, buses, BUSIM_BOAT_TIMING_MAX_GAP, busim_pair_limit_ms(BUSIM_CODE_HEARTBEAT));
    busim_timeout_start(&watch->silence);
    watch->heard = false;
    watch->same_helm = false;
    watch->same_lighting = false;
    watch->last = nothing;
}

bool busim_heartbeat_hear(busim_heartbeat_watch *watch, uint32_t now_ms, uint8_t bus, const busim_frame *frame)
{
    busim_heartbeat heartbeat;
    const busim_result result = busim_heartbeat_unpack(frame, &heartbeat);
    /* A state or cause of a later firmware is no reason to take the node for silent. */
    if (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) {
        return false;
    }
    if (busim_pair_judge(&watch->counter, now_ms, bus, busim_counter_of(frame)) != BUSIM_ACCEPTED) {
        return false;
    }
    busim_timeout_feed(&watch->silence, now_ms);
    watch->heard = true;
    watch->same_helm = heartbeat.helm_fingerprint == BUSIM_BOAT_FINGERPRINT_OF_HELM;
    watch->same_lighting = heartbeat.lighting_fingerprint == BUSIM_BOAT_FINGERPRINT_OF_LIGHTING;
    watch->last = heartbeat;
    return true;
}

bool busim_heartbeat_missing(busim_heartbeat_watch *watch, uint32_t now_ms)
{
    return busim_timeout_over(&watch->silence, now_ms, BUSIM_BOAT_TIMING_HEARTBEAT_MISSING_MS);
}

bool busim_heartbeat_good(busim_heartbeat_watch *watch, uint32_t now_ms)
{
    return !busim_heartbeat_missing(watch, now_ms) && watch->same_helm;
}

/* ---------------------------------------------------------------------------------- taking control */

bool busim_number_newer(uint16_t number, uint16_t than)
{
    const uint16_t ahead = (uint16_t)(number - than);
    if (number == 0u || than == 0u) {
        return number > than;
    }
    return ahead > 0u && ahead < 0x8000u;
}

uint16_t busim_number_next(uint16_t number)
{
    return number == 0xFFFFu ? 1u : (uint16_t)(number + 1u);
}

bool busim_take_outbids(uint16_t number, uint8_t station, uint16_t obeyed_number, uint8_t obeyed_station)
{
    return busim_number_newer(number, obeyed_number) || (number == obeyed_number && station < obeyed_station);
}

void busim_claim_start(busim_claim_watch *watch)
{
    static const busim_claim nothing = {0u, 0u, 0u, 0u, 0u, 0u, 0u};
    watch->last = nothing;
    watch->any = false;
    watch->in_neutral = false;
}

static bool claims_neutral(const busim_claim *claim, uint8_t wants)
{
    if (wants == BUSIM_TAKES_DRIVE_1) {
        return claim->gear_1 == BUSIM_GEAR_NEUTRAL;
    }
    return wants != BUSIM_TAKES_DRIVE_2 || claim->gear_2 == BUSIM_GEAR_NEUTRAL;
}

busim_claim_says busim_claim_hear(busim_claim_watch *watch, const busim_claim *claim, uint8_t wants)
{
    const busim_claim before = watch->last;
    const bool agree = watch->any && before.number == claim->number && before.wanted == claim->wanted;
    watch->last = *claim;
    watch->any = true;
    watch->in_neutral = agree && claims_neutral(&before, wants) && claims_neutral(claim, wants);
    if (claim->withdrawn != 0u) {
        watch->any = false;
        watch->in_neutral = false;
        return BUSIM_CLAIM_SAYS_WITHDRAWN;
    }
    return agree && (claim->wanted & wants) != 0u ? BUSIM_CLAIM_SAYS_TAKE : BUSIM_CLAIM_SAYS_NOTHING;
}

/* ---------------------------------------------------------------------------------- one to reduce, two to add */

bool busim_lever_asks(const busim_lever *lever, uint8_t drive, busim_asked *asked)
{
    asked->gear = drive == 1u ? lever->gear_1 : lever->gear_2;
    asked->throttle_permille = drive == 1u ? lever->throttle_1 : lever->throttle_2;
    return asked->gear <= BUSIM_GEAR_ASTERN && asked->throttle_permille <= BUSIM_LEVER_THROTTLE_1_MAX;
}

busim_asked busim_both_ask(busim_asked before, busim_asked last)
{
    busim_asked both = last;
    if (before.gear != last.gear) {
        both.gear = BUSIM_GEAR_NEUTRAL;
    }
    if (before.throttle_permille < last.throttle_permille) {
        both.throttle_permille = before.throttle_permille;
    }
    return both;
}

/* ---------------------------------------------------------------------------------- lights */

uint16_t busim_duty_for(uint16_t level_permille, uint16_t steps)
{
    const uint64_t level = level_permille < 1000u ? level_permille : 1000u;
    /* The share of full light as part / whole: CIE 1976 lightness, linear up to L* 8. */
    const uint64_t part = level <= 80u ? level * 27u : (level + 160u) * (level + 160u) * (level + 160u);
    const uint64_t whole = level <= 80u ? 243890u : 1560896000u; /* 1160 cubed */
    const uint64_t duty = (2u * part * steps + whole) / (2u * whole);
    if (level == 0u) {
        return 0u;
    }
    return duty > 0u ? (uint16_t)duty : 1u;
}

const busim_scene_plan *busim_scene_numbered(uint8_t number)
{
    uint16_t place;
    for (place = 0u; place < busim_boat_scenes_count; place++) {
        if (busim_boat_scenes[place].number == number) {
            return &busim_boat_scenes[place];
        }
    }
    return NULL;
}

const busim_zone_plan *busim_zone_numbered(uint8_t number)
{
    uint16_t place;
    for (place = 0u; place < busim_boat_zones_count; place++) {
        if (busim_boat_zones[place].number == number) {
            return &busim_boat_zones[place];
        }
    }
    return NULL;
}

const busim_scene_level *busim_scene_level_of(const busim_scene_plan *scene, uint8_t zone)
{
    uint16_t place;
    for (place = 0u; place < scene->levels_count; place++) {
        if (scene->levels[place].zone == zone) {
            return &scene->levels[place];
        }
    }
    return NULL;
}

bool busim_scene_table_same(uint16_t revision)
{
    return revision == BUSIM_BOAT_REVISION_OF_SCENES;
}
