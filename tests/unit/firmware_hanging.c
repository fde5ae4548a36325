/* A node of one task, which hangs while its input says so: to show what its heartbeat does then. Played through
 * firmware_trace.c.
 */

#include "member.h"
#include "seam.h"

#define PERIOD_NS (20 * NODE_MS)

static struct {
    node_member member;
    int64_t deadline_ns;
    int64_t task_due_ns;
    bool hangs;
} hanging;

static void on_start(void *memory, int64_t now_ns, uint8_t reset_cause, node_actions *actions)
{
    (void)memory;
    (void)actions;
    node_member_start(&hanging.member, now_ns, reset_cause);
    hanging.member.working = true;
    hanging.task_due_ns = now_ns;
    hanging.deadline_ns = now_ns;
}

static void on_frame(void *memory, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    (void)memory;
    (void)now_ns;
    (void)bus;
    (void)frame;
    (void)actions;
}

static void on_input(void *memory, int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions)
{
    (void)memory;
    (void)now_ns;
    (void)channel;
    (void)actions;
    hanging.hangs = value != 0;
}

static void on_deadline(void *memory, int64_t now_ns, node_actions *actions)
{
    (void)memory;
    if (now_ns >= hanging.task_due_ns) {
        hanging.task_due_ns = node_following(hanging.task_due_ns, PERIOD_NS, now_ns);
        if (!hanging.hangs) {
            hanging.member.task_ran = true;
            node_output(actions, 0u, 1);
        }
    }
    node_member_beat(&hanging.member, now_ns, actions);
    hanging.deadline_ns = hanging.task_due_ns;
}

static const node_calls calls = {on_start, on_frame, on_input, NULL, NULL, on_deadline};
static const node_channel inputs[] = {{"hangs", 0u, false, false}, {NULL, 0u, false, false}};
static const node_channel outputs[] = {{"ran", 0u, false, false}, {NULL, 0u, false, false}};

const node the_node = {"hanging", &calls, &hanging, &hanging.deadline_ns, inputs, outputs};
