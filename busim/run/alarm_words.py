"""The alarms of a run in words: each line as a listener shows it anew, not as it moves up and down its list."""

from collections.abc import Callable

from busim import labels
from busim.protocol.alarms import BY_NUMBER, line_of


class AlarmWords:
    """`subject_of(which, about)`: what an alarm is about, "" where that is nobody."""

    def __init__(self, subject_of: Callable[[int, int], str]) -> None:
        self.subject_of = subject_of
        self.said: dict[str, dict[tuple[int, int], tuple[int, ...]]] = {}
        """Node -> (which, about) -> what was said of that line last."""

    def begin(self, node: str) -> None:
        """Its supply or its program went: it shows nothing."""
        self.said.pop(node, None)

    def take(self, node: str, who: str, channel: str, value: int) -> str:
        """What to say of an output of a listener; "" where that is nothing new."""
        if channel == "sounder":
            return labels.ALARM_SOUNDS[value > 0].format(who=who)
        if channel == "alarms":
            return labels.NO_ALARMS.format(who=who) if not value and self.said.pop(node, {}) else ""
        if channel == "alarms_hidden":
            return labels.ALARMS_HIDDEN.format(who=who, count=value) if value > 0 else ""
        if value <= 0:
            return ""
        line = line_of(value)
        key = line["which"], line["about"]
        now = (line["state"], line["priority"], line["doubtful"], line["under"])
        said = self.said.setdefault(node, {})
        if said.get(key) == now:
            return ""
        said[key] = now
        kind = BY_NUMBER.get(line["which"])
        name = kind.name.replace("_", " ") if kind is not None else labels.OTHER_ALARM.format(number=line["which"])
        about = self.subject_of(*key)
        return labels.ALARM_LINE.format(
            who=who,
            priority=labels.ALARM_PRIORITIES.get(line["priority"], line["priority"]),
            alarm=f"{name}, {about}" if about else name,
            under=labels.ALARMS_UNDER.format(count=line["under"]) if line["under"] else "",
            state=labels.ALARM_STATES.get(line["state"], "") + (labels.ALARM_DOUBTFUL if line["doubtful"] else ""),
        )
