"""The plan: by which buses a node says what; fingerprints, what they depend on and what they do not."""

import json
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.protocol.plan import ControlPlan, DrivePlan, PanelPlan, StationPlan, Timing, WirePlan, ZonePlan

BOAT = shipped_folder() / "first_boat"
LIGHTING_TIMING = {"zone_ms", "press_repeat_ms", "press_failed_ms"}


@pytest.fixture(scope="module")
def plan() -> WirePlan:
    return load_boat(BOAT).plan


def other(value: Any) -> Any:
    """The same kind of value, another one."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, tuple):
        return (*value, 9)
    return value + "x" if isinstance(value, str) else value + 1


def names(kind: type, *left_out: str) -> list[str]:
    return [field.name for field in fields(kind) if field.name not in left_out]


@pytest.mark.parametrize(
    ("members", "helm", "every"),
    [
        ([(1, 2, 20), (1, 20, 21)], (0,), (0, 1)),
        ([(1, 2, 20), (1, 2, 21)], (0, 1), (0, 1)),
        ([(20, 21), (2, 15, 1)], (1,), (1,)),
        ([(1, 20), (1, 16, 62)], (0, 1), (0, 1)),
        ([(2, 20), (3, 21)], (), ()),
    ],
    ids=["one for lights", "a pair", "only one", "no other helm node", "on none"],
)
def test_helm_messages_go_where_another_helm_node_is(
    plan: WirePlan, members: list[tuple[int, ...]], helm: tuple[int, ...], every: tuple[int, ...]
) -> None:
    nodes = tuple((address, f"node_{address}", "station") for address in sorted({each for bus in members for each in bus}))
    buses = tuple((f"bus_{number}", 250_000, each) for number, each in enumerate(members))
    changed = replace(plan, nodes=nodes, buses=buses)
    assert changed.helm_buses_of(1) == helm
    assert changed.buses_of(1) == every
    for code in range(32):
        apart = code in (0, 1, 2, 4, 5, 6, 8, 9, 12, 13, 15)
        assert changed.buses_for(code * 64 + 1) == (helm if apart else every), code


def fingerprints(plan: WirePlan) -> tuple[int, int]:
    return plan.helm_fingerprint, plan.lighting_fingerprint


def varied(plan: WirePlan, part: str, name: str) -> WirePlan:
    """The plan with one value of its first station, drive, zone or panel another."""
    first, *rest = getattr(plan, part)
    return replace(plan, **{part: (replace(first, **{name: other(getattr(first, name))}), *rest)})


@pytest.mark.parametrize("name", names(Timing))
def test_each_timing_value(plan: WirePlan, name: str) -> None:
    """A value of time is the helm's or the lights', never both: a slower panel must not stop the helm."""
    helm, lighting = fingerprints(plan)
    changed = replace(plan, timing=replace(plan.timing, **{name: getattr(plan.timing, name) + 1}))
    is_lighting = name in LIGHTING_TIMING
    assert (changed.helm_fingerprint != helm, changed.lighting_fingerprint != lighting) == (not is_lighting, is_lighting)


@pytest.mark.parametrize(
    ("part", "name"),
    [*(("stations", name) for name in names(StationPlan, "name")), *(("drives", name) for name in names(DrivePlan, "name"))],
)
def test_each_value_of_the_helm(plan: WirePlan, part: str, name: str) -> None:
    helm, lighting = fingerprints(plan)
    changed = varied(plan, part, name)
    assert changed.helm_fingerprint != helm
    assert changed.lighting_fingerprint == lighting


@pytest.mark.parametrize(
    ("part", "name"),
    [*(("zones", name) for name in names(ZonePlan, "name")), *(("panels", name) for name in names(PanelPlan, "controls", "name"))],
)
def test_each_value_of_the_lights(plan: WirePlan, part: str, name: str) -> None:
    helm, lighting = fingerprints(plan)
    changed = varied(plan, part, name)
    assert changed.helm_fingerprint == helm
    assert changed.lighting_fingerprint != lighting


@pytest.mark.parametrize("name", names(ControlPlan, "name"))
def test_each_value_of_a_control(plan: WirePlan, name: str) -> None:
    helm, lighting = fingerprints(plan)
    panel = plan.panels[0]
    control = replace(panel.controls[0], **{name: other(getattr(panel.controls[0], name))})
    changed = replace(plan, panels=(replace(panel, controls=(control, *panel.controls[1:])),))
    assert changed.helm_fingerprint == helm
    assert changed.lighting_fingerprint != lighting


@pytest.mark.parametrize("part", ["stations", "drives", "zones", "panels"])
def test_what_a_thing_is_called_asks_for_no_new_firmware(plan: WirePlan, part: str) -> None:
    assert fingerprints(varied(plan, part, "name")) == fingerprints(plan)


@pytest.mark.parametrize("part", ["stations", "drives", "zones", "panels"])
def test_one_more_and_one_less(plan: WirePlan, part: str) -> None:
    parts = getattr(plan, part)
    is_helm = part in ("stations", "drives")
    for changed in (replace(plan, **{part: ()}), replace(plan, **{part: (*parts, replace(parts[0], name="second"))})):
        assert (changed.helm_fingerprint != plan.helm_fingerprint) == is_helm
        assert (changed.lighting_fingerprint != plan.lighting_fingerprint) != is_helm


def test_they_are_16_bits_and_never_the_value_for_not_known(plan: WirePlan) -> None:
    for extra in range(300):
        changed = replace(plan, timing=replace(plan.timing, lever_ms=extra, zone_ms=extra))
        assert all(1 <= fingerprint <= 0xFFFF for fingerprint in fingerprints(changed))


# ------------------------------------------------------------------------------------------------ over values, not text


def tree() -> dict[str, Any]:
    """The first boat with a second station, zone and control, so that there is an order to change."""
    tree = YAML(typ="safe").load((BOAT / "boat.yaml").read_text(encoding="utf-8"))
    tree["nodes"]["cockpit"] = {**tree["nodes"]["wheelhouse"], "address": 3, "taps": {"main": {"at_m": 6}}}
    tree["stations"]["cockpit"] = {"node": "cockpit", "may_take": ["engine"]}
    tree["zones"]["berth_lamp"] = {"number": 2, "node": "lamp_driver", "channel": 2, "kind": "switched"}
    tree["panels"]["companionway"]["pages"]["steps"]["all"] = {
        "number": 2,
        "does": "on",
        "zones": ["cabin_lamp", "berth_lamp"],
    }
    return tree


def reversed_order(value: Any) -> Any:
    """Every mapping of the tree from back to front, and the zones of controls."""
    if isinstance(value, dict):
        return {
            key: each[::-1] if key == "zones" and isinstance(each, list) else reversed_order(each)
            for key, each in reversed(value.items())
        }
    return value


def load(folder: Path, tree: dict[str, Any]) -> WirePlan:
    (folder / "boat.yaml").write_text(json.dumps(tree, indent=1), encoding="utf-8")
    return load_boat(folder).plan


def written_out(tree: dict[str, Any]) -> dict[str, Any]:
    """Defaults that the first boat leaves out, written as they are."""
    tree["timing"] |= {"max_gap": 3, "age_max_ms": 300, "zone_ms": 1000}
    tree["zones"]["cabin_lamp"]["lit_after_reset"] = False
    tree["stations"]["cockpit"]["lever_low_permille"] = 100
    return tree


def rewired(tree: dict[str, Any]) -> dict[str, Any]:
    """Wiring is not what firmware is built with."""
    tree["buses"]["main"]["trunk_m"] = 14
    tree["nodes"]["engine_room"]["taps"]["main"]["at_m"] = 10
    return tree


@pytest.mark.parametrize("change", [reversed_order, written_out, rewired], ids=lambda change: change.__name__)
def test_the_same_values_have_the_same_fingerprints(
    tmp_path: Path, change: Callable[[dict[str, Any]], dict[str, Any]]
) -> None:
    before, after = load(tmp_path, tree()), load(tmp_path, change(tree()))
    assert fingerprints(after) == fingerprints(before)
    assert (after.nodes, after.stations, after.drives, after.zones, after.panels) == (
        before.nodes,
        before.stations,
        before.drives,
        before.zones,
        before.panels,
    )


def test_comments_and_layout_do_not_matter(tmp_path: Path, plan: WirePlan) -> None:
    without_comments = YAML(typ="safe").load((BOAT / "boat.yaml").read_text(encoding="utf-8"))
    assert load(tmp_path, without_comments) == plan


def test_who_is_where(plan: WirePlan) -> None:
    assert plan.station_at(1).name == "wheelhouse"
    assert plan.drive_at(2).name == "engine"
    assert plan.panel_at(20).name == "companionway"
    assert [zone.name for zone in plan.zones_of(21)] == ["cabin_lamp"]
    assert plan.zones_of(20) == ()
    assert plan.buses_of(2) == (0,)
    assert plan.buses_of(5) == ()
