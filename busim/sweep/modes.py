"""The modes a boat is swept in: what people do to bring her there, from when on faults begin, and when it counts as reached.

A mode is a script of a scenario's own actions, so that any run of a sweep can be played again as a scenario. Moments are in whole
milliseconds; a settled state is saved at a whole second, when the journal's block has just been closed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from busim.boat.derive import actuator_of
from busim.boat.model import BoatFile
from busim.events import bits
from busim.plant.hull import KNOT_MM_S
from busim.scenario.model import Action
from busim.sweep.watched import Watched
from busim.units import MS, SECOND

TAKE_MS: Final = 2000
"""Every node has started by then."""
AHEAD_PERMILLE: Final = 400
_START_ACCELERATION_MM_S2: Final = 120
"""What the hull makes of a lever at four fifths from rest (0.02 g at full, `busim.plant.hull`): to be at a speed soon."""
_SURGE_PERMILLE: Final = 800
_FEW_MM_S: Final = 100


@dataclass(frozen=True)
class Script:
    """`settled_ms`: the state is saved then; faults begin up to `window_ms` later. `station`: where she is driven from, "" nowhere.
    `reached` says what is amiss at the end of the window of a run that nothing disturbs, "" where all is well."""

    actions: tuple[Action, ...]
    settled_ms: int
    window_ms: int
    station: str
    reached: Callable[[Watched], str]


@dataclass(frozen=True)
class Mode:
    """`telling`: which modes come first where time is short; 0 is the first. `script` returns why a boat can't, in words."""

    name: str
    words: str
    telling: int
    script: Callable[[BoatFile], Script | str]


class Hands:
    """Writes down what people do."""

    def __init__(self, boat: BoatFile) -> None:
        self.boat = boat
        self.actions: list[Action] = []

    def do(self, at_ms: int, kind: str, **what: Any) -> None:
        self.actions.append(Action.model_validate({"at_s": at_ms / 1000, kind: what}))

    def take(self, station: str, at_ms: int = TAKE_MS) -> None:
        self.do(at_ms, "key", station=station, name="take", for_ms=200)

    def levers(self, at_ms: int, station: str, permille: int, over_ms: int = 300) -> None:
        for drive in self.boat.stations[station].may_take:
            self.do(at_ms, "lever", station=station, drive=drive, to_permille=permille, over_ms=over_ms)

    def script(
        self, settled_ms: int, window_ms: int, station: str, reached: Callable[[Watched], str]
    ) -> Script:
        return Script(tuple(self.actions), settled_ms, window_ms, station, reached)


# ------------------------------------------------------------------------------------------------ what a boat has


def has_plug(boat: BoatFile, station: str) -> bool:
    return any(tap.plug for tap in boat.nodes[boat.stations[station].node].taps.values())


def helm_stations(boat: BoatFile) -> list[str]:
    """Stations that can have every drive, those without a plug first."""
    able = [name for name, station in boat.stations.items() if set(station.may_take) >= set(boat.drives)]
    return sorted(able, key=lambda name: has_plug(boat, name))


def shift_ms(boat: BoatFile) -> int:
    """The slowest gear goes in or out in this."""
    return max(actuator_of(boat, drive.shift).half_stroke_ms for drive in boat.drives.values())


def throttle_ms(boat: BoatFile) -> int:
    return max(actuator_of(boat, drive.throttle).full_stroke_ms for drive in boat.drives.values())


def dwell_ms(boat: BoatFile) -> int:
    return max(drive.dwell_ms for drive in boat.drives.values())


def lever_for(boat: BoatFile, station: str, knots: float) -> int:
    """Where a lever has to be for this speed, as far as the model goes: speed follows propeller speed."""
    if boat.hull is None:
        return AHEAD_PERMILLE
    drive = next(iter(boat.drives.values()))
    rpm = drive.full_rpm * knots / boat.hull.top_speed_kn
    share = min(max((rpm - drive.idle_rpm) / (drive.full_rpm - drive.idle_rpm), 0.0), 1.0)
    first = boat.stations[station].lever_gear_permille
    return min(first + 10 + round(share * (1000 - first)), 1000)


def _surge_ms(knots: float) -> int:
    """How long a lever at four fifths takes to bring her to a speed from rest, in whole seconds."""
    return math.ceil(knots * KNOT_MM_S / _START_ACCELERATION_MM_S2) * 1000


# ------------------------------------------------------------------------------------------------ when it counts


def _gears(gear: int) -> Callable[[Watched], str]:
    def reached(watched: Watched) -> str:
        wrong = [name for name, drive in watched.situation.drives.items() if (drive.true_gear or 0) != gear or not drive.station]
        return f"{', '.join(wrong)}: not in control with the gear {('out', 'ahead', 'astern')[gear]}" if wrong else ""

    return reached


def _ahead_at(knots: float) -> Callable[[Watched], str]:
    """Gears in ahead, and at about this speed where the boat file says how she moves."""

    def reached(watched: Watched) -> str:
        if amiss := _gears(bits.AHEAD)(watched):
            return amiss
        wanted = knots * KNOT_MM_S if watched.world.plant.hull.values.given else 0
        speed = watched.situation.speed_mm_s
        return "" if speed >= 0.6 * wanted else f"she makes {speed / KNOT_MM_S:.1f} kn and should make {knots:.1f} kn"

    return reached


def _nobody(watched: Watched) -> str:
    held = [name for name, drive in watched.situation.drives.items() if drive.station]
    down = [node for node in watched.world.boat.nodes if node not in watched.situation.running]
    if held:
        return f"{', '.join(held)}: somebody is in control"
    return f"{', '.join(down)}: not running" if down else ""


def _at_station(station: str, gear: int) -> Callable[[Watched], str]:
    def reached(watched: Watched) -> str:
        boat = watched.world.boat
        address = boat.nodes[boat.stations[station].node].address
        wrong = [name for name, drive in watched.situation.drives.items() if drive.station != address]
        return f"{', '.join(wrong)}: not obeying {station}" if wrong else _gears(gear)(watched)

    return reached


# ------------------------------------------------------------------------------------------------ the modes


def _moored(boat: BoatFile) -> Script | str:
    hands = Hands(boat)
    hands.do(0, "engines", running=False)
    return hands.script(3000, 1100, "", _nobody)


def _driven(boat: BoatFile) -> tuple[Hands, str] | str:
    """Control taken at the first station, levers in neutral."""
    stations = helm_stations(boat)
    if not boat.drives or not stations:
        return "no station of hers can have every drive"
    hands = Hands(boat)
    hands.take(stations[0])
    return hands, stations[0]


def _idle(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    return driven if isinstance(driven, str) else driven[0].script(3000, 1100, driven[1], _gears(bits.NEUTRAL))


def _at_speed(boat: BoatFile, knots: float, window_ms: int = 1100) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    hands, station = driven
    slow_ms = 3000 + _surge_ms(knots)
    hands.levers(3000, station, _SURGE_PERMILLE)
    hands.levers(slow_ms, station, lever_for(boat, station, knots))
    return hands.script(slow_ms + 4000, window_ms, station, _ahead_at(knots))


def _ahead_slow(boat: BoatFile) -> Script | str:
    return _at_speed(boat, boat.boat.docking_speed_kn)


def _ahead_full(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    hands, station = driven
    hands.levers(3000, station, 1000)
    knots = boat.hull.top_speed_kn if boat.hull is not None else 0.0
    return hands.script(3000 + (_surge_ms(knots) if knots else 5000), 1100, station, _ahead_at(knots))


def _astern(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    hands, station = driven
    hands.levers(3000, station, -AHEAD_PERMILLE)
    return hands.script(9000, 1100, station, _gears(bits.ASTERN))


def _shift(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    hands, station = driven
    hands.levers(3100, station, AHEAD_PERMILLE)
    return hands.script(3000, shift_ms(boat) + 700, station, _gears(bits.AHEAD))


def _reversal(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    hands, station = driven
    hands.levers(3000, station, AHEAD_PERMILLE)
    hands.levers(8100, station, -AHEAD_PERMILLE, 400)
    window_ms = throttle_ms(boat) + 2 * shift_ms(boat) + dwell_ms(boat) + 500
    return hands.script(8000, window_ms, station, _gears(bits.ASTERN))


def _transfer(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    hands, station = driven
    others = [other for other in helm_stations(boat) if other != station]
    if not others:
        return "she has one place to drive her from"
    other = others[0]
    gear = bits.AHEAD if boat.stations[other].matched_take else bits.NEUTRAL
    if gear:
        hands.levers(3000, station, AHEAD_PERMILLE)
        hands.levers(3000, other, AHEAD_PERMILLE)
    hands.take(other, 8100)
    return hands.script(8000, boat.timing.transfer_ms + 300, other, _at_station(other, gear))


def _pendant(boat: BoatFile) -> Script | str:
    plugged = [station for station in helm_stations(boat) if has_plug(boat, station)]
    if not plugged:
        return "she has no station on a plug"
    station = plugged[0]
    hands = Hands(boat)
    hands.take(station)
    for drive, sign in zip(boat.stations[station].may_take, (1, -1), strict=False):
        hands.do(3000, "lever", station=station, drive=drive, to_permille=sign * 300, over_ms=300)

    def reached(watched: Watched) -> str:
        out = [name for name, drive in watched.situation.drives.items() if not drive.true_gear]
        return f"{', '.join(out)}: the gear is out" if out else ""

    return hands.script(9000, 1100, station, reached)


STREAM_KN: Final = 2.0


def _stream(boat: BoatFile) -> Script | str:
    if boat.hull is None:
        return "the boat file does not say how she moves (hull)"
    script = _at_speed(boat, STREAM_KN)
    if isinstance(script, str):
        return script
    hands = Hands(boat)
    hands.do(0, "stream", set_deg=180, kn=STREAM_KN)
    return Script((*hands.actions, *script.actions), script.settled_ms, script.window_ms, script.station, script.reached)


def _night(boat: BoatFile) -> Script | str:
    driven = _driven(boat)
    if isinstance(driven, str):
        return driven
    if not boat.panels:
        return "she has no panel"
    hands, station = driven
    worked = control_of(boat, "toggle", "") or control_of(boat, "scene", "")
    if worked is None:
        return "no panel of hers calls a scene or works a light"
    for does, condition, at_ms in (("condition", "under_way", 2300), ("scene", "", 3500)):
        if (found := control_of(boat, does, condition)) is not None:
            touch(hands, found, at_ms)
    hands.levers(3000, station, 500)
    touch(hands, worked, 12_300)

    def reached(watched: Watched) -> str:
        dark = not any(watched.situation.lamps.values())
        return "every lamp is dark" if dark else _gears(bits.AHEAD)(watched)

    return hands.script(12_000, 1500, station, reached)


def control_of(boat: BoatFile, does: str, condition: str) -> tuple[str, str, str] | None:
    """(panel, page, control) of the first control that does this."""
    for panel, entry in boat.panels.items():
        for page, controls in entry.pages.items():
            for name, control in controls.items():
                if control.does == does and (not condition or control.condition == condition):
                    return panel, page, name
    return None


def touch(hands: Hands, where: tuple[str, str, str], at_ms: int) -> None:
    """Touch a control; where it is on a page that is not the first, that page is opened, and left again."""
    panel, page, control = where
    pages = hands.boat.panels[panel].pages
    first = next(iter(pages))
    if page != first:
        opens = next((name for name, each in pages[first].items() if each.page == page), None)
        if opens is not None:
            hands.do(at_ms - 200, "touch", panel=panel, control=opens, for_ms=80)
    hands.do(at_ms, "touch", panel=panel, control=control, for_ms=80)
    back = next((name for name, each in pages[page].items() if each.page == first), None) if page != first else None
    if back is not None:
        hands.do(at_ms + 200, "touch", panel=panel, control=back, for_ms=80)


def _power_up(boat: BoatFile) -> Script | str:
    return Hands(boat).script(0, 1200, "", _nobody)


MODES: Final = (
    Mode("ahead_full", "ahead at full speed", 0, _ahead_full),
    Mode("docking_pendant", "docking from the pendant", 1, _pendant),
    Mode("reversal", "in a reversal from ahead to astern", 1, _reversal),
    Mode("transfer", "while control is handed over", 1, _transfer),
    Mode("ahead_slow", "ahead at docking speed", 2, _ahead_slow),
    Mode("shift", "while the gear goes in", 2, _shift),
    Mode("night", "under way at night", 2, _night),
    Mode("astern", "going astern", 3, _astern),
    Mode("stream", "holding station in 2 kn of stream", 3, _stream),
    Mode("power_up", "while everything starts", 3, _power_up),
    Mode("idle", "in control, in neutral", 4, _idle),
    Mode("moored", "moored, engines stopped", 5, _moored),
)
BY_NAME: Final = {mode.name: mode for mode in MODES}


def settled_ns(script: Script) -> int:
    if script.settled_ms * MS % SECOND:
        raise ValueError("a state is saved at a whole second")
    return script.settled_ms * MS
