/* See list_notices.h. */

#include "list_notices.h"

/* A navigation node has no word on a light that it does not feed. */
static bool feeds(uint8_t driver, uint8_t light)
{
    uint16_t place;
    for (place = 0u; place < busim_boat_navigation_lights_count; place++) {
        const busim_navigation_light_plan *plan = &busim_boat_navigation_lights[place];
        if (plan->driver == (int32_t)driver && plan->number == (int32_t)light) {
            return true;
        }
    }
    return false;
}

/* An answer given here goes on being told: there is nobody else to tell it to the other lists. */
static void end(list_alarms *list, int64_t now_ns, list_entry *entry, uint8_t bus)
{
    const uint8_t bit = (uint8_t)(1u << bus);
    if ((entry->ended_by & bit) != 0u) {
        list->dirty = node_alarm_event(&entry->alarm, now_ns, BUSIM_ALARM_ON_PUT_RIGHT) || list->dirty;
    }
    entry->ended_by = (uint8_t)(entry->ended_by | bit);
}

/* The raiser hears no answer, so that its state takes none back. */
static void stand(list_alarms *list, int64_t now_ns, list_entry *entry, const busim_notice *said)
{
    node_alarm *alarm = &entry->alarm;
    list->dirty = true;
    alarm->confirmed_ns = now_ns;
    entry->ended_by = 0u;
    alarm->priority = said->priority > BUSIM_ALARM_PRIORITY_EMERGENCY ? (uint8_t)BUSIM_ALARM_PRIORITY_EMERGENCY : said->priority;
    if (!node_alarm_stands(alarm) || said->number != alarm->number) {
        (void)node_alarm_event(alarm, now_ns, BUSIM_ALARM_ON_ARISES);
        alarm->number = said->number;
        entry->answered = false;
    }
}

void list_notice(list_alarms *list, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    const uint8_t raiser = busim_address_of(frame->id);
    busim_notice said;
    const busim_result result = busim_notice_unpack(frame, &said);
    list_entry *entry;
    if ((result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) || said.which != BUSIM_ALARM_IS_ABOUT_LAMP_OR_FUSE_FAILED ||
        !feeds(raiser, said.subject)) {
        return;
    }
    entry = list_entry_of(list, raiser, said.which, said.subject);
    if (said.state == BUSIM_ALARM_STATE_GONE) {
        if (entry != NULL && node_alarm_stands(&entry->alarm)) {
            end(list, now_ns, entry, bus);
        }
        return;
    }
    entry = entry != NULL ? entry : list_new_entry(list, raiser, said.which, said.subject);
    if (entry != NULL) {
        stand(list, now_ns, entry, &said);
    }
}
