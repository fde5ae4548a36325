"""Stations, alarm nodes and drives with one planted defect each, for what is required of alarms and of stations that fail."""

from busim.protocol.catalogue import NOTICE
from busim.protocol.values import CAUSE_HEARTBEAT_LOST
from busim.seam import OUTPUT, Action, Actions, FrameHandler
from busim.units import MS, NEVER
from nodes.alarm import AlarmNode
from nodes.alarm_lines import Line
from nodes.alarm_list import AlarmList
from nodes.drive import Drive
from nodes.station import Station


class SeesNoSilence(AlarmNode):
    """It tells what others alarm, and never that somebody fell silent."""

    __slots__ = ()

    def on_deadline(self, now_ns: int) -> Actions:
        self.alarms.roll_call.due_ns = NEVER
        return super().on_deadline(now_ns)


class DeafToNotices(Station):
    """Its filter lets no notice through: a navigation light that has failed is nowhere in its list."""

    __slots__ = ()

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        return {key: handler for key, handler in super().receives().items() if key[1] >> 6 != NOTICE.code}


class CallsTheHelmAlone(Station):
    """Its roll holds no navigation node: one that dies with its lights is nowhere in its list."""

    __slots__ = ()

    def __init__(self, *arguments: int) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        for light in self.plan.navigation_lights:
            self.alarms.roll_call.members.pop(light.driver, None)


class SaysItOnce(Station):
    """A change of the navigation lights' condition is one frame, and the next comes a second later."""

    __slots__ = ()

    def on_deadline(self, now_ns: int) -> Actions:
        if self.conditions is not None:
            self.conditions.times = 0
        return super().on_deadline(now_ns)


class SilencedForGood(AlarmNode):
    """What was silenced there never sounds again."""

    __slots__ = ()

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        actions = super().on_input(now_ns, channel, value)
        for entry in self.alarms.entries.values():
            if entry.quiet_until_ns > now_ns:
                entry.quiet_until_ns = NEVER
        return actions


class MildestFirst(AlarmList):
    __slots__ = ()

    def _lines(self, now_ns: int) -> list[Line]:
        return super()._lines(now_ns)[::-1]


class ShowsTheMildest(Station):
    """Its list begins with what matters least, so that what matters most has no room."""

    __slots__ = ()

    def __init__(self, *arguments: int) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.alarms = MildestFirst(self.plan, self.address)


class AlarmsLate(Station):
    """Its alarms come 550 ms after it knew."""

    __slots__ = ("late",)

    def __init__(self, *arguments: int) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.late: list[tuple[int, Action]] = []

    def on_deadline(self, now_ns: int) -> Actions:
        actions = []
        for action in super().on_deadline(now_ns):
            if action[0] == OUTPUT and action[1] != "shows":
                self.late.append((now_ns + 550 * MS, action))
            else:
                actions.append(action)
        actions += [action for due_ns, action in self.late if due_ns <= now_ns]
        self.late = [(due_ns, action) for due_ns, action in self.late if due_ns > now_ns]
        return tuple(actions)


class BelievesTheFirstTrack(Station):
    """A lever's second sensor is wired, and never looked at."""

    __slots__ = ()

    def _read_lever(self, now_ns: int, instance: int) -> None:
        tracks = self.levers[instance].tracks
        if len(tracks) == 2:
            tracks[1] = self.me.lever_low_permille + self.me.lever_high_permille - tracks[0]
        super()._read_lever(now_ns, instance)


class HearsNotItself(Station):
    """Its filter lets nothing through that comes under its own address."""

    __slots__ = ()

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        return {key: handler for key, handler in super().receives().items() if key[1] != self.beat_id}


class DropsForAnyStation(Drive):
    """It goes neutral when any station falls silent that it has heard, whoever is in control."""

    __slots__ = ()

    def on_deadline(self, now_ns: int) -> Actions:
        actions: list[Action] = []
        for watch in self.stations.values():
            silent_ns = now_ns - watch.heartbeat.heard_ns
            if self.timing.heartbeat_missing_ms * MS <= silent_ns < NEVER // 2 and self.obeyed:
                actions += self._lose(now_ns, CAUSE_HEARTBEAT_LOST)
        return (*actions, *super().on_deadline(now_ns))
