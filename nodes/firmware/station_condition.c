/* The navigation lights' condition as a station keeps it: the highest number stands, of two equal ones the lower address. Panels
 * ask it, and it tells everybody; another station's word is told on, so that it stays when the other is gone.
 */

#include "station.h"

#define KNOWN (BUSIM_CONDITION_CONDITION_MAX + 1u)
#define TIMES 3u                   /* a change is said so often at once */
#define AGAIN_NS (20 * NODE_MS)
#define FORGOTTEN_NS (3500 * NODE_MS) /* it is said every second: three times lost and a half */

void station_condition_start(station_condition *self)
{
    uint16_t place;
    self->kept = busim_boat_navigation_lights_count > 0u;
    self->condition = 0u;
    self->number = 0u;
    self->address = 0u;
    for (place = 0u; place < busim_boat_stations_count; place++) {
        node_watch_start(&self->watches[place], BUSIM_CODE_CONDITION, (uint8_t)busim_boat_stations[place].address);
    }
    for (place = 0u; place < STATION_PANELS; place++) {
        self->asked[place] = false;
        self->last_press[place] = 0u;
        self->done_ns[place] = 0;
    }
    self->said_ns = -NODE_NEVER;
    self->guessed_ns = -NODE_NEVER;
    self->counter = 0u;
    self->due_ns = NODE_NEVER;
    self->times = 0u;
}

bool station_condition_ask(station_condition *self, int64_t now_ns, const busim_frame *frame)
{
    /* The last repeat leaves before the press has failed, and may wait one repeat long in the panel's queue. */
    const int64_t repeated_ns = (int64_t)(BUSIM_BOAT_TIMING_PRESS_FAILED_MS + BUSIM_BOAT_TIMING_PRESS_REPEAT_MS) * NODE_MS;
    busim_press press;
    const busim_result result = busim_press_unpack(frame, &press);
    uint16_t place = 0u;
    if (!self->kept || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)) {
        return false;
    }
    if (press.action != BUSIM_PRESS_ASKS_NAVIGATION_LIGHT_CONDITION || press.level >= KNOWN) {
        return false;
    }
    while (place + 1u < busim_boat_panels_count && busim_boat_panels[place].address != (int32_t)busim_address_of(frame->id)) {
        place++;
    }
    self->due_ns = now_ns;
    if (self->asked[place] && self->last_press[place] == press.number && now_ns - self->done_ns[place] <= repeated_ns) {
        return true;
    }
    self->asked[place] = true;
    self->last_press[place] = press.number;
    self->done_ns[place] = now_ns;
    if (press.level != self->condition || self->number == 0u) {
        if (self->number == 0u) {
            self->guessed_ns = now_ns;
        }
        self->number = busim_number_next(self->number);
        self->condition = (uint8_t)press.level;
        self->address = BUSIM_NODE_ADDRESS;
        self->times = TIMES;
    }
    return true;
}

bool station_condition_hear(station_condition *self, int64_t now_ns, uint8_t bus, const busim_frame *frame)
{
    busim_condition said;
    const busim_result result = busim_condition_unpack(frame, &said);
    const uint8_t address = busim_address_of(frame->id);
    const uint8_t wished = self->condition;
    uint16_t place = 0u;
    bool changed;
    if (!self->kept || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)) {
        return false;
    }
    while (place + 1u < busim_boat_stations_count && busim_boat_stations[place].address != (int32_t)address) {
        place++;
    }
    if (node_judge(&self->watches[place], now_ns, bus, frame) != BUSIM_ACCEPTED || said.condition >= KNOWN || said.number == 0u) {
        return false;
    }
    if (said.number == self->number && said.condition == self->condition) {
        self->said_ns = now_ns;
        self->guessed_ns = -NODE_NEVER; /* another station agrees */
    }
    if (!busim_number_newer(said.number, self->number) && !(said.number == self->number && address < self->address) &&
        now_ns - self->said_ns < FORGOTTEN_NS) {
        return false; /* one that nobody says any more holds no other back: its stations began anew, and count from 1 */
    }
    self->said_ns = now_ns;
    changed = said.condition != self->condition || self->number == 0u;
    self->condition = said.condition;
    self->number = said.number;
    self->address = address;
    if (changed && now_ns - self->guessed_ns < FORGOTTEN_NS) {
        /* What was asked here before anything was heard is younger than what the others go on saying: it gets the number after. */
        self->condition = wished;
        self->number = busim_number_next(said.number);
        self->address = BUSIM_NODE_ADDRESS;
    }
    self->guessed_ns = -NODE_NEVER;
    if (changed) {
        self->due_ns = now_ns;
        self->times = TIMES;
    }
    return changed;
}

void station_condition_tell(station_condition *self, int64_t now_ns, node_actions *actions)
{
    busim_condition message;
    busim_frame frame;
    self->times = self->times > 0u ? (uint8_t)(self->times - 1u) : 0u;
    self->due_ns = self->times > 0u ? now_ns + AGAIN_NS : node_following(self->due_ns, NODE_SECOND, now_ns);
    self->said_ns = now_ns;
    self->counter = busim_counter_next(self->counter);
    message.condition = self->condition;
    message.number = self->number;
    if (busim_condition_pack(&message, BUSIM_NODE_ADDRESS, self->counter, &frame) == BUSIM_OK) {
        node_send(actions, &frame, NODE_SECOND);
    }
}
