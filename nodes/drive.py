"""The drive: one engine's shift and throttle. Obeys one station, and goes idle and then neutral by itself when it loses it.

Executes `busim.protocol.tables.DRIVE_TABLE` (see `nodes.drive_machine`). Inputs: see `nodes.drive_sensing`.
Outputs: `shift` (a gear), `throttle` (permille), `engine_stop`, `start_permit`.
"""

from typing import Final

from busim.protocol import values as v
from busim.protocol.catalogue import CLAIM, DRIVE_OBEYS, HEARTBEAT, LEVER, NEUTRAL_NOW, RUDDER_STATE
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, DUPLICATE, CounterWatch, PairWatch, counter_watch, newer
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.seam import BUS_OFF, NOTHING, OUTPUT, RECHECK, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.alarm_raiser import AlarmRaiser
from nodes.drive_alarms import causes_of
from nodes.drive_machine import (
    DWELLING,
    ENGAGED,
    ENGAGING,
    FORCED_DISENGAGING,
    FORCED_IDLE,
    FORCED_NEUTRAL,
    IN_NEUTRAL,
    MOVES,
    SLOWING,
    WAKING,
    DriveMachine,
)
from nodes.drive_plausible import THROTTLE_IMPLAUSIBLE, Plausibility
from nodes.member import following
from nodes.other_drive import OtherDrive
from nodes.start_permission import StartPermission
from nodes.steering_watch import SteeringWatch
from nodes.watches import NeutralKey, StationWatch

SENSOR_WAIT_NS: Final = 200 * MS
MATCHED_WITHIN_PERMILLE: Final = 100
"""A lever counts as matched to the throttle within this."""
BOTH_DRIVES: Final = v.TAKES_DRIVE_1 | v.TAKES_DRIVE_2


class Drive(DriveMachine):
    __slots__ = (
        "acted_on", "alarms", "bus_off", "changed_ns", "doubts", "keys", "lever_counter", "lever_data", "lever_ns", "number",
        "other", "previous", "report_counter", "report_due_ns", "start_permission", "stations", "steering",
        "unequal_ns", "wanted",
    )  # fmt: skip

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.stations = {station: StationWatch(plan, address, station) for station in self.me.stations}
        self.keys = {station.address: NeutralKey() for station in plan.stations}
        """Neutral now acts from any station, also from one that may not control this drive."""
        others = [drive.address for drive in plan.drives if drive.instance != self.instance]
        self.other = (
            OtherDrive(others[0], self.me, self.timing, counter_watch(plan, address, others[0], DRIVE_OBEYS)) if others else None
        )
        self.bus_off = False
        """The controller of its only bus is."""
        self.alarms = AlarmRaiser(plan, address)
        self.doubts = Plausibility()
        self.start_permission = StartPermission()
        self.steering = SteeringWatch(plan, address, plan.rudder) if plan.rudder is not None else None
        self.wanted = 0
        """What else the station obeyed wanted to control, as in its claim."""
        self.changed_ns = 0
        """When whom it obeys changed last."""
        self.number = 0
        self.lever_counter = CounterWatch(self.timing.max_gap)
        self.lever_data = b""
        """The last lever frame that counted, as it came."""
        self.lever_ns = 0
        self.unequal_ns = -NEVER
        """When two buses brought unequal orders under one counter last."""
        self.previous = (v.NEUTRAL, 0)
        self.acted_on = 0
        self.report_counter = 0
        self.report_due_ns = NEVER

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        handlers = self.alarms.receives()
        for bus in self.buses:
            for station in self.me.stations:
                handlers[bus, LEVER.can_id(station)] = self._on_lever
                handlers[bus, CLAIM.can_id(station)] = self._on_claim
                handlers[bus, HEARTBEAT.can_id(station)] = self._on_heartbeat
            for station in self.keys:
                handlers[bus, NEUTRAL_NOW.can_id(station)] = self._on_neutral_now
            if self.other is not None:
                handlers[bus, DRIVE_OBEYS.can_id(self.other.address)] = self._on_other
            if self.steering is not None:
                handlers[bus, RUDDER_STATE.can_id(self.steering.rudder)] = self._on_rudder_state
        return handlers

    # ------------------------------------------------------------------------------------------------ calls of the seam

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.report_due_ns = self.start_permission.due_ns = now_ns
        self.wake_until_ns = now_ns + SENSOR_WAIT_NS
        self.idle_since_ns = now_ns
        return ((OUTPUT, "throttle", 0),)

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        self._read(channel, value)
        return self._told([*self._doubt(now_ns), *self._look(now_ns)])

    def on_controller(self, now_ns: int, bus: int, state: int) -> Actions:
        """Bus-off takes every sender away, and is noticed as that: a bus that is back before the timeout has cost nothing."""
        if self.buses == (bus,):
            self.bus_off = state == BUS_OFF
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        if self.obeyed:
            if now_ns - self.lever_ns >= self.timing.control_timeout_ms * MS:
                actions += self._lose(now_ns, v.CAUSE_CONTROLLER if self.bus_off else v.CAUSE_LEVER_LOST)
            elif not self.stations[self.obeyed].heartbeat.good(now_ns, self.timing.heartbeat_missing_ms * MS):
                actions += self._lose(now_ns, v.CAUSE_HEARTBEAT_LOST)
            elif self.other is not None and now_ns >= self._other_due_ns(now_ns):
                actions += self._lose(now_ns, self.other.cause(now_ns))
        actions += self._doubt(now_ns)
        actions += self._limit(now_ns)
        actions += self._look(now_ns)
        if now_ns >= self.report_due_ns:
            self.report_due_ns = following(self.report_due_ns, self.timing.drive_ms * MS, now_ns)
            self.task_ran = True
            actions += self._obeys()
            actions += self._state()
            actions += self.alarms.tell(now_ns, causes_of(now_ns, self))
        actions += self.start_permission.tell(now_ns, self)
        if now_ns >= self.beat_due_ns or now_ns >= self.identity_due_ns:
            actions += self.beat(now_ns)
        self._set_deadline(now_ns)
        return self._told(actions)

    def _told(self, actions: list[Action]) -> Actions:
        """What a call returns: after rows, one report of the last. Of several the mailbox would keep the last, and a receiver
        see its counter jump by all of them."""
        if self.untold:
            actions += self._obeys()
        actions += self.start_permission.follow(self)
        return tuple(actions)

    def _doubt(self, now_ns: int) -> list[Action]:
        """Where its sensors can't be believed it gives control up, and asks for an engine stop where nothing else is left."""
        doubt = self.doubts.look(now_ns, self)
        actions: list[Action] = []
        if doubt:
            self.fault = self.fault or doubt
            if self.state != SLOWING:  # there idle is commanded already, and the gear comes out after it whatever happens
                actions += self._lose(now_ns, v.CAUSE_ACTUATOR)
        if self.state in (FORCED_DISENGAGING, FORCED_NEUTRAL) and self.doubts.asks_stop(self):
            actions += self._stop_engine()
        return actions

    def _runs_away(self) -> bool:
        return self.doubts.doubt == THROTTLE_IMPLAUSIBLE

    def _set_deadline(self, now_ns: int) -> None:
        due_ns = min(
            self.report_due_ns, self.beat_due_ns, self.identity_due_ns, self.shift_due_ns, self.start_permission.due_ns
        )
        state = self.state
        if self.obeyed:
            due_ns = min(
                due_ns,
                self.lever_ns + self.timing.control_timeout_ms * MS,
                self.stations[self.obeyed].heartbeat.heard_ns + self.timing.heartbeat_missing_ms * MS,
                self._other_due_ns(now_ns),
            )
        if state == ENGAGED:
            if self.steering is not None and self.asked_throttle > self.steering.cap_permille:
                due_ns = min(due_ns, self.steering.due_ns())
            self.deadline_ns = due_ns
            return
        if state == WAKING:
            due_ns = min(due_ns, self.wake_until_ns)
        elif state == DWELLING:
            due_ns = min(due_ns, self.dwell_until_ns)
        elif state in (SLOWING, FORCED_IDLE):
            idle_due_ns = self.idle_since_ns + self.me.idle_wait_ms * MS
            if idle_due_ns > now_ns:
                due_ns = min(due_ns, idle_due_ns)
        self.deadline_ns = due_ns

    # ------------------------------------------------------------------------------------------------ frames

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if can_id != self.lever_id:
            return NOTHING
        word = check(can_id, data)
        if word == INVALID:
            return NOTHING
        verdict = self.lever_counter.judge(counter_of(word), bus, now_ns)
        if verdict != ACCEPTED and (verdict != DUPLICATE or not self._unequal(word, data)):
            return NOTHING
        self.lever_data = data
        number, gear_1, throttle_1, gear_2, throttle_2, lever_fault, _ = LEVER.unpack(word)
        if number != self.number:
            return NOTHING
        gear, throttle = (gear_1, throttle_1) if self.instance == 1 else (gear_2, throttle_2)
        if gear > v.ASTERN or throttle > 1000:
            return NOTHING
        if verdict == ACCEPTED:
            self.lever_ns = now_ns
        else:  # a counter that does not go on feeds no timeout
            self.unequal_ns = now_ns
        self.acted_on = word >> 48
        if lever_fault:
            return self._told(self._lose(now_ns, v.CAUSE_LEVER_FAULT))
        before = self.previous
        self.previous = (gear, throttle)
        most = 1000 if self.steering is None else self.steering.most(now_ns, max(throttle, before[1]))
        return self._follow(now_ns, gear if gear == before[0] else v.NEUTRAL, min(throttle, before[1], most))

    def _unequal(self, word: int, data: bytes) -> bool:
        """The other bus of a pair brings other content under the counter last acted on: the lower of the two has to count."""
        pair = isinstance(self.lever_counter, PairWatch)
        return pair and counter_of(word) == self.acted_on and self.lever_data not in (b"", data)

    def _follow(self, now_ns: int, gear: int, throttle: int) -> Actions:
        """Do what the last two lever frames agree on."""
        state = self.state
        if state == ENGAGED:
            if gear != self.asked_gear:
                return self._told(self._event(now_ns, "asks_neutral"))
            if throttle == self.asked_throttle:
                return NOTHING
            self.asked_throttle = throttle
            if self.steering is not None:
                self._set_deadline(now_ns)  # above the cap, silence of the rudder matters
            return ((OUTPUT, "throttle", throttle),)
        if state == ENGAGING:
            return self._told(self._event(now_ns, "asks_neutral")) if gear != self.asked_gear else NOTHING
        if gear == v.NEUTRAL:
            return NOTHING
        if state in (IN_NEUTRAL, DWELLING):
            if self._may_engage(now_ns, gear):
                self.asked_gear = gear
                return self._told(self._event(now_ns, "asks_gear"))
        elif state == SLOWING and gear == self.asked_gear:
            return self._told(self._event(now_ns, "asks_same"))
        return NOTHING

    def _may_engage(self, now_ns: int, gear: int) -> bool:
        """Throttle at its stop, engine slow enough, and the dwell over unless it is the gear that was in last.

        A gear may have come out by a loss, and control be taken again, within the dwell; after a start the last one is unknown.
        """
        if gear != self.last_gear and now_ns < self.dwell_until_ns:
            return False
        return self.throttle_at_stop() and 0 <= self.rpm <= self.me.shift_rpm and self.sensed_gear() == v.NEUTRAL

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        station = address_of(can_id)
        watch = self.stations[station]
        word = check(can_id, data)
        if word == INVALID or watch.claim_counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return NOTHING
        claim = CLAIM.unpack(word)
        before, watch.claim = watch.claim, claim
        number, wanted, *_, withdrawn = claim
        if withdrawn:
            watch.claim = ()
            if (station, number) == (self.obeyed, self.number):
                return self._told(self._lose(now_ns, v.CAUSE_WITHDRAWN))
            return NOTHING
        if claim[:2] != before[:2] or not wanted & self.instance:  # TAKES_DRIVE_1 and _2 are the instances' values
            return NOTHING
        if not newer(number, self.number) and not (number == self.number and station < self.obeyed):
            return NOTHING
        if not watch.heartbeat.good(now_ns, self.timing.heartbeat_missing_ms * MS) or not self._fault_gone(now_ns):
            return NOTHING
        event = self._take_gate(station, claim, before)
        if (self.state, event) not in MOVES:
            return NOTHING
        self.obeyed, self.number = station, number
        self.wanted = wanted
        self.changed_ns = now_ns
        self.lever_id = LEVER.can_id(station)
        self.lever_counter = counter_watch(self.plan, self.address, station, LEVER)
        self.lever_data = b""
        self.lever_ns = now_ns
        # What it does already is the first of the two that have to agree before it does more.
        self.previous = (v.NEUTRAL, 0) if event == "taken" else (self.asked_gear, self.asked_throttle)
        self.cause = v.CAUSE_NONE
        self.fault = 0
        actions = self._event(now_ns, event)
        if self.engine_stop:
            # Gear out and throttle at its stop: what it was asked for is over, and a boat in control needs its engine.
            self.engine_stop = 0
            actions.append((OUTPUT, "engine_stop", 0))
        return self._told(actions)

    def _take_gate(self, station: int, claim: tuple[int, ...], before: tuple[int, ...]) -> str:
        """The taker's lever in the two claims that agree: in neutral ("taken"), or matched where it may ("retaken"), or neither."""
        my_gear = 2 if self.instance == 1 else 4
        if claim[my_gear] == before[my_gear] == v.NEUTRAL:
            return "taken"
        if self.state != ENGAGED or not self.plan.station_at(station).matched_take:
            return ""
        near = (abs(each[my_gear + 1] - self.asked_throttle) <= MATCHED_WITHIN_PERMILLE for each in (claim, before))
        return "retaken" if claim[my_gear] == before[my_gear] == self.asked_gear and all(near) else ""

    def _fault_gone(self, now_ns: int) -> bool:
        """What forced neutral must be over before control can be taken again."""
        if self.state != FORCED_NEUTRAL:
            return True
        quiet_ns = self.timing.control_timeout_ms * MS
        wished = [station for station, key in self.keys.items() if now_ns - key.pressed_ns < quiet_ns]
        pressed = any(not self._locked_out(now_ns, station) for station in wished)
        return not pressed and not self.doubts.doubt and self.sensed_gear() == v.NEUTRAL and self.throttle_at_stop()

    def _on_neutral_now(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        station = address_of(can_id)
        key = self.keys[station]
        word = check(can_id, data)
        if word == INVALID:
            return NOTHING
        pressed, locked_out = NEUTRAL_NOW.unpack(word)
        key.name(now_ns, locked_out & ~(1 << station), counter_of(word))
        if not pressed or self._locked_out(now_ns, station):
            return NOTHING
        key.pressed_ns = now_ns
        return self._told(self._lose(now_ns, v.CAUSE_NEUTRAL_NOW))

    def _locked_out(self, now_ns: int, station: int) -> bool:
        """Has another station named this one's key stuck, and says so still?"""
        return any(key.takes_away(now_ns, station) for key in self.keys.values())

    def _on_heartbeat(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        station = address_of(can_id)
        watch = self.stations[station].heartbeat
        if watch.take(now_ns, bus, can_id, data, self.plan.helm_fingerprint) and station == self.obeyed and not watch.same_boat:
            return self._told(self._lose(now_ns, v.CAUSE_OTHER_BOAT_FILE))
        return NOTHING

    def _on_other(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """The other drive's report. What follows from it waits for its time."""
        if self.other is None or not self.other.take(now_ns, bus, can_id, data) or not self.obeyed:
            return NOTHING
        self._set_deadline(now_ns)
        return RECHECK

    def _on_rudder_state(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if self.steering is None or not self.steering.take(now_ns, bus, can_id, data):
            return NOTHING
        actions = self._limit(now_ns)
        self._set_deadline(now_ns)
        return tuple(actions) or RECHECK

    def _limit(self, now_ns: int) -> list[Action]:
        """While nobody steers, no more throttle than is for that."""
        if self.steering is None or self.state != ENGAGED or self.asked_throttle <= self.steering.cap_permille:
            return []
        most = self.steering.most(now_ns, self.asked_throttle)
        if self.asked_throttle <= most:
            return []
        self.asked_throttle = most
        return [(OUTPUT, "throttle", most)]

    def _other_due_ns(self, now_ns: int) -> int:
        """When it has to go neutral because of the other drive; NEVER where the station obeyed may not take both."""
        if self.other is None or not self.obeyed:
            return NEVER
        both = self.wanted & BOTH_DRIVES == BOTH_DRIVES
        if not both and len(self.plan.station_at(self.obeyed).drives) < 2:
            return NEVER
        return self.other.due_ns(now_ns, (self.obeyed, self.number), self.changed_ns, both)

    def _obeys(self) -> list[Action]:
        self.untold = False
        self.report_counter = self.report_counter + 1 & 0xFF
        can_id = DRIVE_OBEYS.can_id(self.address)
        data = DRIVE_OBEYS.pack(
            can_id,
            self.report_counter,
            self.obeyed,
            self.number,
            self.acted_on,
            self.last_row,
            self.state,
            self.cause,
            self.instance,
        )
        return self.send(can_id, data, self.timing.drive_ms * MS)
