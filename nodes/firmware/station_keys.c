/* The neutral-now key, and keys of other stations that were named stuck here by a deliberate act: the lock-out key held for 3 s.
 * Held again, they are let back in. Nobody locks out a key of its own; what is locked out does not outlast a start of this node.
 */

#include "station.h"

#define AGAIN_NS (20 * NODE_MS)
#define LONGEST_NS (1000 * NODE_MS) /* a bus that comes back later must not carry an old wish */
#define LOCK_OUT_HELD_NS ((int64_t)BUSIM_ALARM_LOCK_OUT_HELD_MS * NODE_MS)
#define LOCK_REPEAT_NS ((int64_t)BUSIM_ALARM_REPEAT_MS * NODE_MS)
#define CHANGES_SENT 3u /* two that agree are wanted, and one may be lost */

void station_keys_start(station *self)
{
    self->neutral_now = false;
    self->neutral_now_counter = 0u;
    self->neutral_now_due_ns = NODE_NEVER;
    self->neutral_now_until_ns = -NODE_NEVER;
    self->lock.locks = 0u;
    self->lock.held_ns = NODE_NEVER;
    self->lock.times = 0u;
}

/* Every drive of the boat has said since the key went down that it obeys nobody, and not that it may stay in gear. */
static bool echoed(const station *self)
{
    const int64_t pressed_ns = self->neutral_now_until_ns - LONGEST_NS;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        if (echo->heard_ns <= pressed_ns || echo->station != 0u || echo->may_stay) {
            return false;
        }
    }
    return true;
}

/* When the next frame has to say what is locked out, after one that goes out now. */
static int64_t next_of_lock_ns(station_lock *lock, int64_t now_ns)
{
    if (lock->times > 0u) {
        lock->times--;
    }
    if (lock->times > 0u) {
        return now_ns + AGAIN_NS;
    }
    return lock->locks != 0u ? now_ns + LOCK_REPEAT_NS : NODE_NEVER;
}

void station_tell_neutral_now(station *self, int64_t now_ns, node_actions *actions)
{
    const bool pressed = self->neutral_now || (now_ns < self->neutral_now_until_ns && !echoed(self));
    busim_neutral_now message;
    busim_frame frame;
    self->neutral_now_due_ns = pressed ? now_ns + AGAIN_NS : next_of_lock_ns(&self->lock, now_ns);
    self->neutral_now_counter = busim_counter_next(self->neutral_now_counter);
    list_helm_key(&self->list.helm, now_ns, BUSIM_NODE_ADDRESS, pressed, self->lock.locks);
    message.pressed = pressed ? 1u : 0u;
    message.locked_out = self->lock.locks;
    if (busim_neutral_now_pack(&message, BUSIM_NODE_ADDRESS, self->neutral_now_counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, AGAIN_NS);
    }
}

void station_press_neutral_now(station *self, int64_t now_ns, bool down, node_actions *actions)
{
    self->neutral_now = down;
    if (!down) {
        return;
    }
    self->neutral_now_until_ns = now_ns + LONGEST_NS;
    if (now_ns < self->neutral_now_due_ns) {
        self->neutral_now_due_ns = now_ns;
        node_deadline(now_ns, actions); /* at once, and with all else that is due */
    }
}

void station_press_lock_out(station *self, int64_t now_ns, bool down)
{
    self->lock.held_ns = down ? now_ns : NODE_NEVER;
}

void station_look_at_lock(station *self, int64_t now_ns)
{
    station_lock *lock = &self->lock;
    uint16_t named;
    if (lock->held_ns == NODE_NEVER) {
        return;
    }
    named = (uint16_t)(list_helm_stuck(&self->list.helm, now_ns) & ~(1u << BUSIM_NODE_ADDRESS));
    if (now_ns - lock->held_ns < LOCK_OUT_HELD_NS) {
        return;
    }
    lock->held_ns = NODE_NEVER;
    if ((named & (uint16_t)~lock->locks) != 0u) {
        lock->locks = (uint16_t)(lock->locks | named);
    } else if (lock->locks != 0u) {
        lock->locks = 0u;
    } else {
        return;
    }
    lock->times = CHANGES_SENT;
    self->neutral_now_due_ns = now_ns;
}
