/* The list of alarms a listener keeps: a station, or an alarm node. All of it is from its own reception. The Python one is
 * nodes/alarm_list.py.
 *
 * A node gives it frames, the crew's keys, and a look once in each round of its main task; it has no deadline of its own. Outputs:
 * whether it sounds, how many alarms are listed, how many lines are not shown, and the lines.
 */

#ifndef LIST_ALARMS_H
#define LIST_ALARMS_H

#include "list_lines.h"

/* What the node calls its outputs: told by it, as it has others too. The lines are numbered from 1. */
typedef struct list_outputs {
    uint16_t sounder;
    uint16_t alarms;
    uint16_t hidden;
    uint16_t line; /* of number 0 */
} list_outputs;

/* One of another node's, or seen by this one itself. */
typedef struct list_entry {
    node_alarm alarm;
    bool answered; /* the crew answered it here, and that is still being sent */
    uint8_t answer;
    uint8_t ended_by; /* of what comes in notices: bit n, bus n has said once since that it is gone */
    int64_t answer_due_ns;
    int64_t answer_until_ns;
} list_entry;

typedef struct list_alarms {
    node_alarms *own;
    list_outputs outputs;
    list_roll_call call;
    list_helm helm;
    busim_pair_watch alarm_counters[LIST_MOST_OTHERS]; /* in the order of the roll call's members */
    busim_pair_watch answer_counters[LIST_MOST_OTHERS];
    list_entry entries[LIST_MOST_ALARMS]; /* in the order they came up */
    uint8_t count;
    uint8_t answer_counter;
    bool dirty;     /* something changed that a line may show */
    int64_t due_ns; /* when it looks again, where nothing stirs before */
    uint16_t looked_sees; /* what it saw of its own alarms' changes, and of doubtful ones, when it looked last */
    uint8_t looked_doubts;
    bool shown; /* it has shown something since the start */
    int32_t told_sounder;
    int32_t told_alarms;
    int32_t told_hidden;
    int32_t told_lines[LIST_MOST_LINES];
    list_listed listed; /* while it looks: kept here, as a stack may be small */
    list_lines lines;
} list_alarms;

/* `own`: the node's own alarms, started before. */
void list_start(list_alarms *list, node_alarms *own, const list_outputs *outputs, int64_t now_ns);
/* A frame of alarm, alarm_answer, neutral_now, notice, or another's heartbeat; false: it was none of these. Reports of drives the node hands
 * on itself (list_helm_obeys). */
bool list_frame(list_alarms *list, int64_t now_ns, uint8_t bus, const busim_frame *frame);
/* The first line that nobody acknowledged, with all under it. */
void list_acknowledge(list_alarms *list, int64_t now_ns);
/* Everything that sounds. */
void list_silence(list_alarms *list, int64_t now_ns);
/* `own`: numbers of the node's own alarms whose cause is there; `seen`: what only this node sees and shows. */
void list_look(list_alarms *list, int64_t now_ns, const uint8_t *own, uint8_t own_count, const list_causes *seen,
               node_actions *actions);

/* For whoever else hears alarms (list_notices.c). NULL where it is not listed. */
list_entry *list_entry_of(list_alarms *list, uint8_t raiser, uint8_t which, uint8_t about);
/* NULL where there is no room for it. */
list_entry *list_new_entry(list_alarms *list, uint8_t raiser, uint8_t which, uint8_t about);

#endif /* LIST_ALARMS_H */
