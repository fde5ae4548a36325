"""Stations and drives with one planted defect each in how control is transferred, for the exploration to find."""

from busim.seam import Action, Actions
from busim.units import MS
from nodes.drive import Drive
from nodes.station import WITHDRAWING, Station


class TakesOlderNumbers(Drive):
    """A claim counts whatever its number, also behind the take obeyed now."""

    __slots__ = ()
    memory = {**Drive.memory, "TakesOlderNumbers": {}}  # noqa: RUF012

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        number, self.number = self.number, 0
        actions = super()._on_claim(now_ns, bus, can_id, data)
        self.number = self.number or number
        return actions


class TieToTheHigher(Drive):
    """Port gives a tie to the higher address, and starboard to the lower one."""

    __slots__ = ()
    memory = {**Drive.memory, "TieToTheHigher": {}}  # noqa: RUF012

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        obeyed, station = self.obeyed, can_id & 0x3F
        if self.instance == 1 and obeyed and int.from_bytes(data, "big") >> 32 & 0xFFFF == self.number:
            self.obeyed = 63 if station > obeyed else 1
        actions = super()._on_claim(now_ns, bus, can_id, data)
        if self.obeyed in (1, 63) and station != self.obeyed:
            self.obeyed = obeyed
        return actions


class FollowsAnyNumber(Drive):
    """A lever frame of whoever it obeyed last moves it, whatever number it has and whoever is in control now."""

    __slots__ = ("before",)
    memory = {**Drive.memory, "FollowsAnyNumber": {"before": Drive.memory["DriveMachine"]["lever_id"]}}  # noqa: RUF012

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.before = -1

    def _on_claim(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        lever_id = self.lever_id
        actions = super()._on_claim(now_ns, bus, can_id, data)
        if lever_id not in (-1, self.lever_id):
            self.before = lever_id
        return actions

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        if can_id != self.before:
            return super()._on_lever(now_ns, bus, can_id, data)
        whole = int.from_bytes(data, "big")
        below = 30 if self.instance == 1 else 18
        self.previous = gear, throttle = whole >> below & 3, whole >> below - 10 & 0x3FF
        return self._follow(now_ns, gear, throttle)


class HoldsForEver(Station):
    """Once in control, it takes nobody's word that it no longer is."""

    __slots__ = ()
    memory = {**Station.memory, "HoldsForEver": {}}  # noqa: RUF012

    def _event(self, now_ns: int, event: str) -> list[Action]:
        return [] if event in ("echo_lost", "echo_old") else super()._event(now_ns, event)


class NeverWithdraws(Station):
    """A take that failed goes on for ever."""

    __slots__ = ()
    memory = {**Station.memory, "NeverWithdraws": {}}  # noqa: RUF012

    def _event(self, now_ns: int, event: str) -> list[Action]:
        if event in ("transfer_over", "outbid"):
            return []
        actions = super()._event(now_ns, event)
        assert self.state != WITHDRAWING
        return actions


class DeafToTheOther(Drive):
    """It never hears what the other drive reports, and holds on to a station that fell silent."""

    __slots__ = ()
    memory = {**Drive.memory, "DeafToTheOther": {}}  # noqa: RUF012

    def _on_other(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        return ()

    def _lose(self, now_ns: int, cause: int) -> list[Action]:
        return []

    def _set_deadline(self, now_ns: int) -> None:
        super()._set_deadline(now_ns)
        self.deadline_ns = max(self.deadline_ns, now_ns + MS)
