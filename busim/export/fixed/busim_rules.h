/* Rules of the protocol that have memory: which frames count, who is silent, which take stands, when two frames agree.
 * In the words of the written page (busim export protocol). No heap, no floating point, no clock: `now_ms` is the node's own
 * time in milliseconds and may run over. Every watch is set up with its *_start function before anything else.
 */

#ifndef BUSIM_RULES_H
#define BUSIM_RULES_H

#include <stdbool.h>
#include <stdint.h>

#include "busim_boat.h"
#include "busim_protocol.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---------------------------------------------------------------------------------- the counter of safety frames */

typedef enum busim_verdict {
    BUSIM_DUPLICATE = 0, /* nothing new: ignored, and feeds no timeout */
    BUSIM_ACCEPTED = 1,  /* it counts */
    BUSIM_REFUSED = 2    /* a gap: ignored, remembered, and feeds no timeout */
} busim_verdict;

/* One sender's counter on one bus. `last` and `candidate` are -1 where there is none yet. */
typedef struct busim_counter_watch {
    int16_t last;
    int16_t candidate;
    uint8_t max_gap;
} busim_counter_watch;

/* Also to be called where a sender is to be followed anew, as if nothing of it had been heard. */
void busim_counter_start(busim_counter_watch *watch, uint8_t max_gap);
busim_verdict busim_counter_judge(busim_counter_watch *watch, uint8_t counter);

/* The sender's side: one more each time the task that sampled ran, 0 after 255. */
uint8_t busim_counter_next(uint8_t counter);

/* ---------------------------------------------------------------------------------- timeouts */

/* A limit is met at exactly the limit. Once over it stays over until it is fed, also when the clock runs round; for that, ask at
 * least every 24 days. An interrupt may feed it after `now_ms` was read. */
typedef struct busim_timeout {
    uint32_t fed_ms;
    bool over;
} busim_timeout;

/* As if it had never been fed: over. */
void busim_timeout_start(busim_timeout *timeout);
void busim_timeout_feed(busim_timeout *timeout, uint32_t now_ms);
bool busim_timeout_over(busim_timeout *timeout, uint32_t now_ms, uint32_t limit_ms);

/* ---------------------------------------------------------------------------------- one sender on several buses */

/* One bus of several by which a sender is heard. */
typedef struct busim_bus_watch {
    busim_counter_watch counter;
    busim_timeout silence; /* fed by what counted on this bus */
    busim_timeout near;    /* fed when it began to keep up again; over: it has for long enough */
    bool astray;           /* it does not keep up at all */
} busim_bus_watch;

/* One sender's counter on all the buses it is heard by: the first valid new frame counts, whichever bus it comes by. Of a single
 * bus it does the same as busim_counter_watch, whatever the time. What was silent for 24 days may be held back until it has said
 * more than once. */
typedef struct busim_pair_watch {
    busim_bus_watch bus[BUSIM_MOST_BUSES];
    uint8_t buses; /* bit n: bus n */
    int16_t last;
    int16_t alone_bus;
    busim_timeout alone; /* fed when `alone_bus` began to be the only one to bring anything */
    uint32_t limit_ms;
} busim_pair_watch;

/* The limit of a message by its code, as the page lists them. */
uint32_t busim_pair_limit_ms(uint8_t code);
void busim_pair_start(busim_pair_watch *watch, uint8_t buses, uint8_t max_gap, uint32_t limit_ms);
busim_verdict busim_pair_judge(busim_pair_watch *watch, uint32_t now_ms, uint8_t bus, uint8_t counter);

/* ---------------------------------------------------------------------------------- heartbeats */

/* This node's own: the fingerprints are those of the boat file it was exported from. */
void busim_heartbeat_fill(busim_heartbeat *heartbeat, uint8_t state, uint8_t reset_cause, uint8_t build);

/* Another node's. One that was never heard is as missing as one that fell silent. */
typedef struct busim_heartbeat_watch {
    busim_pair_watch counter;
    busim_timeout silence;
    bool heard;
    bool same_helm;
    bool same_lighting;
    busim_heartbeat last;
} busim_heartbeat_watch;

void busim_heartbeat_start(busim_heartbeat_watch *watch, uint8_t buses);
/* True where the frame counts; else nothing has changed. */
bool busim_heartbeat_hear(busim_heartbeat_watch *watch, uint32_t now_ms, uint8_t bus, const busim_frame *frame);
bool busim_heartbeat_missing(busim_heartbeat_watch *watch, uint32_t now_ms);
/* Not missing, and built from the same helm values. */
bool busim_heartbeat_good(busim_heartbeat_watch *watch, uint32_t now_ms);

/* ---------------------------------------------------------------------------------- taking control */

/* Is `number` newer than `than`? 0 is no number: newer than none, and every other is newer than it. */
bool busim_number_newer(uint16_t number, uint16_t than);
/* The number after it, for whoever takes: after 65535 comes 1. */
uint16_t busim_number_next(uint16_t number);
/* Does the take (number, station) go before the one obeyed now: a newer number, or the same from a lower address? */
bool busim_take_outbids(uint16_t number, uint8_t station, uint16_t obeyed_number, uint8_t obeyed_station);

typedef enum busim_claim_says {
    BUSIM_CLAIM_SAYS_NOTHING = 0,  /* not yet: a first claim, or one unlike the one before */
    BUSIM_CLAIM_SAYS_TAKE = 1,     /* two in a row agree in number and set, and want this one */
    BUSIM_CLAIM_SAYS_WITHDRAWN = 2 /* the take of this number is off */
} busim_claim_says;

/* The last claim of one station that counted. */
typedef struct busim_claim_watch {
    busim_claim last;
    bool any;
    bool in_neutral; /* after SAYS_TAKE: both had the lever for this drive in neutral */
} busim_claim_watch;

void busim_claim_start(busim_claim_watch *watch);
/* A claim whose CRC was right and whose counter counted. `wants`: one of BUSIM_TAKES_. What it says still has to outbid the take
 * obeyed, come from a station that may, whose heartbeat is good, and pass what else the page asks. */
busim_claim_says busim_claim_hear(busim_claim_watch *watch, const busim_claim *claim, uint8_t wants);

/* ---------------------------------------------------------------------------------- one to reduce, two to add */

typedef struct busim_asked {
    uint8_t gear;
    uint16_t throttle_permille;
} busim_asked;

/* What a lever frame asks of a drive (1 or 2). False where it makes no sense for this drive: the frame then fails as a whole. */
bool busim_lever_asks(const busim_lever *lever, uint8_t drive, busim_asked *asked);
/* What two in a row agree on: the gear only where both ask for it, else neutral; the lower throttle of the two. */
busim_asked busim_both_ask(busim_asked before, busim_asked last);

/* ---------------------------------------------------------------------------------- lights */

/* PWM duty for a lightness in permille, 0 to `steps` (2^bits - 1): CIE 1976 L*. What is lit at all gets one step at least. */
uint16_t busim_duty_for(uint16_t level_permille, uint16_t steps);

/* NULL where there is none of that number. */
const busim_scene_plan *busim_scene_numbered(uint8_t number);
const busim_zone_plan *busim_zone_numbered(uint8_t number);
/* What a scene asks of a zone; NULL where the zone is not in it. */
const busim_scene_level *busim_scene_level_of(const busim_scene_plan *scene, uint8_t zone);
/* False: whoever said this revision holds another scene table than this node. */
bool busim_scene_table_same(uint16_t revision);

#ifdef __cplusplus
}
#endif

#endif /* BUSIM_RULES_H */
