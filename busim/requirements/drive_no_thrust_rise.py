"""Loss of control, loss of power and transfer open no throttle further than it was (46 CFR 184.620(c)).

Judged by what the drive's output tells its actuator, from the loss until control is taken anew, and from a take until two lever
frames of the taker have reached the drive; and by the machinery: the throttle on the engine leaves its stop under no such
circumstance, and is not further open when the gear comes out than it was told to be when power was lost, or within the time of a
full stroke before that: it may have been on its way down.
"""

from typing import Final

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import MEASURED
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import TWO_AT_ONE, Context, Requirement, Spoilt
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

MARGIN_PPM: Final = 20_000
"""What the actuator and its feedback may be apart: 2 % of the stroke, common practice."""


LOST: Final = "control was lost"
TAKEN: Final = "control was taken"
HANDED_OVER: Final = "control was handed over"
POWER_LOST: Final = "its node lost power"
STARTED: Final = "its node started again"


class Held:
    """From `since_ns` on the throttle may open no further than `permille`, and why. What happens at that very moment was on
    its way already."""

    __slots__ = ("permille", "since_ns", "stopped", "words")

    def __init__(self, since_ns: int, permille: int, stopped: bool, words: str) -> None:
        self.since_ns = since_ns
        self.permille = permille
        self.stopped = stopped
        self.words = words


class NoThrustRise(Requirement):
    id = "drive.no_thrust_rise"
    words = "Loss of control or power, and transfer, open no throttle further."
    hazards = ("throttle rise", "person at the propeller")
    in_a_log = Reported("asked and sensed throttle")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, 0, "permille", MEASURED)
        self.told = dict.fromkeys(self.situation.drives, 0)
        """Drive -> what its throttle was told last."""
        self.older: dict[str, list[tuple[int, int]]] = {name: [] for name in self.situation.drives}
        """Drive -> (until when, what) its throttle was told before: an actuator may be on its way from there still."""
        self.stroke_ns = {name: limit.full_throttle_ms * MS for name, limit in context.limits.items()}
        self.held: dict[str, Held] = {}
        self.pairs: dict[str, tuple[int, int]] = {}
        self.started: set[str] = set()
        """Drives whose program has started before."""
        self.untrue = Spoilt(self.situation.by_node, TWO_AT_ONE)

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self.untrue.note)
        for drive in self.situation.drives.values():
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | drive.address, self._obeys)
        for kind in ("output", "throttle_stop", "gear", "power", "start"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    # ------------------------------------------------------------------------------------------------ from when, until when

    def _hold(self, drive: DriveView, now_ns: int, words: str) -> Held:
        permille = self.told[drive.name]
        if words == POWER_LOST:
            since_ns = now_ns - self.stroke_ns[drive.name]
            permille = max([permille, *(before for until_ns, before in self.older[drive.name] if until_ns > since_ns)])
        held = self.held[drive.name] = Held(now_ns, permille, drive.true_at_stop is not False, words)
        return held

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        drive = self.situation.by_address[can_id & 0x3F]
        if drive.node in self.untrue:
            held = self.held.get(drive.name)
            if held is not None and held.words not in (POWER_LOST, STARTED):
                del self.held[drive.name]
            return
        if drive.name not in self.pairs and not self.situation.reception_known:
            self.pairs[drive.name] = drive.station, drive.number  # a log begins anywhere: this was so before
            return
        before = self.pairs.get(drive.name, (0, 0))
        pair = self.pairs[drive.name] = drive.station, drive.number
        if pair == before:
            self._look(drive, now_ns)
        elif not drive.station:
            if before[0]:
                self._hold(drive, now_ns, LOST)
        else:
            self._hold(drive, now_ns, HANDED_OVER if before[0] and self.told[drive.name] else TAKEN)

    def _look(self, drive: DriveView, now_ns: int) -> Held | None:
        """What holds its throttle at this moment. A take does until two lever frames of the taker could be obeyed."""
        held = self.held.get(drive.name)
        if held is None:
            base_ns = self.situation.loss_base_ns(drive, now_ns) if drive.node not in self.untrue else None
            return self._hold(drive, base_ns, LOST) if base_ns is not None and drive.station else None
        if held.words in (TAKEN, HANDED_OVER) and len(drive.recent) >= 2:
            del self.held[drive.name]
            if held.words == HANDED_OVER:
                self.tally.measure(0, now_ns, f"{drive.name}: handed over with its throttle open, and opened no further by that")
            return None
        return held

    def _power(self, event: Event) -> None:
        drive = self.situation.by_node.get(event[3])
        if drive is not None and not event[4]:
            self._hold(drive, event[0], POWER_LOST)
            self.pairs.pop(drive.name, None)

    def _start(self, event: Event) -> None:
        drive = self.situation.by_node.get(event[3])
        if drive is None:
            return
        self.pairs.pop(drive.name, None)
        if drive.name in self.started:
            self._hold(drive, event[0], STARTED)
        self.started.add(drive.name)

    # ------------------------------------------------------------------------------------------------ what it does

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        drive = self.situation.by_node.get(node)
        if drive is None or channel != "throttle":
            return
        held = self._look(drive, at_ns)
        if held is not None:
            rise = max(value - held.permille, 0)
            self.tally.measure(rise, at_ns, f"{drive.name}: what its throttle was told to open further after {held.words}")
            held.permille = min(held.permille, max(value, 0))
        older = self.older[drive.name]
        older.append((at_ns, self.told[drive.name]))
        while older[0][0] <= at_ns - self.stroke_ns[drive.name]:
            del older[0]
        self.told[drive.name] = max(value, 0)

    def _throttle_stop(self, event: Event) -> None:
        at_ns, _, _, name, at_stop = event
        held = self._look(self.situation.drives[name], at_ns)
        if held is None:
            return
        if at_stop:
            held.stopped = True
            self.tally.measure(0, at_ns, f"{name}: its throttle came to its stop after {held.words}")
        elif held.stopped and at_ns > held.since_ns:
            self.tally.fail(at_ns, f"{name}: its throttle left its stop after {held.words}")

    def _gear(self, event: Event) -> None:
        """The only moment at which the machinery says how far a throttle is open that nobody can move any more."""
        at_ns, _, _, name, gear, throttle_ppm, _ = event
        held = self._look(self.situation.drives[name], at_ns)
        if held is not None and not gear and held.words == POWER_LOST:
            rise = max(throttle_ppm - held.permille * 1000 - MARGIN_PPM, 0) // 1000
            self.tally.measure(rise, at_ns, f"{name}: what its throttle opened further after {held.words}, when the gear came out")

    def finish(self, now_ns: int) -> Verdict:
        return self.tally.verdict("no control was lost or handed over, and no power lost, with a throttle off its stop")
