"""Rules of zones, scenes and panels."""

from typing import Final

from busim.boat.checking import Check
from busim.boat.model import Control
from busim.boat.rules_helm import check_part
from busim.reading.tree import Loc

_NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "on": ("zones",),
    "off": ("zones",),
    "toggle": ("zones",),
    "level": ("zones", "level_permille"),
    "scene": ("scene",),
    "page": ("page",),
    "all_off": (),
}
_EVERY_NEED: Final = ("zones", "level_permille", "scene", "page")


def check_lights(check: Check) -> None:
    _check_zones(check)
    _check_scenes(check)
    _check_panels(check)


def _check_zones(check: Check) -> None:
    zones = check.boat.zones
    for name, zone in zones.items():
        check_part(check, ("zones", name, "node"), zone.node, "zone_driver", "zone")
        if zone.mains and zone.kind != "switched":
            line = check.line(("zones", name, "kind"))
            check.wrong(("zones", name, "mains"), f"mains light is switched, by a relay: {name} is {zone.kind}, line {line}")
    numbers = ((zone.number, ("zones", name, "number"), name) for name, zone in zones.items())
    check.once(numbers, lambda number, first: f"zone number {number} is already used by {first}")
    channels = (((zone.node, zone.channel), ("zones", name, "channel"), name) for name, zone in zones.items())
    check.once(channels, lambda output, first: f"channel {output[1]} of {output[0]} is already used by {first}")


def _check_scenes(check: Check) -> None:
    boat = check.boat
    numbers = ((scene.number, ("scenes", name, "number"), name) for name, scene in boat.scenes.items())
    check.once(numbers, lambda number, first: f"scene number {number} is already used by {first}")
    for name, scene in boat.scenes.items():
        loc = ("scenes", name, "levels")
        if not scene.levels:
            check.wrong(loc, f"the scene {name} has no zones")
        for zone, level in scene.levels.items():
            if check.known((*loc, zone), zone, boat.zones, "zone", is_key=True):
                _check_level(check, (*loc, zone), zone, level)


def _check_level(check: Check, loc: Loc, zone: str, level_permille: int) -> None:
    if check.boat.zones[zone].kind == "switched" and level_permille not in (0, 1000):
        line = check.line(("zones", zone, "kind"))
        check.wrong(loc, f"{zone} is switched, line {line}: its level is 0 or 1000, not {level_permille}")


def _check_panels(check: Check) -> None:
    joined = []
    for panel_name, panel in check.boat.panels.items():
        if not panel.pages:
            check.wrong(("panels", panel_name, "pages"), f"{panel_name} has no pages: at least one is needed")
        for page_name, page in panel.pages.items():
            loc = ("panels", panel_name, "pages", page_name)
            numbers = ((control.number, (*loc, name, "number"), name) for name, control in page.items())
            check.once(numbers, lambda number, first: f"number {number} is already used on this page by {first}")
            for name, control in page.items():
                _check_control(check, (*loc, name), panel_name, control)
                joined.append((f"{panel_name}_{page_name}_{name}", (*loc, name), f"{panel_name}.{page_name}.{name}"))
    check.once(joined, lambda name, first: f"in firmware panel, page and control are called {name} together, and so is {first}")


def _check_control(check: Check, loc: Loc, panel_name: str, control: Control) -> None:
    boat = check.boat
    panel = boat.panels[panel_name]
    needed = _NEEDS[control.does]
    for name in _EVERY_NEED:
        given = getattr(control, name) not in (None, ())
        if name in needed and not given:
            check.wrong_name(loc, f"does: {control.does} needs {name}")
        elif name not in needed and check.is_written((*loc, name)):
            check.wrong_name((*loc, name), f"does: {control.does} makes no use of {name}: take it out")
    check.all_known((*loc, "zones"), control.zones, boat.zones, "zone")
    for index, zone in enumerate(control.zones):
        if zone in boat.zones:
            check.share_a_bus((*loc, "zones", index), panel.node, boat.zones[zone].node, f"{panel_name} could not reach {zone}")
            if control.level_permille is not None:
                _check_level(check, (*loc, "level_permille"), zone, control.level_permille)
    if control.page is not None:
        check.known((*loc, "page"), control.page, panel.pages, "page")
    if control.scene is not None and check.known((*loc, "scene"), control.scene, boat.scenes, "scene"):
        drivers = {boat.zones[zone].node: zone for zone in boat.scenes[control.scene].levels if zone in boat.zones}
        for driver, zone in drivers.items():
            check.share_a_bus((*loc, "scene"), panel.node, driver, f"{panel_name} could not reach {zone} of this scene")
