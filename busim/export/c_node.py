"""One node in C: busim_node.h and .c. What it is, what it sends, what it has to watch and for how long, how it is wired.

    BUSIM_NODE_ADDRESS, BUSIM_NODE_NAME, BUSIM_NODE_KIND (one of BUSIM_KIND_), BUSIM_NODE_BUILD, BUSIM_NODE_BUSES (bit n: bus n),
    BUSIM_NODE_WATCHDOG_MS; BUSIM_NODE_ID_OF_<MESSAGE> and BUSIM_NODE_PERIOD_OF_<MESSAGE>_MS of each message it sends
    busim_node_sends[], busim_node_watches[] (ids in rising order: an acceptance filter), busim_node_taps[] (bit timing, place, and
    the helm and navigation nodes along that bus, as who lists what fell silent wants them), each with _count
    busim_node_station, _drive, _rudder, _cutout, _panel: its own row of the boat's tables, NULL where it is no such thing
    busim_node_zones[], busim_node_lights[]: the rows of what it feeds, with _count
    busim_node_watch_of(id): the row of a frame heard, NULL for one that is not for this node
    busim_node_buses_of(id): the buses on which a frame it sends goes out
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from busim.boat.derive import board_of
from busim.boat.model import BoatFile
from busim.export.c_boat import CUTOUTS, DRIVES, LIGHTS, PANELS, RUDDERS, STATIONS, ZONES, Part, members_of
from busim.export.c_tables import LIST_NAMES
from busim.export.c_text import Names, array, c_word, comment, guarded, heading, hexadecimal, literal, macro, truth, unsigned
from busim.export.exchange import Sent, Watched, name_of_sender, sent_by, watched_by
from busim.protocol import values
from busim.protocol.plan import WirePlan

ROLES: Final = (("station", STATIONS), ("drive", DRIVES), ("rudder", RUDDERS), ("cutout", CUTOUTS), ("panel", PANELS))
FEEDS: Final = (("zones", ZONES), ("lights", LIGHTS))
TABLE_TYPES: Final = (("sends", "sent"), ("watches", "watched"), ("taps", "tap"))
INCLUDES: Final = ("<stdbool.h>", "<stddef.h>", "<stdint.h>", '"busim_boat.h"', '"busim_protocol.h"')

TYPES: Final = """\
typedef struct busim_sent {
    uint16_t id;
    uint8_t length;
    uint8_t buses; /* bit n: it goes out on bus n */
    uint16_t period_ms; /* 0: on change only */
} busim_sent;

typedef struct busim_watched {
    uint16_t id;
    uint8_t length;
    uint8_t buses; /* bit n: it comes by bus n */
    uint16_t timeout_ms; /* silent for so long, it means something; 0: nothing */
} busim_watched;

typedef struct busim_tap {
    uint8_t bus;
    uint32_t bit_rate;
    uint32_t at_mm; /* where on the trunk */
    uint32_t drop_mm;
    bool plug; /* it can be unplugged */
    bool terminator; /* a terminator of 120 ohm belongs at this place of the trunk */
    uint8_t quanta; /* of a bit */
    uint16_t sample_point_permille;
    uint8_t jump_quanta;
    const uint8_t *roll; /* addresses of the helm and navigation nodes on it, along the trunk */
    uint16_t roll_count;
} busim_tap;"""

LOOK_UP: Final = """\
const busim_watched *busim_node_watch_of(uint16_t id)
{
    uint16_t place;
    for (place = 0u; place < busim_node_watches_count; place++) {
        if (busim_node_watches[place].id == id) {
            return &busim_node_watches[place];
        }
    }
    return NULL;
}

uint8_t busim_node_buses_of(uint16_t id)
{
    uint16_t place;
    for (place = 0u; place < busim_node_sends_count; place++) {
        if (busim_node_sends[place].id == id) {
            return busim_node_sends[place].buses;
        }
    }
    return BUSIM_NODE_BUSES;
}"""


@dataclass(frozen=True)
class NodeOf:
    """One node of a boat."""

    boat: BoatFile
    plan: WirePlan
    name: str

    @property
    def address(self) -> int:
        return self.boat.nodes[self.name].address

    @property
    def kind(self) -> str:
        return self.boat.nodes[self.name].kind

    def own_places(self, part: Part) -> list[int]:
        """Places, in a table of the boat, of what is this node or is fed by it."""
        return [place for place, each in enumerate(members_of(part, self.plan)) if _node_behind(each) == self.address]


def _node_behind(member: Any) -> int:
    return int(member.driver if hasattr(member, "driver") else member.address)


def node_header(node: NodeOf, head: str) -> str:
    names = Names()
    watchdog_ms = board_of(node.boat, node.name).watchdog_ms or 0
    number = next((value for value, words in values.NODE_KINDS if words == node.kind.replace("_", " ")), 0)
    kind_name = dict(values.NODE_KINDS)[number]
    lines = [
        macro(names.give("node_address"), unsigned(node.address)),
        macro(names.give("node_name"), literal(node.name)),
        macro(names.give("node_kind"), f"BUSIM_{LIST_NAMES[values.NODE_KINDS].upper()}_{c_word(kind_name).upper()}", node.kind),
        macro(names.give("node_build"), unsigned(node.boat.nodes[node.name].build), "software build in the boat file"),
        macro(names.give("node_buses"), _bits(node.plan.buses_of(node.address)), "bit n: bus n"),
        macro(names.give("node_watchdog_ms"), unsigned(watchdog_ms), "external; 0: none fitted"),
    ]
    for each in sent_by(node.plan, node.address, node.kind):
        lines.append(macro(names.give("node_id_of", each.message.name), hexadecimal(each.can_id, 3)))
        lines.append(macro(names.give("node_period_of", each.message.name, "ms"), unsigned(each.period_ms)))
    tables = [f"extern const busim_{word} busim_node_{table}[];" for table, word in TABLE_TYPES]
    counts = [f"extern const uint16_t busim_node_{table}_count;" for table in (*dict(TABLE_TYPES), *dict(FEEDS))]
    roles = [f"extern const {part.struct} *const busim_node_{role};" for role, part in ROLES]
    feeds = [f"extern const {part.struct} *const busim_node_{feed}[];" for feed, part in FEEDS]
    own = [comment("Its own rows of the boat's tables; NULL where it is no such thing."), *roles, *feeds]
    look_up = [
        comment("The row of busim_node_watches for a frame heard; NULL: not for this node."),
        "const busim_watched *busim_node_watch_of(uint16_t id);",
        comment("The buses on which a frame it sends goes out, bit n: bus n; all it is on for an id that is not in its table."),
        "uint8_t busim_node_buses_of(uint16_t id);",
    ]
    blocks = [comment(wiring_words(node)), TYPES, *("\n".join(each) for each in (lines, [*tables, *counts], own, look_up))]
    return guarded("BUSIM_NODE_H", INCLUDES, blocks, head)


def wiring_words(node: NodeOf) -> str:
    """How the node is wired, for the hand that wires it."""
    boat = node.boat
    mine = boat.nodes[node.name]
    supply_v = boat.supplies[mine.supply].nominal_v
    lines = [f"{node.name}: {mine.kind}, address {mine.address}, fed by {mine.supply} ({supply_v:g} V)."]
    for number, (name, rate, _) in enumerate(node.plan.buses):
        if name not in mine.taps:
            continue
        tap, bus = mine.taps[name], boat.buses[name]
        ends = " and ".join(f"{metres:g}" for metres in bus.terminators_m) or "no"
        here = " One of them is at this place." if tap.at_m in bus.terminators_m else ""
        lines.append(
            f"Bus {number}, {name}: {rate} bit/s, {bus.trunk_m:g} m of trunk, tapped at {tap.at_m:g} m, drop {tap.drop_m:g} m"
            f"{', with a plug' if tap.plug else ''}. Terminators (120 ohm) at {ends} m.{here}"
        )
    for feed, part in FEEDS:
        for place in node.own_places(part):
            member = members_of(part, node.plan)[place]
            outputs = getattr(member, "channels", None) or (member.channel,)
            what = f"{feed.removesuffix('s')} {member.number}, {member.name} ({getattr(member, 'kind', 'relay')})"
            lines.append(f"Output{'s' if len(outputs) > 1 else ''} {', '.join(map(str, outputs))}: {what}.")
    return "\n".join(lines)


def node_source(node: NodeOf, head: str) -> str:
    blocks = [comment(head), '#include "busim_node.h"', heading("what it sends")]
    blocks += [*_table("sends", "sent", _sent_rows(node)), heading("what it has to watch")]
    blocks += [*_table("watches", "watched", _watched_rows(node)), heading("how it is wired")]
    blocks += [*_roll_arrays(node), *_table("taps", "tap", _tap_rows(node)), heading("its own rows of the boat's tables")]
    for role, part in ROLES:
        places = node.own_places(part)
        blocks.append(f"const {part.struct} *const busim_node_{role} = {f'&{part.table}[{places[0]}]' if places else 'NULL'};")
    for feed, part in FEEDS:
        rows = [f"&{part.table}[{place}]" for place in node.own_places(part)]
        blocks.append(array(f"{part.struct} *const busim_node_{feed}[]", rows or ["NULL"]))
        blocks.append(f"const uint16_t busim_node_{feed}_count = {len(rows)}u;")
    return "\n\n".join([*blocks, LOOK_UP]) + "\n"


def _table(table: str, word: str, rows: Sequence[str]) -> Iterator[str]:
    yield array(f"busim_{word} busim_node_{table}[]", rows)
    yield f"const uint16_t busim_node_{table}_count = {len(rows)}u;"


def _bits(buses: tuple[int, ...]) -> str:
    return hexadecimal(sum(1 << bus for bus in buses), 2)


def _frame(each: Sent | Watched) -> str:
    return f"{hexadecimal(each.can_id, 3)}, {each.message.length}u, {_bits(each.buses)}"


def _sent_rows(node: NodeOf) -> list[str]:
    return [
        f"{comment(each.message.name)} {{{_frame(each)}, {each.period_ms}u}}"
        for each in sent_by(node.plan, node.address, node.kind)
    ]


def _watched_rows(node: NodeOf) -> list[str]:
    rows = []
    for each in watched_by(node.plan, node.address, node.kind):
        words = comment(f"{each.message.name} of {name_of_sender(node.plan, each.can_id)}: {each.why}")
        rows.append(f"{words}\n    {{{_frame(each)}, {each.timeout_ms}u}}")
    return rows


def _roll_arrays(node: NodeOf) -> Iterator[str]:
    for bus in node.plan.buses_of(node.address):
        if roll := node.plan.roll_of(bus):
            yield f"static const uint8_t roll_of_bus_{bus}[] = {{{', '.join(unsigned(address) for address in roll)}}};"


def _tap_rows(node: NodeOf) -> list[str]:
    board = board_of(node.boat, node.name)
    mine = node.boat.nodes[node.name]
    rows = []
    for number, (name, rate, _) in enumerate(node.plan.buses):
        if name in mine.taps:
            tap = mine.taps[name]
            ends = tap.at_m in node.boat.buses[name].terminators_m
            roll = node.plan.roll_of(number)
            values_in_order = (
                f"{number}u", unsigned(rate), unsigned(round(tap.at_m * 1000)), unsigned(round(tap.drop_m * 1000)),
                truth(tap.plug), truth(ends), f"{board.quanta}u", f"{board.sample_point_permille}u",
                f"{board.jump_quanta}u", f"roll_of_bus_{number}" if roll else "NULL", f"{len(roll)}u",
            )  # fmt: skip
            rows.append(f"{comment(name)} {{{', '.join(values_in_order)}}}")
    return rows
