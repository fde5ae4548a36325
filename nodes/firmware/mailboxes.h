/* Frames that wait for one bus's controller, for a port whose controller has few mailboxes of its own: the most urgent goes first,
 * a frame handed over anew replaces the old one, and what grew old is thrown away. A port keeps one of these a bus.
 */

#ifndef MAILBOXES_H
#define MAILBOXES_H

#include "seam.h"

#ifndef NODE_MAILBOXES
#define NODE_MAILBOXES 32u
#endif

typedef struct node_waiting {
    bool used;
    bool own_mailbox;
    uint32_t order; /* of two with one id the older goes first */
    int64_t drop_at_ns;
    busim_frame frame;
} node_waiting;

typedef struct node_mailboxes {
    node_waiting waiting[NODE_MAILBOXES];
    uint32_t order;
    uint16_t lost; /* no room: the least urgent was thrown away */
} node_mailboxes;

/* Also at bus-off: nothing old may come out when the controller is back. */
void node_mailboxes_flush(node_mailboxes *boxes);
void node_mailboxes_put(node_mailboxes *boxes, const busim_frame *frame, bool own_mailbox, int64_t drop_at_ns);
/* Take out the frame to be sent next; false where there is none. */
bool node_mailboxes_take(node_mailboxes *boxes, int64_t now_ns, busim_frame *frame);

#endif /* MAILBOXES_H */
