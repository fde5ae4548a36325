"""What stands above every view: who is in control, whatever is forced and why, the gravest alarm, the faults that are on."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.drawing import Drawing, wrapped
from busim.dashboard.looks import Look
from busim.protocol.values import CAUSE_NONE
from busim.rehearsal.shown import Snapshot

MOST_LINES: Final = 9


def banner(snapshot: Snapshot, look: Look, wide: int) -> Drawing:
    """Nobody can miss it: it fills the width, and says in words what is wrong and why."""
    drawing = Drawing()
    words, style = _control(snapshot, look)
    _tell(drawing, words, style, wide)
    forced: dict[tuple[str, str, str], list[str]] = {}
    for drive in snapshot.forced:
        unheard = labels.UNHEARD if drive.unheard_ms is not None else ""
        forced.setdefault((drive.state_words, drive.cause_words, unheard), []).append(drive.name)
    for (state, cause, unheard), names in forced.items():
        said = labels.FORCED_DRIVE.format(drive=", ".join(names), state=state, cause=cause, unheard=unheard)
        _tell(drawing, f"  {said}", look.alarm, wide)
    for drive in snapshot.drives:
        if drive.unheard_ms is not None and not drive.forced:
            seconds = f"{drive.unheard_ms / 1000:.1f}"
            _tell(drawing, labels.UNHEARD_DRIVE.format(drive=drive.name, seconds=seconds), look.alarm, wide)
    cut = [labels.CUT_BY.format(drive=drive.name, nodes=", ".join(drive.cut_by)) for drive in snapshot.drives if drive.cut_by]
    if cut:
        _tell(drawing, labels.BANNER_CUT.format(who="; ".join(cut)), look.alarm, wide)
    alarm = gravest(snapshot)
    if alarm:
        _tell(drawing, alarm, look.warning, wide)
    if snapshot.faults:
        faults = "; ".join(f"{name}, {place}" for _, name, place in snapshot.faults)
        _tell(drawing, labels.BANNER_FAULTS.format(faults=faults), look.warning, wide)
    return drawing


def _tell(drawing: Drawing, words: str, style: str, wide: int) -> None:
    for line in wrapped(words, wide - 2, indent=4):
        drawing.put((f" {line}".ljust(wide), style))


def _control(snapshot: Snapshot, look: Look) -> tuple[str, str]:
    station = snapshot.in_control or labels.NOBODY
    if snapshot.divided:
        who = ", ".join(labels.OBEYS.format(drive=drive.name, station=drive.station or labels.NOBODY) for drive in snapshot.drives)
        return labels.BANNER_DIVIDED.format(who=who), look.alarm
    if snapshot.forced:
        neutral = any(drive.state != "held_idle" for drive in snapshot.forced)
        what = labels.FORCED_NEUTRAL if neutral else labels.FORCED_IDLE
        return labels.BANNER_FORCED.format(what=what, station=station), look.alarm
    if snapshot.drives and not snapshot.in_control:
        causes = dict.fromkeys(drive.cause_words for drive in snapshot.drives if drive.cause != CAUSE_NONE)
        why = labels.NOBODY_CAUSE.format(cause=", ".join(causes)) if causes else labels.NOBODY_YET
        return labels.BANNER_NOBODY.format(why=why), look.alarm
    return labels.IN_CONTROL.format(station=station), look.good


def gravest(snapshot: Snapshot) -> str:
    """The alarm that stands for all of them, in words; empty where none is shown anywhere."""
    alarms = [alarm for station in snapshot.stations for alarm in station.alarms]
    if not alarms:
        return ""
    first = max(alarms, key=lambda alarm: alarm.priority)
    sounds = labels.SOUNDS if any(station.sounds for station in snapshot.stations) else ""
    return labels.BANNER_ALARM.format(
        priority=labels.ALARM_PRIORITIES[first.priority],
        alarm=first.words,
        state=labels.ALARM_STATES.get(first.state, ""),
        count=len(alarms),
        sounds=sounds,
    )
