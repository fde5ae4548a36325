/* The station in C: a lever for each drive, a take key, a neutral-now key, a wheel, a display of who is in control, the list of
 * alarms. What it remembers, and what its files ask of each other. The Python one is nodes/station.py and what that imports.
 *
 * Nothing here is shown to be safe by compiling: see the cautions of the page before anything moves.
 */

#ifndef STATION_H
#define STATION_H

#include "alarms.h"
#include "busim_rules.h"
#include "list_alarms.h"
#include "member.h"
#include "watch.h"

#define STATION_DRIVES 2u /* of any boat */
#define STATION_STATIONS (BUSIM_BOAT_COUNT_OF_STATIONS > 0u ? BUSIM_BOAT_COUNT_OF_STATIONS : 1u)
#define STATION_PANELS (BUSIM_BOAT_COUNT_OF_PANELS > 0u ? BUSIM_BOAT_COUNT_OF_PANELS : 1u)

/* Inputs: levers and wheel in permille of their sensors' supply, keys as contacts. The second track of a lever runs the other way. */
typedef enum station_input {
    STATION_IN_LEVER_1 = 0,
    STATION_IN_LEVER_1B = 1,
    STATION_IN_LEVER_2 = 2,
    STATION_IN_LEVER_2B = 3,
    STATION_IN_WHEEL = 4,
    STATION_IN_TAKE = 5,
    STATION_IN_NEUTRAL_NOW = 6,
    STATION_IN_LOCK_OUT = 7,
    STATION_IN_ACKNOWLEDGE = 8,
    STATION_IN_SILENCE = 9
} station_input;

typedef enum station_output {
    STATION_OUT_SHOWS = 0,
    STATION_OUT_SOUNDER = 1,
    STATION_OUT_ALARMS = 2,
    STATION_OUT_ALARMS_HIDDEN = 3,
    STATION_OUT_ALARM = 4 /* lines of the list, numbered from 1 (list_alarms.h) */
} station_output;

typedef enum station_shows {
    STATION_SHOWS_NOTHING_YET = 0,
    STATION_SHOWS_NOBODY = 1,
    STATION_SHOWS_HERE = 2,
    STATION_SHOWS_ANOTHER = 3,
    STATION_SHOWS_NOTHING_HEARD = 4,
    STATION_SHOWS_ASKING = 5,
    STATION_SHOWS_DIVIDED = 6,
    STATION_SHOWS_LOST = 7,        /* it let control go, and the drive has not said yet that it noticed */
    STATION_SHOWS_NOT_STEERING = 8 /* its drives obey here, and the rudder nobody, as far as it is heard */
} station_shows;

/* The last report of one drive. */
typedef struct station_echo {
    uint8_t address;
    bool mine; /* one this station may take */
    bool wanted; /* its take is of this one */
    bool held; /* it obeys the take this station holds */
    int64_t left_out_until_ns; /* up to then the next take is not of it: it kept the last one from being complete */
    busim_pair_watch counter;
    int64_t heard_ns;
    uint8_t station;
    uint16_t number;
    uint8_t acted_on;
    bool policy_idle;
    bool may_stay; /* it obeys nobody, and may stay in gear for all that */
} station_echo;

typedef struct station_lever {
    bool fitted;
    int32_t tracks[2];
    bool read[2];
    int64_t apart_since_ns;
    bool apart;
    int64_t out_since_ns; /* NEVER while its tracks are in range, or once it is faulty */
    bool faulty;
    busim_asked asked; /* what it stands at: neutral while it is faulty */
} station_lever;

typedef struct station_wheel {
    bool fitted;
    uint8_t rudder;
    int16_t angle_cdeg;
    bool faulty; /* out of range, or never read */
    uint8_t counter;
    int64_t due_ns;
    busim_pair_watch rudder_counter;
    int64_t heard_ns;
    uint8_t station; /* whom the rudder says it obeys, and under which number */
    uint16_t number;
    uint8_t fault;
    bool wanted; /* its take is of the rudder too */
    bool held;   /* the take it holds is of the rudder too, and the rudder has not been lost since */
    uint16_t keeps;   /* the number of the take it steers with, whether it holds drives or not; 0 none */
    int64_t taken_ns; /* since when a drive has reported a newer take of another station; NEVER while none does */
} station_wheel;

typedef struct station_lock {
    uint16_t locks;  /* bit n: the key of the station at address n */
    int64_t held_ns; /* since when the lock-out key is held; NEVER once it has acted */
    uint8_t times;   /* so many frames are still to follow the last change at once */
} station_lock;

typedef struct station_condition {
    bool kept; /* the boat has navigation lights on her bus */
    uint8_t times; /* so often the last change is still to be said at once */
    uint8_t condition;
    uint16_t number; /* 0: none was heard yet */
    uint8_t address;
    busim_pair_watch watches[STATION_STATIONS];
    bool asked[STATION_PANELS];
    uint8_t last_press[STATION_PANELS];
    int64_t done_ns[STATION_PANELS]; /* when it was done */
    uint8_t counter;
    int64_t due_ns;
    int64_t guessed_ns; /* when it was asked before it knew of any condition, and counted from nothing */
    int64_t said_ns; /* when anybody said last what stands */
} station_condition;

typedef struct station {
    node_member member;
    node_alarms alarms;
    list_alarms list;
    int64_t deadline_ns;
    uint8_t mine;        /* BUSIM_TAKES_ of the drives it may take */
    bool carries_on;     /* the boat's policy where one drive is lost: with the one that is left she is driven on */
    station_echo drives[STATION_DRIVES];
    uint8_t drive_count;
    station_lever levers[STATION_DRIVES]; /* of drive 1 and 2 */
    station_wheel wheel;
    station_lock lock;
    station_condition condition;

    uint8_t state; /* one of BUSIM_STATION_IS_ */
    uint16_t number;
    uint16_t highest;
    int64_t lever_due_ns;
    uint8_t lever_counter;
    int64_t claim_due_ns;
    uint8_t claim_counter;
    int64_t transfer_until_ns;
    int64_t held_since_ns;
    bool neutral_now;
    uint8_t neutral_now_counter;
    int64_t neutral_now_due_ns;
    int64_t neutral_now_until_ns; /* a press is repeated up to then, unless every drive obeys nobody before */
    uint8_t let_go; /* the drive or rudder that it had in control and lost first; 0 once control is taken anew */
    uint8_t shows;
    int64_t show_due_ns; /* when the display may have to change though nothing was heard */
    int64_t divided_ns;  /* when drives that do not all obey one station are shown as that */
} station;

/* station.c */
void station_set_deadline(station *self);

/* station_take.c: asking for control */
bool station_echo_heard(const station_echo *echo, int64_t now_ns);
void station_take(station *self, int64_t now_ns, node_actions *actions);
void station_tell_claim(station *self, node_actions *actions);
/* Its take was not complete in time. Drives that are heard and kept it from that, though another one echoed, are left out of the
 * next. One that is silent needs no word: if it is heard by then, it is another case. */
void station_leave_out(station *self, int64_t now_ns);

/* station_control.c: who is in control */
void station_control_start(station *self);
/* False where the table has no row: then nothing changes. */
bool station_take_row(station *self, uint8_t event, node_actions *actions);
bool station_is_mine(const station *self, uint8_t address, uint16_t number);
void station_hear_claim(station *self, const busim_frame *frame);
void station_hear_drive(station *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions);
void station_hear_rudder(station *self, int64_t now_ns, uint8_t bus, const busim_frame *frame, node_actions *actions);
/* What it had in control and lost, where that does not answer or obeys nobody, and nobody wanted it so; 0: nothing to tell. */
uint8_t station_let_go_of(station *self, int64_t now_ns);
/* Echoes that grow old, takes that take too long; once every lever period. */
void station_watch_time(station *self, int64_t now_ns, node_actions *actions);

/* station_show.c: the display, told only where it changes */
void station_show(station *self, int64_t now_ns, node_actions *actions);

/* station_levers.c */
void station_lever_start(station_lever *lever, bool fitted);
void station_lever_read(station_lever *lever, int64_t now_ns);
/* Neither faulty nor out of range for the moment; or there is none. */
bool station_lever_sound(const station_lever *lever);

/* station_wheel.c */
void station_wheel_start(station_wheel *wheel, int64_t now_ns);
void station_wheel_read(station_wheel *wheel, int32_t permille);
void station_wheel_want(station_wheel *wheel, int64_t now_ns);
bool station_wheel_heard(const station_wheel *wheel, int64_t now_ns);
/* The station the rudder obeys, as far as it is heard; 0 nobody. */
uint8_t station_wheel_steered_by(const station_wheel *wheel, int64_t now_ns);
void station_wheel_tell(station_wheel *wheel, uint16_t number, node_actions *actions);
/* True where what the rudder says of its master or its health is new. */
bool station_wheel_hear(station_wheel *wheel, int64_t now_ns, uint8_t bus, const busim_frame *frame);
/* Note whether the station, whose take has this number, steers; true where it does no more and nobody took it over. `taken`: a drive
 * reports a newer take of another station. */
bool station_wheel_watch(station_wheel *wheel, int64_t now_ns, uint16_t number, bool holding, bool taken);

/* station_keys.c: neutral now, and keys that are named stuck */
void station_keys_start(station *self);
void station_press_neutral_now(station *self, int64_t now_ns, bool down, node_actions *actions);
void station_tell_neutral_now(station *self, int64_t now_ns, node_actions *actions);
void station_press_lock_out(station *self, int64_t now_ns, bool down);
void station_look_at_lock(station *self, int64_t now_ns);

/* station_condition.c: the navigation lights' condition. Each is true where there is something to say at once. */
void station_condition_start(station_condition *self);
bool station_condition_ask(station_condition *self, int64_t now_ns, const busim_frame *frame);
bool station_condition_hear(station_condition *self, int64_t now_ns, uint8_t bus, const busim_frame *frame);
void station_condition_tell(station_condition *self, int64_t now_ns, node_actions *actions);

#endif /* STATION_H */
