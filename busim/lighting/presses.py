"""Many presses: of those a live panel registered, which were acted on, which were reported, which were lost without a word.

Each run plays one kind of trouble on the part of the boat that carries her lights. One press at a time is under way for a
zone, so that whose light it was is never in doubt. What a panel takes for a press it says itself, by showing that it waits.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random
from typing import Any, Final

from busim.boat.model import BoatFile, Section
from busim.events.journal import Event, Journal
from busim.faults.cut import CutPlace
from busim.faults.fault import NodePlace
from busim.faults.noise_rate import NoisePlace
from busim.protocol.plan import ControlPlan, WirePlan
from busim.requirements.light_press import AT_REST_NS, Course
from busim.seam import Node
from busim.simulator.build import build_world
from busim.simulator.world import Step
from busim.units import MS, SECOND

SETTLED_NS: Final = 2 * SECOND
BETWEEN_NS: Final = 880 * MS
"""From one press for a zone to the next: a press that fails is said to have failed before."""
TROUBLE_EVERY_NS: Final = 9 * SECOND
FIELD_WAITS, FIELD_FAILED, FIELD_PARTLY = 1, 3, 4
PRESSES_A_RUN: Final = 400

ACTED_ON, REPORTED, LOST, NOT_REGISTERED = range(4)


@dataclass(frozen=True)
class Touch:
    at_ns: int
    for_ns: int
    node: str
    channel: str
    zones: tuple[str, ...]


@dataclass(frozen=True)
class Trouble:
    """`begins(boat, random, number, at_ns)` gives the steps of one spell of it; None: nothing is wrong."""

    name: str
    words: str
    storm: bool = False
    begins: Callable[[BoatFile, Random, int, int], list[Step]] | None = None


def light_buses(boat: BoatFile) -> list[str]:
    """The buses that carry presses."""
    return sorted({bus for panel in boat.panels.values() for bus in boat.nodes[panel.node].taps})


def _spell(number: int, at_ns: int, for_ns: int | None, name: str, place: Section) -> list[Step]:
    steps: list[Step] = [(at_ns, 10_000 + number, "begin_fault", (number, name, place))]
    if for_ns is not None:
        steps.append((at_ns + for_ns, 10_000 + number, "end_fault", (number, name, place)))
    return steps


def _bit_errors(boat: BoatFile, random: Random, number: int, at_ns: int) -> list[Step]:
    return _spell(number, at_ns, TROUBLE_EVERY_NS - 1, "noise_rate", NoisePlace(bus=random.choice(light_buses(boat)), rate=0.001))


def _driver_reset(boat: BoatFile, random: Random, number: int, at_ns: int) -> list[Step]:
    drivers = sorted({zone.node for zone in boat.zones.values()})
    at_ns += random.randrange(TROUBLE_EVERY_NS // 2)
    return _spell(number, at_ns, None, "reset", NodePlace(node=random.choice(drivers)))


def _cut(boat: BoatFile, random: Random, number: int, at_ns: int) -> list[Step]:
    bus = random.choice(light_buses(boat))
    at_m = random.randrange(1, max(int(boat.buses[bus].trunk_m * 10), 2)) / 10
    at_ns += random.randrange(2 * SECOND)
    return _spell(number, at_ns, random.randrange(SECOND, 5 * SECOND), "cut", CutPlace(bus=bus, at_m=at_m))


TROUBLES: Final = (
    Trouble("quiet", "nothing is wrong"),
    Trouble("storm", "every panel at once", storm=True),
    Trouble("bit errors", "one bit in a thousand is hit", begins=_bit_errors),
    Trouble("driver resets", "one driver after the other is reset", begins=_driver_reset),
    Trouble("cut", "the trunk is cut, here and there, for some seconds", begins=_cut),
)


class Press:
    __slots__ = ("answered_ns", "end", "left", "registered", "touch")

    def __init__(self, touch: Touch) -> None:
        self.touch = touch
        self.registered = False
        self.left = set(touch.zones)
        self.answered_ns = 0
        self.end = NOT_REGISTERED


class Ledger:
    """Keeps every press, and what became of it."""

    def __init__(self, touches: list[Touch]) -> None:
        self.touches = {(touch.node, touch.channel, touch.at_ns): touch for touch in touches}
        self.open: dict[tuple[str, str], Press] = {}
        """(node, channel) -> the press under way there."""
        self.courses: dict[str, Course] = {}
        self.levels: dict[str, int] = {}
        self.done: list[Press] = []

    def attach(self, journal: Journal) -> None:
        journal.watch_events("key", self._key)
        journal.watch_events("lamp", self._lamp)
        journal.watch_outputs(self._output, "field.")

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, channel, down = event
        touch = self.touches.get((node, channel, at_ns))
        if down and touch is not None:
            self._settle(at_ns)
            self._end((node, channel))
            self.open[node, channel] = Press(touch)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if not channel.startswith("field."):
            return
        key = (node, f"touch.{channel.partition('.')[2]}")
        press = self.open.get(key)
        if press is None:
            return
        if value == FIELD_WAITS:
            press.registered = True
        elif value in (FIELD_FAILED, FIELD_PARTLY):
            self._settle(at_ns)
            if press.left and at_ns - press.touch.at_ns <= SECOND:
                press.end = REPORTED
                self._end(key)

    def _lamp(self, event: Event) -> None:
        at_ns, zone, permille = event[0], event[3], event[4]
        level = self.levels.get(zone, 0)
        if permille == level:
            return
        course = self.courses.get(zone)
        if course is not None and not course.goes_on(at_ns, permille):
            self._close(zone)
            course = None
        if course is None:
            course = self.courses[zone] = Course(level)
        course.points.append((at_ns, permille))
        self.levels[zone] = permille

    def _settle(self, now_ns: int) -> None:
        for zone in [zone for zone, course in self.courses.items() if now_ns - course.points[-1][0] >= AT_REST_NS]:
            self._close(zone)

    def _close(self, zone: str) -> None:
        at_ns = self.courses.pop(zone).tenth_ns()
        for press in self.open.values():
            if zone in press.left and at_ns >= press.touch.at_ns:
                press.left.discard(zone)
                press.answered_ns = max(press.answered_ns, at_ns)

    def _end(self, key: tuple[str, str]) -> None:
        press = self.open.pop(key, None)
        if press is None:
            return
        for zone in sorted(press.left):
            course = self.courses.get(zone)
            if course is not None and course.points[0][0] >= press.touch.at_ns:
                # Acted on so late that its fade still runs when the next press begins.
                press.left.discard(zone)
                press.answered_ns = max(press.answered_ns, course.tenth_ns())
        if press.end != REPORTED:
            press.end = ACTED_ON if not press.left else LOST if press.registered else NOT_REGISTERED
        self.done.append(press)

    def finish(self) -> None:
        for zone in list(self.courses):
            self._close(zone)
        for key in list(self.open):
            self._end(key)


@dataclass(frozen=True)
class Tally:
    """What became of the presses of one run, or of several. `waits_us` of those acted on, in no order."""

    trouble: str
    pressed: int
    acted_on: int
    reported: int
    lost: int
    waits_us: tuple[int, ...]

    @property
    def registered(self) -> int:
        return self.acted_on + self.reported + self.lost

    def wait_us(self, permille: int) -> int | None:
        """The wait that so many of a thousand presses acted on did not exceed."""
        waits = sorted(self.waits_us)
        return waits[max(-(-len(waits) * permille // 1000) - 1, 0)] if waits else None


def added(tallies: list[Tally]) -> Tally:
    return Tally(
        tallies[0].trouble,
        sum(each.pressed for each in tallies),
        sum(each.acted_on for each in tallies),
        sum(each.reported for each in tallies),
        sum(each.lost for each in tallies),
        tuple(wait for each in tallies for wait in each.waits_us),
    )


def fields_of(plan: WirePlan) -> list[tuple[str, ControlPlan]]:
    """(panel's node, control) of every field on a first page whose touch changes zones in a way that can be seen."""
    names = {address: name for address, name, _ in plan.nodes}
    return [
        (names[panel.address], control)
        for panel in plan.panels
        for control in panel.controls
        if control.page == 0 and control.action == "toggle"
    ]


def touches_for(plan: WirePlan, random: Random, count: int, *, storm: bool) -> list[Touch]:
    """Presses on fields drawn at random, no two for one zone at a time; in a storm, as many as possible at one moment."""
    zone_names = {zone.number: zone.name for zone in plan.zones}
    fields = fields_of(plan)
    free_ns = dict.fromkeys(zone_names.values(), SETTLED_NS)
    touches: list[Touch] = []
    at_ns = SETTLED_NS
    while len(touches) < count:
        random.shuffle(fields)
        for node, control in fields:
            zones = tuple(zone_names[zone] for zone in control.zones)
            if any(free_ns[zone] > at_ns for zone in zones) or len(touches) == count:
                continue
            begins_ns = at_ns + (random.randrange(3 * MS) if storm else random.randrange(BETWEEN_NS // 3))
            touches.append(Touch(begins_ns, random.randrange(40, 160) * MS, node, f"touch.{control.number}", zones))
            free_ns.update(dict.fromkeys(zones, begins_ns + BETWEEN_NS))
        at_ns += BETWEEN_NS // 3 + random.randrange(20 * MS)
    return sorted(touches, key=lambda touch: touch.at_ns)


def press_run(boat: BoatFile, plan: WirePlan, kinds: dict[str, type[Node]], trouble: Trouble, seed: int, count: int) -> Tally:
    """One run of `count` presses under one kind of trouble. Only nodes on the buses that carry presses are switched on."""
    random = Random(f"{seed} presses {trouble.name}")
    touches = touches_for(plan, random, count, storm=trouble.storm)
    ends_ns = touches[-1].at_ns + 2 * SECOND
    world = build_world(boat, plan, kinds, seed)
    ledger = Ledger(touches)
    ledger.attach(world.journal)
    steps: list[Step] = [(0, -1, "power", (name, 1)) for name in nodes_of_the_lights(boat)]
    for touch in touches:
        steps.append((touch.at_ns, 0, "key", (touch.node, touch.channel, 1)))
        steps.append((touch.at_ns + touch.for_ns, 0, "key", (touch.node, touch.channel, 0)))
    if trouble.begins is not None:
        for number, at_ns in enumerate(range(SETTLED_NS, ends_ns, TROUBLE_EVERY_NS)):
            steps += trouble.begins(boat, random, number, at_ns)
    world.plan_steps(steps)
    world.run(ends_ns)
    ledger.finish()
    ends = [press.end for press in ledger.done]
    waits = tuple(
        (press.answered_ns - press.touch.at_ns) // 1000 for press in ledger.done if press.end == ACTED_ON and press.answered_ns
    )
    return Tally(trouble.name, len(touches), ends.count(ACTED_ON), ends.count(REPORTED), ends.count(LOST), waits)


def nodes_of_the_lights(boat: BoatFile) -> Iterator[str]:
    buses = set(light_buses(boat))
    return (name for name, node in boat.nodes.items() if buses & set(node.taps))


def runs_of(total: int) -> list[tuple[Trouble, int, int]]:
    """(trouble, seed's part, presses) of every run that `total` presses make, shared out evenly."""
    runs: list[tuple[Trouble, int, int]] = []
    for index, trouble in enumerate(TROUBLES):
        left = total // len(TROUBLES) + (1 if index < total % len(TROUBLES) else 0)
        number = 0
        while left > 0:
            count = min(left, PRESSES_A_RUN)
            runs.append((trouble, number, count))
            left, number = left - count, number + 1
    return runs


def carry_out_run(arguments: tuple[Any, ...]) -> Tally:
    """`press_run` for another process: (boat, plan, kinds, name of the trouble, seed, count)."""
    boat, plan, kinds, name, seed, count = arguments
    trouble = next(trouble for trouble in TROUBLES if trouble.name == name)
    return press_run(boat, plan, kinds, trouble, seed, count)
