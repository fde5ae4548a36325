"""Stations, panels and zone drivers with one planted defect each."""

from busim.protocol.catalogue import SCENE
from busim.protocol.plan import WirePlan
from busim.seam import QUEUE, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.navigation import Navigation
from nodes.panel import Panel
from nodes.panel_press import Pending
from nodes.station import Station
from nodes.station_display import SHOWS_HERE, SHOWS_LOST, SHOWS_NOBODY, SHOWS_NOTHING_HEARD
from nodes.zone_driver import ZoneDriver
from nodes.zone_light import ZoneLight


class KeepsShowing(Station):
    """Once it was in control it shows that for ever."""

    __slots__ = ()

    def what_to_show(self, now_ns: int) -> int:
        shows = super().what_to_show(now_ns)
        if self.number and shows in (SHOWS_NOBODY, SHOWS_NOTHING_HEARD, SHOWS_LOST):
            return SHOWS_HERE
        return shows


class TakesHalf(Station):
    """A take that only some drives echo is good enough for it."""

    __slots__ = ()

    def _event(self, now_ns: int, event: str) -> list[Action]:
        if event == "transfer_over":
            self.held = [address for address, echo in self.echoes.items() if echo.station == self.address]
            self.held_since_ns = now_ns
            self.claim_due_ns = NEVER
            return super()._event(now_ns, "echoed")
        return super()._event(now_ns, event)


class WantsAll(Station):
    """Its takes are of all its drives, dead or not: with one drive dead nobody can have the other."""

    __slots__ = ()

    def _take(self, now_ns: int) -> list[Action]:
        actions = super()._take(now_ns)
        self.wanted = sum(self.me.drives)
        return actions


class AnswersOnly(ZoneDriver):
    """It answers presses and never moves an output."""

    __slots__ = ()

    def switch(self, light: ZoneLight, moves: list[Action]) -> list[Action]:
        light.step_ns = NEVER
        return []


class SkipsAZone(ZoneDriver):
    """In a scene it forgets its last zone, and answers all the same."""

    __slots__ = ()

    def _on_scene(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        last = max(self.lights)
        light = self.lights.pop(last)
        actions = super()._on_scene(now_ns, bus, can_id, data)
        self.lights[last] = light
        return actions


class FlashesOnReturn(ZoneDriver):
    """After a start it lights up at once, and asks later which scene the others are in."""

    __slots__ = ()

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        actions = super().on_start(now_ns, reset_cause)
        return (*actions, *(action for light in self.lights.values() for action in light.go(now_ns, 1000, 0)))


class ObeysScenes(Navigation):
    """It takes all off for a word to it too."""

    __slots__ = ()

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        scenes = {(bus, SCENE.can_id(panel.address)): self._on_scene for bus in self.buses for panel in self.plan.panels}
        return super().receives() | scenes

    def _on_scene(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        return tuple(self._show(0))


class SendsInBursts(Panel):
    """Once touched it talks a great deal, for 25 ms at a time, under the most urgent ids there are."""

    __slots__ = ("burst_ns",)

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        self.burst_ns = NEVER

    def on_deadline(self, now_ns: int) -> Actions:
        actions = super().on_deadline(now_ns)
        if self.number and self.burst_ns == NEVER:
            self.burst_ns = now_ns + 1500 * MS
        if now_ns >= self.burst_ns:
            self.burst_ns = now_ns + 500 * MS
            actions += tuple((QUEUE, bus, 0x010, bytes(8), 100 * MS) for bus in self.buses for _ in range(48))
        self.deadline_ns = min(self.deadline_ns, self.burst_ns)
        return actions


class KeepsQuiet(Panel):
    """It gives up on a press without a word."""

    __slots__ = ()

    def report_failed(self, pending: Pending) -> list[Action]:
        return []
