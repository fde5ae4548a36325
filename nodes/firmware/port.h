/* What a node needs of the board it runs on: ten functions. README.md says more to whoever writes them; port_host.c is one set, for
 * a desk. run.c calls them, and nothing else does. None may be called from an interrupt; each returns at once but port_wait.
 */

#ifndef PORT_H
#define PORT_H

#include "seam.h"

/* ns since the program began; never backwards, and without running over in the life of the boat. */
int64_t port_now_ns(void);
/* One of BUSIM_RESET_. */
uint8_t port_reset_cause(void);
/* The oldest frame received and not fetched yet, of 11-bit data frames; false where there is none. */
bool port_receive(uint8_t *bus, busim_frame *frame);
/* A frame of ours that was acknowledged and not fetched yet; false where there is none. */
bool port_sent(uint8_t *bus, uint16_t *id);
/* A change of a controller that was not fetched yet. At bus-off everything that waits to be sent is thrown away, before this is
 * told; rejoining, after the pauses the page names and 128 times 11 recessive bits, is the port's. */
bool port_controller(uint8_t *bus, node_controller *state);
/* An input that has another value than was fetched last: at first each of them. Analogue ones every 20 ms, switches at once. */
bool port_input(uint16_t *channel, int32_t *value);
void port_output(uint16_t channel, int32_t value);
/* Hand a frame over for sending. `own_mailbox`: it overwrites one of the same id that was handed over so and is not sent yet; else
 * it waits behind what waits. At `drop_at_ns`, unsent, it is thrown away. mailboxes.c does all this for a port that wants it. */
void port_send(uint8_t bus, const busim_frame *frame, bool own_mailbox, int64_t drop_at_ns);
/* To be called once in each round of the main loop, by nothing else: a watchdog fed from a timer guards nothing. */
void port_feed_watchdog(void);
/* Return at `until_ns`, or sooner where something was received, sent, changed or read. */
void port_wait(int64_t until_ns);

/* run.c: start the node; then one round of its main loop after another. */
void node_run_start(void);
void node_run_round(void);

#endif /* PORT_H */
