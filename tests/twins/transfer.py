"""Stations and drives with one planted defect each in how control is transferred, for `check --transfer` to find."""

from busim.protocol import values as v
from busim.seam import Action, Actions
from nodes.drive import Drive
from nodes.memory import VALUE
from nodes.station import HOLDING, Station


class FollowsAnyNumber(Drive):
    """The lever it obeyed before still moves it, whatever number its frames have and whoever is in control now."""

    __slots__ = ("before",)
    memory = {**Drive.memory, "FollowsAnyNumber": {"before": VALUE}}  # noqa: RUF012

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


class ShowsItStill(Station):
    """Once in control it shows that it is, as long as it hears any drive."""

    __slots__ = ("was",)
    memory = {**Station.memory, "ShowsItStill": {"was": VALUE}}  # noqa: RUF012

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.was = False

    def what_to_show(self, now_ns: int) -> int:
        self.was = self.was or self.state == HOLDING
        shows = super().what_to_show(now_ns)
        return 2 if self.was and shows != 4 else shows


class GivesUp(Station):
    """Once a drive it had in control said that it missed its lever, it asks for control no more."""

    __slots__ = ("gave_up", "was")
    memory = {**Station.memory, "GivesUp": {"gave_up": VALUE, "was": VALUE}}  # noqa: RUF012

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.gave_up = False
        self.was = False

    def _on_drive_obeys(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        cause = int.from_bytes(data, "big") >> 2 & 0xF
        self.gave_up = self.gave_up or (self.was and cause == v.CAUSE_LEVER_LOST)
        return super()._on_drive_obeys(now_ns, bus, can_id, data)

    def _event(self, now_ns: int, event: str) -> list[Action]:
        self.was = self.was or event == "echoed"
        return [] if self.gave_up and event == "take" else super()._event(now_ns, event)
