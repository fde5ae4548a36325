"""Rules of zones, scenes and panels."""

from typing import Final

from busim.boat.checking import Check
from busim.boat.derive import channels_of
from busim.boat.model import Control, Zone
from busim.boat.rules_helm import check_part
from busim.reading.tree import Loc

_NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "on": ("zones",),
    "off": ("zones",),
    "toggle": ("zones",),
    "level": ("zones", "level_permille"),
    "dim": ("zones",),
    "colour": ("zones", "colour"),
    "scene": ("scene",),
    "page": ("page",),
    "all_off": (),
    "condition": ("condition",),
}
_CHANNELS: Final[dict[str, tuple[str, ...]]] = {"tunable_white": ("warm", "cool"), "colour": ("red", "green", "blue")}
_EVERY_NEED: Final = ("zones", "level_permille", "colour", "scene", "page", "condition")


def check_lights(check: Check) -> None:
    _check_zones(check)
    _check_navigation(check)
    _check_scenes(check)
    _check_panels(check)


def _check_zones(check: Check) -> None:
    zones = check.boat.zones
    for name, zone in zones.items():
        check_part(check, ("zones", name, "node"), zone.node, "zone_driver", "zone")
        if zone.mains and zone.kind != "switched":
            line = check.line(("zones", name, "kind"))
            check.wrong(("zones", name, "mains"), f"mains light is switched, by a relay: {name} is {zone.kind}, line {line}")
        _check_channels(check, name, zone)
    numbers = ((zone.number, ("zones", name, "number"), name) for name, zone in zones.items())
    check.once(numbers, lambda number, first: f"zone number {number} is already used by {first}")
    used = [
        ((zone.node, channel), ("zones", name, "channel" if zone.channel is not None else "channels"), name)
        for name, zone in zones.items()
        for channel in channels_of(zone)
    ]
    used += [
        ((light.node, light.channel), ("navigation_lights", name, "channel"), name)
        for name, light in check.boat.navigation_lights.items()
    ]
    check.once(used, lambda output, first: f"channel {output[1]} of {output[0]} is already used by {first}")


def _check_channels(check: Check, name: str, zone: Zone) -> None:
    """As many outputs as its kind of light has, and each only once."""
    loc = ("zones", name)
    wanted = _CHANNELS.get(zone.kind)
    if wanted is None:
        if zone.channel is None:
            check.wrong_name(loc, f"channel is missing: the output of {zone.node} that feeds it")
        if zone.channels:
            check.wrong((*loc, "channels"), f"a {zone.kind} zone has one channel: write channel instead")
        return
    if zone.channel is not None:
        check.wrong((*loc, "channel"), f"a {zone.kind} zone has channels: {' and '.join(wanted)}")
    missing = [colour for colour in wanted if colour not in zone.channels]
    if missing:
        check.wrong_name(loc, f"channels is missing {', '.join(missing)}: a {zone.kind} zone has {', '.join(wanted)}")
    for colour in zone.channels:
        if colour not in wanted and not (zone.kind == "colour" and colour == "white"):
            check.wrong((*loc, "channels", colour), f"a {zone.kind} zone makes no use of {colour}")
    if zone.kind == "tunable_white" and zone.cool_k <= zone.warm_k:
        check.wrong_name(loc, f"cool_k, {zone.cool_k}, is not above warm_k, {zone.warm_k}")


def _check_navigation(check: Check) -> None:
    boat = check.boat
    for name, light in boat.navigation_lights.items():
        check_part(check, ("navigation_lights", name, "node"), light.node, "navigation", "navigation light")
    numbers = ((light.number, ("navigation_lights", name, "number"), name) for name, light in boat.navigation_lights.items())
    check.once(numbers, lambda number, first: f"navigation light number {number} is already used by {first}")
    for name in boat.navigation_lights:
        if name in boat.zones:
            check.wrong_name(("navigation_lights", name), f"a zone is called {name} too: each light has a name of its own")


def _check_colour(check: Check, loc: Loc, zone: str, colour: str) -> None:
    """Asked for what it has no channels for, a zone would stay as it is."""
    kind = check.boat.zones[zone].kind
    wanted = "colour" if colour.startswith("#") else "tunable_white"
    if kind not in (wanted, "colour"):
        line = check.line(("zones", zone, "kind"))
        check.wrong(loc, f"{zone} is {kind}, line {line}: it can't be lit {colour}")


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
        colours = ("scenes", name, "colours")
        for zone, colour in scene.colours.items():
            if check.known((*colours, zone), zone, boat.zones, "zone", is_key=True):
                _check_colour(check, (*colours, zone), zone, colour)
                if zone not in scene.levels:
                    check.wrong((*colours, zone), f"{zone} has a colour in {name} and no level")


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
            if control.colour is not None:
                _check_colour(check, (*loc, "colour"), zone, control.colour)
            if control.does == "dim" and boat.zones[zone].kind == "switched":
                check.wrong((*loc, "zones", index), f"{zone} is switched: it can't be dimmed")
    if control.page is not None:
        check.known((*loc, "page"), control.page, panel.pages, "page")
    if control.scene is not None and check.known((*loc, "scene"), control.scene, boat.scenes, "scene"):
        drivers = {boat.zones[zone].node: zone for zone in boat.scenes[control.scene].levels if zone in boat.zones}
        for driver, zone in drivers.items():
            check.share_a_bus((*loc, "scene"), panel.node, driver, f"{panel_name} could not reach {zone} of this scene")
