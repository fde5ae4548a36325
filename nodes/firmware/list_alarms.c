/* See list_alarms.h.
 *
 * Its room: sound nodes raise alarms about themselves only, so a helm of 15 has at most 5 of each of two drives, 3 of the rudder, 2
 * of each of two cutouts and of each of the others (35); and this one sees at most 4 of each of 14 others, 2 of each of 15 keys, 3
 * let go of, and 3 of the whole (92). Only a node that is not sound sends more; then the most urgent are kept. Navigation lights
 * have room beside that, and so have the nodes that feed them: 1 for each light, 3 for each node.
 */

#include "list_alarms.h"

#include "list_notices.h"
#include "watch.h"

#define FIRST_LOOK_NS (200 * NODE_MS) /* after a start: by then every sensor was read once */
#define LOOK_NS (100 * NODE_MS)       /* well inside the second that keeps a thought */
#define ANSWER_REPEAT_NS ((int64_t)BUSIM_ALARM_ANSWER_REPEAT_MS * NODE_MS)
#define ANSWER_LONGEST_NS ((int64_t)BUSIM_ALARM_ANSWER_LONGEST_MS * NODE_MS)
#define REPEAT_NS ((int64_t)BUSIM_ALARM_REPEAT_MS * NODE_MS)
#define UNCONFIRMED_NS ((int64_t)BUSIM_ALARM_UNCONFIRMED_MS * NODE_MS)

void list_start(list_alarms *list, node_alarms *own, const list_outputs *outputs, int64_t now_ns)
{
    uint16_t place;
    list->own = own;
    list->outputs = *outputs;
    list_roll_call_start(&list->call, now_ns);
    list_helm_start(&list->helm, now_ns);
    for (place = 0u; place < list->call.count; place++) {
        const uint8_t address = list->call.members[place].address;
        node_watch_start(&list->alarm_counters[place], BUSIM_CODE_ALARM, address);
        node_watch_start(&list->answer_counters[place], BUSIM_CODE_ALARM_ANSWER, address);
    }
    list->count = 0u;
    list->answer_counter = 0u;
    list->dirty = false;
    list->due_ns = now_ns + FIRST_LOOK_NS;
    list->looked_sees = 0u;
    list->looked_doubts = 0u;
    list->shown = false;
    list->told_sounder = 0;
    list->told_alarms = 0;
    list->told_hidden = 0;
    for (place = 0u; place < LIST_MOST_LINES; place++) {
        list->told_lines[place] = 0;
    }
}

/* ---------------------------------------------------------------------------------- entries */

list_entry *list_entry_of(list_alarms *list, uint8_t raiser, uint8_t which, uint8_t about)
{
    uint8_t place;
    for (place = 0u; place < list->count; place++) {
        const node_alarm *alarm = &list->entries[place].alarm;
        if (alarm->raiser == raiser && alarm->which == which && alarm->about == about) {
            return &list->entries[place];
        }
    }
    return NULL;
}

/* Where there is no room: the newest of the least urgent, if it is less urgent than `priority`. */
static list_entry *least_urgent(list_alarms *list, uint8_t priority)
{
    list_entry *found = NULL;
    uint8_t place;
    for (place = 0u; place < list->count; place++) {
        const uint8_t its = list->entries[place].alarm.priority;
        if (its < priority || (found != NULL && its == priority)) {
            found = &list->entries[place];
            priority = its;
        }
    }
    return found;
}

list_entry *list_new_entry(list_alarms *list, uint8_t raiser, uint8_t which, uint8_t about)
{
    list_entry *entry =
        list->count < LIST_MOST_ALARMS ? &list->entries[list->count++] : least_urgent(list, node_alarm_priority(which));
    if (entry != NULL) {
        node_alarm_start(&entry->alarm, which, about, raiser);
        entry->answered = false;
        entry->answer = 0u;
        entry->answer_due_ns = NODE_NEVER;
        entry->answer_until_ns = -NODE_NEVER;
        entry->ended_by = 0u;
    }
    return entry;
}

/* All of them, with this node's own. */
static void gather(list_alarms *list)
{
    uint8_t place;
    list->listed.count = 0u;
    for (place = 0u; place < list->count; place++) {
        if (list->entries[place].alarm.state != BUSIM_ALARM_IS_GONE) {
            list->listed.entry[list->listed.count++] = &list->entries[place].alarm;
        }
    }
    for (place = 0u; place < list->own->count; place++) {
        if (list->own->raised[place].alarm.state != BUSIM_ALARM_IS_GONE) {
            list->listed.entry[list->listed.count++] = &list->own->raised[place].alarm;
        }
    }
}

/* ---------------------------------------------------------------------------------- frames */

/* The place of a sender in the roll call; as many as there are where it is none of them. */
static uint8_t member_of(const list_alarms *list, const busim_frame *frame)
{
    uint8_t place = 0u;
    while (place < list->call.count && list->call.members[place].address != busim_address_of(frame->id)) {
        place++;
    }
    return place;
}

static bool sent_in_alarm(uint8_t which)
{
    uint8_t place;
    for (place = 0u; place < BUSIM_COUNT_OF_ALARMS; place++) {
        if (busim_alarm_kinds[place].number == which) {
            return !busim_alarm_kinds[place].seen_by_listeners && !busim_alarm_kinds[place].sent_in_notice;
        }
    }
    return false;
}

/* Its raiser's word on an alarm. While an answer given here is on its way, the raiser can't know it yet. */
static void follow(list_entry *entry, int64_t now_ns, uint8_t state, uint8_t number)
{
    node_alarm *alarm = &entry->alarm;
    int64_t quiet_over_ns;
    if (state == BUSIM_ALARM_STATE_GONE) {
        entry->answered = false;
        (void)node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_PUT_RIGHT);
        return;
    }
    if (!node_alarm_stands(alarm) || number != alarm->number) {
        (void)node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_ARISES);
        alarm->number = number;
        entry->answered = false;
    }
    quiet_over_ns = now_ns - alarm->quiet_until_ns;
    if (state == BUSIM_ALARM_STATE_SILENCED && quiet_over_ns >= 0 && quiet_over_ns < REPEAT_NS) {
        return; /* its silence is over here already, and its raiser's clock runs a little behind */
    }
    if (state == BUSIM_ALARM_STATE_ACKNOWLEDGED || state == BUSIM_ALARM_STATE_SILENCED) {
        const bool acknowledged = state == BUSIM_ALARM_STATE_ACKNOWLEDGED;
        (void)node_alarm_event(alarm, now_ns, acknowledged ? BUSIM_ALARM_ON_ACKNOWLEDGE : BUSIM_ALARM_ON_SILENCE);
        entry->answered = false;
    } else if (!entry->answered && !node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_SILENCE_OVER) &&
               alarm->state == BUSIM_ALARM_IS_ACKNOWLEDGED) {
        (void)node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_ARISES);
    }
}

/* The first frame after a gap may raise what is not listed yet: in noise that lost all but one of its frames nobody is to wait a
 * second for an emergency. It takes nothing back, and an alarm that was a late copy is doubted and goes by itself. */
static void hear_alarm(list_alarms *list, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    const uint8_t member = member_of(list, frame);
    const uint8_t raiser = busim_address_of(frame->id);
    busim_alarm said;
    const busim_result result = busim_alarm_unpack(frame, &said);
    busim_verdict verdict;
    list_entry *entry;
    if (member == list->call.count || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)) {
        return;
    }
    verdict = node_judge(&list->alarm_counters[member], now_ns, bus, frame);
    if (verdict == BUSIM_DUPLICATE || !sent_in_alarm(said.which)) {
        return;
    }
    entry = list_entry_of(list, raiser, said.which, said.subject);
    if (verdict == BUSIM_REFUSED && entry != NULL && entry->alarm.state != BUSIM_ALARM_IS_GONE) {
        return;
    }
    if (entry == NULL) {
        entry = said.state == BUSIM_ALARM_STATE_GONE ? NULL : list_new_entry(list, raiser, said.which, said.subject);
        if (entry == NULL) {
            return;
        }
    }
    list->dirty = true;
    entry->alarm.confirmed_ns = now_ns;
    follow(entry, now_ns, said.state, said.number);
}

/* What was answered elsewhere counts here too, also for an alarm whose raiser has long taken it back. */
static void hear_answer(list_alarms *list, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    const uint8_t member = member_of(list, frame);
    busim_alarm_answer said;
    const busim_result result = busim_alarm_answer_unpack(frame, &said);
    uint8_t place;
    if (member == list->call.count || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) ||
        node_judge(&list->answer_counters[member], now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return;
    }
    node_alarms_answer(list->own, now_ns, &said);
    for (place = 0u; place < list->count; place++) {
        node_alarm *alarm = &list->entries[place].alarm;
        if (alarm->which == said.which && alarm->raiser == said.raiser && alarm->number == said.number && said.answer <= 1u) {
            list->dirty = node_alarm_answered(alarm, now_ns, said.answer) || list->dirty;
        }
    }
}

bool list_frame(list_alarms *list, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_neutral_now pressed;
    busim_result result;
    switch (busim_code_of(frame->id)) {
    case BUSIM_CODE_ALARM:
        hear_alarm(list, now_ns, bus, frame);
        return true;
    case BUSIM_CODE_ALARM_ANSWER:
        hear_answer(list, now_ns, bus, frame);
        return true;
    case BUSIM_CODE_NOTICE:
        list_notice(list, now_ns, bus, frame);
        return true;
    case BUSIM_CODE_NEUTRAL_NOW:
        result = busim_neutral_now_unpack(frame, &pressed);
        if (result == BUSIM_OK || result == BUSIM_OUT_OF_RANGE) {
            list_helm_key(&list->helm, now_ns, busim_address_of(frame->id), pressed.pressed != 0u, pressed.locked_out);
        }
        return true;
    case BUSIM_CODE_HEARTBEAT:
        if (busim_address_of(frame->id) != BUSIM_NODE_ADDRESS) {
            list_roll_call_hear(&list->call, now_ns, bus, frame);
            return true;
        }
        return false;
    default:
        return false;
    }
}

/* ---------------------------------------------------------------------------------- keys */

/* Here it counts at once: a crew that has answered is not to be shouted at. The raiser is told until it says so too. */
static void answer(list_alarms *list, int64_t now_ns, node_alarm *alarm, uint8_t given)
{
    if (alarm->raiser == BUSIM_NODE_ADDRESS) {
        busim_alarm_answer said;
        said.which = alarm->which;
        said.raiser = alarm->raiser;
        said.answer = given;
        said.number = alarm->number;
        node_alarms_answer(list->own, now_ns, &said);
    } else if (node_alarm_answered(alarm, now_ns, given) && alarm->raiser != 0u) {
        list_entry *entry = list_entry_of(list, alarm->raiser, alarm->which, alarm->about);
        if (entry != NULL) {
            entry->answered = true;
            entry->answer = given;
            entry->answer_due_ns = now_ns;
            entry->answer_until_ns = now_ns + ANSWER_LONGEST_NS;
        }
    }
}

void list_silence(list_alarms *list, int64_t now_ns)
{
    uint8_t place;
    list->dirty = true;
    gather(list);
    for (place = 0u; place < list->listed.count; place++) {
        if (node_alarm_sounds(list->listed.entry[place], now_ns)) {
            answer(list, now_ns, list->listed.entry[place], BUSIM_ALARM_ANSWER_SILENCE);
        }
    }
}

void list_acknowledge(list_alarms *list, int64_t now_ns)
{
    uint8_t line = 0u;
    uint8_t place;
    list->dirty = true;
    gather(list);
    list_lines_of(&list->lines, &list->listed, &list->call, &list->helm);
    while (line < list->lines.count && !list->lines.line[line].unanswered) {
        line++;
    }
    for (place = 0u; place < list->listed.count && line < list->lines.count; place++) {
        if (list->lines.head_of[place] == list->lines.line[line].head) {
            answer(list, now_ns, list->listed.entry[place], BUSIM_ALARM_ANSWER_ACKNOWLEDGE);
        }
    }
}

static void put_answer(list_alarms *list, const list_entry *entry, node_actions *actions)
{
    busim_alarm_answer message;
    busim_frame frame;
    list->answer_counter = busim_counter_next(list->answer_counter);
    message.which = entry->alarm.which;
    message.raiser = entry->alarm.raiser;
    message.answer = entry->answer;
    message.number = entry->alarm.number;
    if (busim_alarm_answer_pack(&message, BUSIM_NODE_ADDRESS, list->answer_counter, &frame) == BUSIM_OK) {
        node_queue(actions, &frame, ANSWER_REPEAT_NS);
    }
}

static void send_answers(list_alarms *list, int64_t now_ns, node_actions *actions)
{
    uint8_t place;
    for (place = 0u; place < list->count; place++) {
        list_entry *entry = &list->entries[place];
        if (!entry->answered || now_ns < entry->answer_due_ns) {
            continue;
        }
        if (now_ns >= entry->answer_until_ns) {
            entry->answered = false;
        } else if (actions->count + BUSIM_MOST_BUSES <= NODE_MOST_ACTIONS) { /* else at the next look */
            entry->answer_due_ns = now_ns + ANSWER_REPEAT_NS;
            put_answer(list, entry, actions);
        }
    }
}

/* ---------------------------------------------------------------------------------- looking */

/* What it sees by itself: raised and put right as it comes and goes. */
static void see(list_alarms *list, int64_t now_ns, const list_causes *causes)
{
    uint8_t place;
    for (place = 0u; place < causes->count; place++) {
        const list_cause *cause = &causes->entry[place];
        list_entry *entry = list_entry_of(list, 0u, cause->which, cause->about);
        entry = entry != NULL ? entry : list_new_entry(list, 0u, cause->which, cause->about);
        if (entry != NULL && !node_alarm_stands(&entry->alarm)) {
            list->dirty = node_alarm_event(&entry->alarm, now_ns, BUSIM_ALARM_ON_ARISES) || list->dirty;
        }
    }
    for (place = 0u; place < list->count; place++) {
        node_alarm *alarm = &list->entries[place].alarm;
        list_cause cause;
        cause.which = alarm->which;
        cause.about = alarm->about;
        if (alarm->raiser == 0u && node_alarm_stands(alarm) && !list_causes_have(causes, cause)) {
            list->dirty = node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_PUT_RIGHT) || list->dirty;
        }
    }
}

/* Its raiser is heard, and has said nothing of it for too long: it has forgotten it, or the end of it was not heard. */
static void doubt(list_alarms *list, int64_t now_ns, node_alarm *alarm)
{
    const list_presence *raiser = list_presence_of(&list->call, alarm->raiser);
    const bool gone = raiser != NULL && list_is_gone(raiser);
    const int64_t back_ns = raiser != NULL ? raiser->back_ns : -NODE_NEVER;
    const int64_t since_ns = alarm->confirmed_ns > back_ns ? alarm->confirmed_ns : back_ns;
    if (node_alarm_stands(alarm) && !gone && now_ns - since_ns >= UNCONFIRMED_NS) {
        list->dirty = node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_PUT_RIGHT) || list->dirty;
    }
}

/* Silences that are over, alarms to doubt, and what is over and answered goes. */
static void pass_through(list_alarms *list, int64_t now_ns)
{
    uint8_t place;
    uint8_t kept = 0u;
    for (place = 0u; place < list->count; place++) {
        list_entry *entry = &list->entries[place];
        list->dirty = node_alarm_wake(&entry->alarm, now_ns) || list->dirty;
        if (entry->alarm.raiser != 0u) {
            doubt(list, now_ns, &entry->alarm);
        }
        if (entry->alarm.state != BUSIM_ALARM_IS_GONE || entry->answered) {
            if (kept != place) {
                list->entries[kept] = *entry;
            }
            kept++;
        }
    }
    list->count = kept;
}

/* Told where it changed; false where there is no room to tell it now. */
static bool put_output(int32_t *told, int32_t value, uint16_t channel, node_actions *actions)
{
    if (*told != value) {
        if (actions->count >= NODE_MOST_ACTIONS) {
            return false;
        }
        *told = value;
        node_output(actions, channel, value);
    }
    return true;
}

static void show(list_alarms *list, int64_t now_ns, node_actions *actions)
{
    int32_t sounder = 0;
    uint8_t doubts = 0u;
    uint8_t shown;
    uint8_t place;
    bool all_told;
    gather(list);
    for (place = 0u; place < list->listed.count; place++) {
        sounder = node_alarm_sounds(list->listed.entry[place], now_ns) ? 1 : sounder;
        doubts = (uint8_t)(doubts + (list_doubtful(list->listed.entry[place], now_ns) ? 1u : 0u));
    }
    if (!list->dirty && list->shown && list->own->sees == list->looked_sees && doubts == list->looked_doubts &&
        sounder == list->told_sounder) {
        return;
    }
    list->shown = true;
    list->looked_sees = list->own->sees;
    list->looked_doubts = doubts;
    list_lines_of(&list->lines, &list->listed, &list->call, &list->helm);
    shown = list_lines_shown(&list->lines);
    all_told = put_output(&list->told_sounder, sounder, list->outputs.sounder, actions);
    all_told = put_output(&list->told_alarms, (int32_t)list->listed.count, list->outputs.alarms, actions) && all_told;
    all_told = put_output(&list->told_hidden, (int32_t)list->lines.count - (int32_t)shown, list->outputs.hidden, actions) && all_told;
    for (place = 0u; place < LIST_MOST_LINES; place++) {
        const list_line *line = &list->lines.line[place];
        const int32_t value = place < shown ? list_line_value(line, list->listed.entry[line->head], now_ns) : 0;
        const uint16_t channel = (uint16_t)(list->outputs.line + place + 1u);
        all_told = put_output(&list->told_lines[place], value, channel, actions) && all_told;
    }
    list->dirty = !all_told;
}

void list_look(list_alarms *list, int64_t now_ns, const uint8_t *own, uint8_t own_count, const list_causes *seen,
               node_actions *actions)
{
    list_causes causes;
    uint8_t place;
    if (now_ns < list->due_ns && !list->dirty) {
        return;
    }
    list->due_ns = now_ns + LOOK_NS;
    node_alarms_tell(list->own, now_ns, own, own_count, actions);
    if (now_ns >= list->call.due_ns) {
        list_roll_call_look(&list->call, now_ns);
    }
    causes = list->call.causes;
    list_helm_causes(&list->helm, now_ns, &causes);
    for (place = 0u; place < seen->count; place++) {
        list_causes_add(&causes, seen->entry[place].which, seen->entry[place].about);
    }
    see(list, now_ns, &causes);
    if (list->count > 0u || list->own->count > 0u || list->dirty) {
        pass_through(list, now_ns);
        send_answers(list, now_ns, actions);
        show(list, now_ns, actions);
    }
}
