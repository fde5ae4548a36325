/* See zone_light.h. */

#include "zone_light.h"

#include "busim_rules.h"

#define FADE_STEP_NS (10 * NODE_MS)
#define DIM_NS (4000 * NODE_MS) /* from dark to full with a finger on it */
#define DIMMEST_PERMILLE 10
#define WHITE_COLOUR 0xFFFFFFul

static void mix(zone_light *light)
{
    bool out_of_reach = false;
    light->shares[0] = ZONE_FULL_SHARE;
    if (light->plan->kind == BUSIM_ZONE_KIND_TUNABLE_WHITE) {
        out_of_reach =
            zone_kelvin_shares(light->colour, (uint32_t)light->plan->warm_k, (uint32_t)light->plan->cool_k, light->shares);
    } else if (light->plan->kind == BUSIM_ZONE_KIND_COLOUR) {
        out_of_reach = zone_rgb_shares(light->colour, light->plan->channels_count, light->shares);
    }
    light->fault = out_of_reach ? BUSIM_ZONE_FAULT_COLOUR_OUT_OF_REACH : BUSIM_ZONE_FAULT_NONE;
}

void zone_light_start(zone_light *light, const busim_zone_plan *plan)
{
    static const zone_light dark = {NULL, 0, 0, 0, 0, NODE_NEVER, 0, ZONE_FULL_PERMILLE, 0u, {0u, 0u, 0u, 0u},
                                    0u, 0u, false, 0u, 0u, 0u, 0u, false, false};
    *light = dark;
    light->plan = plan;
    if (plan->kind == BUSIM_ZONE_KIND_COLOUR) {
        light->colour = WHITE_COLOUR;
    } else if (plan->kind == BUSIM_ZONE_KIND_TUNABLE_WHITE) {
        light->colour = (uint32_t)plan->warm_k;
    }
    mix(light);
}

bool zone_light_moving(const zone_light *light)
{
    return light->step_ns != NODE_NEVER;
}

bool zone_light_settle(zone_light *light)
{
    if (!light->owes) {
        return false;
    }
    light->panel = light->owed_panel;
    light->press = light->owed_press;
    light->owes = false;
    return true;
}

int32_t zone_light_now(const zone_light *light, int64_t now_ns)
{
    int64_t way;
    int64_t whole_ns;
    if (now_ns >= light->ends_ns) {
        return light->level;
    }
    whole_ns = light->ends_ns - light->began_ns;
    way = (int64_t)(light->level - light->origin) * (now_ns - light->began_ns);
    /* Down to the next whole permille, also on the way down; C itself rounds to nothing. */
    return light->origin + (int32_t)(way >= 0 ? way / whole_ns : -((whole_ns - 1 - way) / whole_ns));
}

void zone_light_step(zone_light *light, int64_t now_ns)
{
    light->seen = zone_light_now(light, now_ns);
    light->step_ns = now_ns >= light->ends_ns ? NODE_NEVER : node_earlier(now_ns + FADE_STEP_NS, light->ends_ns);
}

void zone_light_go(zone_light *light, int64_t now_ns, int32_t level, int64_t fade_ns)
{
    const bool switched = light->plan->kind == BUSIM_ZONE_KIND_SWITCHED; /* on or off, and at once */
    const int32_t wanted = switched && level != 0 ? ZONE_FULL_PERMILLE : level;
    light->origin = zone_light_now(light, now_ns);
    if (light->dims && light->origin != 0) {
        light->used = light->origin; /* how far the hand had come */
    }
    light->dims = false;
    light->level = wanted;
    if (wanted != 0) {
        light->used = wanted;
    }
    light->began_ns = now_ns;
    light->ends_ns = now_ns + (switched ? 0 : fade_ns);
    zone_light_step(light, now_ns);
}

void zone_light_dim(zone_light *light, int64_t now_ns, bool up)
{
    const int32_t end = up ? ZONE_FULL_PERMILLE : DIMMEST_PERMILLE;
    const int32_t now = zone_light_now(light, now_ns);
    const int32_t used = light->dims && now != 0 ? now : light->used;
    zone_light_go(light, now_ns, end, (int64_t)(end > now ? end - now : now - end) * DIM_NS / ZONE_FULL_PERMILLE);
    light->used = used;
    light->dims = true;
}

void zone_light_stop(zone_light *light, int64_t now_ns)
{
    if (light->dims) { /* what moves for another reason by now goes on */
        zone_light_go(light, now_ns, zone_light_now(light, now_ns), 0);
    }
}

bool zone_light_paint(zone_light *light, int32_t colour, uint32_t kelvin)
{
    if (light->plan->kind == BUSIM_ZONE_KIND_TUNABLE_WHITE && kelvin != 0u) {
        light->colour = kelvin;
    } else if (light->plan->kind == BUSIM_ZONE_KIND_COLOUR && colour >= 0) {
        light->colour = (uint32_t)colour;
    } else {
        return colour < 0 && kelvin == 0u;
    }
    mix(light);
    return true;
}

void zone_light_put(const zone_light *light, node_actions *actions)
{
    const uint32_t steps = ((uint32_t)1u << light->plan->pwm_bits) - 1u;
    const bool switched = light->plan->kind == BUSIM_ZONE_KIND_SWITCHED;
    uint32_t duty = light->seen > 0 ? busim_duty_for((uint16_t)light->seen, (uint16_t)steps) : 0u;
    uint16_t channel;
    if (switched) {
        duty = light->seen != 0 ? steps : 0u;
    }
    for (channel = 0u; channel < light->plan->channels_count && channel < ZONE_MOST_CHANNELS; channel++) {
        /* In parts of 65,535 of full, whatever the steps that its hardware has. */
        const uint64_t of_steps = ((uint64_t)duty * light->shares[channel] + ZONE_FULL_SHARE / 2u) / ZONE_FULL_SHARE;
        node_output(actions, light->plan->channels[channel], (int32_t)((of_steps * ZONE_FULL_SHARE + steps / 2u) / steps));
    }
}
