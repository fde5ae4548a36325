/* See port_bench.h. */

#include "port_bench.h"

#include "channels.h"

#ifdef NODE_BENCH

#define BENCH_ADDRESS 63u

typedef struct bench_channel {
    uint16_t number;
    const char *name;
    int32_t at_rest;
} bench_channel;

/* As the page lists them: below 16 into the node, from 16 on out of it. */
static const bench_channel channels[] = {
    {1u, "shift_position", 0}, {2u, "throttle_position", 0}, {3u, "rpm", 0},        {4u, "neutral_switch", 1}, {5u, "gear_switch", 1},
    {6u, "speed", 0},          {7u, "rudder_angle", 0},      {16u, "throttle", 0},  {17u, "shift", 0},         {18u, "engine_stop", 0},
    {19u, "start_permit", 0},  {20u, "fuel_cut", 0},         {21u, "rudder", 0},    {22u, "rudder_power", 0},
};

#define COUNT (sizeof channels / sizeof channels[0])
#define BEGINS_NS (500 * NODE_MS) /* a bench that was silent for so long is one that begins */

static int32_t told[COUNT]; /* what each output stands at */
static bool any_told[COUNT];
static int64_t heard_ns = -NODE_NEVER;

static bool same(const char *one, const char *other)
{
    while (*one != '\0' && *one == *other) {
        one++;
        other++;
    }
    return *one == *other;
}

void port_bench_start(void)
{
    uint16_t place;
    for (place = 0u; place < COUNT; place++) {
        uint16_t channel;
        if (channels[place].number < 16u && node_channel_number(the_node.inputs, channels[place].name, &channel)) {
            port_host_input(channel, channels[place].at_rest);
        }
    }
}

static void tell(uint16_t place)
{
    busim_bench bench;
    busim_frame frame;
    bench.direction = BUSIM_BENCH_DIRECTION_VALUE_OUT;
    bench.channel = channels[place].number;
    bench.value = told[place];
    if (busim_bench_pack(&bench, BUSIM_NODE_ADDRESS, &frame) == BUSIM_OK) {
        port_send(busim_node_taps[0].bus, &frame, false, port_now_ns() + NODE_SECOND);
    }
}

/* A bench that begins is told what all outputs stand at: they may not change for a while. */
static void greet(void)
{
    const int64_t now_ns = port_now_ns();
    uint16_t place;
    for (place = 0u; place < COUNT && now_ns - heard_ns > BEGINS_NS; place++) {
        if (any_told[place]) {
            tell(place);
        }
    }
    heard_ns = now_ns;
}

bool port_bench_frame(const busim_frame *frame)
{
    busim_bench bench;
    uint16_t place;
    if (frame->id != busim_id(BUSIM_CODE_BENCH, BENCH_ADDRESS)) {
        return false;
    }
    if (busim_bench_unpack(frame, &bench) != BUSIM_OK || bench.direction != BUSIM_BENCH_DIRECTION_VALUE_IN) {
        return true;
    }
    greet();
    for (place = 0u; place < COUNT; place++) {
        uint16_t channel;
        if (channels[place].number == bench.channel && node_channel_number(the_node.inputs, channels[place].name, &channel)) {
            port_host_input(channel, bench.value);
        }
    }
    return true;
}

void port_bench_output(const char *name, int32_t value)
{
    uint16_t place;
    for (place = 0u; place < COUNT; place++) {
        if (channels[place].number >= 16u && same(channels[place].name, name)) {
            told[place] = value;
            any_told[place] = true;
            tell(place);
        }
    }
}

#else

void port_bench_start(void)
{
}

bool port_bench_frame(const busim_frame *frame)
{
    (void)frame;
    return false;
}

void port_bench_output(const char *name, int32_t value)
{
    (void)name;
    (void)value;
}

#endif
