"""The list of alarms a listener keeps: a station, or an alarm node. All of it is from its own reception.

How a node uses it, at the pace of its own main task, so that it needs no deadline of its own:

    handlers |= self.alarms.receives()
    self.alarms.start(now_ns)
    actions += self.alarms.look(now_ns, own_causes, seen_causes)
    self.alarms.press(now_ns, "acknowledge" or "silence")

Outputs: `sounder`; `alarms`, how many stand in the list; `alarms_hidden`, how many lines are not shown; `alarm.1` and on, the lines
(`busim.protocol.alarms.LINE_BITS`, 0 none). How alarms are grouped to lines stands in `nodes.alarm_lines`.
"""

from collections.abc import Iterable
from typing import Final

from busim.protocol.alarms import (
    ACKNOWLEDGE,
    ACKNOWLEDGED,
    ANSWER_LONGEST_MS,
    ANSWER_REPEAT_MS,
    BY_NAME,
    BY_NUMBER,
    EMERGENCY,
    REPEAT_MS,
    SILENCE,
    SILENCED,
    UNCONFIRMED_MS,
)
from busim.protocol.catalogue import ALARM, ALARM_ANSWER, DRIVE_OBEYS, NEUTRAL_NOW, NOTICE
from busim.protocol.codec import INVALID, check, counter_of, read_plain
from busim.protocol.counter import ACCEPTED, DUPLICATE, REFUSED, counter_watch
from busim.protocol.ids import HELM_ADDRESSES, address_of, make_id
from busim.protocol.plan import WirePlan
from busim.seam import NOTHING, OUTPUT, QUEUE, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.alarm_entry import GONE, NO_ANSWER, Alarm
from nodes.alarm_lines import Line, lines_of, shown_of
from nodes.alarm_raiser import AlarmRaiser
from nodes.helm_watch import HelmWatch
from nodes.roll_call import Cause, RollCall

FIRST_LOOK_NS: Final = 200 * MS
"""After a start: by then every sensor was read once."""
LOOK_NS: Final = 100 * MS
"""Well inside the second that keeps a thought (Miller 1968; Card 1991), and a tenth of the work of looking every time."""
LAMP_OR_FUSE_FAILED: Final = BY_NAME["lamp_or_fuse_failed"].number
FOLLOWS: Final = {ACKNOWLEDGED: "acknowledge", SILENCED: "silence"}
"""What a raiser's state on the wire does to its entry here; raised and gone are told apart by what was there before."""


class AlarmList:
    __slots__ = (
        "address", "answer_counter", "buses", "counters", "dirty", "due_ns", "entries", "helm", "helm_buses", "lights", "looked",
        "raiser", "roll_call", "told",
    )  # fmt: skip

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.address = address
        self.buses = plan.buses_of(address)
        self.helm_buses = plan.helm_buses_of(address)
        self.raiser = AlarmRaiser(plan, address)
        self.roll_call = RollCall(plan, address)
        self.helm = HelmWatch(plan, address)
        self.counters = {
            (message.code, other): counter_watch(plan, address, other, message)
            for other in self.roll_call.members
            if other in HELM_ADDRESSES
            for message in (ALARM, ALARM_ANSWER)
        }
        self.lights: dict[tuple[int, int], set[int]] = {}
        """(bus, id of a navigation node's notice) -> numbers of its lights: it has no word on any other."""
        for light in plan.navigation_lights:
            for bus in set(self.buses) & set(plan.buses_of(light.driver)):
                self.lights.setdefault((bus, NOTICE.can_id(light.driver)), set()).add(light.number)
        self.entries: dict[tuple[int, int, int], Alarm] = {}
        """(raiser, which, about) -> alarm: heard of others, or seen by itself (raiser 0). What it sends itself is the raiser's."""
        self.answer_counter = 0
        self.dirty = False
        """Something changed that a line may show."""
        self.due_ns = -NEVER
        """When it looks again, where nothing stirs before."""
        self.looked = (0, 0)
        """What it saw of the raiser's changes, and of doubtful alarms, when it looked last."""
        self.told: dict[str, int] = {}
        """What each output was told last."""

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        """What it has to hear that its node does not hear anyway: reports of drives and neutral_now the node hands on itself."""
        handlers: dict[tuple[int, int], FrameHandler] = dict.fromkeys(self.roll_call.heartbeat_ids(), self.roll_call.hear)
        for code, other in self.counters:
            on_frame = self.on_alarm if code == ALARM.code else self.on_answer
            handlers |= {(bus, make_id(code, other)): on_frame for bus in self.roll_call.members[other].heard_ns}
        handlers |= dict.fromkeys(self.lights, self.on_notice)
        for station in self.helm.keys:
            if station != self.address:
                handlers |= {(bus, NEUTRAL_NOW.can_id(station)): self.on_neutral_now for bus in self.buses}
        return self.raiser.receives() | handlers

    def start(self, now_ns: int) -> None:
        self.due_ns = now_ns + FIRST_LOOK_NS
        self.roll_call.start(now_ns)
        self.helm.start(now_ns)

    # ------------------------------------------------------------------------------------------------ frames

    def on_neutral_now(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        if word != INVALID:
            pressed, locks = NEUTRAL_NOW.unpack(word)
            self.helm.key(now_ns, address_of(can_id), pressed, locks)
        return NOTHING

    def on_drive_obeys(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """For a node that does not follow the drives' reports itself; the counter is judged, as a frame may come late."""
        word = check(can_id, data)
        drive = address_of(can_id)
        if word != INVALID and self.helm.counters[drive].judge(counter_of(word), bus, now_ns) == ACCEPTED:
            station, number, _, _, _, cause, _ = DRIVE_OBEYS.unpack(word)
            self.helm.obeys(now_ns, drive, station, number, cause)
        return NOTHING

    def on_alarm(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """The first frame after a gap may raise what is not listed yet: in noise that lost all but one of its frames nobody is to
        wait a second for an emergency. It takes nothing back, and an alarm that was a late copy is doubted and goes by itself."""
        word = check(can_id, data)
        raiser = address_of(can_id)
        if word == INVALID:
            return NOTHING
        verdict = self.counters[ALARM.code, raiser].judge(counter_of(word), bus, now_ns)
        which, about, state, _, number = ALARM.unpack(word)
        kind = BY_NUMBER.get(which)
        if verdict == DUPLICATE or kind is None or not kind.sent_in_alarm:
            return NOTHING
        entry = self.entries.get((raiser, which, about))
        if verdict == REFUSED and entry is not None and entry.state != GONE:
            return NOTHING
        if entry is None:
            if state == GONE:
                return NOTHING
            entry = self.entries[raiser, which, about] = Alarm(which, about, raiser)
        self.dirty = True
        entry.confirmed_ns = now_ns
        self._follow(now_ns, entry, state, number)
        return NOTHING

    def _follow(self, now_ns: int, entry: Alarm, state: int, number: int) -> None:
        """Its raiser's word on an alarm. While an answer given here is on its way, the raiser can't know it yet."""
        if state == GONE:
            entry.answer = NO_ANSWER
            entry.event(now_ns, "put_right")
            return
        if not entry.stands or number != entry.number:
            entry.event(now_ns, "arises")
            entry.number = number
            entry.answer = NO_ANSWER
        if state == SILENCED and 0 <= now_ns - entry.quiet_until_ns < REPEAT_MS * MS:
            return  # its silence is over here already, and its raiser's clock runs a little behind
        if state in FOLLOWS:
            entry.event(now_ns, FOLLOWS[state])
            entry.answer = NO_ANSWER
        elif entry.answer == NO_ANSWER and not entry.event(now_ns, "silence_over") and entry.state == ACKNOWLEDGED:
            entry.event(now_ns, "arises")

    def on_notice(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """A navigation light's lamp or fuse. Without CRC and counter nothing tells a spoilt frame: one is enough to alarm, as a
        dark light is worse than a false word of one; its end takes two by one bus. The raiser hears no answer, so that its state
        takes none back."""
        word = read_plain(NOTICE, data)
        if word == INVALID:
            return NOTHING
        which, light, state, priority, number = NOTICE.unpack(word)
        raiser = address_of(can_id)
        if which != LAMP_OR_FUSE_FAILED or light not in self.lights[bus, can_id]:
            return NOTHING
        entry = self.entries.get((raiser, which, light))
        if state == GONE:
            if entry is not None and entry.stands:
                self._end(now_ns, entry, 1 << bus)
            return NOTHING
        if entry is None:
            entry = self.entries[raiser, which, light] = Alarm(which, light, raiser)
        self.dirty = True
        entry.confirmed_ns = now_ns
        entry.ended_by = 0
        entry.priority = min(priority, EMERGENCY)
        if not entry.stands or number != entry.number:
            entry.event(now_ns, "arises")
            entry.number = number
            entry.answer = NO_ANSWER
        return NOTHING

    def _end(self, now_ns: int, entry: Alarm, bus: int) -> None:
        """An answer given here goes on being told: there is nobody else to tell it to the other lists."""
        if entry.ended_by & bus:
            self.dirty |= entry.event(now_ns, "put_right")
        entry.ended_by |= bus

    def on_answer(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """What was answered elsewhere counts here too, also for an alarm whose raiser has long taken it back."""
        word = check(can_id, data)
        listener = address_of(can_id)
        if word == INVALID or self.counters[ALARM_ANSWER.code, listener].judge(counter_of(word), bus, now_ns) != ACCEPTED:
            return NOTHING
        which, raiser, answer, number = ALARM_ANSWER.unpack(word)
        if raiser == self.address:
            self.raiser.answer(now_ns, which, raiser, answer, number)
        for entry in self.entries.values():
            if (entry.which, entry.raiser, entry.number) == (which, raiser, number) and answer in (ACKNOWLEDGE, SILENCE):
                self.dirty |= entry.answered(now_ns, answer)
        return NOTHING

    # ------------------------------------------------------------------------------------------------ keys

    def press(self, now_ns: int, key: str) -> None:
        """`acknowledge`: the first line that nobody acknowledged, with all under it. `silence`: everything that sounds."""
        self.dirty = True
        if key == "silence":
            for entry in self._all():
                if entry.sounds(now_ns):
                    self._answer(now_ns, entry, SILENCE)
            return
        for line in self._lines(now_ns):
            if line.unanswered:
                for entry in line.entries:
                    self._answer(now_ns, entry, ACKNOWLEDGE)
                return

    def _answer(self, now_ns: int, entry: Alarm, answer: int) -> None:
        """Here it counts at once: a crew that has answered is not to be shouted at. The raiser is told until it says so too."""
        if entry.raiser == self.address:
            self.raiser.answer(now_ns, entry.which, entry.raiser, answer, entry.number)
        elif entry.answered(now_ns, answer) and entry.raiser:
            entry.answer = answer
            entry.answer_due_ns = now_ns
            entry.answer_until_ns = now_ns + ANSWER_LONGEST_MS * MS

    def _send_answers(self, now_ns: int) -> list[Action]:
        actions: list[Action] = []
        can_id = ALARM_ANSWER.can_id(self.address)
        for entry in self.entries.values():
            if entry.answer == NO_ANSWER or now_ns < entry.answer_due_ns:
                continue
            if now_ns >= entry.answer_until_ns:
                entry.answer = NO_ANSWER
                continue
            entry.answer_due_ns = now_ns + ANSWER_REPEAT_MS * MS
            self.answer_counter = self.answer_counter + 1 & 0xFF
            data = ALARM_ANSWER.pack(can_id, self.answer_counter, entry.which, entry.raiser, entry.answer, entry.number)
            actions += [(QUEUE, bus, can_id, data, ANSWER_REPEAT_MS * MS) for bus in self.helm_buses]
        return actions

    # ------------------------------------------------------------------------------------------------ looking

    def look(self, now_ns: int, own: Iterable[int] = (), seen: Iterable[Cause] = ()) -> list[Action]:
        """Once every period of the node's main task. `own`: what the node has to tell everybody; `seen`: what only it shows."""
        if now_ns < self.due_ns and not self.dirty:
            return []
        self.due_ns = now_ns + LOOK_NS
        actions = self.raiser.tell(now_ns, own)
        if now_ns >= self.roll_call.due_ns:
            self.roll_call.look(now_ns)
        self._see(now_ns, [*self.roll_call.causes, *self.helm.causes(now_ns), *seen])
        if self.entries or self.raiser.entries or self.dirty:
            for key, entry in list(self.entries.items()):
                self.dirty |= entry.wake(now_ns)
                if entry.raiser:
                    self._doubt(now_ns, entry)
                if entry.state == GONE and entry.answer == NO_ANSWER:
                    del self.entries[key]
            actions += self._send_answers(now_ns)
            actions += self._show(now_ns)
        return actions

    def _see(self, now_ns: int, causes: list[Cause]) -> None:
        """What it sees by itself: raised and put right as it comes and goes."""
        for which, about in causes:
            entry = self.entries.get((0, which, about))
            if entry is None:
                entry = self.entries[0, which, about] = Alarm(which, about, 0)
            if not entry.stands:
                self.dirty |= entry.event(now_ns, "arises")
        for (raiser, *cause), entry in self.entries.items():
            if not raiser and entry.stands and tuple(cause) not in causes:
                self.dirty |= entry.event(now_ns, "put_right")

    def _doubt(self, now_ns: int, entry: Alarm) -> None:
        """Its raiser is heard, and has said nothing of it for too long: it has forgotten it, or the end of it was not heard."""
        since_ns = max(entry.confirmed_ns, self.roll_call.back_since_ns(entry.raiser))
        if entry.stands and not self.roll_call.is_gone(entry.raiser) and now_ns - since_ns >= UNCONFIRMED_MS * MS:
            self.dirty |= entry.event(now_ns, "put_right")

    def lamp(self) -> int:
        """0 nothing is listed, 1 all of it is acknowledged, 2 something is not."""
        listed = self._all()
        return 2 if any(entry.unanswered for entry in listed) else int(bool(listed))

    def _all(self) -> list[Alarm]:
        listed = [*self.entries.values(), *self.raiser.entries.values()]
        return [entry for entry in listed if entry.state != GONE]

    def _lines(self, now_ns: int) -> list[Line]:
        return lines_of(self._all(), self.roll_call.parents, self.helm.masters, now_ns)

    def _show(self, now_ns: int) -> list[Action]:
        sounder = int(any(entry.sounds(now_ns) for entry in self._all()))
        doubts = sum(1 for entry in self.entries.values() if entry.doubtful(now_ns))
        stamp = (self.raiser.sees, doubts)
        if not self.dirty and stamp == self.looked and self.told.get("sounder") == sounder:
            return []
        self.dirty, self.looked = False, stamp
        lines = self._lines(now_ns)
        shown = shown_of(lines)
        outputs = {"sounder": sounder, "alarms": len(self._all()), "alarms_hidden": len(lines) - len(shown)}
        outputs |= {channel: 0 for channel in self.told if channel not in outputs}
        outputs |= {f"alarm.{number}": line.value() for number, line in enumerate(shown, 1)}
        changed: list[Action] = [(OUTPUT, name, value) for name, value in outputs.items() if self.told.get(name, 0) != value]
        self.told |= outputs
        return changed
