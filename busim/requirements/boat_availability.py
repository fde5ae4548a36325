"""A fault no longer than the boat rides through forces no gear out; after a longer one thrust is soon back.

What was ridden through is judged by the machinery: a drive with its gear in when the fault began still has it once the time is
over, from the fault's end, in which a loss would have taken it out. Where somebody moved a lever or pressed a key meanwhile, or
another fault was on, it shows nothing. Thrust is back when the gear is in again, counted from when control was taken and the
lever put in gear, whichever came last. Only faults that last and end count as short: a reset is over at once, and what it does
is not.

A fault that is on excuses what does not come back; but not at the other drive, where it is one drive's alone and the boat is to
carry on with one. There a take has to bring thrust whether a loss came before or not: the first one where the drive that is at
fault has not been heard for long enough, else the second of two that come shortly after each other, by the same station.

With nothing broken no drive loses its station by itself, and no engine stops. Nor is thrust there where a drive obeys a station
whose lever for it stands well off neutral, and has no gear in, or its throttle at idle, for longer than to go idle, out of one
gear and into the other may take it.
"""

from collections.abc import Iterable
from typing import Final

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import FROM_PLANT
from busim.requirements.drive_self_loss import RUN_DOWN_MS
from busim.requirements.in_a_log import Reported
from busim.requirements.orders import shift_allowed_ms, throttle_allowed_ms
from busim.requirements.requirement import STRIKES, Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

LOST_CAUSES: Final = (2, 3)
"""Of a drive's report: nothing valid from the lever, no heartbeat."""
CAUSE_WITHDRAWN: Final = 6
"""Of a drive's report: the take it had followed was withdrawn."""
PRESSED_AGAIN_NS: Final = 10_000 * MS
"""So soon after a take failed, a second press asks for what there is."""
OF_ONE_NODE: Final = (
    "power_lost", "hang", "application_dead", "other_boat_file", "deaf", "dumb", "sensor_open", "sensor_short", "sensor_stuck",
    "sensor_slipped", "actuator_jammed", "actuator_slow", "linkage_off", "engine_stalls",
)  # fmt: skip
"""Faults that trouble nobody else on the bus."""
NEUTRAL_NOW: Final = ", neutral_now"
"""Where a contact is broken that nobody can tell from a press: it is there to be obeyed at once."""


class Brief:
    """One fault while it lasts, and as long again as a loss may take to end in neutral: the gears that were in when it began."""

    __slots__ = ("alone", "began_ns", "ended_ns", "gears", "out", "words")

    def __init__(self, began_ns: int, words: str, gears: dict[str, int], alone: bool) -> None:
        self.began_ns = began_ns
        self.ended_ns: int | None = None
        self.words = words
        self.gears = gears
        self.alone = alone
        self.out: tuple[str, int] | None = None
        """The first drive whose gear was forced out, and when."""


class Availability(Requirement):
    id = "boat.availability"
    words = "A short fault forces nothing to neutral, and after a longer one thrust is soon back."
    hazards = ("loss of all control",)
    in_a_log = Reported("sensed gear, claims and levers; what was ridden through no log shows")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.ride_through_ms = context.ride_through_ms
        self.rearm_ms = context.rearm_max_s * 1000
        self.afterwards_ns = max((limit.loss_to_neutral_ms for limit in context.limits.values()), default=0) * MS
        """Whatever a fault sets off has happened this long after its end."""
        self.tally = Tally(self.id, self.rearm_ms, "ms", FROM_PLANT)
        self.rides: list[Brief] = []
        self.on: set[tuple[str, str]] = set()
        """(fault, place) of those that are on."""
        self.nodes = {station.name: self.situation.node_of[station.address] for station in context.plan.stations}
        self.well_off = {station.address: 2 * station.lever_gear_permille for station in context.plan.stations}
        """Station -> beyond which its lever asks for a gear, and for throttle, whatever its sensor may be out."""
        self.thrust_ms = {
            drive.name: drive.dwell_ms + 2 * shift_allowed_ms(limit) + throttle_allowed_ms(limit)
            for drive in context.plan.drives
            for limit in (context.limits[drive.name],)
        }
        slowest_ms = max((engine.cutout_ms for engine in self.situation.engines.of.values()), default=0) + RUN_DOWN_MS
        self.follows_ns = self.afterwards_ns + (context.plan.timing.heartbeat_missing_ms + slowest_ms) * MS
        """The same for what a silence and a cutout make of it: the engine has run down."""
        self.upset_ns = 0
        """When a fault, the supply of a node or a start happened last."""
        self.throttles = dict.fromkeys(self.situation.drives, 0)
        """Drive -> what its throttle was told last."""
        self.idle_ns: dict[str, int] = {}
        """Drive that gives no thrust though it is asked for it -> since when."""
        self.forced: dict[str, int | None] = {}
        """Drive whose gear a loss took out -> when control was last asked for since; None: not yet."""
        self.levers: dict[tuple[str, str], tuple[int, int]] = {}
        """(station's node, drive) -> where its lever was last put, and when."""
        self.taker = ""
        timing = context.plan.timing
        self.carries_on = all(drive.on_other_lost == "carry_on" for drive in context.plan.drives)
        self.silent_ns = (timing.heartbeat_missing_ms + 2 * timing.drive_ms) * MS
        """For so long without a report, a drive is missed by every station that heard it."""
        self.begun_ns = 0
        """When the last fault began."""
        self.transfer_ns = timing.transfer_ms * MS
        self.again_ns = self.transfer_ns + PRESSED_AGAIN_NS
        self.once: dict[str, int] = {}
        """Station's node -> when its take key was pressed with a drive at fault, if its next press may leave that one out."""

    def attach(self, journal: Journal) -> None:
        for kind in ("fault", "gear", "engine", "lever", "key", "power", "start"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))
        journal.watch_outputs(self._throttle, "throttle")
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)

    # ------------------------------------------------------------------------------------------------ nothing broken

    def _power(self, event: Event) -> None:
        self.upset_ns = event[0]

    def _start(self, event: Event) -> None:
        self.upset_ns = event[0]

    def _engine(self, event: Event) -> None:
        at_ns, _, _, name, running = event
        if not running and self._whole(at_ns):
            self.tally.fail(at_ns, f"{name}: its engine stopped, and nothing was broken")

    def _whole(self, now_ns: int) -> bool:
        """Nothing is broken, nor was lately enough that something may follow from it."""
        whole = not self.on and now_ns > self.upset_ns + self.follows_ns
        return whole and self.situation.reception_known

    def _throttle(self, event: Event) -> None:
        at_ns, _, _, node, _, value = event
        drive = self.situation.by_node.get(node)
        if drive is not None:
            self._idle(drive, at_ns)
            self.throttles[drive.name] = value

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        self._idle(self.situation.by_address[can_id & 0x3F], now_ns)

    def _idle(self, drive: DriveView, now_ns: int) -> None:
        """Does it give thrust, or is it not asked to? Else that fails once it is over its time."""
        permille, _ = self.levers.get((self.situation.node_of.get(drive.station, ""), drive.name), (0, 0))
        asked = abs(permille) > self.well_off.get(drive.station, 1000) and not self.on and self.situation.reception_known
        if not asked or (drive.true_gear and self.throttles[drive.name] > 0):
            self.idle_ns.pop(drive.name, None)
            return
        waited_ms = (now_ns - self.idle_ns.setdefault(drive.name, now_ns)) // MS
        if waited_ms > self.thrust_ms[drive.name]:
            what = "its throttle at idle" if drive.true_gear else "no gear in"
            words = f"{drive.name}: {what}, the lever it obeys well off neutral, and nothing broken"
            self.tally.measure(waited_ms, now_ns, words, self.thrust_ms[drive.name])

    # ------------------------------------------------------------------------------------------------ short ones

    def _fault(self, event: Event) -> None:
        at_ns, _, _, fault, place, begins = event
        self._settle(at_ns)
        self.upset_ns = at_ns
        words = f"{fault}, {place}"
        pressed = place.endswith(NEUTRAL_NOW)
        if begins:
            gears = {drive.name: drive.true_gear for drive in self.situation.drives.values() if drive.true_gear and drive.station}
            for ride in self.rides:
                ride.alone = False
            ride = Brief(at_ns, words, gears, not self.on and not self.rides and not pressed)
            self.rides.append(ride)
            if begins == STRIKES:
                ride.ended_ns, ride.alone = at_ns, False
            else:
                self.on.add((fault, place))
                self.begun_ns = at_ns
            return
        self.on.discard((fault, place))
        for ride in self.rides:
            if ride.words == words and ride.ended_ns is None:
                ride.ended_ns = at_ns

    def _settle(self, now_ns: int) -> None:
        """Faults that have been over for long enough: what was in gear when they began has been ridden through."""
        for ride in list(self.rides):
            if ride.ended_ns is None or now_ns < ride.ended_ns + self.afterwards_ns:
                continue
            self.rides.remove(ride)
            if not ride.gears or not ride.alone or ride.ended_ns - ride.began_ns > self.ride_through_ms * MS:
                continue
            if ride.out is not None:
                name, at_ns = ride.out
                self.tally.fail(at_ns, f"{name}: forced to neutral by {ride.words}, which the boat should ride through")
            else:
                names = ", ".join(ride.gears)
                self.tally.measure(0, ride.ended_ns + self.afterwards_ns, f"{names}: rode through {ride.words} in gear")

    # ------------------------------------------------------------------------------------------------ gears, and people

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        self._settle(at_ns)
        if gear:
            self._thrust_back(name, at_ns)
            return
        drive = self.situation.drives[name]
        if drive.station and self.situation.loss_base_ns(drive, at_ns) is None:
            return  # whoever is in control wanted it out
        if drive.cause != CAUSE_WITHDRAWN or name not in self.forced:  # a take withdrawn is no answer to who asked
            self.forced[name] = None
        for ride in self.rides:
            if name in ride.gears and ride.out is None:
                ride.out = (name, at_ns)
        if drive.cause in LOST_CAUSES and self._whole(at_ns):
            self.tally.fail(at_ns, f"{name}: lost the station it obeyed, and nothing was broken")

    def _thrust_back(self, name: str, at_ns: int) -> None:
        asked_ns = self.forced.pop(name, None)
        permille, moved_ns = self.levers.get((self.taker, name), (0, 0))
        if asked_ns is not None and permille:
            took_ms = -(-(at_ns - max(asked_ns, moved_ns)) // MS)
            why = self._without(name) or " after a loss"
            self.tally.measure(took_ms, at_ns, f"{name}: gear in again{why}, control taken at {self.taker}")

    def _lever(self, event: Event) -> None:
        at_ns, _, _, station, drive, permille, _ = event
        self.levers[self.nodes[station], drive] = permille, at_ns
        self._meanwhile()

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        self._meanwhile()
        if key != "take" or not down or node not in self.nodes.values() or node not in self.situation.running:
            return
        if any(permille for (lever_node, _), (permille, _) in self.levers.items() if lever_node == node):
            return  # a lever off neutral gates the take
        self.taker = node
        at_fault = self._at_fault()
        if at_fault is None:
            self.once.clear()
            for name in self.forced:
                self.forced[name] = at_ns
            return
        since_ns = at_ns - self.once.get(node, -self.again_ns)
        if since_ns < self.transfer_ns:
            return  # that take is under way still
        again = 2 * self.transfer_ns <= since_ns < self.again_ns  # what comes in its withdrawal may count, or not
        self.once.clear()  # of another station's, too: who is outbid leaves nobody out
        last_ns = max(self.begun_ns, self.situation.drives[at_fault].heard_ns or 0)
        silent = at_ns - last_ns > self.silent_ns
        if not silent and not again:
            self.once[node] = at_ns
        for name in self.situation.drives.keys() - {at_fault}:
            self.forced[name] = at_ns if silent or again else None

    def _at_fault(self) -> str | None:
        """The one drive that every fault that is on is of, and of nothing else; None where there is none such."""
        drives = self.situation.drives.values()
        concerned = {self._drive_of(place, drives) if fault in OF_ONE_NODE else None for fault, place in self.on}
        only = concerned.pop() if len(concerned) == 1 and self.carries_on and len(drives) > 1 else None
        return only.name if only is not None else None

    @staticmethod
    def _drive_of(place: str, drives: Iterable[DriveView]) -> DriveView | None:
        """A fault's place begins with the node, or with the drive where it is one of the machinery."""
        first = place.replace(",", " ").split()[0]
        return next((drive for drive in drives if first in (drive.node, drive.name)), None)

    def _without(self, name: str) -> str:
        at_fault = self._at_fault()
        return f" with {at_fault} at fault" if at_fault not in (None, name) else ""

    def _meanwhile(self) -> None:
        for ride in self.rides:
            if ride.out is None:
                ride.alone = False

    def finish(self, now_ns: int) -> Verdict:
        self._settle(now_ns)
        for drive in self.situation.drives.values():
            self._idle(drive, now_ns)
        for name, asked_ns in self.forced.items():
            permille, moved_ns = self.levers.get((self.taker, name), (0, 0))
            if asked_ns is None or not permille or (self.on and not self._without(name)):
                continue
            if self.situation.drives[name].true_gear:
                continue  # taken over in gear
            waited_ms = (now_ns - max(asked_ns, moved_ns)) // MS
            if waited_ms > self.rearm_ms:
                words = f"{name}: no gear in{self._without(name)}, control taken at {self.taker} and its lever in gear"
                self.tally.measure(waited_ms, now_ns, words)
            else:
                self.tally.undecided(now_ns, f"{name}: the run ended before thrust was back")
        return self.tally.verdict("no fault was short enough to be ridden through, and after none was a gear put in again")
