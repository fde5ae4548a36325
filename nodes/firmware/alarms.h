/* What a helm node has of its own to alarm, and how it is told: raised, answered, gone. Shared by all helm kinds; the Python one
 * is nodes/alarm_raiser.py.
 *
 * A node gives it every frame it does not take itself (node_alarms_frame), and calls node_alarms_tell from its main task with the
 * numbers of all alarms whose cause is there at that moment. It raises two_at_one_address by itself.
 */

#ifndef ALARMS_H
#define ALARMS_H

#include "busim_rules.h"
#include "seam.h"

#define NODE_MOST_LISTENERS 15u /* stations and alarm nodes: helm addresses */

/* One alarm of any raiser: its row in busim_alarm_table, when it is quiet, and what a list has to know of it. */
typedef struct node_alarm {
    uint8_t which;
    uint8_t about; /* an address, or a navigation light's number */
    uint8_t raiser; /* whose alarm it is; 0: seen by the listener itself */
    uint8_t state; /* one of BUSIM_ALARM_IS_ */
    uint8_t priority;
    uint8_t number; /* its raiser's number of this occurrence */
    uint8_t under_which; /* the one it was listed under last, while its cause was there; 0: none */
    uint8_t under_about;
    int64_t since_ns;
    int64_t quiet_until_ns;
    int64_t confirmed_ns; /* when its raiser's frame said it last; NEVER: nobody has to */
} node_alarm;

/* One that is not there yet. */
void node_alarm_start(node_alarm *alarm, uint8_t which, uint8_t about, uint8_t raiser);

/* Take the row of this event; false where there is none. */
bool node_alarm_event(node_alarm *alarm, int64_t now_ns, uint8_t event);
/* The crew's answer, as its value on the wire; false where it changes nothing. */
bool node_alarm_answered(node_alarm *alarm, int64_t now_ns, uint8_t answer);
/* Let a silence end that is over; true where it was. */
bool node_alarm_wake(node_alarm *alarm, int64_t now_ns);
/* Its cause is there. */
bool node_alarm_stands(const node_alarm *alarm);
bool node_alarm_sounds(const node_alarm *alarm, int64_t now_ns);
uint8_t node_alarm_priority(uint8_t which);

/* One of this node's own, and when it is told next. */
typedef struct node_raised {
    node_alarm alarm;
    int64_t due_ns;
    int32_t times; /* so often the last change is still to be told */
} node_raised;

typedef struct node_alarms {
    node_raised raised[BUSIM_COUNT_OF_ALARMS]; /* in the order they came up */
    uint8_t count;
    uint8_t counter;
    uint8_t last_number;
    uint16_t sees; /* how often something changed: whoever shows these too looks at it */
    int64_t other_heard_ns; /* when a heartbeat came under this node's own address */
    uint8_t listeners[NODE_MOST_LISTENERS]; /* addresses of those whose answers it follows */
    busim_pair_watch answers[NODE_MOST_LISTENERS];
    uint8_t listener_count;
} node_alarms;

void node_alarms_start(node_alarms *alarms);
/* True where the frame was one for it: a heartbeat under this node's own address, or the crew's answer. */
bool node_alarms_frame(node_alarms *alarms, int64_t now_ns, uint8_t bus, const busim_frame *frame);
void node_alarms_answer(node_alarms *alarms, int64_t now_ns, const busim_alarm_answer *answer);
/* `causes`: the numbers of all alarms of this node's own whose cause is there now. */
void node_alarms_tell(node_alarms *alarms, int64_t now_ns, const uint8_t *causes, uint8_t cause_count, node_actions *actions);

#endif /* ALARMS_H */
