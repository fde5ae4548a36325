/* The zone driver in C: lights its zones as panels ask, answers every press and scene by its own state. The Python one is
 * nodes/zone_driver.py; the words are those of the page (busim export protocol).
 *
 * Inputs: `switch.N` (a wired switch of zone N; each change is a touch), `lamp.N` (what is sensed of zone N's lamps).
 * Outputs: `channel.N` (in parts of 65,535 of full).
 */

#include "busim_rules.h"
#include "member.h"
#include "zone_light.h"

#define JOIN_NS (400 * NODE_MS) /* it waits to be told the scene before it lights what is lit after a reset */
#define BUS_LOST_NS (2000 * NODE_MS)
#define LAMP_OPEN 1

#define IN_SWITCH 0x100u
#define IN_LAMP 0x200u

#define MOST_ZONES (BUSIM_BOAT_COUNT_OF_ZONES > 0u ? BUSIM_BOAT_COUNT_OF_ZONES : 1u)
#define MOST_PANELS (BUSIM_BOAT_COUNT_OF_PANELS > 0u ? BUSIM_BOAT_COUNT_OF_PANELS : 1u)
#define OF_SCENES MOST_ZONES /* the place of a panel's scenes behind those of its presses */

typedef struct done_press {
    bool any;
    uint8_t number;
    int64_t heard_ns; /* for the first time */
} done_press;

typedef struct zone_driver {
    node_member member;
    int64_t deadline_ns;
    zone_light lights[MOST_ZONES]; /* as busim_node_zones */
    uint16_t light_count;
    bool minds_silence;
    done_press done[MOST_PANELS][MOST_ZONES + 1u]; /* of each panel and zone, and its scenes */
    uint8_t scene;                                 /* the one its zones joined last, 0 none */
    uint8_t told_panel;                            /* that asked for it */
    uint8_t told_number;
    int64_t state_due_ns;
    int64_t join_until_ns;
    int64_t heard_ns;
} zone_driver;

static zone_driver driver;

/* ---------------------------------------------------------------------------------- what it says */

static void tell_state(int64_t now_ns, zone_light *light, node_actions *actions)
{
    busim_zone_state state;
    busim_frame frame;
    if (!zone_light_moving(light)) {
        (void)zone_light_settle(light);
    }
    state.level = (uint16_t)zone_light_now(light, now_ns);
    state.zone = (uint8_t)light->plan->number;
    state.lit = state.level > 0u || light->level > 0 ? 1u : 0u;
    state.moving = zone_light_moving(light) ? 1u : 0u;
    state.colour = light->colour;
    state.fault = light->lamp != 0u ? light->lamp : light->fault;
    state.panel = light->panel;
    state.press = light->press;
    if (busim_zone_state_pack(&state, BUSIM_NODE_ADDRESS, &frame) == BUSIM_OK) {
        node_queue(actions, &frame, BUSIM_BOAT_TIMING_ZONE_MS * NODE_MS);
    }
}

static void tell_scene(const zone_driver *self, uint8_t fault, node_actions *actions)
{
    busim_scene_state state;
    busim_frame frame;
    state.scene = self->scene;
    state.revision = BUSIM_BOAT_REVISION_OF_SCENES;
    state.panel = self->told_panel;
    state.number = self->told_number;
    state.fault = fault;
    if (busim_scene_state_pack(&state, BUSIM_NODE_ADDRESS, &frame) == BUSIM_OK) {
        node_queue(actions, &frame, BUSIM_BOAT_TIMING_ZONE_MS * NODE_MS);
    }
}

static void set_deadline(zone_driver *self)
{
    int64_t due_ns = node_earlier(self->state_due_ns, self->member.beat_due_ns);
    uint16_t place;
    due_ns = node_earlier(due_ns, self->member.identity_due_ns);
    due_ns = node_earlier(due_ns, self->join_until_ns);
    if (self->heard_ns != NODE_NEVER) {
        due_ns = node_earlier(due_ns, self->heard_ns + BUS_LOST_NS);
    }
    for (place = 0u; place < self->light_count; place++) {
        due_ns = node_earlier(due_ns, self->lights[place].step_ns);
    }
    self->deadline_ns = due_ns;
}

/* What a light that was moved says of it. Said before the first step of a fade, a driver that is reset then would have answered
 * for a lamp that never moved. */
static void changed(zone_driver *self, int64_t now_ns, zone_light *light, node_actions *actions)
{
    set_deadline(self);
    zone_light_put(light, actions);
    if (!zone_light_moving(light) || !light->owes) {
        tell_state(now_ns, light, actions);
    }
}

static int64_t fade_ns(const zone_light *light)
{
    return light->plan->fade_ms * NODE_MS;
}

/* ---------------------------------------------------------------------------------- presses and scenes */

static zone_light *light_of(zone_driver *self, uint16_t zone)
{
    uint16_t place;
    for (place = 0u; place < self->light_count; place++) {
        if (self->lights[place].plan->number == (int32_t)zone) {
            return &self->lights[place];
        }
    }
    return NULL;
}

/* Its place in busim_boat_panels. */
static uint16_t panel_place(uint8_t address)
{
    uint16_t place = 0u;
    while (place + 1u < busim_boat_panels_count && busim_boat_panels[place].address != (int32_t)address) {
        place++;
    }
    return place;
}

static bool is_repeat(const done_press *done, int64_t now_ns, uint8_t number)
{
    /* The last repeat leaves before the press has failed, and may wait one repeat long in the panel's queue. */
    const int64_t repeated_ns = (int64_t)(BUSIM_BOAT_TIMING_PRESS_FAILED_MS + BUSIM_BOAT_TIMING_PRESS_REPEAT_MS) * NODE_MS;
    return done->any && done->number == number && now_ns - done->heard_ns <= repeated_ns;
}

static void note(zone_driver *self, done_press *done, int64_t now_ns, uint8_t number)
{
    done->any = true;
    done->number = number;
    done->heard_ns = now_ns;
    if (self->heard_ns != NODE_NEVER) {
        self->heard_ns = now_ns;
    }
}

static bool move_colour(zone_light *light, int64_t now_ns, const busim_press *press)
{
    const bool kelvin = press->action == BUSIM_PRESS_ASKS_COLOUR_TEMPERATURE;
    if (kelvin && press->colour == 0u) {
        return false;
    }
    if (!zone_light_paint(light, kelvin ? -1 : (int32_t)press->colour, kelvin ? press->colour : 0u)) {
        return false;
    }
    zone_light_go(light, now_ns, light->level != 0 ? light->level : light->used, fade_ns(light));
    return true;
}

/* What a press does to a light; false where it can't do that to it. */
static bool move(zone_light *light, int64_t now_ns, const busim_press *press)
{
    const uint8_t action = press->action;
    bool lit;
    switch (action) {
    case BUSIM_PRESS_ASKS_OFF:
    case BUSIM_PRESS_ASKS_ON:
    case BUSIM_PRESS_ASKS_TOGGLE:
        lit = action == BUSIM_PRESS_ASKS_ON || (action == BUSIM_PRESS_ASKS_TOGGLE && light->level == 0);
        zone_light_go(light, now_ns, lit ? light->used : 0, fade_ns(light));
        return true;
    case BUSIM_PRESS_ASKS_LEVEL:
        zone_light_go(light, now_ns, press->level < ZONE_FULL_PERMILLE ? press->level : ZONE_FULL_PERMILLE, fade_ns(light));
        return true;
    case BUSIM_PRESS_ASKS_COLOUR:
    case BUSIM_PRESS_ASKS_COLOUR_TEMPERATURE:
        return move_colour(light, now_ns, press);
    case BUSIM_PRESS_ASKS_START_DIMMING_UP:
    case BUSIM_PRESS_ASKS_START_DIMMING_DOWN:
        if (light->plan->kind == BUSIM_ZONE_KIND_SWITCHED) {
            return false;
        }
        zone_light_dim(light, now_ns, action == BUSIM_PRESS_ASKS_START_DIMMING_UP);
        return true;
    case BUSIM_PRESS_ASKS_STOP_DIMMING:
        zone_light_stop(light, now_ns);
        return true;
    default:
        return false;
    }
}

static void on_press(zone_driver *self, int64_t now_ns, const busim_frame *frame, node_actions *actions)
{
    busim_press press;
    const busim_result result = busim_press_unpack(frame, &press);
    const uint8_t panel = busim_address_of(frame->id);
    zone_light *light;
    done_press *done;
    if (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) {
        return;
    }
    light = light_of(self, press.zone);
    if (light == NULL) {
        return;
    }
    done = &self->done[panel_place(panel)][light - self->lights];
    if (is_repeat(done, now_ns, press.number)) {
        tell_state(now_ns, light, actions);
        return;
    }
    if (!move(light, now_ns, &press)) {
        return;
    }
    note(self, done, now_ns, press.number);
    light->touched = light->touched || press.action != BUSIM_PRESS_ASKS_STOP_DIMMING;
    /* Another press that has not begun to show is done and undone: it is answered before this one takes its place. */
    if (zone_light_settle(light)) {
        tell_state(now_ns, light, actions);
    }
    light->owes = true;
    light->owed_panel = panel;
    light->owed_press = press.number;
    changed(self, now_ns, light, actions);
}

/* Told late, after a bus that was cut came back, it leaves what a hand has worked meanwhile. */
static bool is_left(const zone_light *light, const busim_scene *scene)
{
    return scene->joining != 0u && light->touched;
}

static void join(zone_driver *self, int64_t now_ns, const busim_scene *scene, const busim_scene_plan *plan, node_actions *actions)
{
    const int64_t fade = scene->fade * 10 * NODE_MS;
    uint16_t place;
    if (plan == NULL) { /* all off */
        for (place = 0u; place < self->light_count; place++) {
            if (is_left(&self->lights[place], scene)) {
                continue;
            }
            zone_light_go(&self->lights[place], now_ns, 0, fade);
            zone_light_put(&self->lights[place], actions);
        }
        return;
    }
    for (place = 0u; place < plan->levels_count; place++) {
        const busim_scene_level *wanted = &plan->levels[place];
        zone_light *light = light_of(self, wanted->zone);
        if (light != NULL && !is_left(light, scene)) {
            (void)zone_light_paint(light, wanted->colour, wanted->kelvin);
            zone_light_go(light, now_ns, wanted->level_permille, fade);
            zone_light_put(light, actions);
        }
    }
}

static void on_scene(zone_driver *self, int64_t now_ns, const busim_frame *frame, node_actions *actions)
{
    busim_scene scene;
    const busim_result result = busim_scene_unpack(frame, &scene);
    const uint8_t panel = busim_address_of(frame->id);
    const busim_scene_plan *plan;
    done_press *done;
    uint8_t fault;
    if (result != BUSIM_OK && result != BUSIM_OUT_OF_RANGE) {
        return;
    }
    done = &self->done[panel_place(panel)][OF_SCENES];
    fault = busim_scene_table_same(scene.revision) ? BUSIM_ZONE_FAULT_NONE : BUSIM_ZONE_FAULT_SCENE_TABLE_OLDER;
    if (is_repeat(done, now_ns, scene.number)) {
        tell_scene(self, fault, actions);
        return;
    }
    if (scene.joining != 0u && self->scene != 0u) {
        return;
    }
    note(self, done, now_ns, scene.number);
    self->told_panel = panel;
    self->told_number = scene.number;
    plan = busim_scene_numbered(scene.scene);
    if (plan != NULL || scene.scene == BUSIM_SCENE_ALL_OFF) {
        self->scene = scene.scene;
        self->join_until_ns = NODE_NEVER;
        join(self, now_ns, &scene, plan, actions);
    } else {
        fault = BUSIM_ZONE_FAULT_SCENE_TABLE_OLDER;
    }
    set_deadline(self);
    tell_scene(self, fault, actions);
}

/* ---------------------------------------------------------------------------------- calls of the seam */

static void on_start(void *memory, int64_t now_ns, uint8_t reset_cause, node_actions *actions)
{
    static const done_press nothing = {false, 0u, 0};
    zone_driver *self = (zone_driver *)memory;
    uint16_t panel;
    uint16_t place;
    node_member_start(&self->member, now_ns, reset_cause);
    self->member.working = true;
    self->deadline_ns = now_ns;
    self->minds_silence = false;
    self->light_count = busim_node_zones_count < MOST_ZONES ? busim_node_zones_count : (uint16_t)MOST_ZONES;
    for (panel = 0u; panel < MOST_PANELS; panel++) {
        for (place = 0u; place <= MOST_ZONES; place++) {
            self->done[panel][place] = nothing;
        }
    }
    self->scene = 0u;
    self->told_panel = 0u;
    self->told_number = 0u;
    for (place = 0u; place < self->light_count; place++) {
        zone_light_start(&self->lights[place], busim_node_zones[place]);
        self->minds_silence = self->minds_silence || busim_node_zones[place]->lit_on_bus_loss;
        zone_light_step(&self->lights[place], now_ns);
        zone_light_put(&self->lights[place], actions);
    }
    self->state_due_ns = now_ns;
    self->heard_ns = self->minds_silence ? now_ns : NODE_NEVER;
    self->join_until_ns = now_ns + JOIN_NS;
}

static void on_frame(void *memory, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions)
{
    zone_driver *self = (zone_driver *)memory;
    (void)bus;
    switch (busim_code_of(frame->id)) {
    case BUSIM_CODE_PRESS:
        on_press(self, now_ns, frame, actions);
        break;
    case BUSIM_CODE_SCENE:
        on_scene(self, now_ns, frame, actions);
        break;
    case BUSIM_CODE_HEARTBEAT: { /* a panel is there: the bus is not lost */
        const bool again = self->heard_ns == NODE_NEVER;
        if (self->minds_silence) {
            self->heard_ns = now_ns;
            if (again) {
                set_deadline(self);
            }
        }
        break;
    }
    default:
        break;
    }
}

static void on_input(void *memory, int64_t now_ns, uint16_t channel, int32_t value, node_actions *actions)
{
    zone_driver *self = (zone_driver *)memory;
    zone_light *light = light_of(self, channel & 0xFFu);
    if (light == NULL) {
        return;
    }
    if ((channel & 0xFF00u) == IN_LAMP) {
        const uint8_t sensed = value >= 0 && value <= 2 ? (uint8_t)value : LAMP_OPEN;
        if (sensed != light->lamp) {
            light->lamp = sensed;
            tell_state(now_ns, light, actions);
        }
    } else if ((channel & 0xFF00u) == IN_SWITCH && light->plan->wired_switch && now_ns > 0) {
        light->touched = true;
        zone_light_go(light, now_ns, light->level != 0 ? 0 : light->used, fade_ns(light));
        changed(self, now_ns, light, actions);
    }
}

static void light_by_itself(zone_driver *self, int64_t now_ns, bool after_reset, node_actions *actions)
{
    uint16_t place;
    for (place = 0u; place < self->light_count; place++) {
        zone_light *light = &self->lights[place];
        if (after_reset ? light->plan->lit_after_reset && !light->touched : light->plan->lit_on_bus_loss) {
            zone_light_go(light, now_ns, ZONE_FULL_PERMILLE, fade_ns(light));
            zone_light_put(light, actions);
        }
    }
}

static void step_lights(zone_driver *self, int64_t now_ns, node_actions *actions)
{
    uint16_t place;
    for (place = 0u; place < self->light_count; place++) {
        zone_light *light = &self->lights[place];
        if (now_ns >= light->step_ns) {
            zone_light_step(light, now_ns);
            zone_light_put(light, actions);
            if (zone_light_settle(light) || !zone_light_moving(light)) {
                tell_state(now_ns, light, actions);
            }
        }
    }
}

static void on_deadline(void *memory, int64_t now_ns, node_actions *actions)
{
    zone_driver *self = (zone_driver *)memory;
    uint16_t place;
    self->member.task_ran = true;
    node_member_beat(&self->member, now_ns, actions);
    if (now_ns >= self->join_until_ns) {
        self->join_until_ns = NODE_NEVER;
        light_by_itself(self, now_ns, true, actions);
    }
    if (self->heard_ns != NODE_NEVER && now_ns - self->heard_ns >= BUS_LOST_NS) {
        self->heard_ns = NODE_NEVER;
        light_by_itself(self, now_ns, false, actions);
    }
    step_lights(self, now_ns, actions);
    if (now_ns >= self->state_due_ns) {
        self->state_due_ns = node_following(self->state_due_ns, BUSIM_BOAT_TIMING_ZONE_MS * NODE_MS, now_ns);
        for (place = 0u; place < self->light_count; place++) {
            tell_state(now_ns, &self->lights[place], actions);
        }
        tell_scene(self, BUSIM_ZONE_FAULT_NONE, actions);
    }
    set_deadline(self);
}

static const node_calls calls = {on_start, on_frame, on_input, NULL, NULL, on_deadline};
static const node_channel inputs[] = {{"switch.", IN_SWITCH, true, false}, {"lamp.", IN_LAMP, true, false}, {NULL, 0u, false, false}};
static const node_channel outputs[] = {{"channel.", 0u, true, false}, {NULL, 0u, false, false}};

const node the_node = {"zone_driver", &calls, &driver, &driver.deadline_ns, inputs, outputs};
