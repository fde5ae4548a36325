"""What a listener can know of, it shows: a node that fell silent, a bus that died, a drive that was forced, a lamp that failed.

Each listener is judged by its own reception: by the heartbeats, the drives' reports and the notices of navigation lights that its
host accepted. A cause counts as
shown by a line that names it, or that it can only be grouped under (HSC Code 2000, 11.2: audible and visual alarm of a failure of
control; NTSB 2013: nobody in command after power came back, and nothing said so).
"""

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.table import MEASURED
from busim.requirements.alarm_cover import Cover, called_of, listeners_of
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, hung_node
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS

NOTICED_MS = 1000
"""What keeps a thought (Miller 1968; Card 1991)."""
NEUTRAL_NOW = 5
"""A cause somebody wanted."""


class Listener:
    """`others`: whom it can hear, since `since_ns`; `shown`: whose present silence was shown; `covered_ns`: since when without a
    break a line says that it is lost, in this silence or since one before; `uncovered`: (since when a line had said it, when that
    line went), as long as another may take its place in the same moment; `forced`: drive -> since when; `failed`: navigation light,
    by number -> since when it was told that its lamp or fuse has failed; both -1 once that is shown or was judged."""

    __slots__ = (
        "address", "bit", "cover", "covered_ns", "failed", "forced", "others", "running", "shown", "since_ns", "uncovered",
    )  # fmt: skip

    def __init__(self, address: int, bit: int, cover: Cover, others: tuple[int, ...]) -> None:
        self.address = address
        self.bit = bit
        self.cover = cover
        self.others = others
        self.since_ns = 0
        self.running = False
        self.shown: set[int] = set()
        self.covered_ns: dict[int, int] = {}
        self.uncovered: dict[int, tuple[int, int]] = {}
        self.forced: dict[int, int] = {}
        self.failed: dict[int, int] = {}

    def begin(self, now_ns: int, running: bool) -> None:
        self.since_ns = now_ns
        self.running = running
        self.shown.clear()
        self.covered_ns.clear()
        self.uncovered.clear()
        self.forced.clear()
        self.failed.clear()

    def covered_since_ns(self, other: int, covered: bool, now_ns: int) -> int | None:
        """Since when a line says that `other` is lost; None where none does. The lines of one moment come one after another: one
        that takes the place of another in the same moment goes on where that one left off."""
        if not covered:
            if other in self.covered_ns:
                self.uncovered[other] = self.covered_ns.pop(other), now_ns
            return None
        since_ns, left_ns = self.uncovered.pop(other, (now_ns, now_ns))
        return self.covered_ns.setdefault(other, since_ns if left_ns == now_ns else now_ns)


class Shown(Requirement):
    id = "alarm.shown"
    words = "Every station and alarm node shows within a second what it can know to be wrong."
    hazards = ("confusion over control", "loss of all control")
    in_a_log = NotInALog("what a list of alarms shows, only what is raised and answered")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        plan = context.plan
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.limit_ms = plan.timing.heartbeat_missing_ms + NOTICED_MS
        self.limit_ns = self.limit_ms * MS
        self.tally = Tally(self.id, self.limit_ms, "ms", MEASURED)
        self.heard_ns: dict[tuple[int, int], int] = {}
        """(sender, mask of the hosts that accepted its heartbeat) -> when that was last: one a sender while nothing breaks."""
        self.showing = False
        """Somebody's present silence was shown by somebody."""
        self.lights = {(light.driver, light.number): light.name for light in plan.navigation_lights}
        self.called = called_of(plan)
        self.listeners: dict[str, Listener] = {}
        for node, address in listeners_of(plan).items():
            mine = set(plan.buses_of(address))
            others = tuple(other for other in sorted(self.called - {address}) if mine & set(plan.buses_of(other)))
            self.listeners[node] = Listener(address, self.situation.host_bit[address], Cover(plan, address), others)

    def attach(self, journal: Journal) -> None:
        for address in self.called:
            journal.watch_frames(bits.CODE_HEARTBEAT << 6 | address, self._heartbeat)
        for address in self.situation.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
        for driver in {driver for driver, _ in self.lights}:
            journal.watch_frames(bits.CODE_NOTICE << 6 | driver, self._notice)
        for kind in ("output", "start", "power", "fault"):
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    # ------------------------------------------------------------------------------------------------ causes

    def _heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        sender = can_id & 0x3F
        key = sender, mask
        heard_ns = self.heard_ns
        if self.showing or key not in heard_ns or now_ns - heard_ns[key] > self.limit_ns:
            self._heard_again(now_ns, sender, mask)
        heard_ns[key] = now_ns

    def _heard_again(self, now_ns: int, sender: int, mask: int) -> None:
        """A heartbeat that may have ended a silence for some of those who accepted it."""
        for node, listener in self.listeners.items():
            if mask & listener.bit and sender in listener.others:
                if now_ns - self._heard_last_ns(listener, sender) > self.limit_ns:
                    self._silent(node, listener, sender, now_ns)
                if sender in listener.shown:
                    listener.shown.remove(sender)
        self.showing = any(listener.shown for listener in self.listeners.values())

    def _heard_last_ns(self, listener: Listener, sender: int) -> int:
        bit = listener.bit
        times = [at_ns for (node, mask), at_ns in self.heard_ns.items() if node == sender and mask & bit]
        return max([listener.since_ns, *times])

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        drive, cause = can_id & 0x3F, bits.field(whole, bits.OBEYS_CAUSE)
        forced = not bits.field(whole, bits.OBEYS_STATION) and cause not in (0, NEUTRAL_NOW)
        for node, listener in self.listeners.items():
            if not mask & listener.bit or not listener.running:
                continue
            if not forced:
                self._drive_waits(node, listener, drive, now_ns)
                listener.forced.pop(drive, None)
            elif drive not in listener.forced:
                listener.forced[drive] = now_ns
                self._look(node, listener, now_ns)

    def _drive_waits(self, node: str, listener: Listener, drive: int, now_ns: int) -> bool:
        """It was told of a forced drive and has not shown it yet: fails where that is over its time."""
        since_ns = listener.forced.get(drive, -1)
        if since_ns < 0:
            return False
        waited_ms = -(-(now_ns - since_ns) // MS)
        if waited_ms > NOTICED_MS:
            listener.forced[drive] = -1
            words = f"{node}: did not show that {self.situation.node_of[drive]} was forced"
            self.tally.measure(waited_ms, now_ns, words, NOTICED_MS)
        return waited_ms <= NOTICED_MS

    def _notice(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        whole = int.from_bytes(data, "big")
        light = bits.field(whole, bits.NOTICE_SUBJECT)
        failed = len(data) == bits.NOTICE_BYTES and bits.field(whole, bits.NOTICE_WHICH) == bits.LAMP_OR_FUSE_FAILED
        if not failed or (can_id & 0x3F, light) not in self.lights:
            return
        for node, listener in self.listeners.items():
            if not mask & listener.bit or not listener.running:
                continue
            self._light_waits(node, listener, light, now_ns)
            if not bits.field(whole, bits.NOTICE_STATE):
                listener.failed.pop(light, None)
            elif light not in listener.failed:
                listener.failed[light] = now_ns
                self._look(node, listener, now_ns)

    def _light_waits(self, node: str, listener: Listener, light: int, now_ns: int) -> bool:
        """It was told of a failed light and has not shown it yet: fails where that is over its time."""
        since_ns = listener.failed.get(light, -1)
        if since_ns < 0:
            return False
        waited_ms = -(-(now_ns - since_ns) // MS)
        if waited_ms > NOTICED_MS:
            listener.failed[light] = -1
            words = f"{node}: did not show that the lamp or fuse of {self.situation.light_of[light]} failed"
            self.tally.measure(waited_ms, now_ns, words, NOTICED_MS)
        return waited_ms <= NOTICED_MS

    # ------------------------------------------------------------------------------------------------ what is shown

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, _ = event
        if node in self.listeners and channel.startswith("alarm."):
            self._look(node, self.listeners[node], at_ns)

    def _look(self, node: str, listener: Listener, now_ns: int) -> None:
        view = self.situation.alarms.at(node)
        for other in listener.others:
            covered_ns = listener.covered_since_ns(other, listener.cover.node_lost(view, other), now_ns)
            if covered_ns is None:
                continue
            heard_ns = self._heard_last_ns(listener, other)
            if now_ns - heard_ns < self.missing_ns or other in listener.shown or not listener.running:
                continue
            listener.shown.add(other)
            self.showing = True
            name = self.situation.node_of[other]
            if covered_ns <= heard_ns:
                self.tally.held(now_ns, f"{node}: went on showing that it does not hear {name}")
            else:
                self.tally.measure(-(-(covered_ns - heard_ns) // MS), now_ns, f"{node}: shows that it does not hear {name}")
        for drive, since_ns in listener.forced.items():
            if since_ns >= 0 and listener.cover.drive_forced(view, drive):
                name = self.situation.node_of[drive]
                self.tally.measure(-(-(now_ns - since_ns) // MS), now_ns, f"{node}: shows that {name} was forced", NOTICED_MS)
                listener.forced[drive] = -1
        for light, since_ns in listener.failed.items():
            if since_ns >= 0 and listener.cover.light_failed(view, light):
                words = f"{node}: shows that the lamp or fuse of {self.situation.light_of[light]} failed"
                self.tally.measure(-(-(now_ns - since_ns) // MS), now_ns, words, NOTICED_MS)
                listener.failed[light] = -1

    def _silent(self, node: str, listener: Listener, other: int, now_ns: int) -> None:
        """Unheard beyond the limit; whether that was shown is known."""
        if not listener.running or other in listener.shown:
            return
        if listener.cover.node_lost(self.situation.alarms.at(node), other):
            # A line that stood before this silence began, and has not changed in it, covers it without a word.
            self.tally.held(now_ns, f"{node}: went on showing that it does not hear {self.situation.node_of[other]}")
        else:
            waited_ms = (now_ns - self._heard_last_ns(listener, other)) // MS
            self.tally.measure(waited_ms, now_ns, f"{node}: did not show that it does not hear {self.situation.node_of[other]}")

    # ------------------------------------------------------------------------------------------------ who can show

    def _start(self, event: Event) -> None:
        if event[3] in self.listeners:
            self.listeners[event[3]].begin(event[0], running=True)

    def _power(self, event: Event) -> None:
        if event[3] in self.listeners and not event[4]:
            self.listeners[event[3]].begin(event[0], running=False)

    def _fault(self, event: Event) -> None:
        """A listener whose program hangs goes on showing what it showed: that is for the others to see, and for a watchdog."""
        node, begins = hung_node(event), event[5]
        if node in self.listeners:
            self.listeners[node].begin(event[0], running=not begins)

    def finish(self, now_ns: int) -> Verdict:
        for node, listener in self.listeners.items():
            if not listener.running:
                continue
            self._look(node, listener, now_ns)
            for other in listener.others:
                heard_ns = self._heard_last_ns(listener, other)
                if now_ns - heard_ns > self.limit_ms * MS:
                    self._silent(node, listener, other, now_ns)
                elif now_ns - heard_ns > self.missing_ns and other not in listener.shown:
                    self.tally.undecided(now_ns, f"{node}: the run ended before the limit")
            for drive in list(listener.forced):
                if self._drive_waits(node, listener, drive, now_ns):
                    self.tally.undecided(now_ns, f"{node}: the run ended before the limit")
            for light in list(listener.failed):
                if self._light_waits(node, listener, light, now_ns):
                    self.tally.undecided(now_ns, f"{node}: the run ended before the limit")
        return self.tally.verdict("nothing went wrong that anybody could show")
