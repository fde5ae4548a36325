/* What a node follows of others' counters: busim_pair_watch of the export, by the buses that this node hears the sender by.
 *
 * Shared by all kinds.
 */

#ifndef WATCH_H
#define WATCH_H

#include "busim_rules.h"
#include "seam.h"

/* Follow the message of this code from this address anew, as if nothing of it had been heard. */
void node_watch_start(busim_pair_watch *watch, uint8_t code, uint8_t address);
/* The verdict on a frame that is sound. */
busim_verdict node_judge(busim_pair_watch *watch, int64_t now_ns, uint8_t bus, const busim_frame *frame);

#endif /* WATCH_H */
