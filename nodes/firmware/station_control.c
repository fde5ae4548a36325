/* Who is in control, as a station sees it: what drives and rudder echo, letting go. busim_station_table carried out: no state follows
 * on another anywhere else.
 */

#include "station.h"

void station_control_start(station *self)
{
    uint16_t place;
    self->state = BUSIM_STATION_IS_WATCHING;
    self->number = 0u;
    self->highest = 0u;
    self->claim_due_ns = NODE_NEVER;
    self->claim_counter = 0u;
    self->transfer_until_ns = NODE_NEVER;
    self->held_since_ns = 0;
    self->let_go = 0u;
    self->mine = 0u;
    self->carries_on = true;
    for (place = 0u; place < busim_node_station->drives_count; place++) {
        self->mine = (uint8_t)(self->mine | busim_node_station->drives[place]); /* an instance is its BUSIM_TAKES_ value */
    }
    self->drive_count = busim_boat_drives_count < STATION_DRIVES ? (uint8_t)busim_boat_drives_count : (uint8_t)STATION_DRIVES;
    for (place = 0u; place < self->drive_count; place++) {
        const busim_drive_plan *plan = &busim_boat_drives[place];
        station_echo *echo = &self->drives[place];
        echo->address = (uint8_t)plan->address;
        echo->mine = (self->mine & (uint8_t)plan->instance) != 0u;
        echo->wanted = false;
        echo->held = false;
        echo->left_out_until_ns = -NODE_NEVER;
        node_watch_start(&echo->counter, BUSIM_CODE_DRIVE_OBEYS, echo->address);
        echo->heard_ns = -NODE_NEVER;
        echo->station = 0u;
        echo->number = 0u;
        echo->acted_on = 0u;
        echo->policy_idle = plan->on_loss == BUSIM_ON_LOSS_IDLE;
        echo->may_stay = false;
        self->carries_on = self->carries_on && plan->on_other_lost == BUSIM_ON_OTHER_LOST_CARRY_ON;
    }
}

bool station_take_row(station *self, uint8_t event, node_actions *actions)
{
    const busim_row *row = busim_row_of(&busim_station_table, self->state, event);
    if (row == NULL) {
        return false;
    }
    self->state = row->next_state;
    node_row(actions, row->number, 0u);
    return true;
}

static void hear_number(station *self, uint16_t number)
{
    if (busim_number_newer(number, self->highest)) {
        self->highest = number;
    }
}

/* Another station asks for control: its number is taken, whether the drives have said so yet or not. */
void station_hear_claim(station *self, const busim_frame *frame)
{
    busim_claim claim;
    const busim_result result = busim_claim_unpack(frame, &claim);
    if (result == BUSIM_OK || result == BUSIM_OUT_OF_RANGE) {
        hear_number(self, claim.number);
    }
}

/* ---------------------------------------------------------------------------------- what drives and rudder echo */

bool station_is_mine(const station *self, uint8_t address, uint16_t number)
{
    return address == BUSIM_NODE_ADDRESS && number == self->number;
}

static bool outbids(const station *self, uint8_t address, uint16_t number)
{
    return busim_number_newer(number, self->number) ||
           (number == self->number && address > 0u && address < BUSIM_NODE_ADDRESS);
}

/* Does a drive it may take obey another station, by a take that goes before its own? */
static bool taken_before(const station *self)
{
    bool taken = false;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        taken = taken || (echo->mine && echo->station != 0u && echo->station != BUSIM_NODE_ADDRESS &&
                          outbids(self, echo->station, echo->number));
    }
    return taken;
}

/* What those it wants say, taken together. */
typedef struct echoes {
    uint8_t count;
    uint8_t mine;
    bool outbid;
} echoes;

static echoes gather(const station *self)
{
    echoes all = {0u, 0u, false};
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        if (echo->wanted) {
            all.count++;
            all.mine = (uint8_t)(all.mine + (station_is_mine(self, echo->station, echo->number) ? 1u : 0u));
            all.outbid = all.outbid || outbids(self, echo->station, echo->number);
        }
    }
    if (self->wheel.fitted && self->wheel.wanted) {
        all.count++;
        all.mine = (uint8_t)(all.mine + (station_is_mine(self, self->wheel.station, self->wheel.number) ? 1u : 0u));
        all.outbid = all.outbid || outbids(self, self->wheel.station, self->wheel.number);
    }
    return all;
}

static void end_take(station *self)
{
    self->claim_due_ns = NODE_NEVER;
    self->transfer_until_ns = NODE_NEVER;
}

/* With the last drive held, or where the policy is all or nothing, control is let go. `lost`: the first of them; 0 none was. */
static void let_go_if_lost(station *self, uint8_t lost, uint8_t event, node_actions *actions)
{
    const bool any_lost = lost != 0u;
    bool holds = false;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        holds = holds || self->drives[place].held;
    }
    self->let_go = self->let_go != 0u ? self->let_go : lost;
    if (any_lost && (!holds || !self->carries_on)) {
        (void)station_take_row(self, event, actions);
    }
}

static void weigh_claiming(station *self, int64_t now_ns, node_actions *actions)
{
    const echoes all = gather(self);
    uint8_t left_out = 0u; /* the first drive that its take is not of */
    uint8_t place;
    if (all.count > 0u && all.mine == all.count) {
        (void)station_take_row(self, BUSIM_STATION_ON_ECHOED, actions);
        for (place = 0u; place < self->drive_count; place++) {
            station_echo *echo = &self->drives[place];
            echo->held = echo->wanted;
            left_out = left_out == 0u && echo->mine && !echo->held ? echo->address : left_out;
        }
        self->held_since_ns = now_ns;
        self->wheel.held = self->wheel.fitted && self->wheel.wanted;
        /* Driven from here, and perhaps not steered, or not all of it. */
        self->let_go = self->wheel.fitted && !self->wheel.wanted ? self->wheel.rudder : left_out;
        end_take(self);
    } else if (all.outbid || taken_before(self)) {
        (void)station_take_row(self, BUSIM_STATION_ON_OUTBID, actions);
        self->transfer_until_ns = now_ns + node_timeout_ns(BUSIM_BOAT_TIMING_TRANSFER_MS);
    }
}

static uint8_t first_held(const station *self)
{
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        if (self->drives[place].held) {
            return self->drives[place].address;
        }
    }
    return 0u;
}

static void weigh_holding(station *self, node_actions *actions)
{
    const echoes all = gather(self);
    uint8_t lost = 0u; /* the first of them */
    bool taken = false; /* by another station */
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        station_echo *echo = &self->drives[place];
        if (echo->held && !station_is_mine(self, echo->station, echo->number)) {
            echo->held = false;
            lost = lost != 0u ? lost : echo->address;
            taken = taken || (echo->station != 0u && echo->station != BUSIM_NODE_ADDRESS);
        }
    }
    if (!taken && taken_before(self)) { /* of a drive it let go of, or left out */
        taken = true;
        lost = lost != 0u ? lost : first_held(self);
    }
    for (place = 0u; place < self->drive_count && taken; place++) {
        self->drives[place].held = false;
    }
    let_go_if_lost(self, lost, BUSIM_STATION_ON_ECHO_LOST, actions);
    if (self->mine == 0u && (all.count != 1u || all.mine != 1u)) { /* a station of a wheel alone */
        (void)station_take_row(self, BUSIM_STATION_ON_ECHO_LOST, actions);
    }
    if (taken) { /* the display says so, and an alarm at each hand-over is one nobody heeds */
        self->let_go = 0u;
    }
}

static void watch_steering(station *self, int64_t now_ns)
{
    bool taken = false; /* by another station, as far as is heard */
    uint8_t place;
    if (!self->wheel.fitted) {
        return;
    }
    for (place = 0u; place < self->drive_count; place++) {
        const station_echo *echo = &self->drives[place];
        taken = taken || (self->wheel.keeps != 0u && echo->mine && station_echo_heard(echo, now_ns) && echo->station != 0u &&
                          echo->station != BUSIM_NODE_ADDRESS && busim_number_newer(echo->number, self->wheel.keeps));
    }
    if (station_wheel_watch(&self->wheel, now_ns, self->number, self->state == BUSIM_STATION_IS_HOLDING, taken) &&
        self->let_go == 0u) {
        self->let_go = self->wheel.rudder;
    }
}

/* What the reports say to the state it is in. */
static void weigh(station *self, int64_t now_ns, node_actions *actions)
{
    if (self->state == BUSIM_STATION_IS_CLAIMING) {
        weigh_claiming(self, now_ns, actions);
    } else if (self->state == BUSIM_STATION_IS_HOLDING) {
        weigh_holding(self, actions);
    } else if (self->state == BUSIM_STATION_IS_WITHDRAWING && gather(self).mine == 0u) {
        (void)station_take_row(self, BUSIM_STATION_ON_WITHDRAWN, actions);
        end_take(self);
    }
    watch_steering(self, now_ns);
    station_set_deadline(self);
    station_show(self, now_ns, actions);
}

void station_hear_drive(station *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    busim_drive_obeys said;
    const busim_result result = busim_drive_obeys_unpack(frame, &said);
    station_echo *echo = NULL;
    uint8_t place;
    bool changed;
    for (place = 0u; place < self->drive_count; place++) {
        if (self->drives[place].address == busim_address_of(frame->id)) {
            echo = &self->drives[place];
        }
    }
    if (echo == NULL || (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) ||
        node_judge(&echo->counter, now_ns, bus, frame) != BUSIM_ACCEPTED) {
        return;
    }
    echo->heard_ns = now_ns;
    list_helm_obeys(&self->list.helm, now_ns, frame, &said);
    changed = said.station != echo->station || said.number != echo->number || self->shows == STATION_SHOWS_NOTHING_HEARD;
    echo->station = said.station;
    echo->number = said.number;
    echo->acted_on = said.acted_on;
    echo->may_stay = echo->policy_idle && (said.state == BUSIM_DRIVE_IS_HELD_IDLE ||
                                           (said.state == BUSIM_DRIVE_IS_FORCED_IDLE && said.cause != BUSIM_CAUSE_NEUTRAL_NOW));
    if (station_is_mine(self, said.station, said.number)) {
        echo->left_out_until_ns = -NODE_NEVER; /* it followed after all, a moment too late */
    }
    if (!changed && self->state != BUSIM_STATION_IS_CLAIMING) {
        return;
    }
    hear_number(self, said.number);
    if (self->mine != 0u) {
        weigh(self, now_ns, actions);
    }
}

void station_hear_rudder(station *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    if (self->wheel.fitted && station_wheel_hear(&self->wheel, now_ns, bus, frame)) {
        hear_number(self, self->wheel.number);
        weigh(self, now_ns, actions);
    }
}

/* ---------------------------------------------------------------------------------- time */

/* Drives held whose echo grew old are not held any more; the first of them, or 0. */
static uint8_t drop_old(station *self, int64_t now_ns)
{
    const int64_t age_max_ns = node_timeout_ns(BUSIM_BOAT_TIMING_AGE_MAX_MS);
    const bool settled = now_ns - self->held_since_ns > age_max_ns;
    uint8_t first = 0u;
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        station_echo *echo = &self->drives[place];
        const uint8_t behind = (uint8_t)(self->lever_counter - echo->acted_on);
        const int64_t age_ns = (int64_t)behind * BUSIM_BOAT_TIMING_LEVER_MS * NODE_MS;
        if (echo->held && (now_ns - echo->heard_ns > age_max_ns || (settled && age_ns > age_max_ns))) {
            echo->held = false;
            first = first != 0u ? first : echo->address;
        }
    }
    return first;
}

/* Who has now what it let go of; 0 nobody. */
static uint8_t master_of_let_go(const station *self, int64_t now_ns)
{
    uint8_t place;
    for (place = 0u; place < self->drive_count; place++) {
        if (self->drives[place].address == self->let_go) {
            return self->drives[place].station;
        }
    }
    return self->wheel.fitted ? station_wheel_steered_by(&self->wheel, now_ns) : 0u;
}

uint8_t station_let_go_of(station *self, int64_t now_ns)
{
    const list_drive *heard = list_drive_at(&self->list.helm, self->let_go);
    const uint8_t master = master_of_let_go(self, now_ns);
    /* What obeys another station now is no loss; but what this one left out, it has not, whatever it said last. */
    if (master != 0u && master != BUSIM_NODE_ADDRESS && self->state != BUSIM_STATION_IS_HOLDING) {
        self->let_go = 0u;
    }
    return heard != NULL && heard->asked ? 0u : self->let_go;
}

void station_watch_time(station *self, int64_t now_ns, node_actions *actions)
{
    bool moved = false;
    watch_steering(self, now_ns);
    if (self->state == BUSIM_STATION_IS_HOLDING) {
        const uint8_t lost = drop_old(self, now_ns);
        if (lost != 0u) {
            let_go_if_lost(self, lost, BUSIM_STATION_ON_ECHO_OLD, actions);
            moved = true;
        }
    } else if (now_ns >= self->transfer_until_ns) {
        moved = true;
        if (self->state == BUSIM_STATION_IS_CLAIMING) {
            station_leave_out(self, now_ns);
            (void)station_take_row(self, BUSIM_STATION_ON_TRANSFER_OVER, actions);
            self->transfer_until_ns = now_ns + node_timeout_ns(BUSIM_BOAT_TIMING_TRANSFER_MS);
        } else {
            (void)station_take_row(self, BUSIM_STATION_ON_WITHDRAWN, actions);
            end_take(self);
        }
    }
    if (moved || now_ns >= self->show_due_ns) {
        station_show(self, now_ns, actions);
    }
}
