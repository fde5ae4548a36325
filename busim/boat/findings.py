"""What a boat file may say but a builder should know: findings, and what is checked here but not simulated yet.

Takes a boat that keeps the rules. A finding makes `check` end with status 1; what is not simulated is only told.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from busim.boat.derive import limits_of
from busim.boat.findings_helm import helm_findings
from busim.boat.model import BoatFile, Bus, Panel
from busim.protocol.alarms import LISTENERS
from busim.reading.document import Document
from busim.reading.problem import Problem
from busim.reading.tree import Loc

END_TOLERANCE_M: Final = 0.5
"""A terminator this near the end is at the end: what is beyond is a drop shorter than any of the lengths below."""


@dataclass(frozen=True)
class RecommendedLengths:
    """The longest, in m: the trunk, one drop, all drops of a bus together."""

    trunk_m: float
    drop_m: float
    all_drops_m: float


RECOMMENDED: Final = {
    1_000_000: RecommendedLengths(25, 1.5, 7.5),
    500_000: RecommendedLengths(100, 5.5, 27.5),
    250_000: RecommendedLengths(250, 11, 55),
    125_000: RecommendedLengths(500, 22, 110),
    50_000: RecommendedLengths(1000, 55, 275),
}
"""By bit rate. CiA recommendations as tabulated in Lawrenz, CAN System Engineering, 2013, tables 4.1 and 4.2."""


def findings(document: Document[BoatFile]) -> list[Problem]:
    """What is allowed and unwise in this boat, with its places, in the order of the file."""
    boat = document.value
    found = [*_drive_findings(boat), *_ride_through_findings(boat), *_bus_findings(boat), *_idle_findings(boat)]
    found += [*helm_findings(boat), *_navigation_findings(boat)]
    problems = [document.problem(loc, words) for loc, words in found]
    return sorted(problems, key=lambda problem: (problem.line or 0, problem.column or 0, problem.words))


def _drive_findings(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    for name, drive in boat.drives.items():
        loc = ("drives", name)
        limits = limits_of(boat, drive)
        if drive.loss_to_neutral_ms is not None and drive.loss_to_neutral_ms > limits.distance_ms:
            yield (
                (*loc, "loss_to_neutral_ms"),
                f"loss_to_neutral_ms: {drive.loss_to_neutral_ms:,} ms set by hand is above the {limits.distance_ms:,} ms "
                f"in which she runs {boat.boat.max_run_m:g} m at {boat.boat.docking_speed_kn:g} kn",
            )
        if drive.idle_wait_ms is not None and drive.idle_wait_ms > limits.derived_idle_wait_ms:
            yield (
                (*loc, "idle_wait_ms"),
                f"idle_wait_ms: {drive.idle_wait_ms:,} ms set by hand is above the {limits.derived_idle_wait_ms:,} ms "
                f"that the limit of {limits.loss_to_neutral_ms:,} ms leaves: the gear would be out too late",
            )
        if limits.full_throttle_ms > limits.idle_wait_ms:
            yield (
                (*loc, "throttle"),
                f"throttle: its full stroke takes {limits.full_throttle_ms:,} ms, and after {limits.idle_wait_ms:,} ms "
                "the gear comes out all the same, with the throttle still open",
            )
        for cutout_name, cutout in boat.cutouts.items():
            if cutout.drive == name and drive.on_loss.do == "idle":
                after_ms = limits.loss_to_neutral_ms + cutout.cutout_ms
                yield (
                    (*loc, "on_loss"),
                    f"on_loss: {name} is to stay in gear at idle, and {cutout_name} stops its engine {after_ms:,} ms after a loss: "
                    "a gear that is in with nobody in control is what a cutout is for. Write neutral here, or take the cutout out",
                )


def _ride_through_findings(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    """A lever frame is sent up to a period before a fault and up to one after it: all that has to fit into the timeout."""
    timing, ride_ms = boat.timing, boat.boat.ride_through_ms
    needed_ms = ride_ms + 2 * timing.lever_ms
    if boat.drives and ride_ms and needed_ms > timing.control_timeout_ms:
        yield (
            ("boat", "ride_through_ms"),
            f"ride_through_ms: with two lever frames {needed_ms} ms pass without one, and after control_timeout_ms "
            f"({timing.control_timeout_ms}) a drive goes neutral: a fault that short forces it",
        )


def _bus_findings(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    for name, bus in boat.buses.items():
        loc = ("buses", name)
        yield from _terminator_findings(loc, name, bus)
        yield from _length_findings(boat, loc, name, bus)
        members = [node_name for node_name, node in boat.nodes.items() if name in node.taps]
        if len(members) < 2:
            alone = f"only {members[0]} is on {name}, and nobody acknowledges what it sends" if members else f"no node is on {name}"
            yield loc, alone


def _terminator_findings(loc: Loc, name: str, bus: Bus) -> Iterator[tuple[Loc, str]]:
    place = (*loc, "terminators_m")
    if len(bus.terminators_m) != 2:
        yield place, f"{name} has {len(bus.terminators_m)} terminators: it needs exactly two of 120 ohm, one at each end"
        return
    low, high = sorted(bus.terminators_m)
    if low > END_TOLERANCE_M or high < bus.trunk_m - END_TOLERANCE_M:
        yield place, f"{name} has its terminators at {low:g} and {high:g} m: they belong at its ends, 0 and {bus.trunk_m:g} m"


def _length_findings(boat: BoatFile, loc: Loc, name: str, bus: Bus) -> Iterator[tuple[Loc, str]]:
    most, rate = _recommended(bus.bit_rate)
    at_rate = f"recommended at {rate // 1000} kbit/s" + ("" if rate == bus.bit_rate else ", the nearest rate with a recommendation")
    if bus.trunk_m > most.trunk_m:
        yield (*loc, "trunk_m"), f"{name} is {bus.trunk_m:g} m long, more than the {most.trunk_m:g} m {at_rate}"
    drops_m = 0.0
    for node_name, node in boat.nodes.items():
        if name not in node.taps:
            continue
        drop_m = node.taps[name].drop_m
        drops_m += drop_m
        if drop_m > most.drop_m:
            words = f"the drop to {node_name} is {drop_m:g} m long, more than the {most.drop_m:g} m {at_rate}"
            yield ("nodes", node_name, "taps", name, "drop_m"), words
    if drops_m > most.all_drops_m:
        yield loc, f"the drops of {name} are {drops_m:.4g} m together, more than the {most.all_drops_m:g} m {at_rate}"


def _recommended(bit_rate: int) -> tuple[RecommendedLengths, int]:
    """The recommendation for this rate and the rate it is for.

    A rate between two that have one is judged by the faster, which allows less; below the slowest, by the slowest.
    """
    rate = min((each for each in RECOMMENDED if each >= bit_rate), default=max(RECOMMENDED))
    return RECOMMENDED[rate], rate


def _navigation_findings(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    listens = {bus for node in boat.nodes.values() if node.kind in LISTENERS for bus in node.taps}
    for name, light in boat.navigation_lights.items():
        if not listens & set(boat.nodes[light.node].taps):
            yield (
                ("navigation_lights", name),
                f"{name}: no station and no alarm node is on a bus with {light.node}: when its lamp or fuse fails, nobody is told",
            )


def _idle_findings(boat: BoatFile) -> Iterator[tuple[Loc, str]]:
    """Things that are there and do nothing."""
    feeding = {zone.node for zone in boat.zones.values()}
    for name, node in boat.nodes.items():
        if node.kind == "zone_driver" and name not in feeding:
            yield ("nodes", name), f"{name} feeds no zone"
    for panel_name, panel in boat.panels.items():
        for page_name in panel.pages.keys() - pages_in_reach(panel):
            yield ("panels", panel_name, "pages", page_name), f"no control leads to the page {page_name} of {panel_name}"
    reach = [panel.pages[name] for panel in boat.panels.values() for name in pages_in_reach(panel)]
    controls = [control for page in reach for control in page.values()]
    shown = {control.scene for control in controls}
    for name in boat.scenes:
        if name not in shown:
            yield ("scenes", name), f"no panel has the scene {name}"
    reached = {zone for control in controls for zone in control.zones}
    reached |= {zone for name, scene in boat.scenes.items() if name in shown for zone in scene.levels}
    for name in boat.zones:
        if name not in reached:
            yield ("zones", name), f"no panel lights {name}"
    for panel_name, panel in boat.panels.items():
        for page_name, page in panel.pages.items():
            if not page:
                yield ("panels", panel_name, "pages", page_name), f"the page {page_name} of {panel_name} has nothing on it"


def pages_in_reach(panel: Panel) -> set[str]:
    """Names of the pages that presses lead to: the first, and whatever a page in reach opens."""
    found: set[str] = set()
    left = list(panel.pages)[:1]
    while left:
        name = left.pop()
        if name not in found:
            found.add(name)
            left += [control.page for control in panel.pages[name].values() if control.page in panel.pages]
    return found


def not_simulated(boat: BoatFile) -> list[str]:
    """What this boat has that is validated and can't be run yet, one line each."""
    found: list[str] = []
    return [f"validated, not simulated yet: {each}" for each in found]
