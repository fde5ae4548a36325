/* What stations ask of the drive, and whom it obeys: levers, claims, neutral now. See drive.h. */

#include "drive.h"

#define LOCK_FORGOTTEN_NS ((int64_t)BUSIM_ALARM_LOCK_FORGOTTEN_MS * NODE_MS)
#define MATCHED_WITHIN_PERMILLE 100 /* a lever counts as matched to the throttle within this */

static uint8_t wants_me(const drive *self)
{
    return self->me->instance == 1 ? BUSIM_TAKES_DRIVE_1 : BUSIM_TAKES_DRIVE_2;
}

/* ---------------------------------------------------------------------------------- levers */

/* Throttle at its stop, engine slow enough, and the dwell over unless it is the gear that was in last. */
static bool may_engage(const drive *self, int64_t now_ns, uint8_t gear)
{
    if (gear != self->last_gear && now_ns < self->dwell_until_ns) {
        return false;
    }
#ifdef BROKEN_ENGAGES_ABOVE_IDLE
    return drive_sensed_gear(&self->senses) == BUSIM_GEAR_NEUTRAL;
#else
    return drive_throttle_at_stop(&self->senses) && self->senses.rpm >= 0 && self->senses.rpm <= self->me->shift_rpm &&
           drive_sensed_gear(&self->senses) == BUSIM_GEAR_NEUTRAL;
#endif
}

static void follow_engaged(drive *self, int64_t now_ns, uint8_t gear, uint16_t throttle, node_actions *actions)
{
    if (gear != self->asked_gear) {
        drive_event(self, now_ns, BUSIM_DRIVE_ON_ASKS_NEUTRAL, actions);
        drive_told(self, actions);
    } else if (throttle != self->asked_throttle_permille) {
        self->asked_throttle_permille = throttle;
        if (self->steering.fitted) {
            drive_set_deadline(self, now_ns); /* above the cap, silence of the rudder matters */
        }
        node_output(actions, DRIVE_OUT_THROTTLE, throttle);
    }
}

/* Do what the last two lever frames agree on. */
static void follow(drive *self, int64_t now_ns, uint8_t gear, uint16_t throttle, node_actions *actions)
{
    uint8_t event;
    switch (self->state) {
    case BUSIM_DRIVE_IS_ENGAGED:
        follow_engaged(self, now_ns, gear, throttle, actions);
        return;
    case BUSIM_DRIVE_IS_ENGAGING:
        if (gear == self->asked_gear) {
            return;
        }
        event = BUSIM_DRIVE_ON_ASKS_NEUTRAL;
        break;
    case BUSIM_DRIVE_IS_NEUTRAL:
    case BUSIM_DRIVE_IS_DWELLING:
        if (gear == BUSIM_GEAR_NEUTRAL || !may_engage(self, now_ns, gear)) {
            return;
        }
        self->asked_gear = gear;
        event = BUSIM_DRIVE_ON_ASKS_GEAR;
        break;
    case BUSIM_DRIVE_IS_SLOWING:
        if (gear == BUSIM_GEAR_NEUTRAL || gear != self->asked_gear) {
            return;
        }
        event = BUSIM_DRIVE_ON_ASKS_SAME;
        break;
    default:
        return;
    }
    drive_event(self, now_ns, event, actions);
    drive_told(self, actions);
}

/* Is it heard by more than one bus? */
static bool by_pair(const busim_pair_watch *watch)
{
    return (watch->buses & (watch->buses - 1u)) != 0u;
}

static bool same_bytes(const busim_frame *one, const busim_frame *other)
{
    uint8_t place;
    for (place = 0u; place < 8u; place++) {
        if (one->data[place] != other->data[place]) {
            return false;
        }
    }
    return true;
}

/* The other bus of a pair brings other content under the counter last acted on: the lower of the two has to count. */
static bool unequal(const drive *self, const busim_frame *frame)
{
    return by_pair(&self->lever_counter) && busim_counter_of(frame) == self->acted_on && self->any_lever &&
           !same_bytes(&self->lever, frame);
}

#ifdef BROKEN_REENGAGES
/* Broken on purpose: once its lever is heard again, whatever its number, the station it has lost is obeyed again. */
static void obey_again(drive *self, int64_t now_ns, const busim_frame *frame, node_actions *actions)
{
    busim_lever lever;
    if (self->obeyed == 0u && self->state == BUSIM_DRIVE_IS_FORCED_NEUTRAL && busim_lever_unpack(frame, &lever) == BUSIM_OK &&
        self->number != 0u) {
        self->obeyed = busim_address_of(frame->id);
        self->obeyed_place = drive_place_of(self->obeyed);
        self->lever_id = frame->id;
        self->lever_ns = now_ns;
        self->number = lever.number;
        node_watch_start(&self->lever_counter, BUSIM_CODE_LEVER, self->obeyed);
        drive_event(self, now_ns, BUSIM_DRIVE_ON_TAKEN, actions);
    }
}
#endif

#ifdef BROKEN_OBEYS_OLD_HOLDER
/* Broken on purpose: whoever had control before is listened to as well. */
static void follow_old(drive *self, int64_t now_ns, const busim_frame *frame, node_actions *actions)
{
    busim_lever lever;
    if (busim_lever_unpack(frame, &lever) == BUSIM_OK) {
        follow(self, now_ns, self->me->instance == 1 ? lever.gear_1 : lever.gear_2, 0u, actions);
    }
}
#endif

void drive_on_lever(drive *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    const busim_asked before = self->previous;
    busim_lever lever;
    busim_asked asked;
    busim_result result;
    busim_verdict verdict;
    uint16_t higher;
    uint16_t most;
#ifdef BROKEN_REENGAGES
    obey_again(self, now_ns, frame, actions);
#endif
#ifdef BROKEN_OBEYS_OLD_HOLDER
    if (self->obeyed != 0u && frame->id == self->old_lever_id) {
        follow_old(self, now_ns, frame, actions);
    }
#endif
    if (frame->id != self->lever_id) {
        return;
    }
    result = busim_lever_unpack(frame, &lever);
    if (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) {
        return;
    }
    verdict = node_judge(&self->lever_counter, now_ns, bus, frame);
    if (verdict != BUSIM_ACCEPTED && (verdict != BUSIM_DUPLICATE || !unequal(self, frame))) {
        return;
    }
    self->lever = *frame;
    self->any_lever = true;
    if (lever.number != self->number) {
        return;
    }
    asked.gear = self->me->instance == 1 ? lever.gear_1 : lever.gear_2;
    asked.throttle_permille = self->me->instance == 1 ? lever.throttle_1 : lever.throttle_2;
    if (asked.gear > BUSIM_GEAR_ASTERN || asked.throttle_permille > 1000u) {
        return;
    }
    if (verdict == BUSIM_ACCEPTED) {
        self->lever_ns = now_ns;
    } else { /* a counter that does not go on feeds no timeout */
        self->unequal_ns = now_ns;
    }
    self->acted_on = busim_counter_of(frame);
    if (lever.lever_fault != 0u) {
        drive_lose(self, now_ns, BUSIM_CAUSE_LEVER_FAULT, actions);
        drive_told(self, actions);
        return;
    }
    self->previous = asked;
    higher = asked.throttle_permille > before.throttle_permille ? asked.throttle_permille : before.throttle_permille;
    most = self->steering.fitted ? drive_most_permille(&self->steering, now_ns, higher) : 1000u;
    asked = busim_both_ask(before, asked); /* one to reduce, two to add */
    follow(self, now_ns, asked.gear, asked.throttle_permille < most ? asked.throttle_permille : most, actions);
}

/* ---------------------------------------------------------------------------------- neutral now */

/* Has another station named this one's key stuck, and says so still? */
static bool locked_out(const drive *self, int64_t now_ns, uint8_t address)
{
    uint8_t place;
    for (place = 0u; place < busim_boat_stations_count; place++) {
        const drive_station *station = &self->stations[place];
        if ((((unsigned)station->locks >> address) & 1u) != 0u && now_ns - station->locks_ns < LOCK_FORGOTTEN_NS) {
            return true;
        }
    }
    return false;
}

/* Taking a key away needs two frames that agree, and a frame heard twice is one; the key itself needs one. */
static void name_keys(drive_station *station, int64_t now_ns, uint16_t locks, uint8_t counter)
{
    if (!station->any_key || counter != station->counter) {
        station->any_key = true;
        station->counter = counter;
        station->locks = (uint16_t)(locks & station->locks_before);
        station->locks_before = locks;
        station->locks_ns = now_ns;
    }
}

void drive_on_neutral_now(drive *self, int64_t now_ns, const busim_frame *frame, node_actions *actions)
{
    const uint8_t address = busim_address_of(frame->id);
    const uint8_t place = drive_place_of(address);
    busim_neutral_now said;
    const busim_result result = busim_neutral_now_unpack(frame, &said);
    if (place == DRIVE_NO_PLACE || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)) {
        return;
    }
    name_keys(&self->stations[place], now_ns, (uint16_t)(said.locked_out & ~(1u << address)), busim_counter_of(frame));
    if (said.pressed == 0u || locked_out(self, now_ns, address)) {
        return;
    }
    self->stations[place].pressed_ns = now_ns;
    drive_lose(self, now_ns, BUSIM_CAUSE_NEUTRAL_NOW, actions);
    drive_told(self, actions);
}

/* ---------------------------------------------------------------------------------- claims */

static busim_asked asked_in(const drive *self, const busim_claim *claim)
{
    busim_asked asked;
    asked.gear = self->me->instance == 1 ? claim->gear_1 : claim->gear_2;
    asked.throttle_permille = self->me->instance == 1 ? claim->throttle_1 : claim->throttle_2;
    return asked;
}

static bool near_throttle(const drive *self, busim_asked asked)
{
    const int32_t apart = (int32_t)asked.throttle_permille - (int32_t)self->asked_throttle_permille;
    return apart >= -MATCHED_WITHIN_PERMILLE && apart <= MATCHED_WITHIN_PERMILLE;
}

#define NO_EVENT 0xFFu

/* The taker's lever in the two claims that agree: in neutral, or matched where it may, or neither. */
static uint8_t take_gate(const drive *self, uint8_t place, const busim_claim *claim, const busim_claim *before)
{
    const busim_asked now = asked_in(self, claim);
    const busim_asked then = asked_in(self, before);
    if (now.gear == BUSIM_GEAR_NEUTRAL && then.gear == BUSIM_GEAR_NEUTRAL) {
        return BUSIM_DRIVE_ON_TAKEN;
    }
    if (self->state != BUSIM_DRIVE_IS_ENGAGED || !busim_boat_stations[place].matched_take) {
        return NO_EVENT;
    }
    return now.gear == self->asked_gear && then.gear == self->asked_gear && near_throttle(self, now) && near_throttle(self, then)
               ? BUSIM_DRIVE_ON_RETAKEN
               : NO_EVENT;
}

/* What forced neutral must be over before control can be taken again. */
static bool fault_gone(const drive *self, int64_t now_ns)
{
    uint8_t place;
    if (self->state != BUSIM_DRIVE_IS_FORCED_NEUTRAL) {
        return true;
    }
    for (place = 0u; place < busim_boat_stations_count; place++) {
        if (now_ns - self->stations[place].pressed_ns < node_timeout_ns(BUSIM_BOAT_TIMING_CONTROL_TIMEOUT_MS) &&
            !locked_out(self, now_ns, (uint8_t)busim_boat_stations[place].address)) {
            return false;
        }
    }
    return self->doubts.doubt == BUSIM_DRIVE_FAULT_NONE && drive_sensed_gear(&self->senses) == BUSIM_GEAR_NEUTRAL &&
           drive_throttle_at_stop(&self->senses);
}

static void change_over(drive *self, int64_t now_ns, uint8_t place, const busim_claim *claim, uint8_t event, node_actions *actions)
{
#ifdef BROKEN_OBEYS_OLD_HOLDER
    self->old_lever_id = self->lever_id;
#endif
    self->obeyed = (uint8_t)busim_boat_stations[place].address;
    self->obeyed_place = place;
    self->number = claim->number;
    self->wanted = claim->wanted;
    self->changed_ns = now_ns;
    self->lever_id = busim_id(BUSIM_CODE_LEVER, self->obeyed);
    node_watch_start(&self->lever_counter, BUSIM_CODE_LEVER, self->obeyed);
    self->any_lever = false;
    self->lever_ns = now_ns;
    /* What it does already is the first of the two that have to agree before it does more. */
    self->previous.gear = event == BUSIM_DRIVE_ON_TAKEN ? BUSIM_GEAR_NEUTRAL : self->asked_gear;
    self->previous.throttle_permille = event == BUSIM_DRIVE_ON_TAKEN ? 0u : self->asked_throttle_permille;
    self->cause = BUSIM_CAUSE_NONE;
    self->fault = BUSIM_DRIVE_FAULT_NONE;
    drive_event(self, now_ns, event, actions);
    if (self->engine_stop) {
        /* Gear out and throttle at its stop: what it was asked for is over, and a boat in control needs its engine. */
        self->engine_stop = false;
        node_output(actions, DRIVE_OUT_ENGINE_STOP, 0);
    }
    drive_told(self, actions);
}

void drive_on_claim(drive *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    const uint8_t place = drive_place_of(busim_address_of(frame->id));
    busim_claim claim;
    busim_claim before;
    bool any_before;
    uint8_t event;
    drive_station *station;
    const busim_result result = busim_claim_unpack(frame, &claim);
    if (place == DRIVE_NO_PLACE || !self->stations[place].may_control || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE)) {
        return;
    }
    station = &self->stations[place];
    if (node_judge(&station->claim_counter, now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return;
    }
    before = station->claim;
    any_before = station->any_claim;
    station->claim = claim;
    station->any_claim = claim.withdrawn == 0u;
    if (claim.withdrawn != 0u) {
        if (busim_address_of(frame->id) == self->obeyed && claim.number == self->number) {
            drive_lose(self, now_ns, BUSIM_CAUSE_WITHDRAWN, actions);
            drive_told(self, actions);
        }
        return;
    }
    if (!any_before || claim.number != before.number || claim.wanted != before.wanted || (claim.wanted & wants_me(self)) == 0u ||
        !busim_take_outbids(claim.number, busim_address_of(frame->id), self->number, self->obeyed) ||
        !drive_heartbeat_good(station, now_ns) || !fault_gone(self, now_ns)) {
        return;
    }
    event = take_gate(self, place, &claim, &before);
    if (event != NO_EVENT && drive_has_row(self, event)) {
        change_over(self, now_ns, place, &claim, event, actions);
    }
}
