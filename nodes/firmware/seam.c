/* The calls of the seam, and what nodes add to their actions. */

#include "seam.h"

/* ---------------------------------------------------------------------------------- calls */

void node_start(int64_t now_ns, uint8_t reset_cause, node_actions *actions)
{
    the_node.calls->on_start(the_node.self, now_ns, reset_cause, actions);
}

void node_frame(int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    const busim_watched *watched = busim_node_watch_of(frame->id);
    busim_frame taken = *frame;
    if (watched == NULL || bus >= BUSIM_MOST_BUSES || (((unsigned)watched->buses >> bus) & 1u) == 0u || frame->length > 8u) {
        return;
    }
#ifdef BROKEN_CRC_UNCHECKED
    if (busim_code_of(taken.id) < 16u && taken.length == 8u) {
        busim_seal(&taken, busim_counter_of(&taken));
    }
#endif
    the_node.calls->on_frame(the_node.self, now_ns, bus, &taken, actions);
}

void node_input(int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions)
{
    the_node.calls->on_input(the_node.self, now_ns, channel, value, actions);
}

void node_sent(int64_t now_ns, uint8_t bus, uint16_t id, node_actions *actions)
{
    if (the_node.calls->on_sent != NULL) {
        the_node.calls->on_sent(the_node.self, now_ns, bus, id, actions);
    }
}

void node_controller_is(int64_t now_ns, uint8_t bus, node_controller state, node_actions *actions)
{
    if (the_node.calls->on_controller != NULL) {
        the_node.calls->on_controller(the_node.self, now_ns, bus, state, actions);
    }
}

void node_deadline(int64_t now_ns, node_actions *actions)
{
    the_node.calls->on_deadline(the_node.self, now_ns, actions);
}

int64_t node_deadline_ns(void)
{
    return *the_node.deadline_ns;
}

/* ---------------------------------------------------------------------------------- actions */

static node_action *next_entry(node_actions *actions, node_action_kind kind)
{
    static const node_action nothing = {NODE_SEND, 0u, {0u, 0u, {0u, 0u, 0u, 0u, 0u, 0u, 0u, 0u}}, 0, 0u, 0, 0u, 0u};
    node_action *entry;
    if (actions->count >= NODE_MOST_ACTIONS) {
        actions->overflowed = true;
        return NULL;
    }
    entry = &actions->entry[actions->count++];
    *entry = nothing;
    entry->kind = kind;
    return entry;
}

#ifdef BROKEN_WRONG_ID
#define FREE_CODE 14u /* no message has it */
#endif

/* The frame as it goes out: the same, but in a build that is broken on purpose. */
static busim_frame as_sent(const busim_frame *frame)
{
    busim_frame sent = *frame;
#ifdef BROKEN_WRONG_ID
    if (busim_code_of(sent.id) == BUSIM_CODE_DRIVE_OBEYS || busim_code_of(sent.id) == BUSIM_CODE_LEVER) {
        sent.id = (uint16_t)(busim_address_of(sent.id) | (unsigned)FREE_CODE << 6);
        busim_seal(&sent, busim_counter_of(frame));
    }
#endif
#ifdef BROKEN_BYTE_ORDER
    if (busim_code_of(sent.id) == BUSIM_CODE_HEARTBEAT || busim_code_of(sent.id) == BUSIM_CODE_LEVER) {
        const uint8_t first = busim_code_of(sent.id) == BUSIM_CODE_HEARTBEAT ? 3u : 2u;
        sent.data[first] = frame->data[first + 1u];
        sent.data[first + 1u] = frame->data[first];
        busim_seal(&sent, busim_counter_of(frame));
    }
#endif
    return sent;
}

static void put_out(node_actions *actions, node_action_kind kind, const busim_frame *frame, int64_t drop_after_ns)
{
    const uint8_t buses = busim_node_buses_of(frame->id);
    uint8_t bus;
    for (bus = 0u; bus < BUSIM_MOST_BUSES; bus++) {
        node_action *entry = (((unsigned)buses >> bus) & 1u) != 0u ? next_entry(actions, kind) : NULL;
        if (entry != NULL) {
            entry->bus = bus;
            entry->frame = as_sent(frame);
            entry->drop_after_ns = drop_after_ns;
        }
    }
}

void node_send(node_actions *actions, const busim_frame *frame, int64_t drop_after_ns)
{
    put_out(actions, NODE_SEND, frame, drop_after_ns);
}

void node_queue(node_actions *actions, const busim_frame *frame, int64_t drop_after_ns)
{
    put_out(actions, NODE_QUEUE, frame, drop_after_ns);
}

void node_output(node_actions *actions, uint16_t channel, int32_t value)
{
    node_action *entry = next_entry(actions, NODE_OUTPUT);
    if (entry != NULL) {
        entry->channel = channel;
        entry->value = value;
    }
}

void node_row(node_actions *actions, uint8_t row, uint8_t cause)
{
    node_action *entry = next_entry(actions, NODE_ROW);
    if (entry != NULL) {
        entry->row = row;
        entry->cause = cause;
    }
}

/* ---------------------------------------------------------------------------------- time */

int64_t node_following(int64_t due_ns, int64_t period_ns, int64_t now_ns)
{
    const int64_t next_ns = due_ns + period_ns;
    return next_ns > now_ns ? next_ns : now_ns + period_ns;
}

int64_t node_earlier(int64_t one_ns, int64_t other_ns)
{
    return one_ns < other_ns ? one_ns : other_ns;
}

int64_t node_timeout_ns(uint32_t timeout_ms)
{
#ifdef BROKEN_TIMEOUTS_TRIPLED
    return (int64_t)timeout_ms * 3 * NODE_MS;
#else
    return (int64_t)timeout_ms * NODE_MS;
#endif
}
