/* What a listener sees of the helm as a whole: whether anybody is in control, and neutral-now keys that stay pressed. The Python
 * one is nodes/helm_watch.py.
 */

#ifndef LIST_HELM_H
#define LIST_HELM_H

#include "list_roll_call.h"

#define LIST_DRIVES 2u /* of any boat */
#define LIST_STATIONS (BUSIM_BOAT_COUNT_OF_STATIONS > 0u ? BUSIM_BOAT_COUNT_OF_STATIONS : 1u)

/* One station's neutral-now key, as it is heard; of this node's own, what its contact does. */
typedef struct list_key {
    uint8_t address;
    int64_t pressed_ns; /* since when without a break; NEVER while it is not */
    int64_t heard_ns;
    uint16_t locks; /* what that station has locked out; bit n: the key of the station at address n */
    int64_t locks_ns;
} list_key;

typedef struct list_drive {
    uint8_t address;
    int64_t heard_ns;
    uint8_t station; /* whom it says it obeys */
    uint8_t master;  /* whom it obeyed last, also once it obeys nobody */
    bool asked;      /* it obeys nobody because a neutral-now key was pressed: that is no loss, it is what somebody wanted */
} list_drive;

typedef struct list_helm {
    list_drive drives[LIST_DRIVES]; /* those this node hears */
    uint8_t drive_count;
    list_key keys[LIST_STATIONS];
    int64_t nobody_ns; /* since when every drive heard obeys nobody */
    bool lost;         /* a station has been in control since this node started */
} list_helm;

void list_helm_start(list_helm *helm, int64_t now_ns);
/* A drive's report that counted. */
void list_helm_obeys(list_helm *helm, int64_t now_ns, const busim_frame *frame, const busim_drive_obeys *said);
/* A station's neutral-now frame that was sound; of its own node's key, what the contact does. */
void list_helm_key(list_helm *helm, int64_t now_ns, uint8_t station, bool pressed, uint16_t locks);
/* Stations, as bits, whose key has been pressed for too long. */
uint16_t list_helm_stuck(list_helm *helm, int64_t now_ns);
void list_helm_causes(list_helm *helm, int64_t now_ns, list_causes *causes);
/* NULL where this node hears no drive of this address. */
const list_drive *list_drive_at(const list_helm *helm, uint8_t address);

#endif /* LIST_HELM_H */
