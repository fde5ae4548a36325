"""The situation: the one reading of events. Who each drive obeys, what it says, what is true, what was forced and why.

Requirements, timeline, dashboard and judged logs read this and the events, never the world. What comes from the wire is read
with the positions of `bits`; rows and causes are the wire's, so that "why" is the same in simulation, on the bench and in a
log. Fields named `true_` come from the machinery and are None where there is none to look at.
"""

from busim.events import bits
from busim.events.alarm_view import Alarms
from busim.events.engine_view import Engines
from busim.events.ground_view import GroundView, apart_mm
from busim.events.journal import Event, Journal
from busim.events.rudder_view import view_of
from busim.protocol.plan import DrivePlan, Timing, WirePlan
from busim.units import MS

LOSS_SLACK_NS = 5 * MS
"""A gap this much longer than the control timeout is a loss for certain, whatever clocks and processing do."""

MOTIONS_KEPT = 12_000
"""Ten minutes at least: longer ago than anybody asks."""


class DriveView:
    """One drive, as it can be known. Times in ns of true time; `station` is an address, 0 nobody."""

    __slots__ = (
        "acted_on", "address", "asked_gear", "buses", "cause", "claim_heard", "claims", "control_ns", "counter_rule", "heard_ns",
        "instance", "levers_ns",
        "lost_base_ns", "name", "node", "number", "plan", "recent", "row", "sensed_gear", "state", "station",
        "timing", "true_at_stop", "true_gear",
    )  # fmt: skip

    def __init__(self, plan: DrivePlan, node: str, timing: Timing, buses: int) -> None:
        self.plan = plan
        self.buses = buses
        self.name = plan.name
        self.node = node
        self.address = plan.address
        self.instance = plan.instance
        self.timing = timing
        self.forget()
        self.true_gear: int | None = None
        self.true_at_stop: bool | None = None

    def forget(self) -> None:
        """The node has lost its memory, or nothing was heard yet."""
        self.station = 0
        self.number = 0
        self.state = 0
        self.row = 0
        self.cause = 0
        self.heard_ns: int | None = None
        self.asked_gear: int | None = None
        self.sensed_gear: int | None = None
        self.control_ns: int | None = None
        """When the last valid lever frame of the station in control was received (or control was taken)."""
        self.lost_base_ns: int | None = None
        """`control_ns` at which control was lost and not taken anew since."""
        self.counter_rule = self.lever_rule()
        self.recent: tuple[tuple[int, int, int], ...] = ()
        """The last valid lever frames: (counter, gear, throttle), newest last."""
        self.acted_on = -1
        """Counter of the lever frame it says it acted on last."""
        self.levers_ns: dict[int, int] = {}
        """Where it is not known what it received: counter -> when the last lever frame with it was on the bus."""
        self.claims: dict[int, int] = {}
        """Number -> valid claims with the lever in neutral received under it."""
        self.claim_heard = (-1, -1)
        """(id, counter) of the last claim: a frame that came twice is one claim."""

    def new_rule(self, limit_ms: int, buses: int | None = None) -> bits.CounterRule | bits.SeveralBusesRule:
        """As a node hears a sender that begins: by the one bus they share, or by several that may bring the same. `buses` left out:
        as one that is on all buses of the drive. `limit_ms`: silent for so long, it means something."""
        shared = self.buses if buses is None else buses
        max_gap = self.timing.max_gap
        return bits.CounterRule(max_gap) if shared <= 1 else bits.SeveralBusesRule(max_gap, limit_ms * MS)

    def lever_rule(self) -> bits.CounterRule | bits.SeveralBusesRule:
        return self.new_rule(self.timing.control_timeout_ms)


class Situation:
    """Fold of everything. Attach it to the journal before whatever reads it."""

    def __init__(self, plan: WirePlan, *, reception_known: bool = True) -> None:
        """`reception_known` false, as for a log: no mask says who accepted a frame. What a drive received last of its lever is
        then what it says it acted on."""
        self.plan = plan
        self.reception_known = reception_known
        self.slack_ns = LOSS_SLACK_NS if reception_known else LOSS_SLACK_NS + 3 * plan.timing.drive_ms * MS
        names = {address: name for address, name, _ in plan.nodes}
        self.node_of = names
        self.light_of = {light.number: light.name for light in plan.navigation_lights}
        self.host_bit = {address: 1 << index for index, (address, _, _) in enumerate(plan.nodes)}
        self.timeout_ns = plan.timing.control_timeout_ms * MS
        self.drives = {
            drive.name: DriveView(drive, names[drive.address], plan.timing, len(plan.buses_of(drive.address)))
            for drive in plan.drives
        }
        self.engines = Engines(plan)
        self.alarms = Alarms()
        self.rudder = view_of(plan)
        self.by_address = {drive.address: drive for drive in self.drives.values()}
        self.by_node = {drive.node: drive for drive in self.drives.values()}
        self.followers: dict[int, tuple[DriveView, ...]] = {}
        """Station -> the drives that obey it: most lever frames come from stations that none does."""
        self.shows: dict[str, int] = {}
        """Station's node -> what its display shows; 0 dark."""
        self.lamps: dict[str, int] = {zone.name: 0 for zone in plan.zones}
        self.running: set[str] = set()
        """Nodes whose program runs."""
        self.run_mm = 0
        self.speed_mm_s = 0
        self.ground = GroundView()
        self.motions: list[tuple[int, int, int]] = []
        """(at_ns, run_mm, speed_mm_s), as said."""

    def subject_of(self, which: int, about: int) -> str:
        """What an alarm is about: a node, or a navigation light. Empty where that is nobody."""
        return (self.light_of if which == bits.LAMP_OR_FUSE_FAILED else self.node_of).get(about, "")

    def attach(self, journal: Journal) -> None:
        self.engines.attach(journal)
        self.alarms.attach(journal)
        if self.rudder is not None:
            self.rudder.attach(journal)
        self.ground.attach(journal)
        stations = {address for drive in self.plan.drives for address in drive.stations}
        for address in sorted(stations):
            journal.watch_frames(bits.CODE_LEVER << 6 | address, self._lever)
            journal.watch_frames(bits.CODE_CLAIM << 6 | address, self._claim)
        for address in self.by_address:
            journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | address, self._obeys)
            journal.watch_frames(bits.CODE_DRIVE_STATE << 6 | address, self._state)
        for kind in ("power", "start", "gear", "throttle_stop", "motion", "lamp"):
            journal.watch_events(kind, getattr(self, f"_on_{kind}"))
        journal.watch_outputs(self._on_output, "shows")

    # ------------------------------------------------------------------------------------------------ reading it

    def loss_base_ns(self, drive: DriveView, now_ns: int) -> int | None:
        """The last valid lever frame before control of this drive was lost; None while it is not lost."""
        if drive.lost_base_ns is not None:
            return drive.lost_base_ns
        if drive.station and drive.control_ns is not None and now_ns - drive.control_ns >= self.timeout_ns + self.slack_ns:
            return drive.control_ns
        return None

    def run_mm_at(self, at_ns: int) -> int:
        """Distance run at a moment, between what was said before and after it."""
        before = (0, 0, 0)
        for motion in reversed(self.motions):
            if motion[0] <= at_ns:
                before = motion
                break
        return before[1] + before[2] * (at_ns - before[0]) // 10**9

    def over_ground_mm(self, from_ns: int, until_ns: int) -> int:
        """How far apart she was over ground, in a straight line, at two moments."""
        one, other = (self.ground.position_mm(at_ns, self.run_mm_at(at_ns)) for at_ns in (from_ns, until_ns))
        return apart_mm(one, other)

    # ------------------------------------------------------------------------------------------------ frames

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        sender = can_id & 0x3F
        whole = -1
        for drive in self.followers.get(sender, ()):
            if not mask & self.host_bit[drive.address]:
                continue
            if whole < 0:
                if not bits.sound(can_id, data):
                    return
                whole = int.from_bytes(data, "big")
            counter = whole >> 48 & 0xFF
            if not drive.counter_rule.counts(counter, bus, now_ns) or whole >> 32 & 0xFFFF != drive.number:
                continue
            gear = bits.field(whole, bits.LEVER_GEAR[drive.instance])
            throttle = bits.field(whole, bits.LEVER_THROTTLE[drive.instance])
            if gear > bits.ASTERN or throttle > 1000:
                continue
            drive.recent = (*drive.recent[-3:], (counter, gear, throttle))
            if not self.reception_known:
                drive.levers_ns[counter] = now_ns
                continue
            before_ns = drive.control_ns
            if before_ns is not None and now_ns - before_ns >= self.timeout_ns + LOSS_SLACK_NS and drive.lost_base_ns is None:
                drive.lost_base_ns = before_ns
            drive.control_ns = now_ns

    def _claim(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        if bits.field(whole, bits.CLAIM_WITHDRAWN):
            return
        number = bits.field(whole, bits.CLAIM_NUMBER)
        heard = (can_id, bits.field(whole, bits.COUNTER))
        for drive in self.drives.values():
            if not mask & self.host_bit[drive.address] or not bits.field(whole, bits.CLAIM_WANTED) & drive.instance:
                continue
            if drive.claim_heard == heard:
                continue
            drive.claim_heard = heard
            if bits.field(whole, bits.CLAIM_GEAR[drive.instance]) == bits.NEUTRAL:
                drive.claims[number] = drive.claims.get(number, 0) + 1

    def _obeys(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        drive = self.by_address[can_id & 0x3F]
        whole = int.from_bytes(data, "big")
        drive.heard_ns = now_ns
        station = bits.field(whole, bits.OBEYS_STATION)
        number = bits.field(whole, bits.OBEYS_NUMBER)
        if not self.reception_known:
            self._acted_on(drive, bits.field(whole, bits.OBEYS_ACTED_ON))
        if (station, number) != (drive.station, drive.number):
            if not station and drive.lost_base_ns is None:
                drive.lost_base_ns = drive.control_ns
            elif station:
                drive.lost_base_ns = None
                drive.control_ns = now_ns
                drive.counter_rule = drive.lever_rule()
                drive.recent = ()
                drive.levers_ns = {}
            drive.station, drive.number = station, number
            self._follow()
        drive.row = bits.field(whole, bits.OBEYS_ROW)
        drive.state = bits.field(whole, bits.OBEYS_STATE)
        drive.cause = bits.field(whole, bits.OBEYS_CAUSE)

    def _acted_on(self, drive: DriveView, counter: int) -> None:
        """Which lever frame was its last: a counter that has changed since its last report, and so has come round by now."""
        if counter != drive.acted_on and counter in drive.levers_ns and drive.control_ns is not None:
            drive.control_ns = max(drive.control_ns, drive.levers_ns[counter])
        drive.acted_on = counter

    def _state(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if not bits.sound(can_id, data):
            return
        drive = self.by_address[can_id & 0x3F]
        whole = int.from_bytes(data, "big")
        drive.asked_gear = bits.field(whole, bits.STATE_ASKED_GEAR)
        drive.sensed_gear = bits.field(whole, bits.STATE_SENSED_GEAR)

    def _follow(self) -> None:
        masters = {drive.station for drive in self.drives.values()} - {0}
        self.followers = {
            station: tuple(drive for drive in self.drives.values() if drive.station == station) for station in masters
        }

    # ------------------------------------------------------------------------------------------------ events

    def _forget(self, node: str) -> None:
        self.by_node[node].forget()
        self._follow()

    def _on_power(self, event: Event) -> None:
        _, _, _, node, on = event
        if not on:
            self.running.discard(node)
            self.shows[node] = 0
            if node in self.by_node:
                self._forget(node)

    def _on_start(self, event: Event) -> None:
        node = event[3]
        self.running.add(node)
        self.shows[node] = 0
        if node in self.by_node:
            self._forget(node)

    def _on_gear(self, event: Event) -> None:
        self.drives[event[3]].true_gear = event[4]

    def _on_throttle_stop(self, event: Event) -> None:
        self.drives[event[3]].true_at_stop = bool(event[4])

    def _on_motion(self, event: Event) -> None:
        self.run_mm, self.speed_mm_s = event[3], event[4]
        self.motions.append((event[0], event[3], event[4]))
        if len(self.motions) > MOTIONS_KEPT:
            del self.motions[: MOTIONS_KEPT // 2]

    def _on_lamp(self, event: Event) -> None:
        self.lamps[event[3]] = event[4]

    def _on_output(self, event: Event) -> None:
        if event[4] == "shows":
            self.shows[event[3]] = event[5]
