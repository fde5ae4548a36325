/* See slcan.h. */

#include "slcan.h"

static const char digits[] = "0123456789ABCDEF";

void slcan_start(slcan_line *line)
{
    line->length = 0u;
    line->too_long = false;
}

static int16_t value_of(char digit)
{
    if (digit >= '0' && digit <= '9') {
        return (int16_t)(digit - '0');
    }
    if (digit >= 'A' && digit <= 'F') {
        return (int16_t)(digit - 'A' + 10);
    }
    return digit >= 'a' && digit <= 'f' ? (int16_t)(digit - 'a' + 10) : (int16_t)-1;
}

/* `count` hex digits from `text`; -1 where one is none. */
static int32_t number_in(const char *text, uint8_t count)
{
    int32_t number = 0;
    uint8_t place;
    for (place = 0u; place < count; place++) {
        const int16_t value = value_of(text[place]);
        if (value < 0) {
            return -1;
        }
        number = number * 16 + value;
    }
    return number;
}

/* An 11-bit data frame, with or without the adapter's time stamp. */
static bool read_frame(const slcan_line *line, busim_frame *frame)
{
    const int32_t id = line->length >= 5u ? number_in(&line->text[1], 3u) : -1;
    const int32_t length = line->length >= 5u ? number_in(&line->text[4], 1u) : -1;
    uint8_t place;
    if (line->text[0] != 't' || id < 0 || id > 0x7FF || length < 0 || length > 8 ||
        (line->length != 5 + 2 * length && line->length != 9 + 2 * length)) {
        return false;
    }
    frame->id = (uint16_t)id;
    frame->length = (uint8_t)length;
    for (place = 0u; place < 8u; place++) {
        const int32_t byte = place < frame->length ? number_in(&line->text[5u + 2u * place], 2u) : 0;
        if (byte < 0) {
            return false;
        }
        frame->data[place] = (uint8_t)byte;
    }
    return true;
}

slcan_said slcan_feed(slcan_line *line, char byte, busim_frame *frame)
{
    slcan_said said = SLCAN_OTHER;
    if (byte == '\a') {
        slcan_start(line);
        return SLCAN_REFUSED;
    }
    if (byte != '\r') {
        if (line->length < SLCAN_LONGEST) {
            line->text[line->length++] = byte;
        } else {
            line->too_long = true;
        }
        return SLCAN_NOTHING;
    }
    if (!line->too_long) {
        if (line->length == 0u || (line->length == 1u && (line->text[0] == 'z' || line->text[0] == 'Z'))) {
            said = SLCAN_TAKEN;
        } else if (read_frame(line, frame)) {
            said = SLCAN_FRAME;
        }
    }
    slcan_start(line);
    return said;
}

uint8_t slcan_write(const busim_frame *frame, char text[SLCAN_LONGEST])
{
    uint8_t length = 0u;
    uint8_t place;
    text[length++] = 't';
    text[length++] = digits[(frame->id >> 8) & 7u];
    text[length++] = digits[(frame->id >> 4) & 15u];
    text[length++] = digits[frame->id & 15u];
    text[length++] = digits[frame->length & 15u];
    for (place = 0u; place < frame->length && place < 8u; place++) {
        text[length++] = digits[frame->data[place] >> 4];
        text[length++] = digits[frame->data[place] & 15u];
    }
    text[length++] = '\r';
    return length;
}

char slcan_rate(uint32_t bit_rate)
{
    static const uint32_t rates[9] = {10000u, 20000u, 50000u, 100000u, 125000u, 250000u, 500000u, 800000u, 1000000u};
    uint8_t place;
    for (place = 0u; place < 9u; place++) {
        if (rates[place] == bit_rate) {
            return digits[place];
        }
    }
    return '\0';
}
