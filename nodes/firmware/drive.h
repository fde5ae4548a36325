/* The drive in C: one engine's shift and throttle. What it remembers, and what its files ask of each other. The Python one is
 * nodes/drive.py and what that imports.
 *
 * It obeys one station, and goes idle and then neutral by itself when it loses it. Which state follows on which stands in the
 * exported table and nowhere else.
 *
 * Nothing here is shown to be safe by compiling: see the cautions of the page before anything moves.
 */

#ifndef DRIVE_H
#define DRIVE_H

#include "alarms.h"
#include "busim_rules.h"
#include "member.h"
#include "watch.h"

#define DRIVE_STATIONS (BUSIM_BOAT_COUNT_OF_STATIONS > 0u ? BUSIM_BOAT_COUNT_OF_STATIONS : 1u)
#define DRIVE_NO_PLACE 0xFFu /* of a station */
#define DRIVE_NO_ID 0xFFFFu
#define DRIVE_UNSEEN (-1000000l) /* a sensor not read since start */

/* Inputs: permille of half the shift stroke (+ ahead), permille of throttle, closed or not, rpm. */
typedef enum drive_input {
    DRIVE_IN_SHIFT_POSITION = 0,
    DRIVE_IN_THROTTLE_POSITION = 1,
    DRIVE_IN_NEUTRAL_SWITCH = 2,
    DRIVE_IN_RPM = 3
} drive_input;

/* Outputs: a gear, permille, and two switches. */
typedef enum drive_output {
    DRIVE_OUT_SHIFT = 0,
    DRIVE_OUT_THROTTLE = 1,
    DRIVE_OUT_ENGINE_STOP = 2,
    DRIVE_OUT_START_PERMIT = 3
} drive_output;

/* What its own sensors show. */
typedef struct drive_senses {
    int32_t shift_permille;
    int32_t throttle_permille;
    int32_t rpm;
    uint8_t neutral_switch; /* one of BUSIM_SWITCH_ */
    bool switch_seen;
} drive_senses;

/* What can't be believed, and since when; NEVER while it does not hold. */
typedef struct drive_doubts {
    uint8_t doubt; /* one of BUSIM_DRIVE_FAULT_ */
    uint8_t throttle; /* the same, of the throttle's way alone */
    int8_t side; /* of where it was told to be, that the throttle is far from: -1, 0, 1 */
    int32_t from_permille; /* where it was when its progress was looked at last */
    int64_t from_ns;
    int64_t disagree_since_ns;
    int64_t astray_since_ns;
    int64_t out_since_ns;
    int64_t racing_since_ns;
    int64_t running_on_since_ns;
} drive_doubts;

/* Another node's heartbeat. */
typedef struct drive_beat_watch {
    busim_pair_watch counter;
    int64_t heard_ns;
    bool same_boat;
} drive_beat_watch;

/* One station: as one that may control this drive, and its neutral-now key. */
typedef struct drive_station {
    drive_beat_watch heartbeat;
    busim_pair_watch claim_counter;
    busim_claim claim; /* the last that counted */
    bool any_claim;
    bool may_control;
    int64_t pressed_ns;
    uint16_t locks; /* bit n: it has named the key of the station at n stuck, in two frames that agree */
    uint16_t locks_before; /* the same, in the last frame */
    int64_t locks_ns;      /* when it said so last */
    uint8_t counter;       /* of that frame */
    bool any_key;
} drive_station;

/* The other drive of two. */
typedef struct drive_other {
    bool fitted;
    uint8_t address;
    uint8_t station;
    uint16_t number;
    busim_pair_watch counter;
    int64_t heard_ns;
    int64_t changed_ns;
} drive_other;

/* The rudder as a drive knows it. */
typedef struct drive_steering {
    bool fitted;
    uint8_t address;
    uint8_t fault;
    bool held_back;
    int32_t cap_permille;
    busim_pair_watch counter;
    int64_t heard_ns;
    int64_t nobody_since_ns; /* NEVER while it obeys a station */
} drive_steering;

typedef struct drive {
    const busim_drive_plan *me;
    node_member member;
    node_alarms alarms;
    int64_t deadline_ns;
    bool bus_off; /* the controller of its only bus is */

    drive_senses senses;
    drive_doubts doubts;
    uint8_t asked_gear;
    uint16_t asked_throttle_permille;
    bool engine_stop;
    uint8_t fault; /* the first found, until control is taken anew */

    uint8_t state; /* one of BUSIM_DRIVE_IS_ */
    uint8_t last_row;
    uint8_t cause;
    bool may_hold; /* nothing that took control away since speaks against the boat's policy to stay in gear */
    uint8_t last_gear; /* the gear that went in last */
    bool untold; /* a row was taken that no report tells yet */
    int64_t idle_since_ns;
    int64_t dwell_until_ns; /* until when another gear than the last one waits */
    int64_t shift_due_ns; /* when the state it is in stops waiting for the shift actuator */
    int64_t out_due_ns; /* when a gear that was told to come out should be out, whoever takes or loses control since */
    int64_t wake_until_ns;

    drive_station stations[DRIVE_STATIONS]; /* as busim_boat_stations */
    drive_other other;
    drive_steering steering;
    uint8_t obeyed; /* address of the station, 0 nobody */
    uint8_t obeyed_place; /* in `stations` */
    uint16_t number;
    uint8_t wanted; /* what else the claim wanted */
    int64_t changed_ns; /* when whom it obeys changed last */
    uint16_t lever_id;
#ifdef BROKEN_OBEYS_OLD_HOLDER
    uint16_t old_lever_id;
#endif
    busim_pair_watch lever_counter;
    busim_frame lever; /* the last that counted, as it came */
    bool any_lever;
    int64_t unequal_ns; /* when two buses brought unequal orders under one counter last */
    int64_t lever_ns;
    busim_asked previous; /* what the last lever frame asked */
    uint8_t acted_on;

    uint8_t obeys_counter;
    uint8_t state_counter;
    uint8_t permission_counter;
    int64_t report_due_ns;
    int64_t permission_due_ns;
    int8_t permit; /* what the output was told last; -1 nothing yet */
} drive;

/* drive.c */
void drive_set_deadline(drive *self, int64_t now_ns);
/* What a call ends with: after rows, one report of the last; and the starter's permission, where it changed. */
void drive_told(drive *self, node_actions *actions);
/* While nobody steers, no more throttle than is for that. */
void drive_limit(drive *self, int64_t now_ns, node_actions *actions);

/* drive_sensing.c */
void drive_senses_start(drive_senses *senses, bool has_neutral_switch);
bool drive_all_seen(const drive_senses *senses);
bool drive_throttle_at_stop(const drive_senses *senses);
/* The gear its own sensors show: between, where feedback and independent switch contradict each other. */
uint8_t drive_sensed_gear(const drive_senses *senses);

/* drive_machine.c */
bool drive_has_row(const drive *self, uint8_t event);
bool drive_at_rest(const drive *self);
void drive_event(drive *self, int64_t now_ns, uint8_t event, node_actions *actions);
void drive_lose(drive *self, int64_t now_ns, uint8_t cause, node_actions *actions);
/* What sensors and clock say to the state it is in. */
void drive_look(drive *self, int64_t now_ns, node_actions *actions);
void drive_stop_engine(drive *self, node_actions *actions);

/* drive_doubts.c */
void drive_doubts_start(drive_doubts *doubts);
void drive_doubts_look(drive_doubts *doubts, int64_t now_ns, const drive *self);
/* Must the engine be stopped, as nothing else is left? Asked with the gear coming out, or out. */
bool drive_doubts_ask_stop(const drive_doubts *doubts, const drive *self);

/* drive_watches.c */
void drive_watches_start(drive *self);
/* The place of a station, by its address; DRIVE_NO_PLACE where there is none. */
uint8_t drive_place_of(uint8_t address);
bool drive_heartbeat_good(const drive_station *station, int64_t now_ns);
/* Each notes a frame, and is true where what it says is new. */
bool drive_hear_heartbeat(drive_station *station, int64_t now_ns, uint8_t bus, const busim_frame *frame);
bool drive_hear_other(drive_other *other, int64_t now_ns, uint8_t bus, const busim_frame *frame);
bool drive_hear_rudder(drive_steering *steering, int64_t now_ns, uint8_t bus, const busim_frame *frame);
/* When it has to go neutral because of the other drive, as things stand; and why. */
int64_t drive_other_due_ns(const drive *self, int64_t now_ns);
uint8_t drive_other_cause(const drive_other *other, int64_t now_ns);
/* From when on the throttle is capped, as things stand. */
int64_t drive_cap_due_ns(const drive_steering *steering);
/* The most throttle that may be given while the lever asks for this (of its last two frames, the higher). */
uint16_t drive_most_permille(drive_steering *steering, int64_t now_ns, uint16_t lever_permille);

/* drive_orders.c: what stations ask. */
void drive_on_lever(drive *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions);
void drive_on_claim(drive *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions);
void drive_on_neutral_now(drive *self, int64_t now_ns, const busim_frame *frame, node_actions *actions);

/* drive_reports.c */
void drive_tell_obeys(drive *self, node_actions *actions);
void drive_tell_state(drive *self, node_actions *actions);
void drive_tell_alarms(drive *self, int64_t now_ns, node_actions *actions);
void drive_tell_permission(drive *self, int64_t now_ns, node_actions *actions);
void drive_follow_permission(drive *self, node_actions *actions);

#endif /* DRIVE_H */
