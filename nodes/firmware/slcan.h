/* The program's end of slcan, the ASCII protocol of serial CAN adapters (LAWICEL CANUSB and CAN232 manuals): text in and out of
 * frames, and no I/O.
 */

#ifndef SLCAN_H
#define SLCAN_H

#include "seam.h"

#define SLCAN_LONGEST 32u /* more than the longest line an adapter sends */

typedef enum slcan_said {
    SLCAN_NOTHING = 0, /* the line is not whole yet */
    SLCAN_FRAME = 1,
    SLCAN_TAKEN = 2,   /* a command, or a frame for transmission, was taken */
    SLCAN_REFUSED = 3, /* BEL */
    SLCAN_OTHER = 4    /* whatever else: left alone */
} slcan_said;

typedef struct slcan_line {
    char text[SLCAN_LONGEST];
    uint8_t length;
    bool too_long;
} slcan_line;

void slcan_start(slcan_line *line);
/* Take one byte the adapter sent. */
slcan_said slcan_feed(slcan_line *line, char byte, busim_frame *frame);
/* The command that sends a frame, CR behind it; returns how many bytes. */
uint8_t slcan_write(const busim_frame *frame, char text[SLCAN_LONGEST]);
/* The digit of the command S for this bit rate; 0 where it has none. */
char slcan_rate(uint32_t bit_rate);

#endif /* SLCAN_H */
