/* The node seam in C: what a node is to the program round it, and that program to a node. The same rules as busim/seam.py.
 *
 * A node is a state machine without input or output of its own. It is handed the time of its own clock with every call and adds
 * what it wants done to a list; it knows no clock, no controller, no interrupt. So the same code runs on a microcontroller, on a
 * desk (port_host.c) and under the traces that hold it against the Python node (tests/unit/test_firmware.py).
 *
 * Rules every node keeps:
 * - `deadline_ns` is the one moment it wants to be called at. Whoever calls it reads that after every call.
 * - Time never runs backwards; at equal times a frame comes before a deadline. A limit is met at exactly the limit.
 * - A call is total: any data, any value, any order. It neither blocks nor fails.
 * - C99: no heap, no floating point, no recursion, nothing but stdbool.h, stddef.h, stdint.h and what busim export c gives.
 *
 * One program is one node: busim_node.h is that node's own export. What each file is, and who may change it:
 *   seam, watch, member, alarms   shared by all kinds: written with the frame, changed with an eye to every kind
 *   zone_*, station_*, drive_*    one kind each
 *   port.h, port_*.c              what a microcontroller has to give (README.md)
 */

#ifndef SEAM_H
#define SEAM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "busim_node.h"
#include "busim_protocol.h"
#include "broken.h"

#define NODE_MS ((int64_t)1000000)
#define NODE_SECOND ((int64_t)1000000000)
#define NODE_NEVER ((int64_t)1 << 62) /* later than any run; -NODE_NEVER is longer ago than any limit */

#ifndef NODE_MOST_ACTIONS
#define NODE_MOST_ACTIONS 192u /* of one call. A zone driver that starts moves every output and tells every zone */
#endif

typedef enum node_action_kind {
    NODE_SEND = 0,  /* into the frame's own mailbox of that bus: it overwrites an unsent frame of the same id */
    NODE_QUEUE = 1, /* the same behind what waits, overwriting nothing */
    NODE_OUTPUT = 2,
    NODE_ROW = 3 /* a row of this kind's state table was taken: for a trace, and for nobody else */
} node_action_kind;

typedef struct node_action {
    node_action_kind kind;
    uint8_t bus;
    busim_frame frame;
    int64_t drop_after_ns; /* unsent once that old, it is dropped */
    uint16_t channel;      /* of an output: the kind's own numbers */
    int32_t value;
    uint8_t row;
    uint8_t cause; /* 0: none */
} node_action;

typedef struct node_actions {
    uint16_t count;
    bool overflowed; /* some were lost: NODE_MOST_ACTIONS is too small for this node */
    node_action entry[NODE_MOST_ACTIONS];
} node_actions;

typedef enum node_controller {
    NODE_ERROR_ACTIVE = 0,
    NODE_ERROR_PASSIVE = 1,
    NODE_BUS_OFF = 2
} node_controller;

/* A kind of node. `self` is its memory; NULL stands for a call it does not want. `actions` is added to, never emptied. */
typedef struct node_calls {
    void (*on_start)(void *self, int64_t now_ns, uint8_t reset_cause, node_actions *actions);
    void (*on_frame)(void *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions);
    void (*on_input)(void *self, int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions);
    void (*on_sent)(void *self, int64_t now_ns, uint8_t bus, uint16_t id, node_actions *actions);
    void (*on_controller)(void *self, int64_t now_ns, uint8_t bus, node_controller state, node_actions *actions);
    void (*on_deadline)(void *self, int64_t now_ns, node_actions *actions);
} node_calls;

/* A channel by its name: "lever." has numbers behind it, "take" has none. A table of them ends with a NULL name. */
typedef struct node_channel {
    const char *name;
    uint16_t number; /* of a numbered one: of number 0 */
    bool numbered;
    bool analogue; /* sampled every 20 ms; else told at every change */
} node_channel;

/* One node: each kind gives one `the_node`, and the program links one kind. */
typedef struct node {
    const char *kind;
    const node_calls *calls;
    void *self;
    const int64_t *deadline_ns;
    const node_channel *inputs;
    const node_channel *outputs;
} node;

extern const node the_node;

/* The calls, as whoever runs a node makes them. A frame that is not in busim_node_watches, or came by another bus, is not handed
 * on: that table is the acceptance filter. */
void node_start(int64_t now_ns, uint8_t reset_cause, node_actions *actions);
void node_frame(int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions);
void node_input(int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions);
void node_sent(int64_t now_ns, uint8_t bus, uint16_t id, node_actions *actions);
void node_controller_is(int64_t now_ns, uint8_t bus, node_controller state, node_actions *actions);
void node_deadline(int64_t now_ns, node_actions *actions);
int64_t node_deadline_ns(void);

/* What nodes add. The first two put a frame on every bus it is for, lowest number first. */
void node_send(node_actions *actions, const busim_frame *frame, int64_t drop_after_ns);
void node_queue(node_actions *actions, const busim_frame *frame, int64_t drop_after_ns);
void node_output(node_actions *actions, uint16_t channel, int32_t value);
void node_row(node_actions *actions, uint8_t row, uint8_t cause);

/* The next moment of a periodic task that was due: a program that hung for a while skips what it missed. */
int64_t node_following(int64_t due_ns, int64_t period_ns, int64_t now_ns);
int64_t node_earlier(int64_t one_ns, int64_t other_ns);
/* A timeout of the boat, in ns. */
int64_t node_timeout_ns(uint32_t timeout_ms);

#endif /* SEAM_H */
