/* The message bench (code 30), in builds for the bench and in no others: values in from address 63, outputs out. Without -DNODE_BENCH
 * these do nothing.
 */

#ifndef PORT_BENCH_H
#define PORT_BENCH_H

#include "port.h"

/* Machinery at rest, until the first value comes. */
void port_bench_start(void);
/* True where the frame was the bench's, and not for the node. */
bool port_bench_frame(const busim_frame *frame);
void port_bench_output(const char *name, int32_t value);

/* The port's: an input has this value. */
void port_host_input(uint16_t channel, int32_t value);

#endif /* PORT_BENCH_H */
