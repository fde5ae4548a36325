"""The station: a lever for each drive, a take key, a neutral-now key, a display of who is in control.

Executes `busim.protocol.tables.STATION_TABLE`. Inputs: `lever.1`, `lever.2` (permille of the sensor's supply), `take`,
`neutral_now`, `acknowledge`, `silence`, `lock_out` (contacts). Outputs: `shows` (one of the SHOWS_ values), and the list of alarms
(see `nodes.alarm_list`).
"""

from collections.abc import Mapping
from typing import ClassVar, Final

from busim.protocol import values as v
from busim.protocol.catalogue import CLAIM, CONDITION, DRIVE_OBEYS, LEVER, NEUTRAL_NOW, PRESS, RUDDER_STATE
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.counter import ACCEPTED, counter_watch, newer
from busim.protocol.ids import address_of
from busim.protocol.plan import WirePlan
from busim.protocol.tables import STATION_TABLE
from busim.seam import NOTHING, OUTPUT, RECHECK, ROW, SEND, Action, Actions, FrameHandler
from busim.units import MS, NEVER, SECOND
from nodes.alarm_lines import LET_GO, LEVER_FAULT
from nodes.alarm_list import AlarmList
from nodes.condition import ConditionKeeper
from nodes.drive_echo import DriveEcho, leave_out, to_want
from nodes.key_lock import KeyLock
from nodes.lever import Lever
from nodes.member import Member, following
from nodes.station_display import SHOWS_DIVIDED, SHOWS_NOTHING_HEARD, to_show
from nodes.wheel import WHEEL_NS, Wheel

_S: Final = STATION_TABLE.state_values
WATCHING, CLAIMING, HOLDING, WITHDRAWING = _S["watching"], _S["claiming"], _S["holding"], _S["withdrawing"]
_MOVES: Final = STATION_TABLE.moves

NEUTRAL_NOW_NS: Final = 20 * MS
DIVIDED_NS: Final = 100 * MS
"""Drives that differ for less, or are not all held for less, are shown as before: a good take reaches them one after the other."""
NEUTRAL_NOW_LONGEST_NS: Final = 1000 * MS
"""A press that no drive echoes is repeated so long and no longer: a bus that comes back later must not carry an old wish."""
KEYS: Final = ("take", "neutral_now", "acknowledge", "silence", "lock_out")
TRACKS: Final = {"lever.1": (1, 0), "lever.1b": (1, 1), "lever.2": (2, 0), "lever.2b": (2, 1)}
"""Channel -> (instance, track). The second track runs the other way."""


class Station(Member):
    __slots__ = (
        "alarm", "alarms", "carries_on", "claim_counter", "claim_due_ns", "conditions", "divided_ns", "drives", "echoes",
        "gears", "held", "held_since_ns", "highest", "lever_counter", "lever_due_ns", "lever_faults", "lever_id",
        "lever_period_ns", "levers", "lock", "me", "missing_ns", "neutral_now", "neutral_now_counter", "neutral_now_due_ns",
        "neutral_now_until_ns", "number", "show_due_ns", "shows", "state", "transfer_until_ns", "wanted", "wheel",
    )  # fmt: skip

    inputs: ClassVar[Mapping[str, int]] = {"lever.*": 20 * MS, "wheel": 20 * MS, **dict.fromkeys(KEYS, 0)}

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.me = plan.station_at(address)
        self.wanted = 0
        """The drives its take is of: TAKES_DRIVE_1 and _2 are the instances' values."""
        self.drives = {
            drive.address: DriveEcho(counter_watch(plan, address, drive.address, DRIVE_OBEYS), drive) for drive in plan.drives
        }
        self.echoes = {drive.address: self.drives[drive.address] for drive in plan.drives if drive.instance in self.me.drives}
        """Of the drives this station may take."""
        self.held: list[int] = []
        """Drives that obey the take this station holds."""
        self.carries_on = all(drive.on_other_lost == "carry_on" for drive in plan.drives)
        """With one drive of two she is driven on; else a take is of all its drives or of none, and so is control."""
        # A frame before a drive would let go of a station that fell silent.
        patience_ns = (plan.timing.control_timeout_ms - plan.timing.lever_ms) * MS
        self.levers = {instance: Lever(self.me, patience_ns) for instance in self.me.drives}
        self.state = WATCHING
        self.number = 0
        self.highest = 0
        self.gears: tuple[int, ...] = (v.NEUTRAL, 0, v.NEUTRAL, 0)
        self.lever_faults = sum(self.me.drives)
        """Instances, as bits, whose lever's sensors are out of range, disagree, or were never read."""
        self.lever_id = LEVER.can_id(address)
        self.lever_period_ns = self.timing.lever_ms * MS
        self.missing_ns = self.timing.heartbeat_missing_ms * MS
        self.lever_counter = 0
        self.lever_due_ns = NEVER
        self.claim_counter = 0
        self.claim_due_ns = NEVER
        self.transfer_until_ns = NEVER
        self.held_since_ns = 0
        self.neutral_now = 0
        self.neutral_now_counter = 0
        self.neutral_now_due_ns = NEVER
        self.neutral_now_until_ns = -NEVER
        """A press is repeated up to then, unless every drive heard obeys nobody before."""
        self.shows = 0
        self.show_due_ns = 0
        """When the display may have to change though nothing was heard."""
        self.divided_ns = NEVER
        """When drives that do not all obey one station are shown as that."""
        self.wheel = Wheel(plan, address, plan.rudder) if self.me.steers and plan.rudder is not None else None
        self.conditions = ConditionKeeper(plan, address) if plan.navigation_lights else None
        """The navigation lights' condition, where the boat has such lights on her bus."""
        self.alarm = 0
        """The drive or rudder, by its address, that this station had in control and lost first; 0 once control is taken anew."""
        self.alarms = AlarmList(plan, address)
        self.lock = KeyLock()

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        others = [station.address for station in self.plan.stations if station.address != self.address]
        handlers = self.alarms.receives()
        for bus in self.buses:
            handlers |= {(bus, DRIVE_OBEYS.can_id(drive)): self._on_drive_obeys for drive in self.drives}
            handlers |= {(bus, CLAIM.can_id(station)): self._on_claim for station in others}
            if self.wheel is not None:
                handlers[bus, RUDDER_STATE.can_id(self.wheel.rudder.address)] = self._on_rudder_state
            if self.conditions is not None:
                handlers |= {(bus, CONDITION.can_id(station)): self._on_condition for station in others}
                handlers |= {(bus, PRESS.can_id(panel.address)): self._on_press for panel in self.plan.panels}
        return handlers

    # ------------------------------------------------------------------------------------------------ calls of the seam

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        super().on_start(now_ns, reset_cause)
        self.working = True
        self.lever_due_ns = now_ns
        self.alarms.start(now_ns)
        if self.wheel is not None:
            self.wheel.due_ns = now_ns
        return self._show(now_ns)

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        if channel in TRACKS:
            instance, track = TRACKS[channel]
            if instance in self.levers:
                self.levers[instance].tracks[track] = value
                self._read_lever(now_ns, instance)
            return NOTHING
        if channel == "wheel" and self.wheel is not None:
            self.wheel.read(value)
        if channel in ("acknowledge", "silence") and value:
            self.alarms.press(now_ns, channel)
        if channel == "lock_out":
            self.lock.press(now_ns, value)
        if channel == "take":
            return tuple(self._take(now_ns)) if value else NOTHING
        if channel == "neutral_now":
            self.neutral_now = int(value != 0)
            if value:
                self.neutral_now_until_ns = now_ns + NEUTRAL_NOW_LONGEST_NS
                if now_ns < self.neutral_now_due_ns:
                    self.neutral_now_due_ns = self.deadline_ns = now_ns
                    return self.on_deadline(now_ns)
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        if now_ns >= self.lever_due_ns:
            self.lever_due_ns = following(self.lever_due_ns, self.lever_period_ns, now_ns)
            self.task_ran = True
            for instance, lever in self.levers.items():
                if lever.out_since_ns != NEVER or self.me.lever_tracks == 2:
                    self._read_lever(now_ns, instance)
            counter = self.lever_counter = self.lever_counter + 1 & 0xFF
            number = self.number if self.state in (CLAIMING, HOLDING) else 0
            gears = self.gears if self.state != HOLDING or len(self.held) == len(self.echoes) else self._gears_of_held()
            data = LEVER.pack(self.lever_id, counter, number, *gears, 1 if self.lever_faults else 0, 0)
            for bus in self.helm_buses:
                actions.append((SEND, bus, self.lever_id, data, self.lever_period_ns))
            actions += self._watch_time(now_ns)
            actions += self._alarms(now_ns)
        if now_ns >= self.claim_due_ns:
            self.claim_due_ns = following(self.claim_due_ns, self.timing.claim_ms * MS, now_ns)
            actions += self._claim()
        if self.wheel is not None and now_ns >= self.wheel.due_ns:
            self.wheel.due_ns = following(self.wheel.due_ns, WHEEL_NS, now_ns)
            taken = self.number if self.state in (CLAIMING, HOLDING) else 0
            actions += self.send(self.wheel.wheel_id, self.wheel.frame(self.wheel.keeps or taken), WHEEL_NS)
        if now_ns >= self.neutral_now_due_ns:
            pressed = self.neutral_now or (now_ns < self.neutral_now_until_ns and not self._neutral_echoed(now_ns))
            self.neutral_now_due_ns = now_ns + NEUTRAL_NOW_NS if pressed else self.lock.next_ns(now_ns)
            actions += self._neutral_now(now_ns, int(pressed))
        if now_ns >= self.beat_due_ns or now_ns >= self.identity_due_ns:
            actions += self.beat(now_ns)
        if self.conditions is not None and now_ns >= self.conditions.due_ns:
            can_id, data = self.conditions.say(now_ns)
            actions += [(SEND, bus, can_id, data, SECOND) for bus in self.buses]
        self._set_deadline()
        return tuple(actions)

    def _set_deadline(self) -> None:
        due_ns = self.lever_due_ns
        if self.beat_due_ns < due_ns:
            due_ns = self.beat_due_ns
        if self.identity_due_ns < due_ns:
            due_ns = self.identity_due_ns
        if self.claim_due_ns < due_ns:
            due_ns = self.claim_due_ns
        if self.neutral_now_due_ns < due_ns:
            due_ns = self.neutral_now_due_ns
        if self.wheel is not None and self.wheel.due_ns < due_ns:
            due_ns = self.wheel.due_ns
        if self.conditions is not None and self.conditions.due_ns < due_ns:
            due_ns = self.conditions.due_ns
        self.deadline_ns = due_ns

    # ------------------------------------------------------------------------------------------------ navigation lights

    def _on_press(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """A panel asks for another condition of the navigation lights."""
        if self.conditions is None or not self.conditions.ask(now_ns, can_id, data):
            return NOTHING
        self._set_deadline()
        return RECHECK

    def _on_condition(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """Another station says it: this one says the same from now on, so that it stays when the other is gone."""
        if self.conditions is None or not self.conditions.take(now_ns, bus, can_id, data):
            return NOTHING
        self._set_deadline()
        return RECHECK

    # ------------------------------------------------------------------------------------------------ levers

    def _read_lever(self, now_ns: int, instance: int) -> None:
        """Gear and throttle of one lever, and whether its sensors can be believed."""
        lever = self.levers[instance]
        gear, throttle = lever.read(now_ns)
        if lever.faulty:
            self.lever_faults |= instance
        else:
            self.lever_faults &= ~instance
        gear_1, throttle_1, gear_2, throttle_2 = self.gears
        self.gears = (gear, throttle, gear_2, throttle_2) if instance == 1 else (gear_1, throttle_1, gear, throttle)

    # ------------------------------------------------------------------------------------------------ taking control

    def _take(self, now_ns: int) -> list[Action]:
        in_neutral = self.gears[0] == v.NEUTRAL and self.gears[2] == v.NEUTRAL
        # Where it may take with its levers matched, the drives judge the match: they know gear and throttle, it does not.
        sound = not self.lever_faults and all(lever.out_since_ns == NEVER for lever in self.levers.values())
        allowed = sound and (in_neutral or self.me.matched_take)
        anew = self.state == HOLDING
        actions = self._event(now_ns, "take" if allowed else "refused")
        if self.state == CLAIMING and actions:
            number = self.highest + 1 & 0xFFFF
            self.number = self.highest = number or 1
            self.wanted = to_want(self.echoes.values(), now_ns, self.missing_ns, self.carries_on, anew)
            if self.wheel is not None:
                self.wheel.want(now_ns)
            self.claim_due_ns = now_ns
            self.transfer_until_ns = now_ns + self.timing.transfer_ms * MS
        self._set_deadline()
        return [*actions, *self._show(now_ns)]

    def _claim(self) -> list[Action]:
        self.claim_counter = self.claim_counter + 1 & 0xFF
        can_id = CLAIM.can_id(self.address)
        withdrawn = int(self.state == WITHDRAWING)
        wanted = self.wanted | v.TAKES_RUDDER if self.wheel is not None and self.wheel.wanted else self.wanted
        data = CLAIM.pack(can_id, self.claim_counter, self.number, wanted, *self.gears, withdrawn)
        return self.send(can_id, data, self.timing.claim_ms * MS)

    def _neutral_now(self, now_ns: int, pressed: int) -> list[Action]:
        self.neutral_now_counter = self.neutral_now_counter + 1 & 0xFF
        can_id = NEUTRAL_NOW.can_id(self.address)
        locks = self.lock.locks
        self.alarms.helm.key(now_ns, self.address, pressed, locks)
        return self.send(can_id, NEUTRAL_NOW.pack(can_id, self.neutral_now_counter, pressed, locks), NEUTRAL_NOW_NS)

    def _neutral_echoed(self, now_ns: int) -> bool:
        """Every drive of the boat has said since the key went down that it obeys nobody, and not that it may stay in gear."""
        pressed_ns = self.neutral_now_until_ns - NEUTRAL_NOW_LONGEST_NS
        return all(echo.heard_ns > pressed_ns and not echo.station and not echo.may_stay for echo in self.drives.values())

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """Another station asks for control: its number is taken, whether the drives have said so yet or not."""
        word = check(can_id, data)
        if word != INVALID and newer(CLAIM.unpack(word)[0], self.highest):
            self.highest = CLAIM.unpack(word)[0]
        return NOTHING

    def _on_drive_obeys(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        echo = self.drives[address_of(can_id)]
        if word == INVALID or echo.counter.judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return NOTHING
        report = DRIVE_OBEYS.unpack(word)
        station, number, _, _, _, cause, _ = report
        self.alarms.helm.obeys(now_ns, address_of(can_id), station, number, cause)
        changed = station != echo.station or number != echo.number or self.shows == SHOWS_NOTHING_HEARD
        echo.note(now_ns, report)
        if echo.pair == (self.address, self.number):
            echo.left_out_until_ns = -NEVER  # it followed after all, a moment too late
        if not changed and self.state != CLAIMING:
            return NOTHING
        if newer(number, self.highest):
            self.highest = number
        return tuple(self._weigh(now_ns)) if self.echoes else NOTHING

    def _on_rudder_state(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if self.wheel is None or not self.wheel.hear(now_ns, bus, can_id, data):
            return NOTHING
        if newer(self.wheel.pair[1], self.highest):
            self.highest = self.wheel.pair[1]
        return tuple(self._weigh(now_ns)) or RECHECK

    def _weigh(self, now_ns: int) -> list[Action]:
        """What the drives' reports say to the state it is in."""
        actions: list[Action] = []
        mine = (self.address, self.number)
        pairs = [echo.pair for echo in self.echoes.values() if echo.instance & self.wanted]
        if self.wheel is not None and self.wheel.wanted:
            pairs.append(self.wheel.pair)
        if self.state == CLAIMING:
            if pairs and all(pair == mine for pair in pairs):
                actions = self._event(now_ns, "echoed")
                self.held = [address for address, echo in self.echoes.items() if echo.instance & self.wanted]
                self.held_since_ns = now_ns
                left_out = next((address for address in self.echoes if address not in self.held), 0)
                unsteered = self.wheel.rudder.address if self.wheel is not None and not self.wheel.wanted else 0
                self.alarm = unsteered or left_out  # driven from here, and not steered, or not all of it
                if self.wheel is not None:
                    self.wheel.held = self.wheel.wanted
                self.claim_due_ns = self.transfer_until_ns = NEVER
            elif any(self._outbids(*pair) for pair in pairs) or self._taken():
                actions = self._event(now_ns, "outbid")
                self.transfer_until_ns = now_ns + self.timing.transfer_ms * MS
        elif self.state == HOLDING:
            lost = [address for address in self.held if self.echoes[address].pair != mine]
            taken = bool({self.echoes[address].station for address in lost} - {0, self.address}) or self._taken()
            actions = self._let_go(now_ns, "echo_lost", self.held if taken else lost)
            if not self.echoes and pairs != [mine]:  # a station of a wheel alone
                actions = self._event(now_ns, "echo_lost")
            if taken:
                self.alarm = 0  # somebody took over: the display says so, and an alarm at each hand-over is one nobody heeds
        elif self.state == WITHDRAWING and all(pair != mine for pair in pairs):
            actions = self._event(now_ns, "withdrawn")
            self.claim_due_ns = self.transfer_until_ns = NEVER
        self._watch_steering(now_ns)
        self._set_deadline()
        return [*actions, *self._show(now_ns)]

    def _outbids(self, station: int, number: int) -> bool:
        return newer(number, self.number) or (number == self.number and 0 < station < self.address)

    def _taken(self) -> bool:
        """Does a drive it may take obey another station, by a take that goes before its own?"""
        return any(echo.station not in (0, self.address) and self._outbids(*echo.pair) for echo in self.echoes.values())

    def _let_go(self, now_ns: int, event: str, lost: list[int]) -> list[Action]:
        """These drives are not held any more. With the last, or where the policy is all or nothing, control is let go."""
        if not lost:
            return []
        self.alarm = self.alarm or lost[0]
        self.held = [address for address in self.held if address not in lost]
        return self._event(now_ns, event) if not self.held or not self.carries_on else []

    def _gears_of_held(self) -> tuple[int, ...]:
        """A drive that was let go of is asked for neutral: it may only be mute, and must not follow a lever that is not shown as in
        control of it."""
        held = [drive.instance for drive in self.plan.drives if drive.address in self.held]
        gear_1, throttle_1, gear_2, throttle_2 = self.gears
        one, other = (gear_1, throttle_1) if 1 in held else (v.NEUTRAL, 0), (gear_2, throttle_2) if 2 in held else (v.NEUTRAL, 0)
        return (*one, *other)

    def _watch_steering(self, now_ns: int) -> None:
        wheel = self.wheel
        if wheel is None:
            return
        heard = [echo for echo in self.echoes.values() if echo.heard(now_ns, self.missing_ns)] if wheel.keeps else []
        taken = any(echo.station not in (0, self.address) and newer(echo.number, wheel.keeps) for echo in heard)
        if wheel.lost(now_ns, (self.address, self.number), self.state == HOLDING, taken):
            self.alarm = self.alarm or wheel.rudder.address

    def _watch_time(self, now_ns: int) -> list[Action]:
        """Echoes that grow old, takes that take too long; once every lever period."""
        actions: list[Action] = []
        self._watch_steering(now_ns)
        if self.state == HOLDING:
            age_max_ns = self.timing.age_max_ms * MS
            settled = now_ns - self.held_since_ns > age_max_ns
            old = []
            for address in self.held:
                echo = self.echoes[address]
                age_ns = (self.lever_counter - echo.acted_on & 0xFF) * self.lever_period_ns
                if now_ns - echo.heard_ns > age_max_ns or (settled and age_ns > age_max_ns):
                    old.append(address)
            if old:
                actions = [*self._let_go(now_ns, "echo_old", old), *self._show(now_ns)]
        elif now_ns >= self.transfer_until_ns:
            if self.state == CLAIMING:
                if self.carries_on:
                    leave_out(self.echoes.values(), now_ns, self.missing_ns, self.wanted, (self.address, self.number))
                actions = self._event(now_ns, "transfer_over")
                self.transfer_until_ns = now_ns + self.timing.transfer_ms * MS
            else:
                actions = self._event(now_ns, "withdrawn")
                self.claim_due_ns = self.transfer_until_ns = NEVER
        return [*actions, *self._show(now_ns)] if actions or now_ns >= self.show_due_ns else actions

    def _event(self, now_ns: int, event: str) -> list[Action]:
        move = _MOVES.get((self.state, event))
        if move is None:
            return []
        self.state, row = move
        return [(ROW, "station", row, 0)]

    # ------------------------------------------------------------------------------------------------ alarms

    def _alarms(self, now_ns: int) -> list[Action]:
        """Once every lever period: what to tell the others, what to show and sound, and whether a key was locked out."""
        if self.lock.held_ns != NEVER and self.lock.look(now_ns, self._stuck_elsewhere(now_ns)):
            self.neutral_now_due_ns = now_ns
        faulty = self.lever_faults or (self.wheel is not None and self.wheel.faulty)
        echo = self.drives.get(self.alarm)
        master = echo.station if echo is not None else self.wheel.steered_by(now_ns) if self.wheel is not None else 0
        # What obeys another station now is no loss; but what this one left out, it has not, whatever it said last.
        if master not in (0, self.address) and self.state != HOLDING:
            self.alarm = 0
        let_go = self.alarm and not self.alarms.helm.asked.get(self.alarm)
        return self.alarms.look(now_ns, [LEVER_FAULT] if faulty else [], [(LET_GO, self.alarm)] if let_go else [])

    def _stuck_elsewhere(self, now_ns: int) -> tuple[int, ...]:
        stuck = self.alarms.helm.stuck(now_ns)
        return tuple(station for station in stuck if station != self.address) if stuck else stuck

    # ------------------------------------------------------------------------------------------------ display

    def _show(self, now_ns: int) -> Actions:
        """The display; said only where it changes."""
        silent_ns = [echo.heard_ns + self.missing_ns for echo in self.echoes.values()]
        if self.wheel is not None:
            silent_ns.append(self.wheel.heard_ns + self.missing_ns)
        self.show_due_ns = min((due_ns for due_ns in silent_ns if due_ns > now_ns), default=NEVER)
        shows = self.what_to_show(now_ns)
        if shows != SHOWS_DIVIDED:
            self.divided_ns = NEVER
        else:
            self.divided_ns = min(self.divided_ns, now_ns + DIVIDED_NS)
            rudder_elsewhere = self.wheel is not None and self.wheel.steered_by(now_ns) not in (0, self.address)
            if now_ns < self.divided_ns and not (rudder_elsewhere and self.state == HOLDING):
                shows = self.shows
                self.show_due_ns = min(self.show_due_ns, self.divided_ns)
        if shows == self.shows:
            return NOTHING
        self.shows = shows
        return ((OUTPUT, "shows", shows),)

    def what_to_show(self, now_ns: int) -> int:
        heard = [echo for echo in self.echoes.values() if echo.heard(now_ns, self.missing_ns)]
        part = self.state == HOLDING and len(self.held) < len(self.echoes)
        return to_show(self.address, self.state == CLAIMING, self.state == HOLDING, part, heard, self.wheel, now_ns)
