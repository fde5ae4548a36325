/* See watch.h. */

#include "watch.h"

void node_watch_start(busim_pair_watch *watch, uint8_t code, uint8_t address)
{
    const busim_watched *watched = busim_node_watch_of(busim_id(code, address));
    busim_pair_start(watch, watched != NULL ? watched->buses : 0u, BUSIM_BOAT_TIMING_MAX_GAP,
                     busim_pair_limit_ms(code));
}

busim_verdict node_judge(busim_pair_watch *watch, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    const busim_verdict verdict = busim_pair_judge(watch, (uint32_t)(now_ns / NODE_MS), bus, busim_counter_of(frame));
#ifdef BROKEN_COUNTER_IGNORED
    (void)verdict;
    return BUSIM_ACCEPTED;
#else
    return verdict;
#endif
}
