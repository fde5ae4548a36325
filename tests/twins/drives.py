"""Drives with one planted defect each."""

from busim.protocol import values as v
from busim.protocol.catalogue import LEVER
from busim.protocol.codec import counter_of
from busim.protocol.counter import ACCEPTED
from busim.seam import NOTHING, OUTPUT, Action, Actions
from busim.units import MS
from nodes.drive import Drive
from nodes.drive_machine import DWELLING, FORCED_DISENGAGING, FORCED_IDLE, FORCED_NEUTRAL, IN_NEUTRAL


class IdlesLate(Drive):
    """On a loss it leaves the throttle where it is for a while; the gear still comes out in time."""

    __slots__ = ()

    def _enter(self, now_ns: int) -> list[Action]:
        throttle = self.asked_throttle
        actions = super()._enter(now_ns)
        if self.state == FORCED_IDLE and throttle:
            return [action for action in actions if action[:2] != (OUTPUT, "throttle")]
        return actions

    def on_deadline(self, now_ns: int) -> Actions:
        actions = super().on_deadline(now_ns)
        if self.state == FORCED_IDLE and now_ns - self.idle_since_ns >= 1000 * MS:
            return (*actions, (OUTPUT, "throttle", 0))
        return actions


class StaysInGear(Drive):
    """On a loss it goes idle and leaves it at that."""

    __slots__ = ()

    def _noticed(self, now_ns: int) -> str | None:
        return None if self.state == FORCED_IDLE else super()._noticed(now_ns)


class EngagesAboveIdle(Drive):
    """It opens the throttle while the gear is still going in."""

    __slots__ = ()

    def _follow(self, now_ns: int, gear: int, throttle: int) -> Actions:
        actions = super()._follow(now_ns, gear, throttle)
        if self.asked_gear != v.NEUTRAL and gear == self.asked_gear and throttle != self.asked_throttle:
            self.asked_throttle = throttle
            return (*actions, (OUTPUT, "throttle", throttle))
        return actions


class ReversesAtOnce(Drive):
    """It does not wait in neutral before the opposite gear."""

    __slots__ = ()

    def _enter(self, now_ns: int) -> list[Action]:
        actions = super()._enter(now_ns)
        if self.state == DWELLING:
            self.dwell_until_ns = now_ns
        return actions


class RearmsItself(Drive):
    """A loss takes it to neutral, but it never lets go of the station, and obeys it again as soon as frames come."""

    __slots__ = ()

    def _lose(self, now_ns: int, cause: int) -> list[Action]:
        obeyed, lever_id = self.obeyed, self.lever_id
        actions = super()._lose(now_ns, cause)
        self.obeyed, self.lever_id = obeyed, lever_id
        return actions

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if self.state == FORCED_NEUTRAL and can_id == self.lever_id:
            self.state = IN_NEUTRAL
        actions = super()._on_lever(now_ns, bus, can_id, data)
        return (*actions, *self._obeys()) if self.state in (FORCED_IDLE, FORCED_DISENGAGING) else actions

    def _set_deadline(self, now_ns: int) -> None:
        super()._set_deadline(now_ns)
        self.deadline_ns = max(self.deadline_ns, now_ns + MS)


class IgnoresNumber(Drive):
    """After a loss it obeys the same station again under whatever number its frames have."""

    __slots__ = ("before",)

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.before = (0, -1)

    def _lose(self, now_ns: int, cause: int) -> list[Action]:
        if self.obeyed:
            self.before = (self.obeyed, self.lever_id)
        return super()._lose(now_ns, cause)

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if self.state == FORCED_NEUTRAL and can_id == self.before[1]:
            self.state = IN_NEUTRAL
            self.obeyed, self.lever_id = self.before
            self.lever_counter.forget()
            self.lever_ns = now_ns
            self.stations[self.obeyed].heartbeat.heard_ns = now_ns
        if can_id in (self.lever_id, self.before[1]):
            self.number = int.from_bytes(data, "big") >> 32 & 0xFFFF
        return super()._on_lever(now_ns, bus, can_id, data)


class IgnoresCrc(Drive):
    """It takes lever frames without a look at their CRC."""

    __slots__ = ()

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if can_id != self.lever_id:
            return NOTHING
        word = int.from_bytes(data[1:], "big")
        if self.lever_counter.judge(counter_of(word)) != ACCEPTED:
            return NOTHING
        number, gear, throttle, *_ = LEVER.unpack(word)
        if number != self.number:
            return NOTHING
        self.lever_ns = now_ns
        self.acted_on = counter_of(word)
        before = self.previous
        self.previous = (gear, min(throttle, 1000))
        return self._follow(now_ns, gear if gear == before[0] else v.NEUTRAL, min(throttle, before[1], 1000))


class ReportsAskedAsSensed(Drive):
    """It reports the gear it asked for as the gear it senses."""

    __slots__ = ()

    def reported_gear(self) -> int:
        return self.asked_gear


class WakesIntoGear(Drive):
    """It wakes, finds the gear in, and keeps it there."""

    __slots__ = ()

    def _look(self, now_ns: int) -> list[Action]:
        actions = super()._look(now_ns)
        if self.cause == v.CAUSE_WOKE_OFF_NEUTRAL:
            return [(OUTPUT, "shift", v.AHEAD)]
        return actions


class HearsOnlyItsStation(Drive):
    """Neutral now counts only from the station in control."""

    __slots__ = ()

    def _on_neutral_now(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        return super()._on_neutral_now(now_ns, bus, can_id, data) if can_id & 0x3F == self.obeyed else NOTHING


class NeverChangesOver(Drive):
    """Starboard stays with the first station for ever, port goes with the newest; it hears no withdrawal and no other drive."""

    __slots__ = ()

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        withdrawn = int.from_bytes(data, "big") >> 4 & 1
        if withdrawn or (self.instance == 2 and self.obeyed):
            return NOTHING
        return super()._on_claim(now_ns, bus, can_id, data)

    def _lose(self, now_ns: int, cause: int) -> list[Action]:
        return []

    def _set_deadline(self, now_ns: int) -> None:
        super()._set_deadline(now_ns)
        self.deadline_ns = max(self.deadline_ns, now_ns + MS)
