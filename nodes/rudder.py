"""The rudder: obeys one station's wheel, and holds where it is whenever it obeys nobody.

Executes `busim.protocol.tables.RUDDER_TABLE`. Input: `rudder_angle` (hundredths of a degree, + is starboard). Outputs: `rudder`
(the angle asked of the actuator, the same unit) and `rudder_power`, 0 where its power is taken away.

One valid wheel frame is enough to steer by. Two that agree would make her answer 40 ms later, and a wrong one costs little: it is
clipped at hard over, the actuator turns no faster than it can, and the next frame puts it right. Whose wheel is obeyed needs two
claims that agree, and every drive that the claim wants must report that take: a take the drives refuse never costs the steering.
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol import values as v
from busim.protocol.alarms import BY_NAME
from busim.protocol.catalogue import CLAIM, DRIVE_OBEYS, HEARTBEAT, RUDDER_STATE, WHEEL
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, DUPLICATE, CounterWatch, PairWatch, counter_watch, newer
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.protocol.tables import RUDDER_TABLE
from busim.seam import BUS_OFF, NOTHING, OUTPUT, RECHECK, ROW, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.alarm_raiser import AlarmRaiser
from nodes.member import Member, following
from nodes.rudder_motion import ARRIVED_CDEG, UNSEEN, RudderMotion
from nodes.watches import StationWatch

_S: Final = RUDDER_TABLE.state_values
WAKING, UNCLAIMED, MATCHING, FOLLOWING = _S["waking"], _S["unclaimed"], _S["matching"], _S["following"]
LOST, STOPPED = _S["lost"], _S["stopped"]
MOVES: Final = RUDDER_TABLE.moves

STEERING_LOST: Final = BY_NAME["steering_lost"].number
RUDDER_FAULT: Final = BY_NAME["rudder_fault"].number
SENSOR_WAIT_NS: Final = 200 * MS
REPORT_NS: Final = RUDDER_STATE.period_ms * MS
MOST_REPORTED: Final = 1023
"""In steps of 5 hundredths of a degree, either way."""


class Taker(StationWatch):
    """A station that may steer: the number and set of its last claim, and when two in a row agreed that it wants the rudder."""

    __slots__ = ("agreed_ns",)

    def __init__(self, plan: WirePlan, receiver: int, station: int) -> None:
        super().__init__(plan, receiver, station)
        self.agreed_ns = -NEVER


class DrivePair:
    """A drive as the rudder follows it: the pair of station and number it reports."""

    __slots__ = ("counter", "instance", "pair")

    def __init__(self, instance: int, counter: CounterWatch) -> None:
        self.instance = instance
        self.counter = counter
        self.pair = (0, 0)


class Rudder(Member):
    __slots__ = (
        "alarms", "drives", "me", "motion", "number", "obeyed", "report_counter", "report_due_ns", "side", "started_ns",
        "state", "stations", "told_cdeg", "turned", "untold", "wheel_counter", "wheel_data", "wheel_ns",
    )  # fmt: skip

    inputs: ClassVar[Mapping[str, int]] = {"rudder_angle": 20 * MS}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        if plan.rudder is None or plan.rudder.address != address:
            raise ValueError(f"the boat has no rudder at address {address}")
        self.me = plan.rudder
        self.motion = RudderMotion(self.me)
        self.alarms = AlarmRaiser(plan, address)
        self.stations = {station: Taker(plan, address, station) for station in self.me.stations}
        self.drives = {
            drive.address: DrivePair(drive.instance, counter_watch(plan, address, drive.address, DRIVE_OBEYS))
            for drive in plan.drives
        }
        self.state = WAKING
        self.obeyed = 0
        self.number = 0
        self.wheel_counter = CounterWatch(self.timing.max_gap)
        self.wheel_data = b""
        """The last wheel frame that counted, as it came."""
        self.wheel_ns = 0
        self.side = 0
        """On which side of the rudder the wheel was at its first frame since the take, while they are being matched."""
        self.turned = 0
        """What a rate has turned beyond the last whole hundredth of a degree, in thousandths of it."""
        self.told_cdeg = UNSEEN
        self.untold = False
        """A row was taken that no report tells yet."""
        self.started_ns = 0
        self.report_counter = 0
        self.report_due_ns = NEVER

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        handlers = self.alarms.receives()
        for bus in self.buses:
            for station in self.stations:
                handlers[bus, WHEEL.can_id(station)] = self._on_wheel
                handlers[bus, CLAIM.can_id(station)] = self._on_claim
                handlers[bus, HEARTBEAT.can_id(station)] = self._on_heartbeat
            for drive in self.drives:
                handlers[bus, DRIVE_OBEYS.can_id(drive)] = self._on_drive_obeys
        return handlers

    # ------------------------------------------------------------------------------------------------ calls of the seam

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.motion.start(now_ns)
        self.started_ns = now_ns
        self.report_due_ns = now_ns
        return ((OUTPUT, "rudder_power", 0),)

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        if channel != "rudder_angle":
            return NOTHING
        self.motion.read(now_ns, value)
        before_ns = self.deadline_ns
        actions = self._look(now_ns)
        self._set_deadline()
        return self._told(now_ns, actions) or (RECHECK if self.deadline_ns < before_ns else NOTHING)

    def on_controller(self, now_ns: int, bus: int, state: int) -> Actions:
        if state == BUS_OFF and self.buses == (bus,):
            return self._told(now_ns, self._lose(now_ns, v.CAUSE_CONTROLLER))
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        self.motion.look(now_ns)
        if self.obeyed:
            if now_ns - self.wheel_ns >= self.timing.control_timeout_ms * MS:
                actions += self._lose(now_ns, v.CAUSE_LEVER_LOST)
            elif not self.stations[self.obeyed].heartbeat.good(now_ns, self.timing.heartbeat_missing_ms * MS):
                actions += self._lose(now_ns, v.CAUSE_HEARTBEAT_LOST)
        actions += self._look(now_ns)
        if now_ns >= self.report_due_ns:
            self.report_due_ns = following(self.report_due_ns, REPORT_NS, now_ns)
            self.task_ran = True
            actions += self._report(now_ns)
            actions += self.alarms.tell(now_ns, self._alarm_causes(now_ns))
        if now_ns >= self.beat_due_ns or now_ns >= self.identity_due_ns:
            actions += self.beat(now_ns)
        self._set_deadline()
        return self._told(now_ns, actions)

    def _told(self, now_ns: int, actions: list[Action]) -> Actions:
        """What a call returns: after rows, one report of the last."""
        if self.untold:
            actions += self._report(now_ns)
        return tuple(actions)

    def _set_deadline(self) -> None:
        due_ns = min(self.report_due_ns, self.beat_due_ns, self.identity_due_ns)
        if self.state not in (WAKING, STOPPED):
            due_ns = min(due_ns, self.motion.due_ns())
        if self.obeyed:
            due_ns = min(
                due_ns,
                self.wheel_ns + self.timing.control_timeout_ms * MS,
                self.stations[self.obeyed].heartbeat.heard_ns + self.timing.heartbeat_missing_ms * MS,
            )
        self.deadline_ns = due_ns

    # ------------------------------------------------------------------------------------------------ frames

    def _on_wheel(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if address_of(can_id) != self.obeyed:
            return NOTHING
        word = check(can_id, data)
        if word == INVALID:
            return NOTHING
        verdict = self.wheel_counter.judge(counter_of(word), bus, now_ns)
        number, wanted, kind, wheel_fault = WHEEL.unpack(word)
        if kind > v.WHEEL_NOT_STEERING:
            return NOTHING
        if verdict != ACCEPTED:
            return tuple(self._nearer(now_ns, wanted)) if verdict == DUPLICATE and self._unequal(word, data) else NOTHING
        if number != self.number:
            return self._told(now_ns, self._event(now_ns, "let_go")) if not number else NOTHING
        self.wheel_data = data
        self.wheel_ns = now_ns
        if wheel_fault:
            return self._told(now_ns, self._lose(now_ns, v.CAUSE_LEVER_FAULT))
        actions: list[Action] = []
        if self.state == MATCHING and self._matched(wanted, kind):
            actions += self._event(now_ns, "matched")
        if self.state == FOLLOWING:
            actions += self._steer(now_ns, wanted, kind)
        return self._told(now_ns, actions)

    def _matched(self, wanted: int, kind: int) -> bool:
        """The wheel asks for where the rudder is, or has passed it: from now on following it moves nothing by surprise."""
        if kind != v.WHEEL_ANGLE:
            return kind == v.WHEEL_RATE
        difference = self.motion.clipped(wanted) - self.motion.here()
        side = 1 if difference > 0 else -1
        if abs(difference) <= ARRIVED_CDEG or self.side == -side:
            return True
        self.side = side
        return False

    def _steer(self, now_ns: int, wanted: int, kind: int) -> list[Action]:
        if kind == v.WHEEL_ANGLE:
            self.motion.ask(now_ns, wanted)
        elif kind == v.WHEEL_RATE:
            # Each frame turns by one period's worth: a frame that is lost turns nothing.
            rate = max(-self.me.cdeg_per_s, min(wanted, self.me.cdeg_per_s))
            turn, self.turned = divmod(self.turned + rate * WHEEL.period_ms, 1000)
            self.motion.ask(now_ns, self.motion.asked + turn)
        return self._ask()

    def _unequal(self, word: int, data: bytes) -> bool:
        """The other bus of a pair brings other content under the counter last acted on."""
        same = counter_of(word) == self.wheel_counter.last and self.wheel_data not in (b"", data)
        return same and isinstance(self.wheel_counter, PairWatch) and self.state == FOLLOWING

    def _nearer(self, now_ns: int, wanted: int) -> list[Action]:
        """Of two angles under one counter, the one that moves the rudder less."""
        here = self.motion.here()
        if abs(self.motion.clipped(wanted) - here) < abs(self.motion.asked - here):
            self.motion.ask(now_ns, wanted)
        return self._ask()

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        station = address_of(can_id)
        taker = self.stations[station]
        word = check(can_id, data)
        if word == INVALID or taker.claim_counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return NOTHING
        number, wanted, *_, withdrawn = CLAIM.unpack(word)
        before, taker.claim = taker.claim, (number, wanted)
        taker.agreed_ns = -NEVER
        if withdrawn:
            taker.claim = ()
            if (station, number) == (self.obeyed, self.number):
                return self._told(now_ns, self._lose(now_ns, v.CAUSE_WITHDRAWN))
            return NOTHING
        if before != taker.claim or not wanted & v.TAKES_RUDDER:
            return NOTHING
        taker.agreed_ns = now_ns
        return self._told(now_ns, self._consider(now_ns, station))

    def _on_drive_obeys(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        drive = self.drives[address_of(can_id)]
        word = check(can_id, data)
        if word == INVALID or drive.counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return NOTHING
        station, number, *_ = DRIVE_OBEYS.unpack(word)
        if (station, number) == drive.pair:
            return NOTHING
        drive.pair = (station, number)
        return self._told(now_ns, self._consider(now_ns, station)) if station in self.stations else NOTHING

    def _consider(self, now_ns: int, station: int) -> list[Action]:
        """Change over to this station, if it has claimed the rudder and every drive it wants has changed over."""
        taker = self.stations[station]
        if now_ns - taker.agreed_ns >= self.timing.control_timeout_ms * MS:
            return []
        number, wanted = taker.claim
        if not newer(number, self.number) and not (number == self.number and station < self.obeyed):
            return []
        if any(drive.pair != (station, number) for drive in self.drives.values() if wanted & drive.instance):
            return []
        if not taker.heartbeat.good(now_ns, self.timing.heartbeat_missing_ms * MS) or (self.state, "taken") not in MOVES:
            return []
        self.obeyed, self.number = station, number
        self.wheel_counter = counter_watch(self.plan, self.address, station, WHEEL)
        self.wheel_data = b""
        self.wheel_ns = now_ns
        self.side = 0
        self.turned = 0
        return self._event(now_ns, "taken")

    def _on_heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        station = address_of(can_id)
        watch = self.stations[station].heartbeat
        if watch.take(now_ns, bus, can_id, data, self.plan.helm_fingerprint) and station == self.obeyed and not watch.same_boat:
            return self._told(now_ns, self._lose(now_ns, v.CAUSE_OTHER_BOAT_FILE))
        return NOTHING

    # ------------------------------------------------------------------------------------------------ the table

    def _look(self, now_ns: int) -> list[Action]:
        """What the feedback says to the state it is in."""
        if self.state == WAKING:
            return self._event(now_ns, "seen") if self.motion.known else []
        return self._event(now_ns, "astray", v.CAUSE_ACTUATOR) if self.motion.astray else []

    def _lose(self, now_ns: int, cause: int) -> list[Action]:
        return self._event(now_ns, "lost", cause) if (self.state, "lost") in MOVES else []

    def _event(self, now_ns: int, event: str, cause: int = v.CAUSE_NONE) -> list[Action]:
        """Take the row for this event, if the table has one here. All states but following hold the rudder where it is now."""
        move = MOVES.get((self.state, event))
        if move is None:
            return []
        before = self.state
        self.state, row = move
        self.untold = True
        actions: list[Action] = [(ROW, RUDDER_TABLE.name, row, cause)]
        if self.state == STOPPED:
            actions.append((OUTPUT, "rudder_power", 0))
        if self.state in (UNCLAIMED, LOST, STOPPED):
            self.obeyed = 0
        if before == WAKING:
            self.working = True
            actions.append((OUTPUT, "rudder_power", 1))
        if self.state != FOLLOWING:
            self.motion.ask(now_ns, self.motion.here())
            actions += self._ask()
        self._set_deadline()
        return actions

    def _ask(self) -> list[Action]:
        asked = self.motion.asked
        if asked == self.told_cdeg:
            return []
        self.told_cdeg = asked
        return [(OUTPUT, "rudder", asked)]

    def fault(self, now_ns: int) -> int:
        """What its report gives as its fault."""
        if self.state == STOPPED:
            return v.RUDDER_MOVED_UNASKED
        motion = self.motion
        if not motion.believed and (motion.sensed != UNSEEN or now_ns - self.started_ns >= SENSOR_WAIT_NS):
            return v.RUDDER_FEEDBACK_IMPLAUSIBLE
        return v.RUDDER_DOES_NOT_ARRIVE if motion.late else v.RUDDER_SOUND

    def _alarm_causes(self, now_ns: int) -> list[int]:
        lost = [STEERING_LOST] if self.state == LOST else []
        return [*lost, RUDDER_FAULT] if self.fault(now_ns) else lost

    def _report(self, now_ns: int) -> list[Action]:
        self.untold = False
        self.report_counter = self.report_counter + 1 & 0xFF
        can_id = RUDDER_STATE.can_id(self.address)
        sensed = self.reported_cdeg() if self.motion.sensed != UNSEEN else 0
        asked, sensed = ((angle_cdeg + 2) // 5 for angle_cdeg in (self.motion.asked, sensed))
        sensed = max(-MOST_REPORTED, min(sensed, MOST_REPORTED))
        data = RUDDER_STATE.pack(can_id, self.report_counter, self.obeyed, self.number, asked, sensed, self.fault(now_ns))
        return self.send(can_id, data, REPORT_NS)

    def reported_cdeg(self) -> int:
        """What its report gives as the sensed angle."""
        return self.motion.sensed
