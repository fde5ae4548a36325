"""What follows from a boat file: limits from distance, values filled in, findings, and the plan its nodes are built with.

Expected numbers are worked out beside the checks, from the design's formulas (s. 5) or from the source named there.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.boat.derive import (
    ActuatorStroke,
    BoardValues,
    actuator_of,
    board_of,
    distance_limit_ms,
    limits_of,
    shift_rpm_of,
    turning_diameter_of,
)
from busim.boat.findings import RECOMMENDED, findings, not_simulated
from busim.boat.load import LoadedBoat, load_boat
from busim.boat.model import Boat
from busim.boat.shipped import shipped_folder

Edit = tuple[str, str]
Edited = Callable[..., Any]


@pytest.fixture(scope="module")
def first_boat() -> LoadedBoat:
    return load_boat(shipped_folder() / "first_boat")


def boat_that_runs(metres: float, knots: float) -> Boat:
    return Boat(name="x", waterline_m=10, mass_kg=5000, docking_speed_kn=knots, max_run_m=metres)


# -- Limits ----------------------------------------------------------------------------------------------------------------


def test_the_first_boats_limit_is_the_one_in_the_design() -> None:
    assert distance_limit_ms(boat_that_runs(4, 3)) == 2592


@pytest.mark.parametrize(("knots", "metres", "milliseconds"), [(3, 0.772, 500), (8, 4.116, 1000)])
def test_published_distances_take_their_times(knots: float, metres: float, milliseconds: int) -> None:
    # reference-values: 3 kn for 0.5 s is 0.772 m; 8 kn for 1 s is 4.116 m. Rounded to 1 mm there, so to 0.25 ms at 3 kn.
    assert distance_limit_ms(boat_that_runs(metres, knots)) == milliseconds


def test_one_knot_is_1852_metres_an_hour() -> None:
    # SI brochure, 8th edition, table 8 (from memory): one nautical mile is 1852 m, one knot one nautical mile an hour.
    assert distance_limit_ms(boat_that_runs(185.2, 1)) == 360_000


@given(metres=st.integers(1, 20_000), knots=st.integers(1, 150))
def test_the_limit_is_the_exact_quotient_to_half_a_millisecond(metres: int, knots: int) -> None:
    exact = Fraction(metres, 100) / (Fraction(knots, 10) * Fraction(1852, 3600)) * 1000
    assert abs(distance_limit_ms(boat_that_runs(metres / 100, knots / 10)) - exact) <= Fraction(1, 2) + Fraction(1, 10**6)


def test_limits_of_the_first_boat(first_boat: LoadedBoat) -> None:
    limits = limits_of(first_boat.boat, first_boat.boat.drives["engine"])
    assert limits.distance_ms == limits.loss_to_neutral_ms == 2592
    assert limits.half_shift_ms == 875  # 35 mm at 40 mm/s
    assert limits.full_throttle_ms == 1400  # 70 mm at 50 mm/s
    assert limits.idle_wait_ms == 2592 - 250 - 875 - 20
    assert limits.loss_to_idle_ms == 250 + 1400 + 50


def test_limits_set_by_hand_are_in_force_and_the_derived_ones_still_known(edited: Edited) -> None:
    by_hand = "    loss_to_neutral_ms: 2000\n    idle_wait_ms: 700\n"
    boat = load_boat(edited(("    dwell_ms: 1000 ", by_hand + "    dwell_ms: 1000 ")).path)
    limits = limits_of(boat.boat, boat.boat.drives["engine"])
    assert (limits.distance_ms, limits.loss_to_neutral_ms) == (2592, 2000)
    assert (limits.derived_idle_wait_ms, limits.idle_wait_ms) == (2000 - 250 - 875 - 20, 700)
    assert boat.plan.drives[0].idle_wait_ms == 700


def test_the_slower_of_motor_and_spring_counts() -> None:
    assert ActuatorStroke(70, 40, "springs_to_neutral", 35).half_stroke_ms == 1000
    assert ActuatorStroke(70, 40, "springs_to_neutral", 400).half_stroke_ms == 875
    assert ActuatorStroke(70, 40, "stays", None).half_stroke_ms == 875


def test_times_round_up_but_a_whole_one_stays() -> None:
    assert ActuatorStroke(70, 30, "stays", None).full_stroke_ms == 2334  # 2333.3
    assert ActuatorStroke(0.7, 0.1, "stays", None).full_stroke_ms == 7000  # 0.7 / 0.1 is 6.999... in binary


def test_published_actuator_times() -> None:
    # reference-values: actuators of 35 to 50 mm/s take 1.6 to 2.3 s for full throttle to idle and then gear out. By hand:
    # 44.5 mm (SAE J961) and half of 70 mm (SAE J960) at 50 mm/s is 1.59 s, at 35 mm/s 2.27 s.
    for speed, seconds in ((50, 1.59), (35, 2.271)):
        throttle, shift = ActuatorStroke(44.5, speed, "stays", None), ActuatorStroke(70, speed, "stays", None)
        assert throttle.full_stroke_ms + shift.half_stroke_ms == pytest.approx(seconds * 1000, abs=2)


# -- Values filled in ------------------------------------------------------------------------------------------------------


def test_a_boards_values_come_from_the_node_then_its_type_then_the_default(edited: Edited) -> None:
    boat = load_boat(
        edited(
            ("      clock_ppm: 100 ", "      #"),
            ("    address: 2\n", "    address: 2\n    processing_us: 900\n    queue: first_in_first_out\n"),
        ).path
    ).boat
    assert board_of(boat, "engine_room") == BoardValues("first_in_first_out", 900, 100, 300, 200, "rejoin")
    assert board_of(boat, "wheelhouse") == BoardValues("priority", 200, 100, 300, 200, "rejoin")


def test_a_node_without_a_type_has_the_defaults(edited: Edited) -> None:
    boat = load_boat(edited(("    board: our_board\n  lamp_driver:", "  lamp_driver:")).path).boat
    assert board_of(boat, "companionway") == BoardValues("priority", 200, 100, 300, None, "rejoin")


def test_an_actuators_values_come_from_the_spot_then_its_type(edited: Edited) -> None:
    boat = load_boat(
        edited(
            ("    shift:\n      stroke_mm: 70 ", "    shift:\n      type: linear\n      #"),
            ("      spring_mm_s: 40 ", "      #"),
            ("\ntypes:\n", "\ntypes:\n  actuators:\n    linear: {stroke_mm: 80, speed_mm_s: 10, spring_mm_s: 25}\n"),
        ).path
    ).boat
    assert actuator_of(boat, boat.drives["engine"].shift) == ActuatorStroke(80, 40, "springs_to_neutral", 25)
    assert actuator_of(boat, boat.drives["engine"].throttle) == ActuatorStroke(70, 50, "stays", None)


def test_a_spring_without_a_speed_is_as_fast_as_the_motor(edited: Edited) -> None:
    boat = load_boat(edited(("      spring_mm_s: 40 ", "      #")).path).boat
    assert actuator_of(boat, boat.drives["engine"].shift).spring_mm_s == 40


def test_shift_rpm_is_a_quarter_above_idle_unless_written(edited: Edited) -> None:
    boat = load_boat(edited(("    shift_rpm: 1000 ", "    #"), ("idle_rpm: 800", "idle_rpm: 850")).path)
    assert shift_rpm_of(boat.boat.drives["engine"]) == boat.plan.drives[0].shift_rpm == 1062  # 1062.5, and not above it


def test_she_turns_in_three_and_a_half_waterlines_unless_written(edited: Edited, first_boat: LoadedBoat) -> None:
    # 3.5 waterlines hard over: common practice.
    assert turning_diameter_of(first_boat.boat) == 3.5 * first_boat.boat.boat.waterline_m
    boat = load_boat(edited(("  astern_share: ", "  turning_diameter_m: 24.5\n  astern_share: ")).path).boat
    assert turning_diameter_of(boat) == 24.5


# -- Plan ------------------------------------------------------------------------------------------------------------------


def test_the_plan_of_the_first_boat(first_boat: LoadedBoat) -> None:
    plan = first_boat.plan
    assert plan.nodes == (
        (1, "wheelhouse", "station"),
        (2, "engine_room", "drive"),
        (20, "companionway", "panel"),
        (21, "lamp_driver", "zone_driver"),
    )
    assert plan.buses == (("main", 250_000, (1, 20, 21, 2)),), "along the trunk"
    assert plan.station_at(1).drives == (1,)
    drive = plan.drive_at(2)
    assert (drive.name, drive.instance, drive.stations, drive.on_loss, drive.dwell_ms) == ("engine", 1, (1,), "neutral", 1000)
    assert (drive.idle_wait_ms, drive.shift_rpm, drive.shift_ms) == (1447, 1000, 875)
    assert (drive.has_neutral_switch, drive.has_engine_stop) == (True, True)
    (zone,) = plan.zones_of(21)
    assert (zone.name, zone.number, zone.channels, zone.kind, zone.lit_after_reset) == ("cabin_lamp", 1, (1,), "switched", False)
    (control,) = plan.panel_at(20).controls
    assert (control.name, control.number, control.page, control.action, control.zones) == ("lamp", 1, 0, "toggle", (1,))
    assert (control.scene, control.level_permille) == (0, 0)
    assert (plan.timing.lever_ms, plan.timing.control_timeout_ms, plan.timing.max_gap) == (20, 250, 3)


def test_order_and_written_defaults_change_no_plan(edited: Edited, first_boat: LoadedBoat) -> None:
    text = first_boat.document.text
    nodes = text[text.index("  wheelhouse:\n    kind") : text.index("  companionway:\n    kind")]
    moved = load_boat(
        edited((nodes, ""), ("# -- The helm", nodes + "# -- The helm"), ("\ntiming:\n", "\ntiming:\n  zone_ms: 1000\n")).path
    )
    assert list(moved.boat.nodes) != list(first_boat.boat.nodes)
    assert moved.plan == first_boat.plan
    assert moved.plan.helm_fingerprint == first_boat.plan.helm_fingerprint
    assert moved.plan.lighting_fingerprint == first_boat.plan.lighting_fingerprint


@pytest.mark.parametrize(
    ("edit", "helm", "lighting"),
    [
        (("control_timeout_ms: 250 ", "control_timeout_ms: 260 "), True, False),
        (("    channel: 1\n", "    channel: 2\n"), False, True),
        (("trunk_m: 12 ", "trunk_m: 12.5 "), False, False),
        (("name: Reed Bunting", "name: Other"), False, False),
    ],
)
def test_a_fingerprint_changes_with_what_it_covers(
    edited: Edited, first_boat: LoadedBoat, edit: Edit, helm: bool, lighting: bool
) -> None:
    plan = load_boat(edited(edit).path).plan
    assert (plan.helm_fingerprint != first_boat.plan.helm_fingerprint) is helm
    assert (plan.lighting_fingerprint != first_boat.plan.lighting_fingerprint) is lighting


# -- Findings --------------------------------------------------------------------------------------------------------------

FINDINGS = {
    "slow throttle": (
        # 70 mm at 48 mm/s is 1458.3 ms.
        [("    throttle:\n", "    §throttle:\n"), ("speed_mm_s: 50 ", "speed_mm_s: 48 ")],
        "throttle: its full stroke takes 1,459 ms, and after 1,447 ms the gear comes out all the same, "
        "with the throttle still open",
    ),
    "limit by hand": (
        [("    dwell_ms: 1000 ", "    loss_to_neutral_ms: §2593\n    dwell_ms: 1000 ")],
        "loss_to_neutral_ms: 2,593 ms set by hand is above the 2,592 ms in which she runs 4 m at 3 kn",
    ),
    "idle wait by hand": (
        [("    dwell_ms: 1000 ", "    idle_wait_ms: §1448\n    dwell_ms: 1000 ")],
        "idle_wait_ms: 1,448 ms set by hand is above the 1,447 ms that the limit of 2,592 ms leaves: "
        "the gear would be out too late",
    ),
    "no terminator": ([("    terminators_m: [0, 12] ", "    #"), ("  main:\n", "  §main:\n")],
        "main has 0 terminators: it needs exactly two of 120 ohm, one at each end"),
    "three terminators": ([("    terminators_m: [0, 12] ", "    §terminators_m: [0, 6, 12] ")],
        "main has 3 terminators: it needs exactly two of 120 ohm, one at each end"),
    "terminator short of the end": ([("    terminators_m: [0, 12] ", "    §terminators_m: [0, 11.4] ")],
        "main has its terminators at 0 and 11.4 m: they belong at its ends, 0 and 12 m"),
    "both at one end": ([("    terminators_m: [0, 12] ", "    §terminators_m: [0, 0] ")],
        "main has its terminators at 0 and 0 m: they belong at its ends, 0 and 12 m"),
    "long trunk": ([("trunk_m: 12 ", "trunk_m: §250.5 "), ("[0, 12]", "[0, 250.5]")],
        "main is 250.5 m long, more than the 250 m recommended at 250 kbit/s"),
    "long trunk at a rate without a recommendation": (
        [("trunk_m: 12 ", "trunk_m: §26 "), ("[0, 12]", "[0, 26]"), ("bit_rate: 250000", "bit_rate: 800000")],
        "main is 26 m long, more than the 25 m recommended at 1000 kbit/s, the nearest rate with a recommendation"),
    "long drop": ([("{at_m: 4, drop_m: 0.3}", "{at_m: 4, drop_m: §11.5}")],
        "the drop to lamp_driver is 11.5 m long, more than the 11 m recommended at 250 kbit/s"),
    "drops together": (
        # Each of the six is short enough by itself: 4 x 1.5 + 1.4 + 0.2 is 7.6 m.
        [("bit_rate: 250000", "bit_rate: 1000000"), ("  main:\n", "  §main:\n"),
         ("{at_m: 0.5, drop_m: 0.3}", "{at_m: 0.5, drop_m: 1.5}"), ("{at_m: 2.5, drop_m: 0.5}", "{at_m: 2.5, drop_m: 1.5}"),
         ("{at_m: 4, drop_m: 0.3}", "{at_m: 4, drop_m: 1.5}"), ("{at_m: 11, drop_m: 0.3}", "{at_m: 11, drop_m: 1.5}"),
         ("\nnodes:\n", "\nnodes:\n  mast: {kind: weather, address: 30, supply: house, taps: {main: {at_m: 8, drop_m: 1.4}}}\n"
                        "  bilge: {kind: weather, address: 31, supply: house, taps: {main: {at_m: 9, drop_m: 0.2}}}\n")],
        "the drops of main are 7.6 m together, more than the 7.5 m recommended at 1000 kbit/s"),
    "cutout and a gear that stays in": (
        [("    on_loss:\n      do: neutral", "    §on_loss:\n      do: idle"),
         ("\nnodes:\n", "\nnodes:\n  guard: {kind: cutout, address: 5, supply: apart, taps: {main: {at_m: 11.5}}}\n"),
         ("\nsupplies:\n", "\nsupplies:\n  apart: {nominal_v: 12, brown_out_v: 8}\n"),
         ("\ndrives:\n", "\ncutouts:\n  guard: {node: guard, drive: engine, cutout_ms: 500}\n\ndrives:\n")],
        "on_loss: engine is to stay in gear at idle, and guard stops its engine 3,092 ms after a loss: a gear that is in with "
        "nobody in control is what a cutout is for. Write neutral here, or take the cutout out"),
    "bus without nodes": ([("\nbuses:\n", "\nbuses:\n  §spare: {bit_rate: 250000, trunk_m: 5, terminators_m: [0, 5]}\n")],
        "no node is on spare"),
    "node alone on a bus": (
        [("\nbuses:\n", "\nbuses:\n  §spare: {bit_rate: 250000, trunk_m: 5, terminators_m: [0, 5]}\n"),
         ("{main: {at_m: 4, drop_m: 0.3}}", "{main: {at_m: 4, drop_m: 0.3}, spare: {at_m: 1}}")],
        "only lamp_driver is on spare, and nobody acknowledges what it sends"),
    "driver without zones": (
        [("\nnodes:\n", "\nnodes:\n  §second: {kind: zone_driver, address: 30, supply: house, taps: {main: {at_m: 8}}}\n")],
        "second feeds no zone"),
    "zone nobody lights": ([("zones:\n", "zones:\n  §deck: {number: 2, node: lamp_driver, channel: 2, kind: switched}\n")],
        "no panel lights deck"),
    "scene on no panel": ([("\npanels:\n", "\nscenes:\n  §night: {number: 1, levels: {cabin_lamp: 0}}\n\npanels:\n")],
        "no panel has the scene night"),
    "page that nothing leads to": (
        [("zones: [cabin_lamp]}\n", "zones: [cabin_lamp]}\n      §night:\n        out: {number: 1, does: all_off}\n")],
        "no control leads to the page night of companionway"),
    "nobody to relieve": (
        [("\nnodes:\n", "\nnodes:\n  cockpit: {kind: station, address: 3, supply: house, taps: {main: {at_m: 6}}}\n"
                         "  spare_engine: {kind: drive, address: 4, supply: house, taps: {main: {at_m: 10}}}\n"),
         ("\nstations:\n", "\nstations:\n  cockpit: {node: cockpit, may_take: [engine, §other]}\n"),
         ("\ndrives:\n", "\ndrives:\n  other: {node: spare_engine, instance: 2, idle_rpm: 800, full_rpm: 3200, "
                          "stop_without_bus: pull, throttle: {stroke_mm: 70, speed_mm_s: 50, without_power: stays}, "
                          "shift: {stroke_mm: 70, speed_mm_s: 40, without_power: stays}}\n")],
        "nobody can relieve cockpit of other: no other station may take it"),
    "nobody to relieve of the rudder": (
        [("\nnodes:\n", "\nnodes:\n  cockpit: {kind: station, address: 3, supply: house, taps: {main: {at_m: 6}}}\n"
                         "  steering: {kind: rudder, address: 4, supply: house, taps: {main: {at_m: 10}}}\n"),
         ("\nstations:\n", "\nstations:\n  cockpit: {node: cockpit, may_take: [engine], steers: §true}\n"),
         ("\ndrives:\n", "\nrudder: {node: steering, hard_over_deg: 35, speed_deg_s: 5}\n\ndrives:\n")],
        "nobody can relieve cockpit of the rudder: no other station steers"),
    "no limit while nobody steers": (
        [("\nnodes:\n", "\nnodes:\n  steering: {kind: rudder, address: 4, supply: house, taps: {main: {at_m: 10}}}\n"),
         ("may_take: [engine]\n", "may_take: [engine]\n    steers: true\n"),
         ("\ndrives:\n",
          "\nrudder: {node: steering, hard_over_deg: 35, speed_deg_s: 5, no_steer_permille: §1000}\n\ndrives:\n")],
        "no_steer_permille: 1000 is full throttle: nothing slows her while nobody steers"),
    "a plug among stations": (
        [("\nnodes:\n", "\nnodes:\n  hand_held: {kind: station, address: 3, supply: house, "
                         "taps: {§main: {at_m: 6, plug: true}}}\n"),
         ("\nstations:\n", "\nstations:\n  hand_held: {node: hand_held, may_take: [engine]}\n")],
        "hand_held can be unplugged and is on main with wheelhouse: a crushed plug takes them along"),
    "a navigation light nobody hears of": (
        [("\nbuses:\n", "\nbuses:\n  aloft: {bit_rate: 250000, trunk_m: 5, terminators_m: [0, 5]}\n"),
         ("{main: {at_m: 2.5, drop_m: 0.5}}", "{main: {at_m: 2.5, drop_m: 0.5}, aloft: {at_m: 1}}"),
         ("\nnodes:\n", "\nnodes:\n  mast: {kind: navigation, address: 40, supply: house, taps: {aloft: {at_m: 3}}}\n"),
         ("\npanels:\n",
          "\nnavigation_lights:\n  §masthead: {number: 1, node: mast, channel: 1, lit: [under_way]}\n\npanels:\n")],
        "masthead: no station and no alarm node is on a bus with mast: when its lamp or fuse fails, nobody is told"),
    "empty page": (
        [("zones: [cabin_lamp]}\n", "zones: [cabin_lamp]}\n"
                                    "        more: {number: 2, does: page, page: empty}\n      §empty: {}\n")],
        "the page empty of companionway has nothing on it"),
}  # fmt: skip


@pytest.mark.parametrize(("edits", "words"), FINDINGS.values(), ids=FINDINGS.keys())
def test_one_finding_at_its_place(edited: Edited, edits: Sequence[Edit], words: str) -> None:
    boat = edited(*edits)
    line, column = boat.place
    assert line > 0, "the edits mark no place"
    assert [str(problem) for problem in findings(load_boat(boat.path).document)] == [f"{boat.path}:{line}:{column}: {words}"]


def test_a_scene_on_a_page_that_nothing_leads_to_is_out_of_reach(edited: Edited) -> None:
    boat = edited(
        (
            "zones: [cabin_lamp]}\n",
            "zones: [cabin_lamp]}\n"
            "      low:\n"
            "        dark: {number: 1, does: scene, scene: night}\n"
            "        again: {number: 2, does: page, page: low}\n",
        ),
        ("\npanels:\n", "\nscenes:\n  night: {number: 1, levels: {cabin_lamp: 0}}\n\npanels:\n"),
    )
    words = [problem.words for problem in findings(load_boat(boat.path).document)]
    assert words == ["no panel has the scene night", "no control leads to the page low of companionway"]


def test_two_on_one_plug_is_a_finding_of_its_own(edited: Edited) -> None:
    boat = edited(
        ("{main: {at_m: 4, drop_m: 0.3}}", "{main: {at_m: 3, plug: true}}"),
        (
            "\nnodes:\n",
            "\nnodes:\n  chart_lamp: {kind: weather, address: 30, supply: house, taps: {main: {at_m: 3, plug: true}}}\n",
        ),
    )
    found = [problem.words for problem in findings(load_boat(boat.path).document)]
    assert "lamp_driver is on the plug of chart_lamp, at 3 m of main: one plug pulled takes both" in found
    assert len(found) == 3, "and each of the two takes the wheelhouse along"


BOTH = [
    ("\nbuses:\n", "\nbuses:\n  spare: {bit_rate: 250000, trunk_m: 12, terminators_m: [0, 12], twin_of: main}\n"),
    ("{at_m: 0.5, drop_m: 0.3}}", "{at_m: 0.5, drop_m: 0.3}, spare: {at_m: 0.5}}"),
    ("{at_m: 11, drop_m: 0.3}}", "{at_m: 11, drop_m: 0.3}, spare: {at_m: 11}}"),
]


def test_a_pair_on_one_supply_is_no_pair(edited: Edited) -> None:
    found = [problem.words for problem in findings(load_boat(edited(*BOTH).path).document)]
    assert found == ["everybody on main and spare hangs on the supply house: both buses are lost with it"]


def test_a_pair_on_two_supplies_with_somebody_on_one_bus_only(edited: Edited) -> None:
    second_supply = [
        ("\nsupplies:\n", "\nsupplies:\n  engine: {nominal_v: 12}\n"),
        ("{at_m: 11, drop_m: 0.3}}\n    supply: house", "{at_m: 11, drop_m: 0.3}, spare: {at_m: 11}}\n    supply: engine"),
    ]
    assert findings(load_boat(edited(*BOTH[:2], *second_supply).path).document) == []
    found = [problem.words for problem in findings(load_boat(edited(*BOTH[::2], *second_supply[:1]).path).document)]
    assert "wheelhouse is on main of the pair only: when that one is lost, spare does not reach it" in found


NO_FINDINGS = {
    "the first boat": [],
    "limits met exactly": [("    dwell_ms: 1000 ", "    loss_to_neutral_ms: 2592\n    idle_wait_ms: 1447\n    dwell_ms: 1000 ")],
    "as long as recommended": [("trunk_m: 12 ", "trunk_m: 250 "), ("[0, 12]", "[0, 250]")],
    "between two rates": [("trunk_m: 12 ", "trunk_m: 500 "), ("[0, 12]", "[0, 500]"), ("bit_rate: 250000", "bit_rate: 100000")],
    "below the slowest": [("trunk_m: 12 ", "trunk_m: 1000 "), ("[0, 12]", "[0, 1000]"), ("bit_rate: 250000", "bit_rate: 10000")],
    "terminators a hand short": [("[0, 12]", "[11.5, 0.5]")],
}


@pytest.mark.parametrize("edits", NO_FINDINGS.values(), ids=NO_FINDINGS.keys())
def test_what_is_as_it_should_be_is_no_finding(edited: Edited, edits: Sequence[Edit]) -> None:
    assert findings(load_boat(edited(*edits).path).document) == []


def test_recommended_lengths_are_the_published_ones() -> None:
    # CiA recommendations as tabulated in Lawrenz, CAN System Engineering, 2013, tables 4.1 and 4.2.
    assert {rate: (each.trunk_m, each.drop_m, each.all_drops_m) for rate, each in RECOMMENDED.items()} == {
        1_000_000: (25, 1.5, 7.5),
        500_000: (100, 5.5, 27.5),
        250_000: (250, 11, 55),
        125_000: (500, 22, 110),
        50_000: (1000, 55, 275),
    }


def test_what_is_not_simulated_is_said(edited: Edited) -> None:
    boat = load_boat(
        edited(
            ("\nbuses:\n", "\nbuses:\n  spare: {bit_rate: 250000, trunk_m: 5, twin_of: main, pluggable: true}\n"),
            ("{at_m: 2.5, drop_m: 0.5}", "{at_m: 2.5, drop_m: 0.5, plug: true}"),
            ("\nnodes:\n", "\nnodes:\n  steering: {kind: rudder, address: 4, supply: house, taps: {main: {at_m: 9}}}\n"),
            ("\ndrives:\n", "\nrudder: {node: steering, hard_over_deg: 35, speed_deg_s: 5}\n\ndrives:\n"),
            ("[engine]\n", "[engine]\n    steers: true\n"),
            ("    kind: switched\n", "    kind: dimmable\n"),
        ).path
    ).boat
    assert not_simulated(boat) == [
        f"validated, not simulated yet: {what}"
        for what in (
        )
    ]
