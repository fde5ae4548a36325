/* See member.h. */

#include "member.h"

#include "busim_rules.h"

#define SOFTWARE_MAJOR 0u
#define SOFTWARE_MINOR 1u
#define SOFTWARE_PATCH 0u

void node_member_start(node_member *member, int64_t now_ns, uint8_t reset_cause)
{
    member->beat_due_ns = now_ns;
    member->identity_due_ns = now_ns;
    member->beat_counter = 0u;
    member->reset_cause = reset_cause;
    member->task_ran = true;
    member->working = false;
}

static void beat(node_member *member, node_actions *actions)
{
    busim_heartbeat heartbeat;
    busim_frame frame;
    member->beat_counter = busim_counter_next(member->beat_counter);
    busim_heartbeat_fill(&heartbeat, member->working ? BUSIM_NODE_STATE_WORKING : BUSIM_NODE_STATE_STARTING, member->reset_cause,
                         BUSIM_NODE_BUILD);
    if (busim_heartbeat_pack(&heartbeat, BUSIM_NODE_ADDRESS, member->beat_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, BUSIM_BOAT_TIMING_HEARTBEAT_MS * NODE_MS);
    }
}

static void tell_identity(node_actions *actions)
{
    static const busim_identity identity = {BUSIM_PROTOCOL_VERSION, BUSIM_NODE_KIND, SOFTWARE_MAJOR, SOFTWARE_MINOR, SOFTWARE_PATCH};
    busim_frame frame;
    if (busim_identity_pack(&identity, BUSIM_NODE_ADDRESS, &frame) == BUSIM_OK) {
        node_queue(actions, &frame, NODE_SECOND);
    }
}

void node_member_beat(node_member *member, int64_t now_ns, node_actions *actions)
{
#ifdef BROKEN_BEAT_FROM_TIMER
    member->task_ran = true;
#endif
    if (now_ns >= member->beat_due_ns) {
        member->beat_due_ns = node_following(member->beat_due_ns, BUSIM_BOAT_TIMING_HEARTBEAT_MS * NODE_MS, now_ns);
        if (member->task_ran) {
            member->task_ran = false;
            beat(member, actions);
        }
    }
    if (now_ns >= member->identity_due_ns) {
        member->identity_due_ns = node_following(member->identity_due_ns, NODE_SECOND, now_ns);
        tell_identity(actions);
    }
}
