/* From alarms to the lines of a list: one cause, one line. Most urgent first, then what nobody acknowledged, then the newest. The
 * Python one is nodes/alarm_lines.py, and says what stands under what.
 */

#ifndef LIST_LINES_H
#define LIST_LINES_H

#include "alarms.h"
#include "list_helm.h"

#ifndef LIST_MOST_ALARMS
/* All that a helm of 15 sound nodes can have at once, 35 that are sent and 92 that a listener sees itself (list_alarms.c counts),
 * and of each navigation light one, and three of the node that feeds it. */
#define LIST_MOST_ALARMS (128u + 4u * LIST_MOST_LIGHTS)
#endif
#define LIST_MOST_LINES (LIST_MOST_ALARMS + BUSIM_COUNT_OF_ALARMS) /* those of this node's own beside them */

/* All alarms that are listed now, whoever raised them. */
typedef struct list_listed {
    node_alarm *entry[LIST_MOST_LINES];
    uint8_t count;
} list_listed;

/* Alarms of one cause, called by the first of them. */
typedef struct list_line {
    uint8_t head; /* place in the list_listed it was made from */
    uint8_t state;
    uint8_t priority;
    uint8_t under; /* so many stand under it */
    bool unanswered;
    int64_t since_ns;
} list_line;

typedef struct list_lines {
    list_line line[LIST_MOST_LINES];
    uint8_t count;
    uint8_t head_of[LIST_MOST_LINES]; /* place of an alarm -> place of its line's head */
} list_lines;

/* Also notes, in each alarm, what it stands under. */
void list_lines_of(list_lines *lines, const list_listed *listed, const list_roll_call *call, const list_helm *helm);
/* The lines a list has room for. Every emergency is shown, however many there are. */
uint8_t list_lines_shown(const list_lines *lines);
/* Nobody acknowledged it. */
bool list_unanswered(const node_alarm *alarm);
/* Its raiser has not said it for too long. What a listener sees by itself needs no word of anybody. */
bool list_doubtful(const node_alarm *alarm, int64_t now_ns);
/* As an output says it: which, about << 8, state << 14, priority << 17, doubtful << 19, how many under it << 20. */
int32_t list_line_value(const list_line *line, const node_alarm *head, int64_t now_ns);

#endif /* LIST_LINES_H */
