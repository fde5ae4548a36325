/* What every node does, whatever its kind: heartbeat and identity. Shared by all kinds; the Python one is nodes/member.py.
 *
 * A node sets `task_ran` in its main task: without it, no heartbeat goes out.
 */

#ifndef MEMBER_H
#define MEMBER_H

#include "seam.h"

typedef struct node_member {
    int64_t beat_due_ns;
    int64_t identity_due_ns;
    uint8_t beat_counter;
    uint8_t reset_cause;
    bool task_ran;
    bool working; /* it says "starting" before */
} node_member;

/* Both are due at once. */
void node_member_start(node_member *member, int64_t now_ns, uint8_t reset_cause);
/* Heartbeat and identity, where they are due. */
void node_member_beat(node_member *member, int64_t now_ns, node_actions *actions);

#endif /* MEMBER_H */
