/* See mailboxes.h. */

#include "mailboxes.h"

void node_mailboxes_flush(node_mailboxes *boxes)
{
    uint16_t place;
    for (place = 0u; place < NODE_MAILBOXES; place++) {
        boxes->waiting[place].used = false;
    }
}

/* Does the first go after the second? */
static bool goes_after(const node_waiting *one, const node_waiting *other)
{
    if (one->frame.id != other->frame.id) {
        return one->frame.id > other->frame.id;
    }
    return (int32_t)(one->order - other->order) > 0;
}

/* Where a frame goes: over its older self, into a free place, else in place of the least urgent of all, if that is less urgent. */
static node_waiting *place_for(node_mailboxes *boxes, const node_waiting *given)
{
    node_waiting *free_one = NULL;
    node_waiting *last = NULL;
    uint16_t place;
    for (place = 0u; place < NODE_MAILBOXES; place++) {
        node_waiting *each = &boxes->waiting[place];
        if (!each->used) {
            free_one = free_one != NULL ? free_one : each;
        } else if (given->own_mailbox && each->own_mailbox && each->frame.id == given->frame.id) {
            return each;
        } else if (last == NULL || goes_after(each, last)) {
            last = each;
        }
    }
    if (free_one != NULL) {
        return free_one;
    }
    boxes->lost++;
    return last != NULL && goes_after(last, given) ? last : NULL;
}

void node_mailboxes_put(node_mailboxes *boxes, const busim_frame *frame, bool own_mailbox, int64_t drop_at_ns)
{
    node_waiting given;
    node_waiting *place;
    given.used = true;
    given.own_mailbox = own_mailbox;
    given.order = boxes->order++;
    given.drop_at_ns = drop_at_ns;
    given.frame = *frame;
    place = place_for(boxes, &given);
    if (place != NULL) {
        *place = given;
    }
}

bool node_mailboxes_take(node_mailboxes *boxes, int64_t now_ns, busim_frame *frame)
{
    node_waiting *first = NULL;
    uint16_t place;
    for (place = 0u; place < NODE_MAILBOXES; place++) {
        node_waiting *each = &boxes->waiting[place];
        if (each->used && each->drop_at_ns <= now_ns) {
            each->used = false;
        }
        if (each->used && (first == NULL || goes_after(first, each))) {
            first = each;
        }
    }
    if (first == NULL) {
        return false;
    }
    first->used = false;
    *frame = first->frame;
    return true;
}
