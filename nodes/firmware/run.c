/* The main loop: what the board brings goes into the node, what the node wants goes out to the board. */

#include "port.h"

#define MOST_A_ROUND 64u /* a bus that is full must not keep the deadline waiting for ever */

static node_actions actions;

static void carry_out(int64_t now_ns)
{
    uint16_t place;
    for (place = 0u; place < actions.count; place++) {
        const node_action *action = &actions.entry[place];
        if (action->kind == NODE_OUTPUT) {
            port_output(action->channel, action->value);
        } else if (action->kind != NODE_ROW) {
            port_send(action->bus, &action->frame, action->kind == NODE_SEND, now_ns + action->drop_after_ns);
        }
    }
    actions.count = 0u;
}

static void take_inputs(void)
{
    uint16_t channel;
    int32_t value;
    uint8_t count;
    for (count = 0u; count < MOST_A_ROUND && port_input(&channel, &value); count++) {
        const int64_t now_ns = port_now_ns();
        node_input(now_ns, channel, value, &actions);
        carry_out(now_ns);
    }
}

void node_run_start(void)
{
    const int64_t now_ns = port_now_ns();
    actions.count = 0u;
    actions.overflowed = false;
    node_start(now_ns, port_reset_cause(), &actions);
    carry_out(now_ns);
    take_inputs();
}

static void take_frames(void)
{
    busim_frame frame;
    uint8_t bus;
    uint8_t count;
    for (count = 0u; count < MOST_A_ROUND && port_receive(&bus, &frame); count++) {
        const int64_t now_ns = port_now_ns();
        node_frame(now_ns, bus, &frame, &actions);
        carry_out(now_ns);
    }
}

static void take_news(void)
{
    node_controller state;
    uint8_t bus;
    uint16_t id;
    uint8_t count;
    for (count = 0u; count < MOST_A_ROUND && port_controller(&bus, &state); count++) {
        const int64_t now_ns = port_now_ns();
        node_controller_is(now_ns, bus, state, &actions);
        carry_out(now_ns);
    }
    for (count = 0u; count < MOST_A_ROUND && port_sent(&bus, &id); count++) {
        const int64_t now_ns = port_now_ns();
        node_sent(now_ns, bus, id, &actions);
        carry_out(now_ns);
    }
}

void node_run_round(void)
{
    int64_t now_ns;
    take_news();
    take_inputs();
    take_frames(); /* before the deadline: what came in time counts */
    now_ns = port_now_ns();
    if (node_deadline_ns() <= now_ns) {
        node_deadline(now_ns, &actions);
        carry_out(now_ns);
    }
    port_feed_watchdog();
    port_wait(node_deadline_ns());
}
