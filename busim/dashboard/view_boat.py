"""The boat: her lights on the plan, and the panels page by page as the crew has them."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import Choice, mark
from busim.dashboard.drawing import Drawing, fitted
from busim.dashboard.looks import Look, glow
from busim.dashboard.plan import level_words, plan
from busim.rehearsal.shown import FieldShown, LightShown, PanelShown, Snapshot

FIELD: Final = 24
PANEL_LINES: Final = 5
"""A panel with eight fields on 80 columns takes so many."""


def boat(snapshot: Snapshot, choice: Choice, look: Look, wide: int, high: int, *, active: bool) -> Drawing:
    """`active`: keys act here. Where it is too low for every panel, only the chosen one is drawn, and the others named."""
    drawing = lights(snapshot.lights, look, wide, max(high - PANEL_LINES, 4))
    panels = [
        _panel(panel, look, wide, choice.field if number == choice.panel and active else -1, number == choice.panel)
        for number, panel in enumerate(snapshot.panels)
    ]
    room = high - len(drawing.lines)
    if sum(len(panel.lines) + 1 for panel in panels) + 1 <= room:
        for panel in panels:
            drawing.gap()
            drawing.add(panel)
        return drawing
    if panels:
        drawing.add(panels[min(choice.panel, len(panels) - 1)])
        _others(drawing, snapshot, choice, look)
    return drawing


def lights(shown: tuple[LightShown, ...], look: Look, wide: int, high: int, chosen: str = "") -> Drawing:
    """The plan with its head, and the navigation lights in a line."""
    drawing = Drawing()
    zones = tuple(light for light in shown if light.kind != "navigation")
    navigation = [light for light in shown if light.kind == "navigation"]
    if not shown:
        drawing.put((labels.NO_LIGHTS, look.quiet))
        return drawing
    unplaced = zones and not any(light.on_board for light in zones)
    drawing.put((labels.PLAN_HEAD, look.strong), (f"   {labels.UNPLACED}" if unplaced else "", look.quiet))
    if zones:
        drawing.add(plan(zones, look, wide, high - 1 - bool(navigation), chosen))
    if navigation:
        lit = [light for light in navigation if light.permille]
        dark = [_short(light.name) for light in navigation if not light.permille]
        parts = [(f" {labels.NAVIGATION_LIT} ", look.plain)]
        for light in lit:
            parts += [(f" {_short(light.name)} ", glow(look, light.permille, light.rgb)), (" ", look.plain)]
        parts.append((labels.NONE_LIT if not lit else "", look.quiet))
        parts.append((f"  {labels.NAVIGATION_DARK} {', '.join(dark)}" if dark else "", look.quiet))
        drawing.put(*parts)
    return drawing


def _short(name: str) -> str:
    return name.removesuffix("_lights").removesuffix("_light")


def _panel(panel: PanelShown, look: Look, wide: int, chosen: int, picked: bool) -> Drawing:
    drawing = Drawing()
    page = labels.PANEL_PAGE.format(page=panel.page) if panel.running else labels.PANEL_DARK
    head = [(f"{mark(picked)}{panel.name}", look.strong), (f"  {page}", look.plain)]
    drawing.put(*head, *([(f"   {labels.PANEL_KEYS}", look.quiet)] if chosen >= 0 else []))
    drawing.touch(0, 1 + len(panel.name), "panel", panel.name)
    if not panel.running:
        return drawing
    across = fields_across(wide)
    for first in range(0, len(panel.fields), across):
        parts = [("  ", look.plain)]
        shown = panel.fields[first : first + across]
        for number, field in enumerate(shown, first):
            style = look.chosen if number == chosen else _style(field, look)
            parts += [(fitted(f"{mark(number == chosen)}[{field.name}] {_state(field)}", FIELD - 1), style), (" ", look.plain)]
        drawing.put(*parts)
        for place, field in enumerate(shown):
            drawing.touch(2 + place * FIELD, 1 + (place + 1) * FIELD, "touch", panel.name, field.name)
    return drawing


def fields_across(wide: int) -> int:
    return min(max((wide - 2) // FIELD, 1), 4)


def _state(field: FieldShown) -> str:
    """What its display shows; while that is nothing, what a touch does."""
    return labels.FIELDS[field.state] if field.state else labels.DOES.get(field.does, field.does)


def _style(field: FieldShown, look: Look) -> str:
    return {1: look.quiet, 2: look.good, 3: look.alarm, 4: look.warning}.get(field.state, look.plain)


def _others(drawing: Drawing, snapshot: Snapshot, choice: Choice, look: Look) -> None:
    names = [panel.name for number, panel in enumerate(snapshot.panels) if number != choice.panel]
    if not names:
        return
    drawing.put((f" {labels.PANELS_OTHER.format(names=', '.join(names))}", look.quiet))
    left = 1 + labels.PANELS_OTHER.index("{")
    for name in names:
        drawing.touch(left, left + len(name), "panel", name)
        left += len(name) + 2


def table(lights_set: tuple[LightShown, ...], begun: str, choice: Choice, look: Look, wide: int, high: int) -> Drawing:
    """The scene table: levels as set by hand, on the plan."""
    drawing = Drawing()
    drawing.put((labels.TABLE_HEAD, look.warning))
    drawing.put((f" {begun}", look.quiet))
    light = lights_set[choice.zone]
    words = labels.TABLE_ZONE.format(zone=light.name, level=level_words(light))
    drawing.put((f" {words}", look.chosen))
    drawing.add(lights(lights_set, look, wide, high - 3, light.name))
    return drawing
