/* Which share of its outputs makes a colour, or a colour temperature. The Python one is nodes/lamp_colour.py.
 *
 * Whole numbers only: a table of sRGB (IEC 61966-2-1) and mixing matrices, both to 31 bits. Where the Python one comes within some
 * 1e-4 of half a part of 65,535, this may round the other way: seldom, and by one part (tests/unit/test_firmware_zones.py counts).
 */

#ifndef ZONE_COLOUR_H
#define ZONE_COLOUR_H

#include <stdbool.h>
#include <stdint.h>

#define ZONE_FULL_SHARE 65535u
#define ZONE_MOST_CHANNELS 4u

/* Shares of warm and cool, the brighter one full. True where the temperature is out of their reach: then it is the nearest. */
bool zone_kelvin_shares(uint32_t kelvin, uint32_t warm_k, uint32_t cool_k, uint16_t shares[ZONE_MOST_CHANNELS]);
/* Shares of red, green, blue and, of four channels, white, for 8 bits each of red, green and blue. True as above. */
bool zone_rgb_shares(uint32_t colour, uint16_t channels, uint16_t shares[ZONE_MOST_CHANNELS]);

#endif /* ZONE_COLOUR_H */
