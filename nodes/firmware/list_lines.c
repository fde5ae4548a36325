/* See list_lines.h. */

#include "list_lines.h"

#define NOWHERE 255u

/* ---------------------------------------------------------------------------------- one alarm */

bool list_unanswered(const node_alarm *alarm)
{
    return alarm->state != BUSIM_ALARM_IS_GONE && alarm->state != BUSIM_ALARM_IS_ACKNOWLEDGED;
}

bool list_doubtful(const node_alarm *alarm, int64_t now_ns)
{
    return alarm->raiser != 0u && node_alarm_stands(alarm) &&
           now_ns - alarm->confirmed_ns >= (int64_t)BUSIM_ALARM_UNCONFIRMED_MS * NODE_MS;
}

/* ---------------------------------------------------------------------------------- what it stands under */

/* The alarm of this cause: one whose cause is there before one whose is over, else the older in the list. */
static uint8_t place_of(const list_listed *listed, uint8_t which, uint8_t about)
{
    uint8_t found = NOWHERE;
    uint8_t place;
    for (place = 0u; place < listed->count; place++) {
        const node_alarm *alarm = listed->entry[place];
        if (alarm->which == which && alarm->about == about) {
            if (node_alarm_stands(alarm)) {
                return place;
            }
            found = found == NOWHERE ? place : found;
        }
    }
    return found;
}

/* Where one looks for what it stands under: the first cause that is there counts. */
typedef struct search {
    const list_listed *listed;
    node_alarm *alarm;
    bool found;
} search;

static void try_cause(search *at, uint8_t which, uint8_t about)
{
    const uint8_t place = at->found || which == 0u ? NOWHERE : place_of(at->listed, which, about);
    const node_alarm *above = place == NOWHERE ? NULL : at->listed->entry[place];
    if (above != NULL && above != at->alarm && node_alarm_stands(above)) {
        at->alarm->under_which = which;
        at->alarm->under_about = about;
        at->found = true;
    }
}

static void try_master(search *at, uint8_t station)
{
    try_cause(at, BUSIM_ALARM_IS_ABOUT_NODE_LOST, station);
    try_cause(at, BUSIM_ALARM_IS_ABOUT_LEVER_FAULT, station);
}

/* Of a drive or rudder that lost its station: it is lost itself, or its station is; else all of one master under the first. */
static void try_lost(search *at, const list_helm *helm)
{
    const bool steering = at->alarm->which == BUSIM_ALARM_IS_ABOUT_STEERING_LOST;
    const uint8_t about = at->alarm->about;
    const list_drive *own = steering ? NULL : list_drive_at(helm, about);
    uint8_t place;
    try_cause(at, BUSIM_ALARM_IS_ABOUT_NODE_LOST, about);
    if (own != NULL) {
        try_master(at, own->master);
    }
    for (place = 0u; place < helm->drive_count && own == NULL; place++) {
        try_master(at, helm->drives[place].master);
    }
    for (place = 0u; place < helm->drive_count; place++) {
        const list_drive *drive = &helm->drives[place];
        if (steering || (drive->address < about && own != NULL && drive->master == own->master)) {
            try_cause(at, BUSIM_ALARM_IS_ABOUT_CONTROL_LOST, drive->address);
        }
    }
}

static void find_above(const list_listed *listed, node_alarm *alarm, const list_roll_call *call, const list_helm *helm)
{
    search at;
    list_cause own;
    list_cause parent;
    uint8_t place;
    own.which = alarm->which;
    own.about = alarm->about;
    parent = list_parent_of(call, own);
    at.listed = listed;
    at.alarm = alarm;
    at.found = false;
    try_cause(&at, parent.which, parent.about);
    if (alarm->which == BUSIM_ALARM_IS_ABOUT_CONTROL_LOST || alarm->which == BUSIM_ALARM_IS_ABOUT_STEERING_LOST) {
        try_lost(&at, helm);
    } else if (alarm->which == BUSIM_ALARM_IS_ABOUT_LET_GO) {
        try_cause(&at, BUSIM_ALARM_IS_ABOUT_NODE_LOST, alarm->about);
        try_cause(&at, BUSIM_ALARM_IS_ABOUT_CONTROL_LOST, alarm->about);
        try_cause(&at, BUSIM_ALARM_IS_ABOUT_STEERING_LOST, alarm->about);
    } else if (alarm->which == BUSIM_ALARM_IS_ABOUT_NOBODY_IN_CONTROL) {
        for (place = 0u; place < helm->drive_count; place++) {
            try_cause(&at, BUSIM_ALARM_IS_ABOUT_CONTROL_LOST, helm->drives[place].address);
            try_cause(&at, BUSIM_ALARM_IS_ABOUT_NODE_LOST, helm->drives[place].address);
            try_cause(&at, BUSIM_ALARM_IS_ABOUT_LET_GO, helm->drives[place].address);
        }
    }
    if (alarm->raiser != 0u) {
        try_cause(&at, BUSIM_ALARM_IS_ABOUT_NODE_LOST, alarm->raiser);
    }
    if (!at.found) {
        alarm->under_which = 0u;
        alarm->under_about = 0u;
    }
}

/* Up from one cause to the next, as far as they are listed. No kind follows from one that follows from it; and were it so, the
 * climb would end all the same. */
static uint8_t head_of(const list_listed *listed, uint8_t place)
{
    uint8_t steps;
    for (steps = 0u; steps < listed->count; steps++) {
        const node_alarm *alarm = listed->entry[place];
        const uint8_t above = alarm->under_which == 0u ? NOWHERE : place_of(listed, alarm->under_which, alarm->under_about);
        if (above == NOWHERE || above == place || (!node_alarm_stands(listed->entry[above]) && node_alarm_stands(alarm))) {
            break;
        }
        place = above;
    }
    return place;
}

/* ---------------------------------------------------------------------------------- lines */

static list_line line_of(const list_lines *lines, const list_listed *listed, uint8_t head)
{
    list_line line;
    bool any_raised = false;
    bool any_silenced = false;
    uint8_t count = 0u;
    uint8_t place;
    line.head = head;
    line.state = listed->entry[head]->state;
    line.priority = BUSIM_ALARM_PRIORITY_CAUTION;
    line.unanswered = false;
    line.since_ns = -NODE_NEVER;
    for (place = 0u; place < listed->count; place++) {
        const node_alarm *alarm = listed->entry[place];
        if (lines->head_of[place] == head) {
            count++;
            line.priority = alarm->priority > line.priority ? alarm->priority : line.priority;
            line.since_ns = alarm->since_ns > line.since_ns ? alarm->since_ns : line.since_ns;
            line.unanswered = line.unanswered || list_unanswered(alarm);
            any_raised = any_raised || alarm->state == BUSIM_ALARM_IS_RAISED || alarm->state == BUSIM_ALARM_IS_PUT_RIGHT;
            any_silenced = any_silenced || alarm->state == BUSIM_ALARM_IS_SILENCED;
        }
    }
    if (node_alarm_stands(listed->entry[head])) {
        line.state = any_raised ? BUSIM_ALARM_IS_RAISED : any_silenced ? BUSIM_ALARM_IS_SILENCED : line.state;
    }
    line.under = (uint8_t)(count - 1u);
    return line;
}

static bool goes_before(const list_listed *listed, const list_line *one, const list_line *other)
{
    if (one->priority != other->priority) {
        return one->priority > other->priority;
    }
    if (one->unanswered != other->unanswered) {
        return one->unanswered;
    }
    if (one->since_ns != other->since_ns) {
        return one->since_ns > other->since_ns;
    }
    return listed->entry[one->head]->which < listed->entry[other->head]->which;
}

/* Into its place among those that are there; of equals the older stays in front. */
static void put_line(list_lines *lines, const list_listed *listed, const list_line *line)
{
    uint8_t place = lines->count++;
    for (; place > 0u && goes_before(listed, line, &lines->line[place - 1u]); place--) {
        lines->line[place] = lines->line[place - 1u];
    }
    lines->line[place] = *line;
}

void list_lines_of(list_lines *lines, const list_listed *listed, const list_roll_call *call, const list_helm *helm)
{
    uint8_t place;
    for (place = 0u; place < listed->count; place++) {
        if (node_alarm_stands(listed->entry[place])) {
            find_above(listed, listed->entry[place], call, helm);
        }
    }
    for (place = 0u; place < listed->count; place++) {
        lines->head_of[place] = head_of(listed, place);
    }
    lines->count = 0u;
    for (place = 0u; place < listed->count; place++) {
        if (lines->head_of[place] == place) {
            const list_line line = line_of(lines, listed, place);
            put_line(lines, listed, &line);
        }
    }
}

uint8_t list_lines_shown(const list_lines *lines)
{
    uint8_t emergencies = 0u;
    uint8_t room;
    while (emergencies < lines->count && lines->line[emergencies].priority == BUSIM_ALARM_PRIORITY_EMERGENCY) {
        emergencies++; /* they stand first */
    }
    room = emergencies > BUSIM_ALARM_MOST_SHOWN ? emergencies : (uint8_t)BUSIM_ALARM_MOST_SHOWN;
    return lines->count < room ? lines->count : room;
}

int32_t list_line_value(const list_line *line, const node_alarm *head, int64_t now_ns)
{
    const uint32_t doubtful = list_doubtful(head, now_ns) ? 1u : 0u;
    return (int32_t)((uint32_t)head->which | (uint32_t)head->about << 8 | (uint32_t)line->state << 14 |
                     (uint32_t)line->priority << 17 | doubtful << 19 | (uint32_t)line->under << 20);
}
