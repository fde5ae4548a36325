"""The helm: what the drives and the rudder are asked and do, and every station's levers, wheel, keys and alarms."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import Choice, mark
from busim.dashboard.drawing import Drawing, fitted
from busim.dashboard.looks import Look
from busim.protocol.values import RUDDER_FAULTS
from busim.rehearsal.shown import AlarmShown, DriveShown, RudderShown, Snapshot, StationShown

SLIDER: Final = 31
NAME: Final = 12
ALARMS: Final = 3
SHOWS_CONTROL: Final = (2, 8)
SHOWS_OTHER: Final = 3


def helm(snapshot: Snapshot, choice: Choice, look: Look, wide: int, high: int) -> Drawing:
    """Where it is too low for every station in full, those that are not chosen take a line each, as many of them as need be."""
    drawing = Drawing()
    way = labels.WAY.format(knots=f"{snapshot.knots:.1f}", metres=f"{snapshot.run_m:.0f}")
    drawing.put((labels.HELM_HEAD, look.strong), (f"   {way}", look.plain))
    for drive in snapshot.drives:
        drawing.add(_drive(drive, look, wide))
    if snapshot.rudder is not None:
        _rudder(drawing, snapshot.rudder, look)
    whole = [_station(each, choice, look, chosen=number == choice.station) for number, each in enumerate(snapshot.stations)]
    room = high - len(drawing.lines)
    if sum(len(each.lines) + 1 for each in whole) <= room:
        for each in whole:
            drawing.gap()
            drawing.add(each)
        return drawing
    shown = [each if number == choice.station else _short(snapshot.stations[number], look) for number, each in enumerate(whole)]
    for number, each in enumerate(whole):
        if sum(len(other.lines) for other in shown) - len(shown[number].lines) + len(each.lines) <= room:
            shown[number] = each
    keep = len(drawing.lines) + sum(len(each.lines) for each in shown[: choice.station])
    for each in shown:
        drawing.add(each)
    return drawing.window(high, keep, look.quiet)


def _side(cdeg: int) -> str:
    if abs(cdeg) < 50:
        return labels.MIDSHIPS
    return labels.ANGLE.format(degrees=abs(cdeg) / 100, side=labels.STARBOARD if cdeg > 0 else labels.PORT)


def _drive(drive: DriveShown, look: Look, wide: int) -> Drawing:
    drawing = Drawing()
    style = look.alarm if drive.forced or drive.cut_by else look.plain
    words = labels.GEAR_WORDS
    gears = labels.DRIVE_GEARS.format(asked=words[drive.asked], sensed=words[drive.sensed], true=words[drive.true])
    engine = labels.DRIVE_ENGINE.format(throttle=drive.throttle / 10, rpm=drive.rpm) if drive.running else labels.ENGINE_OFF
    drawing.put((f"  {fitted(drive.name, NAME)}", look.strong), (f"{gears}  {engine}", style))
    obeys = labels.DRIVE_OBEYS.format(station=drive.station or labels.NOBODY, state=drive.state_words)
    drawing.put((" " * (NAME + 2), look.plain), (fitted(obeys, min(len(obeys), wide - NAME - 2)), style))
    return drawing


def _rudder(drawing: Drawing, rudder: RudderShown, look: Look) -> None:
    fault = labels.RUDDER_FAULT.format(words=dict(RUDDER_FAULTS).get(rudder.fault, rudder.fault)) if rudder.fault else ""
    station = rudder.station or labels.NOBODY
    words = labels.RUDDER_LINE.format(angle=_side(rudder.true), asked=_side(rudder.asked), station=station, fault=fault)
    drawing.put((f"  {words}", look.alarm if rudder.fault else look.plain))


def _shows(station: StationShown, look: Look) -> tuple[str, str]:
    """What its display says; and that it is unplugged."""
    words = labels.SHOWS.get(station.shows, "") if station.running else labels.SHOWS[0]
    style = look.good if station.shows in SHOWS_CONTROL else look.plain if station.shows == SHOWS_OTHER else look.warning
    if station.plugged is False:
        return f"{labels.UNPLUGGED}, {words}", look.warning
    return words, style


def _station(station: StationShown, choice: Choice, look: Look, *, chosen: bool) -> Drawing:
    drawing = Drawing()
    words, style = _shows(station, look)
    head = [(f"{mark(chosen)}{station.name}", look.chosen if chosen else look.strong), (f"  {words}", style)]
    if chosen and len(station.levers) > 1:
        lever = labels.ONE_LEVER.format(drive=station.levers[choice.lever - 1][0]) if choice.lever else labels.BOTH_LEVERS
        head.append((f"   {labels.LEVER_CHOSEN.format(levers=lever)}", look.quiet))
    drawing.put(*head)
    drawing.touch(0, len(station.name) + 1, "station", station.name)
    for number, (drive, permille) in enumerate(station.levers, 1):
        moves = chosen and choice.lever in (0, number)
        style = look.strong if moves else look.plain
        name = f" {mark(moves)}{fitted(drive, NAME)}"
        drawing.put((name, look.plain), (slider(permille), style), (f"  {at(permille)}", look.plain))
        drawing.touch(NAME + 2, NAME + 2 + SLIDER, "lever", station.name, drive, slides=True)
    if station.wheel is not None:
        parts = ((f"  {fitted(labels.WHEEL, NAME)}", look.plain), (slider(station.wheel), look.strong if chosen else look.plain))
        drawing.put(*parts, (f"  {wheel_at(station.wheel)}", look.plain))
        drawing.touch(NAME + 2, NAME + 2 + SLIDER, "wheel", station.name, slides=True)
    _buttons(drawing, station, look, chosen=chosen)
    for alarm in station.alarms[:ALARMS]:
        drawing.put((f"  ! {alarm_words(alarm)}", look.warning))
    if len(station.alarms) > ALARMS:
        drawing.put((f"  ! {labels.MORE_ALARMS.format(count=len(station.alarms) - ALARMS)}", look.warning))
    return drawing


def _buttons(drawing: Drawing, station: StationShown, look: Look, *, chosen: bool) -> None:
    buttons: list[tuple[str, tuple[str, ...]]] = [(words, ("key", station.name, key)) for words, key in labels.BUTTONS]
    if station.plugged is not None:
        buttons.append((labels.PULL_PLUG if station.plugged else labels.PUT_PLUG, ("plug", station.node)))
    parts, left, touched = [("  ", look.plain)], 2, []
    for words, what in buttons:
        # Keys act at the chosen station; a mouse at any.
        words = words if chosen else words.partition(" ")[2]
        parts += [(f"[{words}]", look.strong), (" ", look.plain)]
        touched.append((left, left + len(words) + 2, what))
        left += len(words) + 3
    drawing.put(*parts)
    for first, last, what in touched:
        drawing.touch(first, last, *what)


def _short(station: StationShown, look: Look) -> Drawing:
    drawing = Drawing()
    words, style = _shows(station, look)
    alarms = f"  ! {alarm_words(station.alarms[0])}" if station.alarms else ""
    levers = ", ".join(f"{drive} {at(permille)}" for drive, permille in station.levers)
    drawing.put((f" {station.name}", look.strong), (f"  {words}", style), (f"  {levers}", look.quiet), (alarms, look.warning))
    drawing.touch(0, len(station.name) + 1, "station", station.name)
    return drawing


def alarm_words(alarm: AlarmShown) -> str:
    under = labels.ALARM_UNDER.format(count=alarm.under) if alarm.under else ""
    return f"{labels.ALARM_PRIORITIES[alarm.priority]} {alarm.words}{labels.ALARM_STATES.get(alarm.state, '')}{under}"


def at(permille: int) -> str:
    if not permille:
        return labels.GEARS[0]
    return labels.LEVER_AT.format(gear=labels.GEARS[1 if permille > 0 else 2], percent=abs(permille) // 10)


def wheel_at(permille: int) -> str:
    if not permille:
        return labels.MIDSHIPS
    return labels.LEVER_AT.format(gear=labels.STARBOARD if permille > 0 else labels.PORT, percent=abs(permille) // 10)


def slider(permille: int) -> str:
    """A lever from full astern to full ahead (a wheel from port to starboard), and where it stands."""
    middle = SLIDER // 2
    marks = ["─"] * SLIDER
    marks[middle] = "┼"
    marks[middle + round(permille * middle / 1000)] = "█"
    return "".join(marks)
