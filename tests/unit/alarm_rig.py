"""An alarm node that hears what a test plays by hand, and the lines its list shows, read by the written page's positions."""

from typing import Any, NamedTuple

from busim.protocol.alarms import BY_NAME
from busim.protocol.plan import WirePlan
from nodes.alarm import AlarmNode

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import CUTOUT, PORT, SALOON, STARBOARD, WHEELHOUSE, small_boat

OTHERS = (1, 2, 3, 4, 6)
"""Helm nodes of the small boat beside it: two stations, two drives, a cutout."""
RAISED, ACKNOWLEDGED, SILENCED, OVER = 1, 2, 3, 4
CAUTION, WARNING, EMERGENCY = 0, 1, 2


class Shown(NamedTuple):
    name: str
    about: int
    state: int
    priority: int
    under: int
    doubtful: int = 0


def number_of(name: str) -> int:
    return BY_NAME[name].number


def read_line(value: int) -> Shown:
    name = next(name for name, kind in BY_NAME.items() if kind.number == value & 0xFF)
    return Shown(name, value >> 8 & 0x3F, value >> 14 & 7, value >> 17 & 3, value >> 20 & 0xFF, value >> 19 & 1)


class AlarmRig(NodeRig):
    """`pass_time` plays the harbour: who is `alive` beats and, a drive, reports the pair it `obeys`, every 100 ms."""

    def __init__(self, plan: WirePlan | None = None, node: Any = None) -> None:
        self.plan = plan if plan is not None else small_boat()
        self.alarm = node if node is not None else AlarmNode(self.plan, SALOON)
        super().__init__(self.alarm)
        self.alive = set(OTHERS)
        self.obeys: dict[int, tuple[int, int, int]] = {PORT: (WHEELHOUSE, 1, 0), STARBOARD: (WHEELHOUSE, 1, 0)}
        """Drive -> (station, number, cause)."""

    def wake(self, for_ms: int = 1000) -> None:
        self.start()
        self.pass_time(for_ms)

    def pass_time(self, for_ms: int) -> None:
        for _ in range(for_ms // 100):
            for address in sorted(self.alive):
                can_id = hand.id_of(hand.HEARTBEAT, address)
                self.frame(can_id, hand.heartbeat(address, self.counter(can_id), self.plan.helm_fingerprint))
            for drive, (station, number, cause) in self.obeys.items():
                if drive in self.alive:
                    can_id = hand.id_of(hand.OBEYS, drive)
                    self.frame(can_id, hand.obeys(drive, self.counter(can_id), station, number, cause=cause))
            self.run_for(100)

    def hear_alarm(self, which: str, raiser: int = PORT, *, times: int = 1, spoil: bool = False, **alarm: int) -> None:
        """A frame of this alarm; the first of a raiser does not count."""
        can_id = hand.id_of(hand.ALARM, raiser)
        for _ in range(times):
            data = hand.alarm(raiser, self.counter(can_id), number_of(which), **alarm)
            self.frame(can_id, hand.spoiled(data) if spoil else data)

    def hear_answer(self, which: str, raiser: int, listener: int = WHEELHOUSE, **answer: int) -> None:
        can_id = hand.id_of(hand.ALARM_ANSWER, listener)
        for _ in range(2):
            self.frame(can_id, hand.alarm_answer(listener, self.counter(can_id), number_of(which), raiser, **answer))

    def repeat(self, which: str, for_s: int, raiser: int = PORT, **alarm: int) -> None:
        """Its raiser says it every second."""
        for _ in range(for_s):
            self.hear_alarm(which, raiser, **alarm)
            self.pass_time(1000)

    def press(self, key: str) -> None:
        self.input(key, 1)
        self.input(key, 0)
        self.run_for(60)

    # ------------------------------------------------------------------------------------------------ what it shows

    @property
    def lines(self) -> list[Shown]:
        numbers = sorted(int(name[6:]) for name, value in self.outputs.items() if name.startswith("alarm.") and value)
        assert numbers == list(range(1, len(numbers) + 1)), "lines without a gap"
        return [read_line(self.outputs[f"alarm.{number}"]) for number in numbers]

    @property
    def sounds(self) -> int:
        return self.outputs.get("sounder", 0)

    @property
    def lamp(self) -> int:
        return self.outputs.get("lamp", 0)

    def answers(self) -> list[tuple[int, int, int, int]]:
        """(which, raiser, answer, number) of every answer it sent."""
        places = ((40, 8), (34, 6), (32, 2), (24, 8))
        return [
            tuple(hand.part(data, *place) for place in places)  # type: ignore[misc]
            for _, data in self.said(hand.ALARM_ANSWER)
        ]


__all__ = ["CUTOUT", "OTHERS", "AlarmRig", "Shown"]
