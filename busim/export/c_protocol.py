"""The exported C: which files there are, what is in them, and the part that is the same for every boat.

The interface firmware is written against; names and types of these stay. Files, with `--node` all in one folder, else those of
each node in a folder of its name:

    busim_protocol.h .c   the catalogue: ids, messages, CRC, lists of values, state tables, alarms; the same for every boat
    busim_boat.h .c       one boat: fingerprints, timing, stations to panels, scenes
    busim_rules.h .c      rules with memory: counters, timeouts, heartbeats, takes, two that agree, lightness
    busim_node.h .c       one node: its address, what it sends, what it has to watch, how it is wired

Frames:

    typedef struct busim_frame { uint16_t id; uint8_t length; uint8_t data[8]; } busim_frame;
    busim_result: BUSIM_OK 0, BUSIM_OTHER_MESSAGE 1, BUSIM_WRONG_LENGTH 2, BUSIM_WRONG_CRC 3, BUSIM_OUT_OF_RANGE 4
    uint16_t busim_id(uint8_t code, uint8_t address);  busim_code_of(id), busim_address_of(id)
    uint8_t busim_crc8(uint16_t id, const uint8_t bytes_1_to_7[7]);
    bool busim_sound(const busim_frame *);             eight bytes, and the CRC is right
    uint8_t busim_counter_of(const busim_frame *);     of a safety frame
    void busim_seal(busim_frame *, uint8_t counter);   the same content under another counter

Each message M of the catalogue (lever, drive_obeys, zone_state, ...) is a struct `busim_M` whose fields are its signals, raw:

    uint32_t busim_M_outside(const busim_M *);         bits BUSIM_M_OUTSIDE_<SIGNAL> of the fields out of range, 0 none
    busim_result busim_M_pack(const busim_M *, uint8_t address, uint8_t counter, busim_frame *);    safety messages
    busim_result busim_M_pack(const busim_M *, uint8_t address, busim_frame *);                     others
    busim_result busim_M_unpack(const busim_frame *, busim_M *);

`pack` gives BUSIM_OUT_OF_RANGE, and touches no frame, for a value or an address out of range. `unpack` gives, in this order,
OTHER_MESSAGE, WRONG_LENGTH, WRONG_CRC, and touches nothing; OUT_OF_RANGE with everything filled in, for whoever needs one drive's
part of a lever frame only; OK. The counter is the caller's to judge, as neutral_now counts with any.

    BUSIM_CODE_M, BUSIM_LENGTH_M, BUSIM_PERIOD_M_MS; BUSIM_M_<SIGNAL>_MIN, _MAX, _STEP
    BUSIM_<LIST>_<VALUE>: BUSIM_GEAR_AHEAD, BUSIM_SWITCH_CLOSED, BUSIM_CAUSE_LEVER_LOST, BUSIM_PRESS_ASKS_TOGGLE, ...
    busim_drive_table, busim_station_table, busim_rudder_table, busim_cutout_table, busim_alarm_table, with the constants
    BUSIM_DRIVE_IS_<STATE> and BUSIM_DRIVE_ON_<EVENT>;
    const busim_row *busim_row_of(const busim_state_table *, uint8_t state, uint8_t event);  NULL: no row, nothing changes
    BUSIM_ALARM_IS_ABOUT_<ALARM>, busim_alarm_kinds[] (number, priority, seen_by_listeners, sent_in_notice)

Of the boat: BUSIM_BOAT_FINGERPRINT_OF_HELM, _OF_LIGHTING, BUSIM_BOAT_REVISION_OF_SCENES, busim_boat_stamp[],
BUSIM_BOAT_TIMING_<NAME>, BUSIM_BOAT_AT_<NODE>, BUSIM_BOAT_BUS_<BUS>, tables busim_boat_stations[], _drives, _rudders, _cutouts,
_zones, _navigation_lights, _panels, _scenes with <table>_count, and places in them BUSIM_BOAT_ZONE_<NAME> and the like.

Rules: see `fixed/busim_rules.h`. Of the node: see `c_node`.
"""

from collections.abc import Iterator
from typing import Final

from busim.export.c_messages import message_declarations, message_functions
from busim.export.c_tables import table_declarations, table_definitions, value_declarations
from busim.export.c_text import Names, comment, filled, guarded, heading, macro, unsigned
from busim.protocol.catalogue import PROTOCOL_VERSION
from busim.protocol.crc8 import BYTE_TABLE, FINAL_XOR, POLYNOMIAL, START
from busim.protocol.ids import ADDRESS_BITS, ADDRESS_MASK, HELM_ADDRESSES

TYPES: Final = """\
typedef enum busim_result {
    BUSIM_OK = 0,
    BUSIM_OTHER_MESSAGE = 1, /* its id is not this message's */
    BUSIM_WRONG_LENGTH = 2,
    BUSIM_WRONG_CRC = 3,
    BUSIM_OUT_OF_RANGE = 4 /* packing: nothing was done; unpacking: all was filled in, and a value makes no sense */
} busim_result;

/* A data frame with an 11-bit id. Whatever else comes by the bus (29-bit ids, remote frames) is not for this code. */
typedef struct busim_frame {
    uint16_t id;
    uint8_t length; /* bytes of data, 0 to 8 */
    uint8_t data[8];
} busim_frame;

typedef struct busim_row {
    uint8_t number; /* as sent */
    uint8_t state;
    uint8_t event;
    uint8_t next_state;
} busim_row;

typedef struct busim_state_table {
    const busim_row *rows;
    uint8_t count_of_rows;
    uint8_t count_of_states;
    uint8_t count_of_events;
} busim_state_table;

typedef struct busim_alarm_kind {
    uint8_t number;
    uint8_t priority; /* one of BUSIM_ALARM_PRIORITY_ */
    bool seen_by_listeners; /* each sees it by itself, and nobody sends it */
    bool sent_in_notice; /* by a node beyond the helm, and never in alarm */
} busim_alarm_kind;"""

PROTOTYPES: Final = """\
/* The id with which the node at `address` sends the message of this `code`, and back. */
uint16_t busim_id(uint8_t code, uint8_t address);
uint8_t busim_code_of(uint16_t id);
uint8_t busim_address_of(uint16_t id);

/* Byte 0 of a safety frame: over the id's two bytes, then bytes 1 to 7 of the data. */
uint8_t busim_crc8(uint16_t id, const uint8_t bytes_1_to_7[7]);
/* Has a safety frame its eight bytes and the right CRC? */
bool busim_sound(const busim_frame *frame);
uint8_t busim_counter_of(const busim_frame *frame);
/* Put a counter, and the CRC that goes with it, into a safety frame whose content is there. */
void busim_seal(busim_frame *frame, uint8_t counter);

/* The row of a state and an event; NULL where there is none: then the event changes nothing. */
const busim_row *busim_row_of(const busim_state_table *table, uint8_t state, uint8_t event);"""

FUNCTIONS: Final = f"""\
uint16_t busim_id(uint8_t code, uint8_t address)
{{
    return (uint16_t)(((uint16_t)code << {ADDRESS_BITS}) | address);
}}

uint8_t busim_code_of(uint16_t id)
{{
    return id > 0x7FFu ? 0xFFu : (uint8_t)(id >> {ADDRESS_BITS});
}}

uint8_t busim_address_of(uint16_t id)
{{
    return (uint8_t)(id & {ADDRESS_MASK}u);
}}

uint8_t busim_crc8(uint16_t id, const uint8_t bytes_1_to_7[7])
{{
    uint8_t place;
    uint8_t sum = crc_table[(uint8_t)({START}u ^ (id >> 8))];
    sum = crc_table[(uint8_t)(sum ^ (id & 0xFFu))];
    for (place = 0u; place < 7u; place++) {{
        sum = crc_table[(uint8_t)(sum ^ bytes_1_to_7[place])];
    }}
    return (uint8_t)(sum ^ {FINAL_XOR}u);
}}

bool busim_sound(const busim_frame *frame)
{{
    return frame->length == 8u && busim_crc8(frame->id, &frame->data[1]) == frame->data[0];
}}

uint8_t busim_counter_of(const busim_frame *frame)
{{
    return frame->data[1];
}}

void busim_seal(busim_frame *frame, uint8_t counter)
{{
    frame->data[1] = counter;
    frame->data[0] = busim_crc8(frame->id, &frame->data[1]);
}}

const busim_row *busim_row_of(const busim_state_table *table, uint8_t state, uint8_t event)
{{
    uint8_t place;
    for (place = 0u; place < table->count_of_rows; place++) {{
        if (table->rows[place].state == state && table->rows[place].event == event) {{
            return &table->rows[place];
        }}
    }}
    return NULL;
}}

static void busim_put(busim_frame *frame, uint16_t id, uint8_t length, uint64_t word)
{{
    uint8_t place;
    frame->id = id;
    frame->length = length;
    for (place = 8u; place > 0u; place--) {{
        frame->data[place - 1u] = 0u;
    }}
    for (place = length; place > 0u; place--) {{
        frame->data[place - 1u] = (uint8_t)(word & 0xFFu);
        word >>= 8;
    }}
}}

/* The frame's bytes as one number, where it is a sound frame of this message. */
static busim_result busim_opened(const busim_frame *frame, uint8_t code, uint8_t length, bool safety, uint64_t *word)
{{
    uint8_t place;
    if (busim_code_of(frame->id) != code) {{
        return BUSIM_OTHER_MESSAGE;
    }}
    if (frame->length != length) {{
        return BUSIM_WRONG_LENGTH;
    }}
    if (safety && !busim_sound(frame)) {{
        return BUSIM_WRONG_CRC;
    }}
    for (place = 0u; place < length; place++) {{
        *word = (*word << 8) | frame->data[place];
    }}
    return BUSIM_OK;
}}"""


def protocol_header(head: str) -> str:
    """busim_protocol.h: the same for every boat."""
    return guarded("BUSIM_PROTOCOL_H", ["<stdbool.h>", "<stddef.h>", "<stdint.h>"], _declarations(), head)


def _declarations() -> Iterator[str]:
    names = Names()
    yield macro(names.give("protocol_version"), unsigned(PROTOCOL_VERSION))
    yield macro(names.give("last_helm_address"), unsigned(HELM_ADDRESSES[-1]))
    yield TYPES
    yield PROTOTYPES
    yield from value_declarations(names)
    yield from message_declarations(names)
    yield from table_declarations(names)


def protocol_source(head: str) -> str:
    blocks = [
        comment(head),
        '#include "busim_protocol.h"',
        heading("ids, CRC"),
        comment(f"Polynomial {POLYNOMIAL:02X}, start {START:02X}, bits not reflected, result xor {FINAL_XOR:02X}."),
        f"static const uint8_t crc_table[256] = {{\n    {filled(f'0x{value:02X}u' for value in BYTE_TABLE)}\n}};",
        FUNCTIONS,
        *message_functions(),
        *table_definitions(),
    ]
    return "\n\n".join(blocks) + "\n"
