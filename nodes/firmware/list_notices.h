/* What a list of alarms takes from notices: a navigation light's lamp or fuse has failed. The Python one is in nodes/alarm_list.py.
 */

#ifndef LIST_NOTICES_H
#define LIST_NOTICES_H

#include "list_alarms.h"

/* A frame of notice. It has no CRC and no counter: one is enough to alarm, its end takes two by one bus. */
void list_notice(list_alarms *list, int64_t now_ns, uint8_t bus, const busim_frame *frame);

#endif /* LIST_NOTICES_H */
