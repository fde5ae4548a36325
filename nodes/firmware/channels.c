/* See channels.h. */

#include "channels.h"

/* The rest of `text` behind `start`; NULL where it begins otherwise. */
static const char *behind(const char *text, const char *start)
{
    while (*start != '\0') {
        if (*text != *start) {
            return NULL;
        }
        text++;
        start++;
    }
    return text;
}

/* A number of 0 to 255 and nothing behind it; -1 otherwise. */
static int32_t number_in(const char *text)
{
    int32_t value = 0;
    if (*text == '\0') {
        return -1;
    }
    for (; *text != '\0'; text++) {
        if (*text < '0' || *text > '9') {
            return -1;
        }
        value = value * 10 + (*text - '0');
        if (value > 255) {
            return -1;
        }
    }
    return value;
}

bool node_channel_number(const node_channel *channels, const char *name, uint16_t *number)
{
    for (; channels->name != NULL; channels++) {
        const char *rest = behind(name, channels->name);
        const int32_t given = rest == NULL ? -1 : !channels->numbered && *rest == '\0' ? 0 : number_in(rest);
        if (given >= 0 && channels->numbered == (*rest != '\0')) {
            *number = (uint16_t)(channels->number + given);
            return true;
        }
    }
    return false;
}

bool node_channel_name(const node_channel *channels, uint16_t number, char name[NODE_LONGEST_CHANNEL])
{
    uint8_t length = 0u;
    const char *letter;
    name[0] = '\0';
    while (channels->name != NULL &&
           (number < channels->number || number > channels->number + (channels->numbered ? 255u : 0u))) {
        channels++;
    }
    if (channels->name == NULL) {
        return false;
    }
    for (letter = channels->name; *letter != '\0' && length < NODE_LONGEST_CHANNEL - 4u; letter++) {
        name[length++] = *letter;
    }
    if (channels->numbered) {
        const uint16_t behind_it = (uint16_t)(number - channels->number);
        if (behind_it >= 100u) {
            name[length++] = (char)('0' + behind_it / 100u);
        }
        if (behind_it >= 10u) {
            name[length++] = (char)('0' + behind_it / 10u % 10u);
        }
        name[length++] = (char)('0' + behind_it % 10u);
    }
    name[length] = '\0';
    return true;
}
