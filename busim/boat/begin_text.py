"""The text of a boat file to start from, for a boat that was laid out: readable, every number with its reason or a question.

What a boat may have besides is in it as blocks that are commented out. A block's lines begin with `#` and no space, and its
first line ends in `# [name] question`; blocks of one name belong together. Optional blocks are in `begin_optional`.
"""

from typing import Final

from busim.boat import begin_optional as optional
from busim.boat.begin_layout import CHANNELS, Layout, PlacedNode
from busim.boat.begin_lines import Lines
from busim.protocol.ids import HELM_ADDRESSES, NODE_ADDRESSES

TRUNK_DROP_M: Final = 0.3
OFFSET_M: Final = 1.1


def boat_text(layout: Layout) -> str:
    """The boat file. Valid, and nothing in it for `check` to find, before any number is changed."""
    page = Lines()
    _head(page, layout)
    _boat(page, layout)
    _wiring(page, layout)
    _boards(page)
    _nodes(page, layout)
    _stations(page, layout)
    _drives(page, layout)
    _lights(page, layout)
    _timing(page)
    optional.policies(page, layout)
    return page.text()


def _head(page: Lines, layout: Layout) -> None:
    counts = ((len(layout.drives), "engine"), (len(layout.stations), "station"))
    zones = sum(len(group.zones) for group in layout.lights)
    parts = ", ".join(f"{count} {what}{'s' if count != 1 else ''}" for count, what in (*counts, (zones, "zone")))
    page.say(f"A boat to start from: {parts}. She is nobody's yet: every number waits for yours.")
    page.say("Change a number, then ask `busim check` what is wrong with it, and `busim check --resolved` what follows from it.")
    page.say("A line that begins with # and no space is optional. Take that # away from every line of a block, and of every block")
    page.say("with the same [name]: they belong together.")
    page.put("busim: 1", "format of this file")


def _boat(page: Lines, layout: Layout) -> None:
    twin = len(layout.drives) == 2
    page.gap()
    page.put("boat:")
    page.put("  name: My Boat", "what is she called?")
    page.put(f"  waterline_m: {12.2 if twin else 10.4}", "measure yours, afloat")
    page.put(f"  mass_kg: {14000 if twin else 7800}", "ask the crane that lifted her; ready for sea, with her crew")
    page.put("  docking_speed_kn: 3", "how fast is she brought alongside at most?")
    page.put("  max_run_m: 4", "how far may she run so without orders before the gear is out? Less than to the next berth")
    page.note("4 m at 3 kn are 2,592 ms: the one limit every other time below has to fit into")
    page.put("  ride_through_ms: 200", "how short a fault must force nothing? A plug that is knocked, a burst of noise")
    page.put("  rearm_max_s: 10", "once control is taken again, how soon must she have thrust?")
    page.gap()
    optional.hull(page)


def _wiring(page: Lines, layout: Layout) -> None:
    page.gap()
    page.title("The bus: one twisted pair past every node, and into the engine room last")
    page.put("buses:")
    page.put("  main:")
    page.put("    bit_rate: 250000", "bit/s: slow enough for any boat's length, fast enough for a lever")
    page.put(f"    trunk_m: {layout.trunk_m:g}", "measure yours along the cable's way; 250 m is the most recommended at this rate")
    page.put(f"    terminators_m: [0, {layout.trunk_m:g}]", "120 ohm at each end and nowhere else")
    page.put("    cable: twisted pair, 0.75 mm2, shielded", "what is in yours?")
    optional.buses(page, layout)
    page.gap()
    page.put("supplies:")
    page.put("  house:")
    page.put("    nominal_v: 12", "or 24: what does your battery give?")
    page.put("    brown_out_v: 8", "look it up: below this the nodes' regulators let go")
    optional.supplies(page)


def _boards(page: Lines) -> None:
    page.gap()
    page.put("types:")
    page.put("  boards:")
    page.put("    our_board:", "the same home-made board at every node; or describe each kind you have")
    page.put("      queue: priority", "does its driver send the most urgent frame first? Else first_in_first_out")
    page.put("      processing_us: 200", "measure yours with a pin: frame in to output changed")
    page.put("      clock_ppm: 100", "crystal, over temperature; without a crystal 10000 and more")
    page.put("      boot_ms: 300", "measure yours: power to the first line of its program")
    page.put("      watchdog_ms: 200", "resets a program that hangs before the 250 ms after which its silence counts as loss")
    page.put("      bus_off: rejoin", "with growing pauses; staying off would take the helm along")
    optional.actuator_types(page)


def _nodes(page: Lines, layout: Layout) -> None:
    page.gap()
    page.title("The nodes, in the order in which the trunk passes them")
    page.put("nodes:")
    for node in layout.nodes:
        _node(page, layout, node)
    optional.nodes(page, layout)


def _node(page: Lines, layout: Layout, node: PlacedNode) -> None:
    is_first, is_first_of_kind = node is layout.nodes[0], node is layout.of_kind(node.kind)[0]
    of_address = {
        "station": f"helm nodes have {HELM_ADDRESSES[0]} to {HELM_ADDRESSES[-1]}",
        "panel": f"beyond the helm: {HELM_ADDRESSES[-1] + 1} to {NODE_ADDRESSES[-1]}",
    }.get(node.kind, "")
    page.put(f"  {node.name}:")
    page.put(f"    kind: {node.kind}")
    page.put(f"    address: {node.address}", of_address if is_first_of_kind else "")
    page.put("    taps:")
    where = "metres along the trunk, and from the trunk to the node: measure yours" if is_first else ""
    page.put(f"      main: {{at_m: {node.at_m:g}, drop_m: {TRUNK_DROP_M}}}", where)
    optional.taps(page, node, TRUNK_DROP_M, node.at_m - layout.of_kind("drive")[0].at_m)
    page.put("    supply: house", "is it on a breaker of its own? Then name that under supplies" if is_first else "")
    page.put("    board: our_board")


def _stations(page: Lines, layout: Layout) -> None:
    page.gap()
    page.title("The helm")
    drives = ", ".join(name for name, _ in layout.drives)
    page.put("stations:")
    for index, name in enumerate(layout.stations):
        first = index == 0
        page.put(f"  {name}:")
        page.put(f"    node: {name}")
        page.put(f"    may_take: [{drives}]", "may she be driven from here at all, with every engine?" if first else "")
        reason = "full astern, measure yours; a sensor outside 10 % to 90 % of its supply is broken, not far over"
        page.put("    lever_low_permille: 100", reason if first else "")
        page.put("    lever_high_permille: 900", "full ahead" if first else "")
        page.put("    lever_gear_permille: 150", "a hand's width either side of upright is neutral: try yours" if first else "")
        if first:
            optional.lever_tracks(page)
        optional.steers(page, is_first=first)
    optional.pendant_station(page, layout)


def _drives(page: Lines, layout: Layout) -> None:
    page.gap()
    page.put("drives:")
    for index, (name, node) in enumerate(layout.drives):
        _drive(page, name, node, index + 1)
        if len(layout.drives) == 2:
            offset_m = OFFSET_M if index else -OFFSET_M
            where = "measure yours: propeller from the centre line, + is starboard"
            page.put(f"    offset_m: {offset_m:g}", where if index == 0 else "")
        optional.on_loss(page, is_first=index == 0)
    optional.cutouts(page, layout)
    optional.rudder(page)


def _drive(page: Lines, name: str, node: str, instance: int) -> None:
    def why(words: str) -> str:
        return words if instance == 1 else ""

    page.put(f"  {name}:")
    page.put(f"    node: {node}")
    page.put(f"    instance: {instance}", why("the lever it follows; a second engine is 2"))
    page.put("    throttle:")
    page.put("      stroke_mm: 70", why("measure yours; the longer of the two usual throttle strokes"))
    page.put("      speed_mm_s: 50", why("time yours under load: 1.4 s a stroke, inside the 1,447 ms the wait for idle may last"))
    page.put("      without_power: stays", why("pull its plug and look: a worm gear stays, so the gear has to come out by itself"))
    page.put("    shift:")
    page.put("      stroke_mm: 70", why("measure yours: astern to ahead, neutral in the middle"))
    page.put("      speed_mm_s: 40", why("time yours under load: half stroke in 875 ms"))
    page.put("      without_power: springs_to_neutral", why("or stays: what takes the gear out when this node is dead?"))
    page.put("      spring_mm_s: 40", why("time yours with its plug pulled"))
    page.put("    idle_rpm: 800", why("read yours, warm"))
    page.put("    full_rpm: 3200", why("read yours, under way at full throttle"))
    page.put("    shift_rpm: 1000", why("1.25 x idle; what does the gearbox maker allow at most?"))
    page.put("    neutral_switch: true", why("is one fitted on the gearbox itself, and not on the actuator?"))
    page.put("    engine_stop: true", why("does this node hold the fuel solenoid?"))
    page.put("    stop_without_bus: pull-cable to the stop lever, beside the helm seat", why("who can, and how?"))
    page.put("    dwell_ms: 1000", why("in neutral before the opposite gear; engine makers ask for 1 to 2 s"))


def _lights(page: Lines, layout: Layout) -> None:
    if not layout.lights:
        return
    page.gap()
    page.title("The lights: not the navigation lights, which follow the rules of the road and no touch")
    page.say(f"number: once in the boat, panels ask by it. channel: which output of its driver feeds it? Ours have {CHANNELS}.")
    page.say("kind: how can its lamps be lit? switched, dimmable, colour or tunable_white.")
    page.put("zones:")
    number = 0
    for group in layout.lights:
        for channel, zone in enumerate(group.zones, 1):
            number += 1
            page.put(f"  {zone}: {{number: {number}, node: {group.driver}, channel: {channel}, kind: switched}}")
    optional.scenes(page, layout)
    page.gap()
    page.put("panels:")
    for index, group in enumerate(layout.lights):
        page.put(f"  {group.panel}:")
        page.put(f"    node: {group.panel}")
        page.put("    debounce_ms: 20", "a touch shorter than this is a drop of water" if index == 0 else "")
        page.put("    pages:")
        page.put("      lamps:")
        for field, zone in enumerate(group.zones, 1):
            reason = "touch fields are counted from 1" if index == 0 and field == 1 else ""
            page.put(f"        {zone}: {{number: {field}, does: toggle, zones: [{zone}]}}", reason)
        if index == 0:
            optional.scene_control(page)


def _timing(page: Lines) -> None:
    page.gap()
    page.title("Timing of the protocol: all as busim sets it out; `busim check --resolved` shows each with its reason")
    page.put("timing:")
    page.put("  lever_ms: 20", "fifty a second: the lever feels direct")
    page.put("  control_timeout_ms: 250", "twelve lost in a row; short against the 2,592 ms, long against a burst of noise")


def scenario_text(layout: Layout) -> str:
    """The scenario that `busim run` plays when no other is named."""
    page = Lines(column=38)
    last, engine = layout.last_before_engines, layout.of_kind("drive")[0]
    levers, who = ("lever", "The drive") if len(layout.drives) == 1 else ("levers", "Each drive")
    page.say("From dark to under way, and then the worst that a single wire can do. Played by `busim run` when no other is named.")
    page.put("scenario: cold start, take control, ahead, cut")
    page.put(f"words: The cable to the engine room is cut with the {levers} well ahead. {who} has to find neutral by itself.")
    page.put("lasts_s: 20")
    page.put("actions:")
    if layout.lights:
        page.put("  - at_s: 1.0")
        page.put(f"    touch: {{panel: {layout.lights[0].panel}, control: {layout.lights[0].zones[0]}}}")
    page.put("  - at_s: 2.0")
    page.put(f"    key: {{station: {layout.stations[0]}, name: take}}")
    for drive, _ in layout.drives:
        page.put("  - at_s: 3.0")
        page.put(f"    lever: {{station: {layout.stations[0]}, drive: {drive}, to_permille: 900, over_ms: 400}}")
    page.put("faults:")
    page.put("  - at_s: 12.0")
    where = f"between {last.name} at {last.at_m:g} m and {engine.name} at {engine.at_m:g} m"
    page.put(f"    cut: {{bus: main, at_m: {layout.cut_m:g}}}", where)
    page.put("expect:")
    shown = ["drive.loss_to_idle", "drive.loss_to_neutral", "drive.engage_at_idle", "station.nobody_shown"]
    for requirement in [*shown, *(["light.press"] if layout.lights else [])]:
        page.put(f"  {requirement}: pass")
    return page.text()
