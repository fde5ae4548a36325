/* One node of nodes/firmware, spoken to in lines: each call of the seam is a line, and so is what it answered.
 *
 *   S now cause | F now bus id data | I now channel value | N now bus id | C now bus state | D now
 *   -> actions, each behind a blank, then @deadline:  s0 281 00..ff 100000000 / q0 .. / o channel value / r row cause
 *
 * Times in ns; id and data in hex, data "-" where there is none.
 */

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "channels.h"
#include "seam.h"

static node_actions actions;

static void print_actions(void)
{
    uint16_t place;
    for (place = 0u; place < actions.count; place++) {
        const node_action *action = &actions.entry[place];
        char name[NODE_LONGEST_CHANNEL];
        uint8_t byte;
        switch (action->kind) {
        case NODE_SEND:
        case NODE_QUEUE:
            printf("%c%u %x ", action->kind == NODE_SEND ? 's' : 'q', (unsigned)action->bus, (unsigned)action->frame.id);
            for (byte = 0u; byte < action->frame.length; byte++) {
                printf("%02x", (unsigned)action->frame.data[byte]);
            }
            printf(" %" PRId64 " ", action->drop_after_ns);
            break;
        case NODE_OUTPUT:
            (void)node_channel_name(the_node.outputs, action->channel, name);
            printf("o %s %" PRId32 " ", name, action->value);
            break;
        default:
            printf("r %u %u ", (unsigned)action->row, (unsigned)action->cause);
            break;
        }
    }
    printf("%s@%" PRId64 "\n", actions.overflowed ? "overflowed " : "", node_deadline_ns());
}

static int read_frame(const char *line, int64_t *now_ns, unsigned *bus, busim_frame *frame)
{
    char data[40];
    unsigned id;
    unsigned byte;
    size_t place;
    if (sscanf(line + 1, "%" SCNd64 " %u %x %39s", now_ns, bus, &id, data) != 4) {
        return 0;
    }
    memset(frame, 0, sizeof *frame);
    frame->id = (uint16_t)id;
    for (place = 0u; data[0] != '-' && place < 8u && sscanf(data + 2u * place, "%2x", &byte) == 1; place++) {
        frame->data[place] = (uint8_t)byte;
        frame->length++;
        if (data[2u * place + 2u] == '\0') {
            break;
        }
    }
    return 1;
}

static int carry_out(const char *line)
{
    int64_t now_ns;
    unsigned first;
    unsigned second;
    int32_t value;
    char channel[40];
    uint16_t number;
    busim_frame frame;
    actions.count = 0u;
    actions.overflowed = false;
    switch (line[0]) {
    case 'S':
        if (sscanf(line + 1, "%" SCNd64 " %u", &now_ns, &first) != 2) {
            return 0;
        }
        node_start(now_ns, (uint8_t)first, &actions);
        return 1;
    case 'F':
        if (!read_frame(line, &now_ns, &first, &frame)) {
            return 0;
        }
        node_frame(now_ns, (uint8_t)first, &frame, &actions);
        return 1;
    case 'I':
        if (sscanf(line + 1, "%" SCNd64 " %39s %" SCNd32, &now_ns, channel, &value) != 3) {
            return 0;
        }
        if (node_channel_number(the_node.inputs, channel, &number)) {
            node_input(now_ns, number, value, &actions);
        }
        return 1;
    case 'N':
    case 'C':
        if (sscanf(line + 1, "%" SCNd64 " %u %x", &now_ns, &first, &second) != 3) {
            return 0;
        }
        if (line[0] == 'N') {
            node_sent(now_ns, (uint8_t)first, (uint16_t)second, &actions);
        } else {
            node_controller_is(now_ns, (uint8_t)first, (node_controller)second, &actions);
        }
        return 1;
    case 'D':
        if (sscanf(line + 1, "%" SCNd64, &now_ns) != 1) {
            return 0;
        }
        node_deadline(now_ns, &actions);
        return 1;
    default:
        return 0;
    }
}

int main(void)
{
    char line[160];
    while (fgets(line, sizeof line, stdin) != NULL) {
        if (!carry_out(line)) {
            fprintf(stderr, "not a call: %s", line);
            return 2;
        }
        print_actions();
    }
    return 0;
}
