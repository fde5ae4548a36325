/* One zone as its driver keeps it: where its light is, where it goes, in which colour. Knows nothing of frames. The Python one is
 * nodes/zone_light.py. Lightness moves in a straight line, in steps of 10 ms: more than a hundred a second are not seen.
 */

#ifndef ZONE_LIGHT_H
#define ZONE_LIGHT_H

#include "seam.h"
#include "zone_colour.h"

#define ZONE_FULL_PERMILLE 1000

typedef struct zone_light {
    const busim_zone_plan *plan;
    int32_t level;  /* where its lightness goes, in permille */
    int32_t origin; /* where it went from, at `began_ns`; it arrives at `ends_ns` */
    int64_t began_ns;
    int64_t ends_ns;
    int64_t step_ns; /* when its outputs move next */
    int32_t seen;    /* its lightness as the outputs were last set */
    int32_t used;    /* the level it was last lit at: what "on" comes back to */
    uint32_t colour; /* 8 bits each of red, green and blue; or kelvin */
    uint16_t shares[ZONE_MOST_CHANNELS];
    uint8_t fault;
    uint8_t lamp; /* what is sensed of its lamps: 0 sound, 1 open, 2 short */
    bool owes;    /* the answer to a press waits for the first step of its change: */
    uint8_t owed_panel;
    uint8_t owed_press;
    uint8_t panel; /* the press that it says it did last */
    uint8_t press;
    bool touched; /* by a hand, since its driver started: what is lit after a reset by itself is not then */
    bool dims;    /* it moves, or came to the end, because a hand dims it: what stop dimming stops */
} zone_light;

void zone_light_start(zone_light *light, const busim_zone_plan *plan);
bool zone_light_moving(const zone_light *light);
/* Let what it says answer the press it owes an answer; false where it owes none. */
bool zone_light_settle(zone_light *light);
int32_t zone_light_now(const zone_light *light, int64_t now_ns);

/* Each of these moves it; what its outputs are then is told by zone_light_put. */
void zone_light_go(zone_light *light, int64_t now_ns, int32_t level, int64_t fade_ns);
void zone_light_dim(zone_light *light, int64_t now_ns, bool up);
void zone_light_stop(zone_light *light, int64_t now_ns);
void zone_light_step(zone_light *light, int64_t now_ns);
/* Take a colour (-1: none given) or a colour temperature (0: none). False where its lamps can make neither kind. */
bool zone_light_paint(zone_light *light, int32_t colour, uint32_t kelvin);

/* Its outputs as they were last set, in parts of 65,535 of full. */
void zone_light_put(const zone_light *light, node_actions *actions);

#endif /* ZONE_LIGHT_H */
