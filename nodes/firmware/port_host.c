/* A port for a desk: one node as a program of a POSIX system, on a CAN bus by way of an slcan adapter. For a bench and for nothing
 * else: an ordinary computer keeps no deadline, and the adapter keeps frames this program can take back no more.
 *
 *   program [KIND NAME] PLACE...     PLACE: HOST:PORT or the path of a serial port or pseudo-terminal; BUS=PLACE for bus BUS
 *
 * KIND and NAME are checked: a program is built for one node. Inputs come as lines on standard input, `lever.1 860`; outputs go as
 * lines to standard output. Standard input may end; what was not said was never read. With -DNODE_BENCH the message bench (code
 * 30) brings inputs and takes outputs too (port_bench.c). The adapter tells no error state: bus-off is not heard of here.
 */

#define _POSIX_C_SOURCE 200809L

#include <errno.h>
#include <inttypes.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "channels.h"
#include "mailboxes.h"
#include "port.h"
#include "port_bench.h"
#include "port_host.h"
#include "slcan.h"

#define WAITING_MOST 64u /* frames, and inputs, that came and were not fetched yet */
#define LINE_MOST 80u
#define ANSWER_NS (500 * NODE_MS) /* an adapter that did not answer for so long is asked anew */

typedef struct adapter {
    int file; /* -1: this bus is not connected, and frames for it are lost */
    slcan_line line;
    node_mailboxes boxes;
    bool asked; /* a frame was handed over, and not answered yet */
    int64_t asked_ns;
} adapter;

static adapter adapters[BUSIM_MOST_BUSES];
static struct {
    uint8_t bus;
    busim_frame frame;
} received[WAITING_MOST];
static unsigned received_count;
static struct {
    uint16_t channel;
    int32_t value;
} read_inputs[WAITING_MOST];
static unsigned input_count;
static char input_line[LINE_MOST];
static size_t input_length;
static bool input_ended;
static struct timespec began;

/* ---------------------------------------------------------------------------------- the adapter */

static void put(adapter *to, const char *text, size_t length)
{
    while (length > 0u) {
        const ssize_t written = write(to->file, text, length);
        if (written > 0) {
            text += written;
            length -= (size_t)written;
        } else if (errno == EAGAIN) {
            struct pollfd room = {0, POLLOUT, 0};
            room.fd = to->file;
            (void)poll(&room, 1, 100);
        } else if (errno != EINTR) {
            fprintf(stderr, "the adapter is gone\n");
            exit(1);
        }
    }
}

static void send_next(adapter *to)
{
    busim_frame frame;
    char text[SLCAN_LONGEST];
    const int64_t now_ns = port_now_ns();
    if (to->asked && now_ns - to->asked_ns < ANSWER_NS) {
        return;
    }
    to->asked = node_mailboxes_take(&to->boxes, now_ns, &frame);
    if (to->asked) {
        to->asked_ns = now_ns;
        put(to, text, slcan_write(&frame, text));
    }
}

static void take_byte(uint8_t bus, char byte)
{
    busim_frame frame;
    switch (slcan_feed(&adapters[bus].line, byte, &frame)) {
    case SLCAN_FRAME:
        if (received_count < WAITING_MOST) {
            received[received_count].bus = bus;
            received[received_count].frame = frame;
            received_count++;
        }
        break;
    case SLCAN_TAKEN:
    case SLCAN_REFUSED:
        adapters[bus].asked = false;
        break;
    default:
        break;
    }
}

static void take_bytes(uint8_t bus)
{
    char bytes[256];
    const ssize_t count = read(adapters[bus].file, bytes, sizeof bytes);
    ssize_t place;
    if (count == 0 || (count < 0 && errno != EAGAIN && errno != EINTR)) {
        fprintf(stderr, "the adapter is gone\n");
        exit(1);
    }
    for (place = 0; place < count; place++) {
        take_byte(bus, bytes[place]);
    }
}

/* ---------------------------------------------------------------------------------- inputs and outputs as lines */

void port_host_input(uint16_t channel, int32_t value)
{
    if (input_count < WAITING_MOST) {
        read_inputs[input_count].channel = channel;
        read_inputs[input_count].value = value;
        input_count++;
    }
}

static void take_line(const char *line)
{
    char name[LINE_MOST];
    char rest;
    int32_t value;
    uint16_t channel;
    if (sscanf(line, "%79s %" SCNd32 " %c", name, &value, &rest) != 2) {
        fprintf(stderr, "not an input and its value: %s\n", line);
    } else if (!node_channel_number(the_node.inputs, name, &channel)) {
        fprintf(stderr, "a %s has no input %s\n", the_node.kind, name);
    } else {
        port_host_input(channel, value);
    }
}

static void take_words(void)
{
    char bytes[256];
    const ssize_t count = read(STDIN_FILENO, bytes, sizeof bytes);
    ssize_t place;
    if (count == 0 || (count < 0 && errno != EAGAIN && errno != EINTR)) {
        input_ended = true;
    }
    for (place = 0; place < count; place++) {
        if (bytes[place] == '\n') {
            input_line[input_length] = '\0';
            take_line(input_line);
            input_length = 0u;
        } else if (input_length + 1u < LINE_MOST) {
            input_line[input_length++] = bytes[place];
        }
    }
}

/* ---------------------------------------------------------------------------------- what port.h asks for */

int64_t port_now_ns(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)(now.tv_sec - began.tv_sec) * NODE_SECOND + (int64_t)(now.tv_nsec - began.tv_nsec);
}

uint8_t port_reset_cause(void)
{
    return BUSIM_RESET_POWER_ON;
}

bool port_receive(uint8_t *bus, busim_frame *frame)
{
    while (received_count > 0u) {
        *bus = received[0].bus;
        *frame = received[0].frame;
        received_count--;
        memmove(&received[0], &received[1], received_count * sizeof received[0]);
        if (!port_bench_frame(frame)) {
            return true;
        }
    }
    return false;
}

bool port_sent(uint8_t *bus, uint16_t *id)
{
    (void)bus;
    (void)id;
    return false; /* an adapter tells what it took, not what was acknowledged */
}

bool port_controller(uint8_t *bus, node_controller *state)
{
    (void)bus;
    (void)state;
    return false;
}

bool port_input(uint16_t *channel, int32_t *value)
{
    if (input_count == 0u) {
        return false;
    }
    *channel = read_inputs[0].channel;
    *value = read_inputs[0].value;
    input_count--;
    memmove(&read_inputs[0], &read_inputs[1], input_count * sizeof read_inputs[0]);
    return true;
}

void port_output(uint16_t channel, int32_t value)
{
    char name[NODE_LONGEST_CHANNEL];
    if (node_channel_name(the_node.outputs, channel, name)) {
        printf("%s %" PRId32 "\n", name, value);
        (void)fflush(stdout);
        port_bench_output(name, value);
    }
}

void port_send(uint8_t bus, const busim_frame *frame, bool own_mailbox, int64_t drop_at_ns)
{
    if (bus < BUSIM_MOST_BUSES && adapters[bus].file >= 0) {
        node_mailboxes_put(&adapters[bus].boxes, frame, own_mailbox, drop_at_ns);
        send_next(&adapters[bus]);
    }
}

void port_feed_watchdog(void)
{
}

void port_wait(int64_t until_ns)
{
    struct pollfd files[BUSIM_MOST_BUSES + 1u];
    const int64_t wait_ns = until_ns - port_now_ns();
    int64_t wait_ms = wait_ns <= 0 ? 0 : (wait_ns + NODE_MS - 1) / NODE_MS;
    uint8_t bus;
    if (input_count > 0u || received_count > 0u) {
        wait_ms = 0;
    }
    for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
        if (adapters[bus].file >= 0) {
            send_next(&adapters[bus]); /* one that was not answered may be due anew */
        }
        files[bus].fd = adapters[bus].file;
        files[bus].events = POLLIN;
        files[bus].revents = 0;
    }
    files[BUSIM_MOST_BUSES].fd = input_ended ? -1 : STDIN_FILENO;
    files[BUSIM_MOST_BUSES].events = POLLIN;
    files[BUSIM_MOST_BUSES].revents = 0;
    if (poll(files, BUSIM_MOST_BUSES + 1u, (int)(wait_ms < 100 ? wait_ms : 100)) <= 0) {
        return;
    }
    for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
        if (files[bus].revents != 0) {
            take_bytes(bus);
            send_next(&adapters[bus]);
        }
    }
    if (files[BUSIM_MOST_BUSES].revents != 0) {
        take_words();
    }
}

/* ---------------------------------------------------------------------------------- opening */

static uint32_t bit_rate_of(uint8_t bus)
{
    uint16_t place;
    for (place = 0u; place < busim_node_taps_count; place++) {
        if (busim_node_taps[place].bus == bus) {
            return busim_node_taps[place].bit_rate;
        }
    }
    return 0u;
}

static void open_place(const char *word)
{
    const char *equals = strchr(word, '=');
    const char *place = equals != NULL ? equals + 1 : word;
    char text[8] = "\rC\rS?\r";
    uint8_t bus = busim_node_taps[0].bus;
    adapter *opened;
    if (equals != NULL) {
        if (equals != word + 1 || word[0] < '0' || word[0] >= '0' + (char)BUSIM_MOST_BUSES) {
            port_host_give_up("not the number of a bus", word);
        }
        bus = (uint8_t)(word[0] - '0');
    }
    if (bit_rate_of(bus) == 0u || adapters[bus].file >= 0) {
        port_host_give_up("this node is not on that bus, or it was named before", word);
    }
    opened = &adapters[bus];
    opened->file = port_host_open(place);
    text[4] = slcan_rate(bit_rate_of(bus));
    if (text[4] != '\0') {
        put(opened, text, 6u); /* whatever was left over, closed, the rate */
    }
    put(opened, "O\r", 2u);
}

int main(int count, char **words)
{
    const int first = count > 3 ? 3 : 1;
    int place;
    uint8_t bus;
    for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
        adapters[bus].file = -1;
        slcan_start(&adapters[bus].line);
    }
    if (count < 2) {
        fprintf(stderr, "usage: %s [KIND NAME] [BUS=]HOST:PORT or path of a serial port...\n", words[0]);
        return 2;
    }
    if (first == 3 && (strcmp(words[1], the_node.kind) != 0 || strcmp(words[2], BUSIM_NODE_NAME) != 0)) {
        fprintf(stderr, "this program is the %s %s, and no other\n", the_node.kind, BUSIM_NODE_NAME);
        return 2;
    }
    (void)signal(SIGPIPE, SIG_IGN);
    (void)clock_gettime(CLOCK_MONOTONIC, &began);
    for (place = first; place < count; place++) {
        open_place(words[place]);
    }
    fprintf(stderr, "%s %s of %s%s\n", the_node.kind, BUSIM_NODE_NAME, busim_boat_stamp,
            NODE_IS_BROKEN ? "; BROKEN ON PURPOSE" : "");
    port_bench_start();
    node_run_start();
    for (;;) {
        node_run_round();
    }
}
