"""What people do once a fault has done its work: levers to neutral, control taken wherever it can be had, and everything tried.

Whatever they do is a scenario's action, planned for the moment at which it is thought of, so that a run can be played again.
"""

from dataclasses import dataclass, field
from typing import Any, Final

from busim.boat.model import BoatFile
from busim.events import bits
from busim.scenario.load import steps_of
from busim.scenario.model import Action, ScenarioFile
from busim.sweep.modes import AHEAD_PERMILLE, Script, control_of, dwell_ms, shift_ms, throttle_ms
from busim.sweep.watched import Watched
from busim.sweep.witness import in_control
from busim.units import MS, SECOND

LOOK_NS: Final = 50 * MS
"""How often somebody looks what has become of it."""
_LEVER_MS: Final = 150
_MARGIN_MS: Final = 300
_CRANK_MS: Final = 1500
_SHOWS_ASKING: Final = 5
"""What a display says while a take is not complete."""
_TRY_NS: Final = 1100 * MS
"""Whether wheel and lights do anything is seen by then: a panel has a second to say that a press failed."""
_MOVED_CDEG: Final = 100
_WHEEL_PERMILLE: Final = 400


@dataclass
class Tried:
    """What came of it. `in_gear`, `off_idle`: drives that stayed so though every lever was in neutral."""

    taken_at: str = ""
    thrust_again_ns: int | None = None
    works: list[str] = field(default_factory=list)
    works_not: list[str] = field(default_factory=list)
    in_gear: tuple[str, ...] = ()
    off_idle: tuple[str, ...] = ()


class People:
    """`over`: the fault is over, so that thrust has to come back within the boat's own time."""

    def __init__(self, boat: BoatFile, script: Script, watched: Watched, *, over: bool) -> None:
        self.boat = boat
        self.script = script
        self.watched = watched
        self.over = over
        self.actions: list[Action] = []
        self.tried = Tried()

    @property
    def now_ns(self) -> int:
        return self.watched.world.now_ns

    # ------------------------------------------------------------------------------------------------ how they act

    def _do(self, kind: str, **what: Any) -> None:
        action = Action.model_validate({"at_s": self.now_ns / SECOND, kind: what})
        self.actions.append(action)
        scenario = ScenarioFile.model_construct(scenario="", lasts_s=0.0, actions=(action,), faults=(), expect={})
        order = len(self.script.actions) + len(self.actions)
        self.watched.world.plan_steps([(step[0], order, *step[2:]) for step in steps_of(scenario, self.boat)])

    def _until(self, limit_ns: int, done: Any) -> bool:
        """Run on until it is so, or the moment has come."""
        while not done():
            if self.now_ns >= limit_ns:
                return False
            self.watched.world.run(min(self.now_ns + LOOK_NS, limit_ns))
        return True

    # ------------------------------------------------------------------------------------------------ what they do

    def try_everything(self) -> Tried:
        boat, situation = self.boat, self.watched.situation
        if not boat.drives:
            self._try_lights(self.now_ns)
            return self.tried
        for station, entry in boat.stations.items():
            for drive in entry.may_take:
                self._do("lever", station=station, drive=drive, to_permille=0, over_ms=_LEVER_MS)
        neutral_ms = throttle_ms(boat) + shift_ms(boat) + _LEVER_MS + _MARGIN_MS
        drives = situation.drives.values()
        least_ns = self.now_ns + (_LEVER_MS + 100) * MS
        self._until(
            self.now_ns + neutral_ms * MS,
            lambda: self.now_ns >= least_ns and not any(drive.true_gear or drive.true_at_stop is False for drive in drives),
        )
        turning = [drive for drive in drives if situation.engines.of[drive.name].running is not False]
        self.tried.in_gear = tuple(drive.name for drive in turning if drive.true_gear)
        self.tried.off_idle = tuple(drive.name for drive in turning if drive.true_at_stop is False)
        self._start_engines()
        begin_ns = self.now_ns
        limit_ns = begin_ns + (boat.boat.rearm_max_s * SECOND if self.over else 0)
        while not self._take() and self.now_ns < limit_ns:
            pass
        self._try_levers(limit_ns)
        return self.tried

    def _start_engines(self) -> None:
        """Whatever engine stands still is cranked: what stopped it may have let it go by now."""
        engines = self.watched.situation.engines.of
        still = [name for name, engine in engines.items() if engine.running is False]
        for name in still:
            self._do("crank", drive=name, for_ms=_CRANK_MS)
        if still:
            self._until(self.now_ns + (_CRANK_MS + _MARGIN_MS) * MS, lambda: all(engines[name].running for name in still))

    def _obeying(self, station: str) -> list[str]:
        address = self.boat.nodes[self.boat.stations[station].node].address
        situation = self.watched.situation
        drives = situation.drives.values()
        return [drive.name for drive in drives if drive.station == address and in_control(situation, drive, self.now_ns)]

    def _take(self) -> bool:
        """Take control at one station after the other, until drives obey one; where not all do, the best of them."""
        first = self.script.station
        best: tuple[int, str] = (0, "")
        for station in sorted(self.boat.stations, key=lambda name: name != first):
            if self._take_at(station) and self._obeys_all(station):
                best = (len(self._obeying(station)), station)
                break
            best = max(best, (len(self._obeying(station)), station), key=lambda found: found[0])
        if best[0] and not self._obeying(best[1]):
            self._take_at(best[1])
        self.tried.taken_at = best[1] if best[0] and self._obeying(best[1]) else ""
        return bool(self.tried.taken_at)

    def _take_at(self, station: str) -> bool:
        """Pressed, and once more where nothing came of it: who spoilt the first one is left out of the second."""
        shows, node = self.watched.situation.shows, self.boat.stations[station].node
        for _ in range(2):
            self._do("key", station=station, name="take", for_ms=120)
            limit_ns = self.now_ns + (self.boat.timing.transfer_ms + 250) * MS
            self._until(self.now_ns + LOOK_NS * 2, lambda: False)
            # Drives may obey it under an older number all the while: whoever stands there waits for what the display says.
            if self._until(limit_ns, lambda: self._obeys_all(station) and shows.get(node) != _SHOWS_ASKING):
                return True
            if self._obeying(station):
                return False
        return False

    def _obeys_all(self, station: str) -> bool:
        return set(self._obeying(station)) >= set(self.boat.stations[station].may_take)

    def _try_levers(self, limit_ns: int) -> None:
        """Lever ahead, wheel over, a touch on a panel; then see what moved."""
        boat, situation, station = self.boat, self.watched.situation, self.tried.taken_at
        asked_ns = self.now_ns
        able = self._obeying(station) if station else []
        if station:
            for drive in boat.stations[station].may_take:
                self._do("lever", station=station, drive=drive, to_permille=AHEAD_PERMILLE, over_ms=_LEVER_MS)
        rudder = situation.rudder
        before_cdeg = rudder.true_cdeg(asked_ns) if rudder is not None else 0
        if rudder is not None and station and boat.stations[station].steers:
            self._do("wheel", station=station, to_permille=_WHEEL_PERMILLE, over_ms=200)
        changed = self._try_lights(asked_ns, wait=False)
        again: dict[str, int] = {}

        def all_in() -> bool:
            for name in able:
                if situation.drives[name].true_gear == bits.AHEAD:
                    again.setdefault(name, self.now_ns - asked_ns)
            return len(again) == len(able) and self.now_ns >= asked_ns + _TRY_NS

        wait_ms = shift_ms(boat) + dwell_ms(boat) + throttle_ms(boat) + _LEVER_MS + _MARGIN_MS
        self._until(max(asked_ns + wait_ms * MS, limit_ns if able else 0), all_in)
        if again and len(again) == len(boat.drives):
            self.tried.thrust_again_ns = max(again.values())
        for name in boat.drives:
            pushes = situation.drives[name].true_gear == bits.AHEAD and situation.engines.of[name].running is not False
            self._note(f"thrust {name}", works=pushes and name in able)
        if rudder is not None:
            self._note("steering", works=abs(rudder.true_cdeg(self.now_ns) - before_cdeg) >= _MOVED_CDEG)
        self._note_lights(changed)

    def _try_lights(self, now_ns: int, *, wait: bool = True) -> dict[str, int] | None:
        """Touch a panel; what the lamps showed before. None where she has nothing to touch."""
        found = control_of(self.boat, "toggle", "") or control_of(self.boat, "scene", "")
        if found is None:
            return None
        before = dict(self.watched.situation.lamps)
        panel, page, control = found
        if page == next(iter(self.boat.panels[panel].pages)):
            self._do("touch", panel=panel, control=control, for_ms=120)
        else:
            return None
        if wait:
            self._until(now_ns + _TRY_NS, lambda: False)
            self._note_lights(before)
        return before

    def _note_lights(self, before: dict[str, int] | None) -> None:
        if before is not None:
            self._note("lights", works=self.watched.situation.lamps != before)

    def _note(self, what: str, *, works: bool) -> None:
        (self.tried.works if works else self.tried.works_not).append(what)


def settle_ms(boat: BoatFile, limits: Any) -> int:
    """Whatever a fault sets off by itself has come to its end this long after it began, or ended."""
    slowest = max((limit.loss_to_neutral_ms for limit in limits.values()), default=1500)
    return int(slowest) + max((cutout.cutout_ms for cutout in boat.cutouts.values()), default=0) + _MARGIN_MS


def actuators_rest(boat: BoatFile, watched: Watched) -> bool:
    """Every gear is out and every throttle at its stop."""
    return not any(drive.true_gear or drive.true_at_stop is False for drive in watched.situation.drives.values())

