"""The cutout: stops one engine whose gear does not come out, or that runs fast, once nobody drives it any more.

Executes `busim.protocol.tables.CUTOUT_TABLE`. It has a supply, a gear switch and a speed pick-up of its own, and believes of
its drive only what a lever has to do with: that it names a station and acts on frames it had not acted on before.
Inputs: `gear_switch` (1 closed: in neutral), `speed` (rpm). Output: `fuel_cut`.

Latched: a fired cutout lets go only once control was taken deliberately, with its gear switch closed (46 CFR 62.25-15: manual
reset after a trip). It remembers nothing over a start of its own; an engine that is stopped by then needs permission to start.
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol import values as v
from busim.protocol.alarms import BY_NAME
from busim.protocol.catalogue import CUTOUT_STATE, DRIVE_OBEYS, PERMISSION
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, counter_watch
from busim.protocol.plan import WirePlan
from busim.protocol.tables import CUTOUT_TABLE
from busim.seam import NOTHING, OUTPUT, RECHECK, ROW, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.alarm_raiser import AlarmRaiser
from nodes.member import Member, following

_S: Final = CUTOUT_TABLE.state_values
WATCHING, WAITING, FIRED = _S["watching"], _S["waiting"], _S["fired"]
MOVES: Final = CUTOUT_TABLE.moves

PERIOD_NS: Final = 100 * MS
STANDS_NS: Final = 100 * MS
"""What a sensor shows is believed once it has shown it this long: the bounce of a contact stops no engine, and hides nothing."""
ENGINE_CUT: Final = BY_NAME["engine_cut"].number
UNSEEN: Final = -1
NOBODY: Final = (0, 0)


class Steady:
    """A yes or no of a sensor, believed once it has stood for STANDS_NS."""

    __slots__ = ("begun_ns", "believed", "shown", "since_ns")

    def __init__(self, first: bool) -> None:
        self.believed = first
        """What was believed before what is shown now began."""
        self.begun_ns = 0
        self.shown = first
        self.since_ns = 0

    def take(self, now_ns: int, shown: bool) -> None:
        if shown == self.shown:
            return
        if self.shown != self.believed and now_ns - self.since_ns >= STANDS_NS:
            self.believed, self.begun_ns = self.shown, self.since_ns
        self.shown, self.since_ns = shown, now_ns

    def at(self, now_ns: int) -> bool:
        return self.shown if now_ns - self.since_ns >= STANDS_NS else self.believed

    def true_for_ns(self, not_before_ns: int, for_ns: int) -> int:
        """The first moment, as things stand, at which yes is believed and began at least `for_ns` ago; NEVER if it is not to be."""
        if self.shown:
            begun_ns = self.begun_ns if self.believed else self.since_ns
            return max(not_before_ns, begun_ns + max(for_ns, STANDS_NS))
        due_ns = max(not_before_ns, self.begun_ns + for_ns)
        return due_ns if self.believed and due_ns < self.since_ns + STANDS_NS else NEVER


class Cutout(Member):
    __slots__ = (
        "acted", "alarms", "base_ns", "cause", "cut_after_ns", "drive", "fast", "fuel_cut", "heard_ns", "instance", "me",
        "obeys_counter", "open", "pair", "report_due_ns", "reports", "speed", "state", "switch_seen", "told_cause",
    )  # fmt: skip

    inputs: ClassVar[Mapping[str, int]] = {"gear_switch": 0, "speed": PERIOD_NS}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.me = plan.cutout_at(address)
        self.drive = next(drive.address for drive in plan.drives if drive.instance == self.me.instance)
        self.instance = self.me.instance
        self.cut_after_ns = (self.me.limit_ms + self.me.cutout_ms) * MS
        self.alarms = AlarmRaiser(plan, address)
        self.state = WATCHING
        self.obeys_counter = counter_watch(plan, address, self.drive, DRIVE_OBEYS)
        self.acted = (0, 0, -1)
        """(station, number, last lever frame acted on), as its drive reported last."""
        self.pair = NOBODY
        """The station and number it was last driven under; nobody once the drive says that it obeys nobody."""
        self.told_cause = v.CAUSE_NONE
        self.heard_ns = -NEVER
        self.base_ns = 0
        """When its drive was last driven, or this node started."""
        self.open = Steady(True)
        """A switch that was never read counts as open; a speed that was never read shows nothing."""
        self.fast = Steady(False)
        self.switch_seen = False
        self.speed = UNSEEN
        self.fuel_cut = 0
        self.cause = v.CAUSE_NONE
        self.reports = 0
        self.report_due_ns = NEVER

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        obeys: dict[tuple[int, int], FrameHandler] = {(bus, DRIVE_OBEYS.can_id(self.drive)): self._on_obeys for bus in self.buses}
        return obeys | self.alarms.receives()

    # ------------------------------------------------------------------------------------------------ calls of the seam

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.base_ns = self.report_due_ns = now_ns
        for sensor in (self.open, self.fast):
            sensor.begun_ns = sensor.since_ns = now_ns
        self.working = True
        return ((OUTPUT, "fuel_cut", 0),)

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        if channel == "gear_switch":
            self.switch_seen = True
            self.open.take(now_ns, value == 0)
        elif channel == "speed":
            self.speed = value
            self.fast.take(now_ns, value > self.me.idle_rpm * 5 // 4)
        else:
            return NOTHING
        self._set_deadline()
        return RECHECK

    def on_deadline(self, now_ns: int) -> Actions:
        actions = self._look(now_ns)
        if now_ns >= self.report_due_ns:
            self.report_due_ns = following(self.report_due_ns, PERIOD_NS, now_ns)
            self.task_ran = True
            actions += self._report(now_ns)
            actions += self.alarms.tell(now_ns, (ENGINE_CUT,) if self.fuel_cut else ())
        actions += self.beat(now_ns)
        self._set_deadline()
        return tuple(actions)

    # ------------------------------------------------------------------------------------------------ watching its drive

    def _on_obeys(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        if word == INVALID or self.obeys_counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return NOTHING
        station, number, acted_on, _, _, self.told_cause, _ = DRIVE_OBEYS.unpack(word)
        self.heard_ns = now_ns
        before, self.acted = self.acted, (station, number, acted_on)
        if not station:
            self.pair = NOBODY
        elif self.acted[:2] == before[:2] and acted_on != before[2]:
            return self._driven(now_ns)
        return NOTHING

    def _driven(self, now_ns: int) -> Actions:
        """A lever moves this drive: it reports one more frame acted on, from the station and under the number of before."""
        if self.state == FIRED and (self.acted[:2] == self.pair or self.open.at(now_ns)):
            return NOTHING  # that is who drove it when it fired, or the gear is in: nobody has taken control of it anew
        self.base_ns = now_ns
        self.pair = self.acted[:2]
        if self.state == WATCHING:
            return NOTHING  # the deadline only moves later
        actions = self._event("driven")
        self._set_deadline()
        return tuple(actions)

    def _look(self, now_ns: int) -> list[Action]:
        actions: list[Action] = []
        if self.state == WATCHING and now_ns >= self._undriven_ns():
            actions += self._event("undriven")
        if self.state == WAITING and now_ns >= self._overdue_ns():
            heard = now_ns - self.heard_ns < self.timing.heartbeat_missing_ms * MS
            self.cause = self.told_cause if heard and not self.acted[0] and self.told_cause else v.CAUSE_DRIVE_LOST
            actions += self._event("overdue")
        return actions

    def _event(self, event: str) -> list[Action]:
        self.state, row = MOVES[self.state, event]
        actions: list[Action] = []
        fuel_cut = int(self.state == FIRED)
        if not fuel_cut:
            self.cause = v.CAUSE_NONE
        actions.append((ROW, "cutout", row, self.cause))
        if fuel_cut != self.fuel_cut:
            self.fuel_cut = fuel_cut
            actions.append((OUTPUT, "fuel_cut", fuel_cut))
        return actions

    def _undriven_ns(self) -> int:
        return self.base_ns + self.timing.heartbeat_missing_ms * MS

    def _overdue_ns(self) -> int:
        """When it has to fire, as things stand: cutout_ms after the drive's limit, or after the gear went in unasked."""
        least_ns, for_ns = self.base_ns + self.cut_after_ns, self.me.cutout_ms * MS
        return min(self.open.true_for_ns(least_ns, for_ns), self.fast.true_for_ns(least_ns, for_ns))

    def _set_deadline(self) -> None:
        due_ns = min(self.report_due_ns, self.beat_due_ns, self.identity_due_ns)
        if self.state == WATCHING:
            due_ns = min(due_ns, self._undriven_ns())
        elif self.state == WAITING:
            due_ns = min(due_ns, self._overdue_ns())
        self.deadline_ns = due_ns

    # ------------------------------------------------------------------------------------------------ what it says

    def _report(self, now_ns: int) -> list[Action]:
        self.reports = self.reports + 1 & 0xFF
        is_open = self.open.at(now_ns)
        switch = (v.SWITCH_OPEN if is_open else v.SWITCH_CLOSED) if self.switch_seen else v.SWITCH_FAULTY
        armed = int(self.state != FIRED and self.switch_seen and self.speed != UNSEEN)
        speed = min(max(self.speed, 0) >> 3, 1023)
        can_id = CUTOUT_STATE.can_id(self.address)
        state = CUTOUT_STATE.pack(can_id, self.reports, self.instance, switch, speed, armed, self.fuel_cut, self.cause)
        actions = self.send(can_id, state, PERIOD_NS)
        why_not = self.cause if self.fuel_cut else v.CAUSE_GEAR_IN if is_open else v.CAUSE_NONE
        can_id = PERMISSION.can_id(self.address)
        may_start = int(not self.fuel_cut and not is_open)
        return actions + self.send(
            can_id, PERMISSION.pack(can_id, self.reports, self.instance, may_start, self.fuel_cut, why_not), PERIOD_NS
        )
