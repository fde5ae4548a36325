"""What a swept run is remembered for: who noticed the fault and when, which rows were taken, what thrust was lost, what moved.

It notes from the moment the first fault begins; who noticed, only until people begin to act (`quiet` false from then on).
"""

from typing import Final

from busim import labels
from busim.events.alarm_view import LINE_OVER, ShownLine
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView, Situation
from busim.protocol.alarms import BY_NUMBER
from busim.units import MS, NEVER

MOST_FOUND: Final = 12
TELLING_SHOWS: Final = (4, 6, 7, 8)
"""What a display says of trouble: it hears nothing, drives differ, control was let go, the rudder does not obey."""
_HEARD_NS: Final = 500 * MS
"""A drive that has said nothing for longer is not known to obey anybody."""


class Witness:
    __slots__ = (
        "began_ns", "dark_before", "found", "found_keys", "quiet", "rows", "rudder_cdeg", "situation", "speed_mm_s",
        "thrust_lost_ns",
    )  # fmt: skip

    def __init__(self, situation: Situation) -> None:
        self.situation = situation
        self.began_ns = NEVER
        self.quiet = True
        self.found: list[tuple[str, str, int]] = []
        """(who, what, at_ns)"""
        self.found_keys: set[tuple[str, str]] = set()
        self.rows: dict[tuple[str, int], None] = {}
        self.thrust_lost_ns: int | None = None
        self.speed_mm_s = 0
        self.rudder_cdeg = 0
        self.dark_before: tuple[str, ...] = ()
        """Lamps that were dark when it began."""

    def forget(self) -> None:
        """As if nothing had been noted: what is broken already is not the fault in question. Who told of it then tells no news."""
        self.began_ns = NEVER
        self.found = []
        self.rows = {}
        self.thrust_lost_ns = None

    def attach(self, journal: Journal) -> None:
        for kind in ("fault", "row", "gear"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))
        journal.watch_outputs(self._output, "alarm.", "shows")

    # ------------------------------------------------------------------------------------------------ events

    def begin(self, now_ns: int) -> None:
        """From now on it counts."""
        situation = self.situation
        self.began_ns = now_ns
        self.speed_mm_s = situation.speed_mm_s
        self.rudder_cdeg = situation.rudder.true_cdeg(now_ns) if situation.rudder is not None else 0
        self.dark_before = tuple(name for name, permille in situation.lamps.items() if not permille)

    def _fault(self, event: Event) -> None:
        if self.began_ns == NEVER:
            self.begin(event[0])

    def _row(self, event: Event) -> None:
        at_ns, _, _, node, machine, row, cause = event
        if self.began_ns != NEVER:
            self.rows[machine, row] = None
            if cause:
                self._find(node, labels.FOUND_BY_ROW.format(machine=machine, row=row), at_ns)

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        if self.began_ns == NEVER or not self.quiet:
            return
        if channel == "shows":
            if value in TELLING_SHOWS:
                self._find(node, labels.SHOWS.get(value, str(value)), at_ns)
        elif value > 0:
            line = ShownLine.of(value)
            if line.state != LINE_OVER:
                kind = BY_NUMBER.get(line.which)
                name = kind.name.replace("_", " ") if kind is not None else str(line.which)
                about = self.situation.subject_of(line.which, line.about)
                self._find(node, labels.FOUND_BY_ALARM.format(alarm=name, about=about) if about else name, at_ns)

    def _find(self, who: str, what: str, at_ns: int) -> None:
        if self.quiet and len(self.found) < MOST_FOUND and (who, what) not in self.found_keys:
            self.found_keys.add((who, what))
            self.found.append((who, what, at_ns))

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if gear or self.began_ns == NEVER or not self.quiet or self.thrust_lost_ns is not None:
            return
        if not in_control(self.situation, self.situation.drives[name], at_ns):
            self.thrust_lost_ns = at_ns

    # ------------------------------------------------------------------------------------------------ read at the end

    def dark(self) -> tuple[str, ...]:
        """Navigation lights that were lit when it began and are not now."""
        lamps = self.situation.lamps
        lights = {light.name for light in self.situation.plan.navigation_lights}
        return tuple(name for name, permille in lamps.items() if name in lights and not permille and name not in self.dark_before)


def in_control(situation: Situation, drive: DriveView, now_ns: int) -> bool:
    """Somebody is in control of this drive, as far as can be known: it lives, says whom it obeys, and hears that lever."""
    if not drive.station or drive.node not in situation.running or situation.loss_base_ns(drive, now_ns) is not None:
        return False
    return drive.heard_ns is not None and now_ns - drive.heard_ns <= _HEARD_NS
