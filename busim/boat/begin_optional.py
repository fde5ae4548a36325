"""What a boat may have besides, as blocks of its file that are commented out, each with the question it unlocks.

Every block, and every set of blocks of one name, is valid once its # are gone: a test takes them away.
"""

from busim.boat.begin_layout import FIRST_CUTOUT_ADDRESS, PENDANT_ADDRESS, RUDDER_ADDRESS, Layout, PlacedNode
from busim.boat.begin_lines import Lines

PENDANT_TRUNK_M = 6
CUTOUT_BESIDE_M = 0.5


def cutout_name(drive: str) -> str:
    return f"{drive}_cutout"


def hull(page: Lines) -> None:
    page.option(
        0,
        "hull",
        "How fast is she at full throttle? Without it no run tells how many metres she went",
        [
            "hull:",
            ("  top_speed_kn: 7.5", "log, flat water, every engine at full"),
            ("  astern_share: 0.6", "a propeller shaped for ahead pulls less astern"),
        ],
    )


def buses(page: Lines, layout: Layout) -> None:
    page.option(
        2,
        "second_bus",
        "Shall one cut cable take nothing along? Without it each cut on the helm ends in neutral",
        [
            "second:",
            "  bit_rate: 250000",
            (f"  trunk_m: {layout.trunk_m:g}", "along the other side: what cuts one must not reach the other"),
            f"  terminators_m: [0, {layout.trunk_m:g}]",
            ("  twin_of: main", "the same frames go over both"),
        ],
    )
    page.option(
        2,
        "pendant",
        "Is she docked from a pendant on a plug? On its own bus a crushed cable spares the helm",
        [
            "pendant_bus:",
            "  bit_rate: 250000",
            (f"  trunk_m: {PENDANT_TRUNK_M}", "from the engine nodes to the socket"),
            (f"  terminators_m: [0, {PENDANT_TRUNK_M}]", "the second at the socket, and not in the pendant"),
            "  pluggable: true",
        ],
    )


def supplies(page: Lines) -> None:
    page.option(
        2,
        "cutout",
        "Who stops an engine when its node is dead and its gear in? A cutout, on its own supply",
        ["cutout_battery:", "  nominal_v: 12", "  brown_out_v: 8"],
    )


def actuator_types(page: Lines) -> None:
    page.option(
        2,
        "actuator_types",
        "Is one actuator fitted twice or more? Describe it here, write type: linear at each",
        [
            "actuators:",
            "  linear:",
            ("    stroke_mm: 70", "measure yours"),
            ("    speed_mm_s: 50", "time yours under load"),
            ("    without_power: stays", "pull its plug and look"),
        ],
    )


def taps(page: Lines, node: PlacedNode, drop_m: float, along_pendant_m: float) -> None:
    """Where a helm node sits on the buses that are optional themselves; `along_pendant_m` is for an engine node."""
    if node.kind in ("station", "drive"):
        page.option(6, "second_bus", "", [f"second: {{at_m: {node.at_m:g}, drop_m: {drop_m}}}"])
    if node.kind == "drive":
        page.option(6, "pendant", "", [f"pendant_bus: {{at_m: {along_pendant_m:g}, drop_m: {drop_m}}}"])


def nodes(page: Lines, layout: Layout) -> None:
    for index, (drive, _) in enumerate(layout.drives):
        engine = layout.of_kind("drive")[index]
        page.option(
            2,
            "cutout",
            "a node of its own, with a gear switch and a speed pick-up of its own" if index == 0 else "",
            [
                f"{cutout_name(drive)}:",
                "  kind: cutout",
                f"  address: {FIRST_CUTOUT_ADDRESS + index}",
                "  taps:",
                f"    main: {{at_m: {engine.at_m + CUTOUT_BESIDE_M:g}, drop_m: 0.3}}",
                "  supply: cutout_battery",
                "  board: our_board",
            ],
        )
    page.option(
        2,
        "pendant",
        "the pendant itself",
        [
            "pendant:",
            "  kind: station",
            f"  address: {PENDANT_ADDRESS}",
            "  taps:",
            (f"    pendant_bus: {{at_m: {PENDANT_TRUNK_M}, drop_m: 5, plug: true}}", "how long is its cable?"),
            "  supply: house",
            "  board: our_board",
        ],
    )
    page.option(
        2,
        "rudder",
        "Is she steered over the bus? This node moves her rudder",
        [
            "rudder_gear:",
            "  kind: rudder",
            f"  address: {RUDDER_ADDRESS}",
            "  taps:",
            f"    main: {{at_m: {layout.trunk_m:g}, drop_m: 0.3}}",
            "  supply: house",
            "  board: our_board",
        ],
    )


def lever_tracks(page: Lines) -> None:
    question = "Has each lever a second sensor, running the other way? Alone, a stuck one is obeyed"
    page.option(4, "lever_tracks", question, ["lever_tracks: 2"])


def steers(page: Lines, *, is_first: bool) -> None:
    question = "does its wheel steer over the bus? Take it out again at a station that has none"
    page.option(4, "rudder", question if is_first else "", ["steers: true"])


def pendant_station(page: Lines, layout: Layout) -> None:
    drives = ", ".join(name for name, _ in layout.drives)
    page.option(
        2,
        "pendant",
        "may it take control?",
        ["pendant:", "  node: pendant", (f"  may_take: [{drives}]", "with every engine, or with one?")],
    )


def on_loss(page: Lines, *, is_first: bool) -> None:
    question = "Is she to stay in gear at idle when control is lost (then no cutout)? Left out: neutral"
    page.option(
        4,
        "on_loss",
        question if is_first else "",
        [
            "on_loss:",
            "  do: idle",
            ("  why: in the current where she lies she would be on the rocks before an anchor holds", "write your own reason"),
        ],
    )


def cutouts(page: Lines, layout: Layout) -> None:
    block: list[str | tuple[str, str]] = ["cutouts:"]
    for index, (drive, _) in enumerate(layout.drives):
        block += [f"  {cutout_name(drive)}:", f"    node: {cutout_name(drive)}", f"    drive: {drive}"]
        block.append(("    cutout_ms: 500", "how long after the drive's own limit" if index == 0 else ""))
    page.gap()
    page.option(0, "cutout", "which engine does each stop?", block)


def rudder(page: Lines) -> None:
    page.gap()
    page.option(
        0,
        "rudder",
        "how far does it go, and how fast? Without a rudder here nothing is said about steering",
        [
            "rudder:",
            "  node: rudder_gear",
            ("  hard_over_deg: 35", "measure yours, to each side"),
            ("  speed_deg_s: 5", "time yours from hard over to hard over"),
            ("  no_steer_permille: 200", "most throttle while nobody steers: at what throttle does she still hold her way?"),
        ],
    )


def scenes(page: Lines, layout: Layout) -> None:
    zones = layout.lights[0].zones[:3]
    levels = ", ".join(f"{zone}: {1000 if index == 0 else 0}" for index, zone in enumerate(zones))
    page.gap()
    page.option(
        0,
        "scenes",
        "Which lamps are set together with one touch?",
        ["scenes:", "  evening:", "    number: 1", (f"    levels: {{{levels}}}", "0 or 1000 for a zone that is switched")],
    )


def scene_control(page: Lines) -> None:
    page.option(8, "scenes", "the touch field for it", ["evening: {number: 9, does: scene, scene: evening}"])


def policies(page: Lines, layout: Layout) -> None:
    page.gap()
    page.title("What you have decided, each with its reason")
    if len(layout.drives) == 2:
        page.option(
            0,
            "on_one_drive_lost",
            "One engine is lost: shall the other go neutral too? Left out: carry_on",
            [
                "on_one_drive_lost:",
                "  do: neutral",
                ("  why: on one engine she turns faster than her rudder can hold", "tried at sea?"),
            ],
        )
        page.gap()
        page.option(
            0,
            "partition_policy",
            "The bus parts the engines: shall they go neutral? Left out: each_obeys",
            [
                "partition_policy:",
                "  do: neutral",
                ("  why: two engines that obey two stations turn her on the spot", "write your own reason"),
            ],
        )
        page.gap()
    page.option(
        0,
        "accepted_weaknesses",
        "What do you live with, and why? Listed, and never counted as met",
        [
            "accepted_weaknesses:",
            "  - weakness: a shift actuator that jams in gear",
            "    requirements: [drive.loss_to_neutral]",
            ("    faults: [actuator_jammed]", "under which faults, as a scenario names them?"),
            "    reason: the engine is stopped by its pull-cable, which hangs beside the helm seat",
            ('    date: "2025-01-31"', "the day you decided, in quotes"),
        ],
    )
