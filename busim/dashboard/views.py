"""What each view shows of a snapshot, as drawings. Pure functions: the same snapshot and choice give the same drawing."""

from dataclasses import dataclass
from typing import Final

from busim import labels
from busim.dashboard.drawing import Drawing, fitted
from busim.dashboard.looks import Look, glow
from busim.rehearsal.snapshot import DriveShown, LightShown, NodeShown, PanelShown, Snapshot, StationShown
from busim.requirements.verdict import ACCEPTED, FAIL, INCONCLUSIVE, NOT_EXERCISED, Verdict
from busim.units import seconds_text

VIEWS: Final = ("boat", "helm", "bus", "faults", "verdicts")
MISSING_MS: Final = 350
SLIDER: Final = 31
GEAR_WORDS: Final = {None: "?", 0: "neutral", 1: "AHEAD", 2: "ASTERN", 3: "between"}


@dataclass(frozen=True)
class Choice:
    """What the user has picked: a station, a panel and one of its fields, a fault and where, a filter of frames."""

    station: int = 0
    panel: int = 0
    field: int = 0
    fault: int = 0
    place: int = 0
    filter: str = ""


# ------------------------------------------------------------------------------------------------ always there


def banner(snapshot: Snapshot, look: Look, wide: int) -> Drawing:
    """Who is in control, and whatever is forced: nobody can miss it."""
    drawing = Drawing()
    alarms = sum(len(station.alarms) for station in snapshot.stations)
    sounds = any(station.sounds for station in snapshot.stations)
    if snapshot.forced:
        drawing.put((fitted(f" {labels.BANNER_FORCED}", wide), look.alarm))
        for words in snapshot.forced:
            drawing.put((fitted(f"   {words}", wide), look.alarm))
    elif snapshot.drives and snapshot.divided:
        drawing.put((fitted(f" {labels.BANNER_DIVIDED}", wide), look.alarm))
    elif snapshot.drives and not snapshot.in_control:
        drawing.put((fitted(f" {labels.BANNER_NOBODY}", wide), look.alarm))
    else:
        drawing.put((fitted(f" {labels.BANNER_IN_CONTROL.format(station=snapshot.in_control)}", wide), look.good))
    if alarms or snapshot.faults:
        words = labels.BANNER_ALARMS.format(alarms=alarms, sounds=labels.SOUNDS if sounds else "", faults=len(snapshot.faults))
        drawing.put((fitted(f" {words}", wide), look.warning))
    return drawing


# ------------------------------------------------------------------------------------------------ boat


def boat(snapshot: Snapshot, choice: Choice, look: Look, wide: int) -> Drawing:
    drawing = Drawing()
    drawing.put((labels.LIGHTS_HEAD, look.strong))
    cell = 24
    across = max(wide // cell, 1)
    for first in range(0, len(snapshot.lights), across):
        parts = []
        for light in snapshot.lights[first : first + across]:
            parts += [(fitted(f" {light.name} {light_words(light)}", cell - 1), light_style(light, look)), (" ", look.plain)]
        drawing.put(*parts)
    for number, panel in enumerate(snapshot.panels):
        drawing.gap()
        drawing.add(_panel(panel, look, wide, chosen=choice.field if number == choice.panel else -1))
    return drawing


def light_words(light: LightShown) -> str:
    if not light.permille:
        return labels.DARK
    return labels.LIT if light.permille == 1000 else f"{light.permille / 10:.0f} %"


def light_style(light: LightShown, look: Look) -> str:
    return glow(look, light.permille, light.rgb) if light.permille else look.quiet


def _panel(panel: PanelShown, look: Look, wide: int, chosen: int) -> Drawing:
    drawing = Drawing()
    words = panel.page if panel.running else labels.PANEL_DARK
    drawing.put((f"{panel.name}", look.chosen if chosen >= 0 else look.strong), (f"  {words}", look.plain))
    if not panel.running:
        return drawing
    cell = 22
    across = max((wide - 2) // cell, 1)
    for first in range(0, len(panel.fields), across):
        parts = [("  ", look.plain)]
        for number, field in enumerate(panel.fields[first : first + across], first):
            state = labels.FIELDS[field.state] if field.state else ""
            style = look.chosen if number == chosen else _field_style(field.state, look)
            parts += [(fitted(f"[{field.name}] {state}", cell - 1), style), (" ", look.plain)]
        drawing.put(*parts)
        for number in range(first, min(first + across, len(panel.fields))):
            left = 2 + (number - first) * cell
            drawing.touch(left, left + cell - 1, "touch", panel.name, panel.fields[number].name)
    return drawing


def _field_style(state: int, look: Look) -> str:
    return {1: look.quiet, 2: look.good, 3: look.alarm, 4: look.warning}.get(state, look.plain)


# ------------------------------------------------------------------------------------------------ helm


def helm(snapshot: Snapshot, choice: Choice, look: Look, wide: int) -> Drawing:
    drawing = Drawing()
    way = labels.WAY.format(knots=f"{snapshot.knots:.1f}", metres=f"{snapshot.run_m:.0f}")
    drawing.put((labels.HELM_HEAD, look.strong), (f"   {way}", look.plain))
    for drive in snapshot.drives:
        drawing.add(_drive(drive, look))
    if snapshot.rudder is not None:
        station, asked, true, fault = snapshot.rudder
        words = labels.RUDDER_LINE.format(
            angle=_side(true), asked=_side(asked), station=station or labels.NOBODY, fault=labels.RUDDER_FAULT if fault else ""
        )
        drawing.put((f"  {words}", look.alarm if fault else look.plain))
    for number, station_shown in enumerate(snapshot.stations):
        drawing.gap()
        drawing.add(_station(station_shown, look, chosen=number == choice.station))
    return drawing


def _side(cdeg: int) -> str:
    if abs(cdeg) < 50:
        return labels.MIDSHIPS
    return f"{abs(cdeg) / 100:.0f}° {labels.STARBOARD if cdeg > 0 else labels.PORT}"


def _drive(drive: DriveShown, look: Look) -> Drawing:
    drawing = Drawing()
    style = look.alarm if drive.forced else look.plain
    gears = labels.DRIVE_GEARS.format(asked=GEAR_WORDS[drive.asked], sensed=GEAR_WORDS[drive.sensed], true=GEAR_WORDS[drive.true])
    engine = f"{drive.rpm} rpm" if drive.running else labels.ENGINE_OFF
    drawing.put((f"  {fitted(drive.name, 12)}", look.strong), (f"{gears}   {drive.throttle / 10:3.0f} %   {engine}", style))
    obeys = labels.DRIVE_OBEYS.format(station=drive.station or labels.NOBODY, state=drive.state_words)
    drawing.put((f"  {'':12}{obeys}", style))
    return drawing


def _station(station: StationShown, look: Look, *, chosen: bool) -> Drawing:
    drawing = Drawing()
    shows = labels.SHOWS.get(station.shows, "") if station.running else labels.SHOWS[0]
    style = look.good if station.shows == 2 else look.plain if station.shows == 3 else look.warning
    drawing.put((station.name, look.chosen if chosen else look.strong), (f"  {shows}", style))
    drawing.touch(0, len(station.name), "station", station.name)
    for drive, permille in station.levers:
        words = labels.GEARS[0] if not permille else f"{labels.GEARS[1 if permille > 0 else 2]} {abs(permille) // 10} %"
        drawing.put((f"  {fitted(drive, 12)}", look.plain), (slider(permille), look.strong), (f"  {words}", look.plain))
        drawing.touch(14, 14 + SLIDER, "lever", station.name, drive, slides=True)
    if station.wheel is not None:
        side = labels.MIDSHIPS if not station.wheel else labels.STARBOARD if station.wheel > 0 else labels.PORT
        drawing.put((f"  {fitted(labels.WHEEL, 12)}", look.plain), (slider(station.wheel), look.strong), (f"  {side}", look.plain))
        drawing.touch(14, 14 + SLIDER, "wheel", station.name, slides=True)
    keys = ((labels.KEY_TAKE, "take"), (labels.KEY_NEUTRAL, "neutral_now"), (labels.KEY_ACKNOWLEDGE, "acknowledge"))
    column, parts = 2, [("  ", look.plain)]
    for words, _ in keys:
        parts += [(f"[{words}]", look.strong), (" ", look.plain)]
    drawing.put(*parts)
    for words, key in keys:
        drawing.touch(column, column + len(words) + 2, "key", station.name, key)
        column += len(words) + 3
    for alarm in station.alarms[:3]:
        drawing.put((f"  ! {alarm}", look.warning))
    if len(station.alarms) > 3:
        drawing.put((f"  ! {labels.MORE_ALARMS.format(count=len(station.alarms) - 3)}", look.warning))
    return drawing


def slider(permille: int) -> str:
    """A lever from full astern to full ahead (a wheel from port to starboard), and where it stands."""
    middle = SLIDER // 2
    place = middle + round(permille * middle / 1000)
    marks = ["-"] * SLIDER
    marks[middle] = "|"
    marks[place] = "#"
    return "".join(marks)


# ------------------------------------------------------------------------------------------------ bus


def nodes(snapshot: Snapshot, look: Look) -> Drawing:
    drawing = Drawing()
    drawing.put((labels.NODES_HEAD, look.strong))
    for node in snapshot.nodes:
        words, style = node_words(node, look)
        errors = "  ".join(
            f"{bus}: {labels.CONTROLLER_STATES[state]} {labels.COUNTS.format(tec=tec, rec=rec)}"
            for bus, state, tec, rec in node.errors
            if state
        )
        drawing.put((f"  {fitted(node.name, 18)}", look.plain), (fitted(words, 26), style), (errors, look.warning))
    return drawing


def node_words(node: NodeShown, look: Look) -> tuple[str, str]:
    """Heartbeat age, running toward its limit."""
    if node.age_ms is None:
        return labels.NEVER_HEARD, look.warning
    filled = min(node.age_ms * 10 // MISSING_MS, 10)
    bar = "=" * filled + "." * (10 - filled)
    if node.age_ms >= MISSING_MS:
        return f"{bar} {labels.SILENT_FOR.format(seconds=f'{node.age_ms / 1000:.1f}')}", look.alarm
    return f"{bar} {node.age_ms} ms", look.plain


def bus(snapshot: Snapshot, choice: Choice, look: Look, high: int) -> Drawing:
    drawing = nodes(snapshot, look)
    drawing.gap()
    for name, frames, load in snapshot.load:
        drawing.put((f"{fitted(name, 14)}", look.strong), (labels.LOAD.format(frames=frames, load=f"{load / 10:.0f}"), look.plain))
    drawing.gap()
    found = [frame for frame in snapshot.frames if choice.filter in f"{frame.bus} {frame.sender} {frame.message}"]
    head = labels.FRAMES_HEAD + (labels.FILTERED.format(filter=choice.filter) if choice.filter else "")
    drawing.put((head, look.strong))
    for frame in found[-max(high - len(drawing.lines), 3) :]:
        where = f"{seconds_text(frame.at_ns):>9} {fitted(frame.bus, 12)} {frame.can_id:03X}"
        drawing.put((f"{where} {fitted(frame.sender, 16)} {fitted(frame.message, 13)} ", look.plain), (frame.words, look.quiet))
    return drawing


# ------------------------------------------------------------------------------------------------ faults and verdicts


def faults(snapshot: Snapshot, names: list[tuple[str, str]], places: list[str], choice: Choice, look: Look, high: int) -> Drawing:
    """`names`: (fault, what it is); `places`: where the chosen one can be on this boat."""
    drawing = Drawing()
    drawing.put((labels.FAULTS_ON, look.strong))
    if not snapshot.faults:
        drawing.put((f"  {labels.NONE_ON}", look.quiet))
    for number, name, words in snapshot.faults:
        drawing.put((f"  {name}: {words} ", look.warning), (f"[{labels.MEND}]", look.strong))
        left = 2 + len(f"{name}: {words} ")
        drawing.touch(left, left + len(labels.MEND) + 2, "mend", number)
    drawing.gap()
    drawing.put((labels.FAULTS_HEAD, look.strong))
    room = max(high - len(drawing.lines) - 1, 4)
    left_side, right_side = Drawing(), Drawing()
    first = max(0, min(choice.fault - room // 2, len(names) - room))
    for number, (name, _) in enumerate(names[first : first + room], first):
        left_side.put((fitted(f" {name}", 24), look.chosen if number == choice.fault else look.plain))
        left_side.touch(0, 24, "fault", number)
    right_side.put((names[choice.fault][1], look.strong))
    first = max(0, min(choice.place - (room - 2) // 2, len(places) - room + 2))
    for number, place in enumerate(places[first : first + room - 2], first):
        right_side.put((f" {place}", look.chosen if number == choice.place else look.plain))
        right_side.touch(0, 40, "place", number)
    if not places:
        right_side.put((f" {labels.NO_PLACE}", look.quiet))
    drawing.add(left_side.beside(right_side, 26))
    return drawing


def verdicts(found: list[Verdict], look: Look, wide: int) -> Drawing:
    drawing = Drawing()
    drawing.put((labels.VERDICTS_HEAD, look.strong))
    order = {FAIL: 0, INCONCLUSIVE: 1, ACCEPTED: 2, NOT_EXERCISED: 4}
    styles = {FAIL: look.alarm, INCONCLUSIVE: look.warning, ACCEPTED: look.warning, NOT_EXERCISED: look.quiet}
    for verdict in sorted(found, key=lambda each: (order.get(each.verdict, 3), each.id)):
        style = styles.get(verdict.verdict, look.good)
        measured = "" if verdict.measured is None else f"{verdict.measured:,} {verdict.unit}"
        limit = "" if verdict.limit is None else labels.OF_LIMIT.format(limit=f"{verdict.limit:,} {verdict.unit}")
        start = f"{fitted(verdict.id, 28)} {fitted(verdict.verdict, 21)}"
        drawing.put((start, style), (fitted(f" {measured}{limit}  {verdict.evidence}", max(wide - len(start), 10)), look.plain))
    return drawing


def help_page(look: Look) -> Drawing:
    drawing = Drawing()
    for keys, words in labels.KEYS_OF_THE_SCREEN.items():
        drawing.put((fitted(f"  {keys}", 22), look.strong), (words, look.plain))
    drawing.gap()
    for words in labels.HELP_WORDS:
        drawing.put((f"  {words}", look.plain))
    return drawing
