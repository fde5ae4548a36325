"""One boat in C: fingerprints, timing, and every value its nodes are built with, as constants and tables.

Structs are made from the plan's own classes: a field of the plan is a field of the struct. Words of a few choices (what a drive
does on a loss, how a zone can be lit) become numbers, in the order of the boat model.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final, get_args

from busim.boat.derive import limits_of
from busim.boat.model import BoatFile, Control, OneDriveLost, OnLoss, PartitionPolicy, Zone
from busim.export.c_text import Names, array, c_field, comment, guarded, heading, hexadecimal, literal, macro, truth, unsigned
from busim.protocol.catalogue import PROTOCOL_VERSION
from busim.protocol.page_boat import PART_WORDS, TIMING_WORDS
from busim.protocol.plan import (
    ControlPlan,
    CutoutPlan,
    DrivePlan,
    NavigationLightPlan,
    PanelPlan,
    RudderPlan,
    ScenePlan,
    StationPlan,
    WirePlan,
    ZonePlan,
)


@dataclass(frozen=True)
class Part:
    """A class of the plan in C. `stem`: what constants of its members begin with; `table`: the array they stand in."""

    plan: type[Any]
    struct: str
    stem: str
    table: str


STATIONS: Final = Part(StationPlan, "busim_station_plan", "station", "busim_boat_stations")
DRIVES: Final = Part(DrivePlan, "busim_drive_plan", "drive", "busim_boat_drives")
RUDDERS: Final = Part(RudderPlan, "busim_rudder_plan", "rudder", "busim_boat_rudders")
CUTOUTS: Final = Part(CutoutPlan, "busim_cutout_plan", "cutout", "busim_boat_cutouts")
ZONES: Final = Part(ZonePlan, "busim_zone_plan", "zone", "busim_boat_zones")
LIGHTS: Final = Part(NavigationLightPlan, "busim_navigation_light_plan", "light", "busim_boat_navigation_lights")
CONTROLS: Final = Part(ControlPlan, "busim_control_plan", "control", "")
PANELS: Final = Part(PanelPlan, "busim_panel_plan", "panel", "busim_boat_panels")
SCENES: Final = Part(ScenePlan, "busim_scene_plan", "scene", "busim_boat_scenes")
PARTS: Final = (STATIONS, DRIVES, RUDDERS, CUTOUTS, ZONES, LIGHTS, CONTROLS, PANELS, SCENES)

LEVEL_TYPE: Final = "busim_scene_level"

CHOICES: Final[dict[str, tuple[str, ...]]] = {
    "on_loss": get_args(OnLoss.model_fields["do"].annotation),
    "on_other_lost": get_args(OneDriveLost.model_fields["do"].annotation),
    "when_apart": get_args(PartitionPolicy.model_fields["do"].annotation),
    "kind": get_args(Zone.model_fields["kind"].annotation),
    "action": get_args(Control.model_fields["does"].annotation),
}
"""Field of a plan -> the words it may hold."""

CHOICE_STEMS: Final = {"kind": "zone_kind", "action": "control_does"}
MOST_BUSES: Final = 8


def members_of(part: Part, plan: WirePlan) -> Sequence[Any]:
    if part is RUDDERS:
        return [plan.rudder] if plan.rudder is not None else []
    return {
        STATIONS: plan.stations, DRIVES: plan.drives, CUTOUTS: plan.cutouts, ZONES: plan.zones, LIGHTS: plan.navigation_lights,
        PANELS: plan.panels, SCENES: plan.scenes,
    }[part]  # fmt: skip


TABLES: Final = tuple(part for part in PARTS if part.table)

# ------------------------------------------------------------------------------------------------ header


def boat_header(boat: BoatFile, plan: WirePlan, head: str) -> str:
    """busim_boat.h. `head` is what the file begins with. Errors: ValueError where two things would have one name."""
    names = Names()
    blocks = [
        *_identity(plan, boat.boat.name, names),
        *_timing(plan, names),
        *_limits(boat, names),
        *_whereabouts(plan, names),
        *_choices(names),
        *(_struct(part) for part in PARTS),
        *_tables(plan, names),
    ]
    return guarded("BUSIM_BOAT_H", ["<stdbool.h>", "<stddef.h>", "<stdint.h>"], blocks, head)


def _identity(plan: WirePlan, title: str, names: Names) -> Iterator[str]:
    yield heading("what this was exported from")
    yield comment(
        f"{title}. A node sends both fingerprints in its heartbeat, and the revision of its scene table in scene and scene_state: "
        "whoever hears another one shows that one of the two was built from an older boat file. The first line of what busim "
        "prints for the boat file has the fingerprints of today, and the page (busim export protocol) all three."
    )
    yield "\n".join(
        [
            macro(names.give("boat_fingerprint_of", "helm"), hexadecimal(plan.helm_fingerprint)),
            macro(names.give("boat_fingerprint_of", "lighting"), hexadecimal(plan.lighting_fingerprint)),
            macro(names.give("boat_revision_of", "scenes"), hexadecimal(plan.scene_revision)),
            macro(names.give("boat_protocol_version"), unsigned(PROTOCOL_VERSION)),
            comment(f'The same as text, for a display or a console: "{_stamp(plan, title)}"'),
            "extern const char busim_boat_stamp[];",
        ]
    )


def _stamp(plan: WirePlan, title: str) -> str:
    return (
        f"{title}, protocol {PROTOCOL_VERSION}, helm {plan.helm_fingerprint:04X}, lighting {plan.lighting_fingerprint:04X}, "
        f"scenes {plan.scene_revision:04X}"
    )


def _timing(plan: WirePlan, names: Names) -> Iterator[str]:
    yield heading("timing")
    yield "\n".join(
        macro(names.give("boat_timing", field.name), unsigned(getattr(plan.timing, field.name)), TIMING_WORDS[field.name])
        for field in fields(plan.timing)
    )


def _limits(boat: BoatFile, names: Names) -> Iterator[str]:
    lines = [comment("What each drive has to keep, from the last valid lever frame it received.")]
    for name, drive in boat.drives.items():
        limits = limits_of(boat, drive)
        idle_ms, neutral_ms = limits.loss_to_idle_ms, limits.loss_to_neutral_ms
        lines.append(macro(names.give("boat_loss_to_idle_of", name, "ms"), unsigned(idle_ms), "throttle at its stop"))
        lines.append(macro(names.give("boat_loss_to_neutral_of", name, "ms"), unsigned(neutral_ms), "gear out"))
    yield "\n".join(lines)


def _whereabouts(plan: WirePlan, names: Names) -> Iterator[str]:
    yield heading("nodes and buses")
    yield "\n".join(
        [comment("Addresses of nodes."), *(macro(names.give("boat_at", name), unsigned(at), kind) for at, name, kind in plan.nodes)]
    )
    lines = [comment("Numbers of buses."), macro(names.give("most_buses"), unsigned(MOST_BUSES), "of any boat")]
    for number, (name, rate, _) in enumerate(plan.buses):
        lines.append(macro(names.give("boat_bus", name), unsigned(number)))
        lines.append(macro(names.give("boat_bit_rate_of", name), unsigned(rate), "bit/s"))
    yield "\n".join(lines)


def _choices(names: Names) -> Iterator[str]:
    yield heading("what the values below may be")
    for field, words in CHOICES.items():
        stem = CHOICE_STEMS.get(field, field)
        yield "\n".join(macro(names.give(stem, word), unsigned(value)) for value, word in enumerate(words))


# ------------------------------------------------------------------------------------------------ structs


def _struct(part: Part) -> str:
    lines = []
    if part is SCENES:
        level = [
            f"typedef struct {LEVEL_TYPE} {{",
            "    uint8_t zone; /* number of the zone */",
            "    uint16_t level_permille; /* lightness */",
            "    int32_t colour; /* 8 bits each of red, green and blue; -1: as it is */",
            "    uint16_t kelvin; /* colour temperature; 0: as it is */",
            f"}} {LEVEL_TYPE};",
            "",
        ]
        lines += level
    lines.append(f"typedef struct {part.struct} {{")
    for field in fields(part.plan):
        if field.name != "name":
            lines += [f"    {line}" for line in _field_lines(field.name, str(field.type))]
    lines.append(f"}} {part.struct};")
    return "\n".join(lines)


def _field_lines(name: str, kind: str) -> list[str]:
    words = comment(PART_WORDS[name]) if name in PART_WORDS else ""
    field = c_field(name)
    if name == "controls":
        return [f"const {CONTROLS.struct} *{field};", f"uint16_t {field}_count;"]
    if name == "levels":
        return [f"const {LEVEL_TYPE} *{field}; {words}", f"uint16_t {field}_count;"]
    if name in CHOICES:
        return [f"uint8_t {field}; {comment(f'{PART_WORDS[name]}: one of BUSIM_{CHOICE_STEMS.get(name, name).upper()}_')}"]
    if "tuple" in kind:
        return [f"const uint8_t *{field}; {words}", f"uint16_t {field}_count;"]
    return [f"{'bool' if 'bool' in kind else 'int32_t'} {field}; {words}"]


# ------------------------------------------------------------------------------------------------ tables


def _tables(plan: WirePlan, names: Names) -> Iterator[str]:
    yield heading("this boat's tables")
    for part in TABLES:
        members = members_of(part, plan)
        lines = []
        for place, member in enumerate(members):
            lines.append(macro(names.give("boat", part.stem, member.name), unsigned(place), f"place in {part.table}"))
            if hasattr(member, "number"):
                lines.append(macro(names.give(f"number_of_{part.stem}", member.name), unsigned(member.number), "on the bus"))
        lines.append(macro(names.give("boat_count_of", part.table.removeprefix("busim_boat_")), unsigned(len(members))))
        lines.append(f"extern const uint16_t {part.table}_count;")
        lines.append(f"extern const {part.struct} {part.table}[]; {comment('one entry of zeros where the count is 0')}")
        yield "\n".join(lines)


# ------------------------------------------------------------------------------------------------ source


def boat_source(plan: WirePlan, title: str, head: str) -> str:
    blocks = [comment(head), '#include "busim_boat.h"', f"const char busim_boat_stamp[] = {literal(_stamp(plan, title))};"]
    for part in TABLES:
        blocks += _table_source(part, members_of(part, plan))
    return "\n\n".join(blocks) + "\n"


def _table_source(part: Part, members: Sequence[Any]) -> Iterator[str]:
    """The arrays a part's members point to, then the members."""
    rows = []
    for place, member in enumerate(members):
        stem = f"{part.stem}_{place}"
        yield from _pointed_to(stem, member)
        rows.append(f"{comment(member.name)} {_row(stem, member)}")
    yield array(f"{part.struct} {part.table}[]", rows)
    yield f"const uint16_t {part.table}_count = {len(rows)}u;"


def _pointed_to(stem: str, member: Any) -> Iterator[str]:
    for field in fields(member):
        values = getattr(member, field.name)
        if not isinstance(values, tuple) or not values:
            continue
        name = f"{stem}_{field.name}"
        if field.name == "controls":
            for place, control in enumerate(values):
                yield from _pointed_to(f"{name}_{place}", control)
            rows = [f"{comment(control.name)} {_row(f'{name}_{place}', control)}" for place, control in enumerate(values)]
            yield "static " + array(f"{CONTROLS.struct} {name}[]", rows)
        elif field.name == "levels":
            rows = [f"{{{zone}u, {level}u, {_colour(colour)}, {kelvin}u}}" for zone, level, colour, kelvin in values]
            yield "static " + array(f"{LEVEL_TYPE} {name}[]", rows)
        else:
            yield f"static const uint8_t {name}[] = {{{', '.join(f'{value}u' for value in values)}}};"


def _row(stem: str, member: Any) -> str:
    values = [_value(stem, field.name, getattr(member, field.name)) for field in fields(member) if field.name != "name"]
    return "{" + ", ".join(values) + "}"


def _value(stem: str, name: str, value: Any) -> str:
    if isinstance(value, bool):
        return truth(value)
    if isinstance(value, tuple):
        return f"{stem}_{name}, {len(value)}u" if value else "NULL, 0u"
    if isinstance(value, str):
        return f"{CHOICES[name].index(value)}u"
    return _colour(value) if name == "colour" else f"{value}L" if abs(value) > 32767 else str(value)


def _colour(value: int) -> str:
    return f"0x{value:06X}L" if value >= 0 else "-1L"
