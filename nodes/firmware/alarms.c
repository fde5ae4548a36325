/* See alarms.h. */

#include "alarms.h"

#include "watch.h"

#define NOT_HEARD_AGAIN_NS NODE_SECOND
#define SILENT_FOR_NS (30 * NODE_SECOND)
#define REPEAT_NS (1000 * NODE_MS)
#define CHANGE_REPEAT_NS (100 * NODE_MS)
#define CHANGES_SENT 3

/* ---------------------------------------------------------------------------------- one alarm */

void node_alarm_start(node_alarm *alarm, uint8_t which, uint8_t about, uint8_t raiser)
{
    alarm->which = which;
    alarm->about = about;
    alarm->raiser = raiser;
    alarm->state = BUSIM_ALARM_IS_GONE;
    alarm->priority = node_alarm_priority(which);
    alarm->number = 0u;
    alarm->under_which = 0u;
    alarm->under_about = 0u;
    alarm->since_ns = -NODE_NEVER;
    alarm->quiet_until_ns = -NODE_NEVER;
    alarm->confirmed_ns = -NODE_NEVER;
}

bool node_alarm_event(node_alarm *alarm, int64_t now_ns, uint8_t event)
{
    const busim_row *row = busim_row_of(&busim_alarm_table, alarm->state, event);
    if (row == NULL) {
        return false;
    }
    alarm->state = row->next_state;
    if (event == BUSIM_ALARM_ON_ARISES) {
        alarm->since_ns = now_ns;
        alarm->quiet_until_ns = -NODE_NEVER;
    } else if (event == BUSIM_ALARM_ON_SILENCE) {
        alarm->quiet_until_ns = now_ns + SILENT_FOR_NS;
    }
    return true;
}

bool node_alarm_answered(node_alarm *alarm, int64_t now_ns, uint8_t answer)
{
    const bool acknowledged = answer == BUSIM_ALARM_ANSWER_ACKNOWLEDGE;
    return node_alarm_event(alarm, now_ns, acknowledged ? BUSIM_ALARM_ON_ACKNOWLEDGE : BUSIM_ALARM_ON_SILENCE);
}

bool node_alarm_wake(node_alarm *alarm, int64_t now_ns)
{
    return now_ns >= alarm->quiet_until_ns && node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_SILENCE_OVER);
}

bool node_alarm_stands(const node_alarm *alarm)
{
    return alarm->state != BUSIM_ALARM_IS_GONE && alarm->state != BUSIM_ALARM_IS_PUT_RIGHT;
}

bool node_alarm_sounds(const node_alarm *alarm, int64_t now_ns)
{
    return alarm->state == BUSIM_ALARM_IS_RAISED ||
           (alarm->state == BUSIM_ALARM_IS_PUT_RIGHT && now_ns >= alarm->quiet_until_ns);
}

uint8_t node_alarm_priority(uint8_t which)
{
    uint8_t place;
    for (place = 0u; place < BUSIM_COUNT_OF_ALARMS; place++) {
        if (busim_alarm_kinds[place].number == which) {
            return busim_alarm_kinds[place].priority;
        }
    }
    return BUSIM_ALARM_PRIORITY_CAUTION;
}

/* ---------------------------------------------------------------------------------- what it hears */

void node_alarms_start(node_alarms *alarms)
{
    uint16_t place;
    alarms->count = 0u;
    alarms->counter = 0u;
    alarms->last_number = 0u;
    alarms->sees = 0u;
    alarms->other_heard_ns = -NODE_NEVER;
    alarms->listener_count = 0u;
    for (place = 0u; place < busim_node_watches_count; place++) {
        const uint16_t id = busim_node_watches[place].id;
        if (busim_code_of(id) == BUSIM_CODE_ALARM_ANSWER && alarms->listener_count < NODE_MOST_LISTENERS) {
            const uint8_t listener = busim_address_of(id);
            alarms->listeners[alarms->listener_count] = listener;
            node_watch_start(&alarms->answers[alarms->listener_count], BUSIM_CODE_ALARM_ANSWER, listener);
            alarms->listener_count++;
        }
    }
}

static void changed(node_alarms *alarms, int64_t now_ns, node_raised *raised)
{
    alarms->sees++;
    raised->times = CHANGES_SENT;
    raised->due_ns = now_ns;
}

static node_raised *raised_of(node_alarms *alarms, uint8_t which)
{
    uint8_t place;
    for (place = 0u; place < alarms->count; place++) {
        if (alarms->raised[place].alarm.which == which) {
            return &alarms->raised[place];
        }
    }
    return NULL;
}

void node_alarms_answer(node_alarms *alarms, int64_t now_ns, const busim_alarm_answer *answer)
{
    node_raised *raised = raised_of(alarms, answer->which);
    if (raised == NULL || answer->raiser != BUSIM_NODE_ADDRESS || answer->number != raised->alarm.number || answer->answer > 1u) {
        return;
    }
    if (node_alarm_answered(&raised->alarm, now_ns, answer->answer)) {
        changed(alarms, now_ns, raised);
    }
}

static void hear_answer(node_alarms *alarms, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_alarm_answer answer;
    const busim_result result = busim_alarm_answer_unpack(frame, &answer);
    uint8_t place;
    if (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) {
        return;
    }
    for (place = 0u; place < alarms->listener_count; place++) {
        if (alarms->listeners[place] == busim_address_of(frame->id)) {
            if (node_judge(&alarms->answers[place], now_ns, bus, frame) == BUSIM_ACCEPTED) {
                node_alarms_answer(alarms, now_ns, &answer);
            }
            return;
        }
    }
}

bool node_alarms_frame(node_alarms *alarms, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    if (frame->id == busim_id(BUSIM_CODE_HEARTBEAT, BUSIM_NODE_ADDRESS)) {
        /* A controller does not receive what it sent itself: this is somebody else's. */
        if (busim_sound(frame)) {
            alarms->other_heard_ns = now_ns;
        }
        return true;
    }
    if (busim_code_of(frame->id) == BUSIM_CODE_ALARM_ANSWER) {
        hear_answer(alarms, now_ns, bus, frame);
        return true;
    }
    return false;
}

/* ---------------------------------------------------------------------------------- telling */

static void arise(node_alarms *alarms, int64_t now_ns, uint8_t which)
{
    node_raised *raised = raised_of(alarms, which);
    if (raised == NULL) {
        if (alarms->count >= BUSIM_COUNT_OF_ALARMS) {
            return;
        }
        raised = &alarms->raised[alarms->count++];
        node_alarm_start(&raised->alarm, which, BUSIM_NODE_ADDRESS, BUSIM_NODE_ADDRESS);
        raised->alarm.confirmed_ns = NODE_NEVER;
        raised->due_ns = NODE_NEVER;
        raised->times = 0;
    }
    if (!node_alarm_stands(&raised->alarm) && node_alarm_event(&raised->alarm, now_ns, BUSIM_ALARM_ON_ARISES)) {
        alarms->last_number = (uint8_t)(alarms->last_number + 1u);
        if (alarms->last_number == 0u) {
            alarms->last_number = 1u;
        }
        raised->alarm.number = alarms->last_number;
        changed(alarms, now_ns, raised);
    }
}

static void put_frame(node_alarms *alarms, const node_raised *raised, node_actions *actions)
{
    busim_alarm alarm;
    busim_frame frame;
    alarms->counter = busim_counter_next(alarms->counter);
    alarm.which = raised->alarm.which;
    alarm.subject = BUSIM_NODE_ADDRESS;
    alarm.state = raised->alarm.state == BUSIM_ALARM_IS_PUT_RIGHT ? BUSIM_ALARM_STATE_GONE : raised->alarm.state;
    alarm.priority = raised->alarm.priority;
    alarm.number = raised->alarm.number;
    if (busim_alarm_pack(&alarm, BUSIM_NODE_ADDRESS, alarms->counter, &frame) == BUSIM_OK) {
        node_queue(actions, &frame, REPEAT_NS);
    }
}

/* What is due of one; false where there is nothing left of it. */
static bool tell_one(node_alarms *alarms, int64_t now_ns, node_raised *raised, bool wanted, node_actions *actions)
{
    const bool over = !wanted && node_alarm_stands(&raised->alarm) &&
                      node_alarm_event(&raised->alarm, now_ns, BUSIM_ALARM_ON_PUT_RIGHT);
    if (over || node_alarm_wake(&raised->alarm, now_ns)) {
        changed(alarms, now_ns, raised);
    }
    if (now_ns < raised->due_ns) {
        return true;
    }
    raised->times--;
    put_frame(alarms, raised, actions);
    raised->due_ns = now_ns + (raised->times > 0 ? CHANGE_REPEAT_NS : REPEAT_NS);
    if (!node_alarm_stands(&raised->alarm) && raised->times <= 0) {
        raised->due_ns = NODE_NEVER;
        return raised->alarm.state != BUSIM_ALARM_IS_GONE;
    }
    return true;
}

void node_alarms_tell(node_alarms *alarms, int64_t now_ns, const uint8_t *causes, uint8_t cause_count, node_actions *actions)
{
    const bool two = now_ns - alarms->other_heard_ns < NOT_HEARD_AGAIN_NS;
    uint8_t place;
    uint8_t kept = 0u;
    for (place = 0u; place < cause_count; place++) {
        arise(alarms, now_ns, causes[place]);
    }
    if (two) {
        arise(alarms, now_ns, BUSIM_ALARM_IS_ABOUT_TWO_AT_ONE_ADDRESS);
    }
    for (place = 0u; place < alarms->count; place++) {
        node_raised *raised = &alarms->raised[place];
        bool wanted = two && raised->alarm.which == BUSIM_ALARM_IS_ABOUT_TWO_AT_ONE_ADDRESS;
        uint8_t cause;
        for (cause = 0u; cause < cause_count; cause++) {
            wanted = wanted || causes[cause] == raised->alarm.which;
        }
        if (tell_one(alarms, now_ns, raised, wanted, actions)) {
            if (kept != place) {
                alarms->raised[kept] = *raised;
            }
            kept++;
        }
    }
    alarms->count = kept;
}
