/* Whom a listener hears of helm and navigation nodes, and what silence means: one node, everybody beyond a place of a bus, or all.
 * The Python one is nodes/roll_call.py.
 *
 * A node counts as missing once nothing of it was heard for heartbeat_missing_ms; one that was never heard, so long after this
 * node's own start. The order of nodes along each trunk is that of busim_node_taps.
 */

#ifndef LIST_ROLL_CALL_H
#define LIST_ROLL_CALL_H

#include "busim_rules.h"
#include "seam.h"

/* Navigation lights, and nodes that feed them, that there is room for: with more the tables would no longer fit 8-bit counts. */
#define LIST_MOST_LIGHTS (BUSIM_BOAT_COUNT_OF_NAVIGATION_LIGHTS < 24u ? BUSIM_BOAT_COUNT_OF_NAVIGATION_LIGHTS : 24u)
#define LIST_MOST_OTHERS (BUSIM_LAST_HELM_ADDRESS - 1u + LIST_MOST_LIGHTS) /* but this node's own address */
#define LIST_MOST_CAUSES (4u * LIST_MOST_OTHERS + 8u) /* of a roll call: 4 for each other node, and some */
#define LIST_MOST_PARENTS (2u * LIST_MOST_OTHERS)     /* a node lost, or lost on one bus */

/* An alarm, and the address it is about. `which` 0: none. */
typedef struct list_cause {
    uint8_t which;
    uint8_t about;
} list_cause;

bool list_same_cause(list_cause one, list_cause other);

typedef struct list_causes {
    list_cause entry[LIST_MOST_CAUSES];
    uint8_t count;
} list_causes;

/* Each is kept once, at its first place. */
void list_causes_add(list_causes *causes, uint8_t which, uint8_t about);
bool list_causes_have(const list_causes *causes, list_cause cause);

typedef struct list_parent {
    list_cause child;
    list_cause parent;
} list_parent;

typedef struct list_parents {
    list_parent entry[LIST_MOST_PARENTS];
    uint8_t count;
} list_parents;

/* One other node. */
typedef struct list_presence {
    uint8_t address;
    uint8_t buses;   /* bit n: it is heard by bus n */
    uint8_t missing; /* the same: it is missing on */
    bool same_boat;
    busim_pair_watch counter;
    int64_t heard_ns[BUSIM_MOST_BUSES]; /* when its heartbeat came by that bus last */
    int64_t back_ns;                    /* since when it has been there without a break */
} list_presence;

typedef struct list_roll_call {
    list_presence members[LIST_MOST_OTHERS]; /* by rising address */
    uint8_t count;
    int64_t due_ns;     /* when to look again */
    int64_t changed_ns; /* when somebody was found missing, or heard again, last */
    list_causes causes; /* what there is to alarm */
    list_parents parents;
} list_roll_call;

void list_roll_call_start(list_roll_call *call, int64_t now_ns);
void list_roll_call_hear(list_roll_call *call, int64_t now_ns, uint8_t bus, const busim_frame *frame);
/* To be called once `due_ns` has come. */
void list_roll_call_look(list_roll_call *call, int64_t now_ns);
/* NULL where nobody whose silence is alarmed is heard under this address. */
const list_presence *list_presence_of(const list_roll_call *call, uint8_t address);
bool list_is_gone(const list_presence *presence);
/* What this one stands under; `which` 0: nothing. */
list_cause list_parent_of(const list_roll_call *call, list_cause child);

#endif /* LIST_ROLL_CALL_H */
