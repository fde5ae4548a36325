"""The boat model: what a boat file may say, as frozen, strict pydantic models. One class a section.

Only what a value may be stands here; what several values must be together stands in `rules`, limits that follow from
distance in `derive`. Field descriptions are the words `busim check --resolved` and the schema show.
"""

import re
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, WithJsonSchema
from pydantic_core import PydanticKnownError

from busim.protocol.alarms import MOST_ABOUT

_NAME = "[a-z][a-z0-9_]{0,30}"
_COLOUR = r"#[0-9a-fA-F]{6}|[1-9][0-9]{3,4} K"
_REQUIREMENT = r"[a-z]+\.[a-z_]+"


def _is_name(text: str) -> str:
    if re.fullmatch(_NAME, text) is None:
        raise ValueError("small letters a to z, digits and _, at most 31, and a letter first")
    return text


def _is_one_line(text: str) -> str:
    if not text.strip() or len(text.splitlines()) > 1:
        raise ValueError("one line of text is wanted")
    return text


def _is_requirement(text: str) -> str:
    if re.fullmatch(_REQUIREMENT, text) is None:
        raise ValueError("the id of a requirement is wanted, like drive.loss_to_neutral")
    return text


def _is_date(text: str) -> str:
    try:
        if len(text) != 10:
            raise ValueError
        date.fromisoformat(text)
    except ValueError:
        raise ValueError('a day is wanted, as year-month-day in quotes, like "2024-05-31"') from None
    return text


def _is_colour(text: str) -> str:
    if re.fullmatch(_COLOUR, text) is None or (text[0] != "#" and not 1500 <= int(text[:-2]) <= 12_000):
        raise ValueError('a colour is wanted, in quotes: like "#ff8000" (red, green, blue) or "2700 K" (1500 to 12000)')
    return text


def _is_whole(value: Any) -> Any:
    if isinstance(value, bool | float):
        raise PydanticKnownError("int_type")
    return value


Whole = BeforeValidator(_is_whole)
"""For a number out of a few: true and 1.0 equal 1, and a Literal would take them for it."""

# These are checked by functions rather than by patterns, so that what is wrong is said in words and not as a pattern.
Name = Annotated[str, AfterValidator(_is_name), WithJsonSchema({"type": "string", "pattern": f"^{_NAME}$"})]
"""Names of things in the boat file: they become C names and file names, so they are lower case, digits and `_`."""
Words = Annotated[str, StringConstraints(min_length=1, max_length=400)]
OneLine = Annotated[str, StringConstraints(min_length=1, max_length=60), AfterValidator(_is_one_line)]
RequirementId = Annotated[str, AfterValidator(_is_requirement), WithJsonSchema({"type": "string", "pattern": f"^{_REQUIREMENT}$"})]
Day = Annotated[str, AfterValidator(_is_date), WithJsonSchema({"type": "string", "format": "date"})]
Metres = Annotated[float, Field(ge=0, le=5000)]
Permille = Annotated[int, Field(ge=0, le=1000)]
Colour = Annotated[str, AfterValidator(_is_colour), WithJsonSchema({"type": "string", "pattern": _COLOUR})]
"""A colour as "#rrggbb" (sRGB), or a colour temperature as "2700 K"."""


class Section(BaseModel):
    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


class Boat(Section):
    name: OneLine = Field(description="what she is called")
    waterline_m: float = Field(gt=3, le=60, description="waterline length")
    mass_kg: float = Field(gt=100, le=500_000, description="mass, ready for sea")
    docking_speed_kn: float = Field(gt=0, le=15, description="fastest speed at which she is brought alongside")
    max_run_m: float = Field(gt=0, le=200, description="how far she may run at that speed before the gear is out")
    ride_through_ms: int = Field(
        default=200, ge=0, le=10_000, description="no fault this short forces neutral: a plug that is knocked, a burst of noise"
    )
    rearm_max_s: int = Field(
        default=10, ge=1, le=600, description="once a fault is over and control was taken, thrust is back in this"
    )


class Bus(Section):
    bit_rate: Annotated[Literal[10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000], Whole] = Field(
        description="bit/s, the same for every node on the bus"
    )
    trunk_m: float = Field(gt=0, le=5000, description="length of the trunk, end to end")
    terminators_m: tuple[Metres, ...] = Field(default=(), description="metres at which a 120 ohm terminator sits; one at each end")
    cable: Words | None = Field(default=None, description="what it is wired with")
    twin_of: Name | None = Field(default=None, description="the bus this one doubles, for a redundant pair")
    pluggable: bool = Field(default=False, description="part of it can be unplugged (a pendant)")


class Tap(Section):
    at_m: float = Field(ge=0, le=5000, description="where on the trunk")
    drop_m: float = Field(default=0.3, ge=0, le=100, description="length of the drop")
    plug: bool = Field(default=False, description="it can be unplugged")


class Board(Section):
    """What a node's hardware and its CAN driver are like. Written at the node, or once under `types`."""

    queue: Literal["priority", "first_in_first_out"] | None = Field(default=None, description="order of the transmit queue")
    processing_us: int | None = Field(default=None, ge=0, le=100_000, description="from a frame or input to what it causes")
    clock_ppm: int | None = Field(default=None, ge=0, le=50_000, description="largest error of its clock, either way")
    boot_ms: int | None = Field(default=None, ge=0, le=60_000, description="from power to the first line of its program")
    watchdog_ms: int | None = Field(default=None, ge=1, le=60_000, description="external watchdog; left out: none fitted")
    bus_off: Literal["rejoin", "stay_off"] | None = Field(default=None, description="what it does once bus-off")
    listens_when_off: bool | None = Field(default=None, description="bus-off, it goes on receiving until it rejoins")
    mailboxes: int | None = Field(
        default=None, ge=0, le=64, description="transmit mailboxes; what waits beyond is first in, first out; 0: as many as needed"
    )
    abortable: bool | None = Field(default=None, description="a newer frame replaces one that is in a mailbox already")
    quanta: int | None = Field(default=None, ge=8, le=25, description="time quanta of a bit")
    sample_point_permille: int | None = Field(default=None, ge=500, le=950, description="sample point, of a bit")
    jump_quanta: int | None = Field(default=None, ge=1, le=4, description="resynchronisation jump width")


class Node(Board):
    kind: Name = Field(description="which kind of node, as named by the table in nodes/")
    address: int = Field(ge=1, le=62, description="sender address; 1 to 15 for whoever sends safety messages")
    taps: dict[Name, Tap] = Field(max_length=8, description="the buses it is on, and where")
    supply: Name = Field(description="what feeds it, and navigation lights that it switches")
    board: Name | None = Field(default=None, description="a type under types: boards")
    build: int = Field(default=1, ge=0, le=255, description="software build, modulo 256")
    settings: dict[str, Any] = Field(default_factory=dict, description="the kind's own settings")


class Supply(Section):
    nominal_v: float = Field(gt=3, le=60, description="voltage")
    brown_out_v: float = Field(default=8.0, gt=1, le=60, description="nodes on it reset below this")
    crank_v: float | None = Field(
        default=None, gt=0, le=60, description="while a starter on it turns; left out: starters have a battery of their own"
    )
    crank_ramp_ms: int = Field(default=200, ge=0, le=10_000, description="from there back to nominal, once it stops")


class Actuator(Section):
    type: Name | None = Field(default=None, description="a type under types: actuators")
    stroke_mm: float | None = Field(default=None, gt=0, le=1000, description="travel from end to end")
    speed_mm_s: float | None = Field(default=None, gt=0, le=1000, description="speed under way")
    without_power: Literal["stays", "springs_to_idle", "springs_to_neutral"] | None = Field(
        default=None, description="what it does when its power goes"
    )
    spring_mm_s: float | None = Field(default=None, gt=0, le=2000, description="speed of the spring; left out: its own speed")


class OnLoss(Section):
    do: Literal["neutral", "idle"] = Field(description="neutral; or idle, stay engaged and alarm, where local waters need it")
    why: Words = Field(description="the reason, for whoever reads this in two years")


class Drive(Section):
    node: Name = Field(description="the node that moves its actuators")
    instance: Annotated[Literal[1, 2], Whole] = Field(description="1, or 2 for the second engine")
    throttle: Actuator = Field(description="from idle stop to full")
    shift: Actuator = Field(description="from full astern to full ahead, neutral in the middle")
    idle_rpm: int = Field(ge=200, le=3000, description="engine idle")
    full_rpm: int = Field(ge=500, le=8000, description="engine at full throttle")
    shift_rpm: int | None = Field(default=None, ge=200, le=4000, description="fastest to engage at; left out: 1.25 x idle")
    neutral_switch: bool = Field(default=False, description="an independent switch that closes in neutral is fitted")
    engine_stop: bool = Field(default=False, description="the drive's node can stop the engine")
    stop_without_bus: Words = Field(description="who can stop the engine without the bus, and how")
    on_loss: OnLoss = Field(
        default=OnLoss(do="neutral", why="a boat that drifts is safer than one that drives on"),
        description="what it does by itself when it loses the station in control",
    )
    offset_m: float = Field(default=0.0, ge=-10, le=10, description="of its propeller from the centre line, + is starboard")
    dwell_ms: int = Field(default=1000, ge=0, le=20_000, description="least time in neutral before the opposite gear")
    idle_wait_ms: int | None = Field(
        default=None, ge=50, le=60_000, description="longest wait for idle before gear out; left out: derived"
    )
    loss_to_neutral_ms: int | None = Field(
        default=None, ge=100, le=120_000, description="limit set by hand; left out: from distance"
    )


class Rudder(Section):
    node: Name = Field(description="the node that moves it")
    hard_over_deg: float = Field(gt=0, le=51, description="travel to each side; 51 degrees is what its report can carry")
    speed_deg_s: float = Field(gt=0, le=90, description="how fast it turns")
    no_steer_permille: int = Field(default=200, ge=0, le=1000, description="most throttle while nobody steers")


class Cutout(Section):
    """Stops one engine when its gear does not come out: an own node with an own supply, gear switch and speed pick-up."""

    node: Name = Field(description="the node of kind cutout")
    drive: Name = Field(description="the drive whose engine it stops")
    cutout_ms: int = Field(default=500, ge=50, le=10_000, description="how long after the drive's limit it acts")


class Station(Section):
    node: Name = Field(description="the node of kind station behind its lever and keys")
    may_take: tuple[Name, ...] = Field(description="the drives it may take control of")
    steers: bool = Field(default=False, description="it may steer too")
    matched_take: bool = Field(default=False, description="control may be taken with the lever matched to gear and throttle")
    lever_tracks: Annotated[Literal[1, 2], Whole] = Field(
        default=1, description="sensors on each lever; the second one runs the other way, so that one fault can't move both alike"
    )
    lever_low_permille: int = Field(default=100, ge=1, le=499, description="lever sensor at full astern, of its supply")
    lever_high_permille: int = Field(default=900, ge=501, le=999, description="lever sensor at full ahead")
    lever_gear_permille: int = Field(default=150, ge=20, le=500, description="share of half travel at which a gear is asked for")


class Spot(Section):
    """Where something is on board, for the plan on the screen. Nothing is worked out from it."""

    from_bow_m: float = Field(ge=0, le=100, description="from her bow")
    to_starboard_m: float = Field(default=0.0, ge=-20, le=20, description="from the centre line, + is starboard")


class Zone(Section):
    number: int = Field(ge=1, le=255, description="its number on the bus")
    node: Name = Field(description="the zone driver that feeds it")
    channel: int | None = Field(default=None, ge=1, le=64, description="the driver's output, where one is enough")
    channels: dict[Literal["red", "green", "blue", "white", "warm", "cool"], Annotated[int, Field(ge=1, le=64)]] = Field(
        default_factory=dict, description="the driver's outputs: red, green, blue and perhaps white; or warm and cool"
    )
    kind: Literal["switched", "dimmable", "colour", "tunable_white"] = Field(description="how it can be lit")
    pwm_bits: int = Field(default=12, ge=8, le=16, description="resolution of its outputs: 8 are too coarse to dim low")
    fade_ms: int = Field(default=250, ge=0, le=10_000, description="how long a touch's change takes; switched ones take none")
    warm_k: int = Field(default=2700, ge=1500, le=12_000, description="tunable_white: colour temperature of the warm channel")
    cool_k: int = Field(default=6000, ge=1500, le=12_000, description="tunable_white: colour temperature of the cool channel")
    wired_switch: bool = Field(default=False, description="a switch wired to the driver works the zone without the bus")
    on_bus_loss: Literal["stay", "on"] = Field(default="stay", description="what it does when its driver hears nobody")
    mains: bool = Field(default=False, description="a mains light behind a relay: a licensed electrician's work")
    lit_after_reset: bool = Field(default=False, description="on after its driver starts, until told otherwise")
    at: Spot | None = Field(default=None, description="where its lamps are, for the plan on the screen")


class Scene(Section):
    number: int = Field(ge=1, le=254, description="its number on the bus; 255 is everything off")
    levels: dict[Name, Permille] = Field(max_length=255, description="zone: lightness in permille, 0 to 1000")
    colours: dict[Name, Colour] = Field(default_factory=dict, max_length=255, description='zone: "#rrggbb" or like "2700 K"')
    fade_ms: int = Field(default=0, ge=0, le=40_000, description="how long the change takes")


class Control(Section):
    does: Literal["on", "off", "toggle", "level", "dim", "colour", "scene", "page", "all_off", "condition"] = Field(
        description="what a touch does; dim: a short touch toggles, a held one dims up and down in turn"
    )
    number: int = Field(ge=1, le=64, description="which touch field of the panel, from 1")
    zones: tuple[Name, ...] = Field(default=(), description="the zones it acts on")
    scene: Name | None = Field(default=None, description="does: scene calls this one")
    page: Name | None = Field(default=None, description="does: page shows this page of the panel")
    level_permille: int | None = Field(default=None, ge=0, le=1000, description="does: level sets this lightness")
    colour: Colour | None = Field(default=None, description='does: colour sets this one: "#rrggbb" or like "2700 K"')
    condition: Literal["off", "under_way", "at_anchor", "aground"] | None = Field(
        default=None, description="does: condition asks for this one of the navigation lights"
    )


class NavigationLight(Section):
    """One navigation light: it follows the condition of the boat, and no touch, scene or fade."""

    number: int = Field(ge=1, le=MOST_ABOUT, description="its number on the bus, and in a list of alarms")
    node: Name = Field(description="the node of kind navigation that feeds it")
    channel: int = Field(ge=1, le=64, description="that node's output")
    lit: tuple[Literal["under_way", "at_anchor", "aground"], ...] = Field(min_length=1, description="the conditions it shows")
    wired_switch: bool = Field(default=False, description="a switch wired to its relay lights it whatever the node does")


class Panel(Section):
    node: Name = Field(description="the node of kind panel behind its touch fields")
    debounce_ms: int = Field(default=20, ge=1, le=200, description="a touch is believed after this long")
    pages: dict[Name, Annotated[dict[Name, Control], Field(max_length=64)]] = Field(
        max_length=32, description="page: control: what it does; the first page is shown at start"
    )


class TimingSection(Section):
    """Protocol timing. Each default has its reason in its description."""

    lever_ms: int = Field(default=20, ge=5, le=1000, description="lever frame period: a lever feels direct below 50 ms")
    drive_ms: int = Field(default=40, ge=5, le=1000, description="drive report period: an echo well inside age_max_ms")
    claim_ms: int = Field(default=50, ge=5, le=1000, description="claim repeat: several tries inside transfer_ms")
    heartbeat_ms: int = Field(default=100, ge=10, le=10_000, description="heartbeat period")
    heartbeat_missing_ms: int = Field(default=350, ge=20, le=60_000, description="three heartbeats lost and a half")
    control_timeout_ms: int = Field(
        default=250, ge=20, le=10_000, description="five levers and the longest noise burst ridden through"
    )
    max_gap: int = Field(default=3, ge=1, le=100, description="two frames lost in a row are ridden through")
    age_max_ms: int = Field(default=300, ge=20, le=10_000, description="an echo older than this: the station lets go")
    transfer_ms: int = Field(default=500, ge=50, le=10_000, description="ten claims; longer feels like a refusal")
    overlap_ms: int = Field(default=600, ge=50, le=10_000, description="longest two drives may obey different stations")
    zone_ms: int = Field(default=1000, ge=20, le=60_000, description="zone report period")
    press_repeat_ms: int = Field(default=50, ge=5, le=1000, description="press repeat: inside the 100 ms that feel instant")
    press_failed_ms: int = Field(
        default=800, ge=20, le=10_000, description="a press not done by then is reported failed, within 1 s"
    )


class PartitionPolicy(Section):
    do: Literal["each_obeys", "neutral"] = Field(
        description="each obeys whoever reaches it; or neutral, where a drive has not heard the other one"
    )
    why: Words = Field(description="the reason, for whoever reads this in two years")


class OneDriveLost(Section):
    do: Literal["carry_on", "neutral"] = Field(description="the drive that is left carries on, or goes neutral too")
    why: Words = Field(description="the reason, for whoever reads this in two years")


class Weakness(Section):
    weakness: OneLine = Field(description="what is lived with, in a few words")
    requirements: tuple[RequirementId, ...] = Field(min_length=1, max_length=62, description="the requirements that are not met")
    faults: tuple[Words, ...] = Field(
        min_length=1,
        max_length=62,
        description='under which faults: a name as in a scenario, and perhaps its place, like "hang: port_drive"',
    )
    over_within_ms: int | None = Field(
        default=None, ge=1, le=60_000, description="only such faults as are over within this; left out: however long they last"
    )
    reason: Words = Field(description="why it is lived with, and what acts instead")
    date: Day = Field(description="the day it was accepted, in quotes")


class Types(Section):
    boards: dict[Name, Board] = Field(default_factory=dict, max_length=62, description="boards several nodes are built on")
    actuators: dict[Name, Actuator] = Field(default_factory=dict, max_length=62, description="actuators fitted at several places")


class Hull(Section):
    top_speed_kn: float = Field(gt=0.5, le=60, description="speed in still water with every engine at full")
    astern_share: float = Field(default=0.6, gt=0, le=1, description="thrust astern as a share of ahead")
    turning_diameter_m: float | None = Field(
        default=None, ge=5, le=1000, description="of a turn with the rudder hard over; left out: 3.5 waterlines"
    )


class BoatFile(Section):
    busim: Annotated[Literal[1], Whole] = Field(description="format of this file")
    boat: Boat = Field(description="what she is, and how far she may run without orders")
    types: Types = Field(default=Types(), description="what is used twice")
    buses: dict[Name, Bus] = Field(max_length=8, description="the CAN buses")
    supplies: dict[Name, Supply] = Field(max_length=62, description="what feeds the nodes")
    nodes: dict[Name, Node] = Field(max_length=62, description="a microcontroller each, no more than there are addresses")
    stations: dict[Name, Station] = Field(default_factory=dict, max_length=15, description="where she is driven from")
    drives: dict[Name, Drive] = Field(default_factory=dict, max_length=15, description="an engine with its gearbox each")
    cutouts: dict[Name, Cutout] = Field(default_factory=dict, max_length=2, description="what stops an engine whose gear stays in")
    rudder: Rudder | None = Field(default=None, description="the rudder, where the bus moves it")
    zones: dict[Name, Zone] = Field(default_factory=dict, max_length=255, description="lights switched together")
    navigation_lights: dict[Name, NavigationLight] = Field(
        default_factory=dict, max_length=32, description="lights of the rules of the road"
    )
    scenes: dict[Name, Scene] = Field(default_factory=dict, max_length=255, description="levels set together")
    panels: dict[Name, Panel] = Field(default_factory=dict, max_length=62, description="touch panels")
    timing: TimingSection = Field(default=TimingSection(), description="timing of the protocol")
    partition_policy: PartitionPolicy | None = Field(
        default=None, description="what drives do that can't hear each other; left out: each_obeys"
    )
    on_one_drive_lost: OneDriveLost | None = Field(
        default=None, description="what the other drive does when one is lost; left out: carry_on"
    )
    accepted_weaknesses: tuple[Weakness, ...] = Field(default=(), description="requirements not met, each with its reason")
    hull: Hull | None = Field(default=None, description="how she moves; left out: no run tells metres")
