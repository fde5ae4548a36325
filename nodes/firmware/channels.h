/* Channels by name: for what speaks to people or to a file. A microcontroller needs none of it. */

#ifndef CHANNELS_H
#define CHANNELS_H

#include "seam.h"

#define NODE_LONGEST_CHANNEL 24u /* with the end of the text */

/* False where the kind has no such channel. */
bool node_channel_number(const node_channel *channels, const char *name, uint16_t *number);
/* False where the kind has no such number; `name` is then empty. */
bool node_channel_name(const node_channel *channels, uint16_t number, char name[NODE_LONGEST_CHANNEL]);

#endif /* CHANNELS_H */
