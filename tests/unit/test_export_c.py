"""The exported C: compiled with warnings as errors, run under sanitizers, held against the tables and the codec it comes from."""

import random
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.export.c_files import c_files, vector_files
from busim.export.c_tables import STATE_TABLES
from busim.export.c_text import TAKEN, Names, c_field, comment, literal
from busim.export.exchange import period_ms, sent_by, watched_by
from busim.export.vectors import frames_of, makes_sense, runs_of
from busim.export.written import write_files
from busim.protocol import catalogue
from busim.protocol.catalogue import MESSAGES
from busim.protocol.codec import Message
from busim.protocol.counter import ACCEPTED, DUPLICATE, REFUSED, PairWatch, newer
from busim.protocol.ids import HELM_ADDRESSES, address_of
from busim.protocol.lightness import duty_for
from busim.run.run import carry_out
from busim.scenario.load import load_scenario
from busim.simulator.kinds import load_kinds
from busim.units import MS

from . import hand_made_frames as hand
from .c_driver import SANITIZED, CDriver, compile_c, compiler
from .conftest import Edited

WORDS = {ACCEPTED: "counts", DUPLICATE: "duplicate", REFUSED: "refused"}
BOATS = ("marsh_tern", "first_boat")


def shipped(name: str) -> LoadedBoat:
    return load_boat(shipped_folder() / name)


# ------------------------------------------------------------------------------------------------ compiled


@pytest.mark.parametrize("by", ["gcc", "clang"])
@pytest.mark.parametrize("name", BOATS)
def test_the_whole_boat_compiles_without_a_warning(name: str, by: str, tmp_path: Path) -> None:
    compiler(by)
    paths = write_files(tmp_path, c_files(shipped(name), None), replace=False)
    sources = [path for path in paths if path.suffix == ".c"]
    assert len(sources) == 3 + len(shipped(name).boat.nodes)
    compile_c(sources, [tmp_path], "-Wconversion", "-Wshadow", "-fsyntax-only", by=by)


def test_cplusplus_reads_the_headers(tmp_path: Path) -> None:
    write_files(tmp_path, c_files(shipped("marsh_tern"), "saloon_driver"), replace=False)
    program = tmp_path / "node.cpp"
    program.write_text('#include "busim_node.h"\n#include "busim_rules.h"\nint main() { return BUSIM_NODE_ADDRESS - 31; }')
    done = subprocess.run(
        [compiler("g++"), "-std=c++11", "-Wall", "-Wextra", "-Werror", f"-I{tmp_path}", "-fsyntax-only", program],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_no_heap_no_floating_point_and_no_other_header() -> None:
    for name, text in c_files(shipped("marsh_tern"), None).items():
        code = re.sub(r"/\*.*?\*/|\"[^\"\n]*\"", "", text, flags=re.DOTALL)
        assert not re.search(r"\b(float|double|malloc|calloc|realloc|free|printf)\b|\d\.\d", code), name
        assert set(re.findall(r"#include <(.*)>", text)) <= {"stdbool.h", "stdint.h", "stddef.h"}, name


def test_nothing_of_the_export_depends_on_when_or_where() -> None:
    assert c_files(shipped("marsh_tern"), None) == c_files(shipped("marsh_tern"), None)


# ------------------------------------------------------------------------------------------------ self-test


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """C and vectors of the first boat side by side."""
    folder = tmp_path_factory.mktemp("self_test")
    write_files(folder, c_files(shipped("first_boat"), "engine_room") | vector_files(shipped("first_boat")), replace=False)
    return folder


def built_and_run(folder: Path, program: Path, *options: str) -> subprocess.CompletedProcess[str]:
    compile_c(sorted(folder.glob("*.c")), [folder], *options, "-o", str(program))
    return subprocess.run([program], capture_output=True, text=True)


@pytest.mark.slow
def test_the_self_test_passes(exported: Path, tmp_path: Path) -> None:
    done = built_and_run(exported, tmp_path / "selftest", *SANITIZED)
    assert (done.returncode, done.stderr) == (0, "")
    plan = shipped("first_boat").plan
    frames, runs = len(list(frames_of(plan))), len(list(runs_of(plan)))
    assert done.stdout.splitlines()[-1] == f"{frames} frames, {runs} runs of counters: 0 failed"


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("busim_protocol.c", "0x2Fu", "0x2Eu"),  # a wrong entry of the CRC table
        ("busim_protocol.c", "sensed_gear = (uint8_t)((word >> 42)", "sensed_gear = (uint8_t)((word >> 43)"),  # a bit off
        ("busim_protocol.h", "BUSIM_WRONG_LENGTH = 2", "BUSIM_WRONG_LENGTH = 3, BUSIM_UNUSED = 2"),
        ("busim_rules.c", "ahead <= watch->max_gap", "ahead < watch->max_gap"),
        ("busim_boat.h", "BUSIM_BOAT_REVISION_OF_SCENES                0x", "BUSIM_BOAT_REVISION_OF_SCENES                1+0x"),
    ],
)
@pytest.mark.slow
def test_the_self_test_fails_what_is_broken(exported: Path, tmp_path: Path, file: str, old: str, new: str) -> None:
    for path in exported.iterdir():
        text = path.read_text(encoding="utf-8")
        if path.name == file:
            assert old in text
            text = text.replace(old, new, 1)
        (tmp_path / path.name).write_text(text, encoding="utf-8")
    compiler()
    sources = [str(path) for path in sorted(tmp_path.glob("*.c"))]
    built = subprocess.run(["gcc", "-std=c99", f"-I{tmp_path}", *sources, "-o", str(tmp_path / "selftest")], capture_output=True)
    assert built.returncode == 0
    assert subprocess.run([tmp_path / "selftest"], capture_output=True).returncode == 1


# ------------------------------------------------------------------------------------------------ against the codec

DRAWS = 150
"""Random structs a message: with the values of each signal near its edges half of the time, a few seconds would show no more."""


def test_random_structs_through_c_and_python_and_back(c_driver: CDriver) -> None:
    draw = random.Random(20_260)
    lines, expected = [], []
    for place, message in enumerate(MESSAGES):
        for _ in range(DRAWS):
            address, counter = draw.randint(1, _highest(message)), draw.randrange(256)
            raw = tuple(_drawn(draw, signal.low, signal.high) for signal in message.signals)
            can_id = message.can_id(address)
            data = message.pack(can_id, counter, *raw) if message.is_safety else message.pack(*raw)
            sound = all(map(makes_sense, message.signals, raw))
            values = " ".join(map(str, raw))
            lines += [f"pack {place} {address} {counter} {values}", f"unpack {place} {can_id:03X} {data.hex()}"]
            expected += [f"0 {can_id:03X} {data.hex().upper()}" if sound else "4 000 ", f"{0 if sound else 4} {values}"]
    assert c_driver.ask(lines) == expected


def _highest(message: Message) -> int:
    return HELM_ADDRESSES[-1] if message.is_safety and message is not catalogue.HEARTBEAT else 62


def _drawn(draw: random.Random, low: int, high: int) -> int:
    if draw.random() < 0.5:
        return min(max(draw.choice((low, high, 0)) + draw.randint(-1, 1), low), high)
    return draw.randint(low, high)


def test_random_counters_through_both_rules(c_driver: CDriver) -> None:
    """One bus and a pair: mostly in order, now and then lost, held back, sent twice or begun anew."""
    draw = random.Random(1_907)
    lines, expected = [], []
    for run in range(120):
        gap, buses = draw.randint(1, 100 if run % 3 == 0 else 5), (0, 1, 2)[: draw.randint(1, 3)]
        limit_ms = draw.choice((20, 251, 350))
        pair = PairWatch(gap, buses, limit_ms)
        lines.append(f"pair start {sum(1 << bus for bus in buses)} {gap} {limit_ms}")
        expected.append("started")
        counters = dict.fromkeys(buses, draw.randrange(256))
        now_ms = draw.choice((0, 1 << 31, (1 << 32) - 4000))
        for _ in range(60):
            bus = draw.choice(buses)
            step = draw.choice((1, 1, 1, 1, 1, 0, 2, gap, gap + 1, 128, 200, -1))
            counters[bus] = (counters[bus] + step) % 256 if draw.random() < 0.9 else draw.randrange(256)
            now_ms += draw.choice((0, 1, 5, 20, limit_ms // 2, limit_ms)) if draw.random() < 0.5 else draw.randrange(limit_ms)
            lines.append(f"pair {now_ms} {bus} {counters[bus]}")
            expected.append(WORDS[pair.judge(counters[bus], bus, now_ms * MS)])
    assert c_driver.ask(lines) == expected
    assert set(WORDS.values()) < set(expected)


def test_a_heartbeat_over_the_end_of_the_clock(c_driver: CDriver) -> None:
    """32 bits of milliseconds run round after 49.7 days; who is silent then stays missing, as long as somebody asks meanwhile."""
    ours = shipped("marsh_tern").plan.helm_fingerprint
    end = 1 << 32
    beats = [f"0 281 {hand.heartbeat(1, counter, ours).hex()}" for counter in (1, 2)]
    answers = c_driver.ask([
        "beat start 1", f"beat {end - 300} {beats[0]}", f"beat {end - 200} {beats[1]}", f"beat {end - 1}", "beat 149", "beat 150",
        f"beat {1 << 30}", f"beat {1 << 31}", f"beat {3 << 30}", f"beat {end - 100}",
    ])  # fmt: skip
    assert answers == ["started", "missing", *["good"] * 3, *["missing"] * 5]


def test_what_an_interrupt_fed_after_the_clock_was_read_is_not_over(c_driver: CDriver) -> None:
    ours = shipped("marsh_tern").plan.helm_fingerprint
    beats = [f"0 281 {hand.heartbeat(1, counter, ours).hex()}" for counter in (1, 2, 3)]
    heard = [f"beat {at_ms} {beat}" for at_ms, beat in zip((0, 100, 201), beats, strict=True)]
    assert c_driver.ask(["beat start 1", *heard, "beat 200", "beat 550", "beat 551"])[3:] == ["good", "good", "good", "missing"]


@pytest.mark.parametrize("message", MESSAGES, ids=lambda message: message.name)
def test_an_address_that_may_not_send_is_refused(message: Message, c_driver: CDriver) -> None:
    place = MESSAGES.index(message)
    values = " ".join(str(signal.range[0]) for signal in message.signals)
    highest = _highest(message)
    lines = [f"pack {place} {address} 0 {values}" for address in (0, highest + 1, 63, 64, 255, highest, 1)]
    assert [answer[0] for answer in c_driver.ask(lines)] == [*"44444", "0", "0"]


def test_state_tables_rows_numbers_lightness(c_driver: CDriver) -> None:
    lines, expected = [], []
    for place, table in enumerate(STATE_TABLES):
        for state in range(len(table.states) + 1):
            for number, (event, _) in enumerate(table.events):
                lines.append(f"row {place} {state} {number}")
                after, row = table.moves.get((state, event), (0, 0))
                expected.append(f"{row} {after}" if row else "none")
    for number in (0, 1, 2, 32767, 32768, 32769, 65535):
        for than in (0, 1, 2, 32767, 32768, 32769, 65535):
            lines.append(f"newer {number} {than}")
            expected.append(str(int(newer(number, than))))
    for steps in (1, 255, 4095, 65535):
        for level in (0, 1, 79, 80, 81, 333, 999, 1000, 1001):
            lines.append(f"duty {level} {steps}")
            expected.append(str(duty_for(level, steps)))
    assert c_driver.ask(lines) == expected


def test_a_heartbeat_is_filled_with_the_fingerprints_of_this_boat(c_driver: CDriver) -> None:
    plan = shipped("marsh_tern").plan
    heartbeat = catalogue.HEARTBEAT
    data = heartbeat.pack(heartbeat.can_id(2), 77, 1, 3, plan.helm_fingerprint, plan.lighting_fingerprint, 9)
    assert c_driver.ask(["fill 1 3 9 77"]) == [f"282 {data.hex().upper()}"]


def test_the_number_after_the_last_one_is_1(c_driver: CDriver) -> None:
    """The page: after 65535 comes 1, as 0 is no number."""
    assert c_driver.ask(["next 0", "next 1", "next 65534", "next 65535"]) == ["1", "2", "65535", "1"]


def test_scene_tables_reach_the_driver(c_driver: CDriver) -> None:
    plan = shipped("marsh_tern").plan
    lines, expected = [], []
    for scene in plan.scenes:
        levels = {zone: row for zone, *row in scene.levels}
        for zone in plan.zones:
            lines.append(f"scene {scene.number} {zone.number}")
            row = levels.get(zone.number)
            expected.append(" ".join(map(str, (scene.fade_ms, *row))) if row is not None else "none")
    lines += ["scene 200 1", *(f"zone {zone.number}" for zone in plan.zones), "zone 200"]
    expected += ["none", *(" ".join(map(str, (zone.driver, *zone.channels))) for zone in plan.zones), "none"]
    lines += [f"tables {plan.scene_revision}", f"tables {plan.scene_revision ^ 1}"]
    expected += ["same", "other"]
    assert c_driver.ask(lines) == expected
    (stamp,) = c_driver.ask(["stamp"])
    assert stamp.endswith(
        f"helm {plan.helm_fingerprint:04X}, lighting {plan.lighting_fingerprint:04X}, scenes {plan.scene_revision:04X}"
    )


# ------------------------------------------------------------------------------------------------ one node


@pytest.mark.parametrize("name", BOATS)
def test_a_node_watches_what_ours_of_its_kind_listens_to(name: str) -> None:
    """Ours ask for an id on each bus they are on; what never comes by a bus, as its sender is not on it, is left out here."""
    plan = shipped(name).plan
    kinds = load_kinds()
    for address, _, kind in plan.nodes:
        listens = {
            (bus, can_id)
            for bus, can_id in kinds[kind](plan, address).receives()  # type: ignore[call-arg]
            if bus in plan.buses_of(address_of(can_id))
        }
        assert {(bus, row.can_id) for row in watched_by(plan, address, kind) for bus in row.buses} == listens, kind


@pytest.mark.parametrize("name", BOATS)
def test_what_is_watched_on_a_bus_is_sent_there(name: str) -> None:
    plan = shipped(name).plan
    sent = {(bus, row.can_id) for address, _, kind in plan.nodes for row in sent_by(plan, address, kind) for bus in row.buses}
    ids = {can_id for _, can_id in sent}
    for address, _, kind in plan.nodes:
        # Alarm lists are ready for the answers of every helm node, and only those with a list give any.
        for row in watched_by(plan, address, kind):
            assert row.can_id in ids or row.message.name == "alarm_answer"
            assert {(bus, row.can_id) for bus in row.buses} <= sent or row.can_id not in ids


def test_what_helm_nodes_have_for_each_other_goes_over_no_bus_for_lights() -> None:
    """Beside its helm messages a node of the helm that is on the lighting bus alone beats, says what it is, and the condition."""
    plan = shipped("marsh_tern").plan
    lights = next(number for number, (name, _, _) in enumerate(plan.buses) if name == "lights")
    helm = [(address, kind) for address, _, kind in plan.nodes if address < 16 and lights in plan.buses_of(address)]
    assert helm
    for address, kind in helm:
        sent = {row.message.name for row in sent_by(plan, address, kind) if lights in row.buses}
        assert sent == {"heartbeat", "identity", "condition"}
    source = c_files(shipped("marsh_tern"), "wheelhouse")["busim_node.c"]
    assert "/* lever */ {0x081u, 8u, 0x01u, 20u}" in source
    assert "/* heartbeat */ {0x281u, 8u, 0x05u, 100u}" in source


def test_periods_are_those_of_the_boat() -> None:
    plan = shipped("marsh_tern").plan
    by_name = {sent.message.name: sent.period_ms for address, _, kind in plan.nodes for sent in sent_by(plan, address, kind)}
    timing = plan.timing
    assert by_name["lever"] == timing.lever_ms
    assert by_name["drive_obeys"] == by_name["drive_state"] == timing.drive_ms
    assert by_name["heartbeat"] == timing.heartbeat_ms
    assert by_name["press"] == by_name["scene"] == timing.press_repeat_ms
    assert by_name["zone_state"] == timing.zone_ms
    assert by_name["wheel"] == 40  # printed on the page as a number
    assert period_ms(catalogue.CONDITION, plan) == 1000


def test_timeouts_and_wiring_of_a_drive() -> None:
    source, header = (c_files(shipped("marsh_tern"), "port_drive")[f"busim_node.{end}"] for end in "ch")
    assert "{0x081u, 8u, 0x01u, 250u}" in source  # the wheelhouse's lever, on the helm bus, control_timeout_ms
    assert "{0x085u, 8u, 0x02u, 250u}" in source  # the pendant's, on its own
    assert "{0x281u, 8u, 0x01u, 350u}" in source  # the wheelhouse's heartbeat
    assert "/* helm */ {0u, 250000ul, 15000u, 400u, false, false, 16u, 875u, 2u, roll_of_bus_0, 8u}" in source
    nodes = [node for node in shipped("marsh_tern").boat.nodes.values() if "helm" in node.taps and node.address <= 15]
    along = [f"{node.address}u" for node in sorted(nodes, key=lambda node: node.taps["helm"].at_m)]
    assert f"roll_of_bus_0[] = {{{', '.join(along)}}};" in source
    assert "tapped at 15 m, drop 0.4 m" in header
    assert "Terminators (120 ohm) at 0 and 14 m" in header.replace("\n * ", " ")


def test_a_zone_driver_knows_its_outputs() -> None:
    source, header = (c_files(shipped("marsh_tern"), "saloon_driver")[f"busim_node.{end}"] for end in "ch")
    assert "Outputs 4, 5, 6, 7: zone 6, saloon_floor (colour)." in header
    assert "busim_node_zones_count = 4u" in source


@pytest.mark.slow
@pytest.mark.parametrize("name", ["hand_over", "jammed_throttle"])
def test_our_own_nodes_send_nothing_that_makes_no_sense(name: str) -> None:
    """Else firmware that does as they do would be refused by the exported C."""
    boat = shipped("marsh_tern")
    outside: list[tuple[str, str, int]] = []

    def looked_at(message: Message) -> Callable[..., bytes]:
        pack = message.pack

        def look(*values: int) -> bytes:
            raw = values[2:] if message.is_safety else values
            for signal, value in zip(message.signals, raw, strict=True):
                if not makes_sense(signal, value):
                    outside.append((message.name, signal.name, value))
            return pack(*values)

        return look

    packs = {message: message.pack for message in MESSAGES}
    try:
        for message in MESSAGES:
            object.__setattr__(message, "pack", looked_at(message))
        scenario = load_scenario(boat.path.parent / "scenarios" / f"{name}.yaml", boat.boat)
        carry_out(boat.boat, boat.plan, load_kinds(), scenario.scenario, 1)
    finally:
        for message, pack in packs.items():
            object.__setattr__(message, "pack", pack)
    assert not outside


# ------------------------------------------------------------------------------------------------ names and text


def test_names_that_are_names_of_ours_too(edited: Edited, tmp_path: Path) -> None:
    boat = edited(
        ("  companionway:\n    kind: panel", "  bits:\n    kind: panel"),
        ("    node: companionway\n", "    node: bits\n"),
        ("  cabin_lamp:\n    number: 1", "  fault_none:\n    number: 1"),
        ("zones: [cabin_lamp]", "zones: [fault_none]"),
        ("    node: lamp_driver", "    node: main"),
        ("  lamp_driver:\n", "  main:\n"),
        ("  name: Reed Bunting", '  name: "Reed */ ??/ \\"Bunting\\" \\\\ é"'),
        ("panels:\n", "scenes:\n  revision: {number: 1, levels: {fault_none: 1000}}\n\npanels:\n"),
    )
    loaded = load_boat(boat.path)
    paths = write_files(tmp_path / "c", c_files(loaded, None), replace=False)
    compile_c([path for path in paths if path.suffix == ".c"], [tmp_path / "c"], "-Wtrigraphs", "-fsyntax-only")


def test_a_name_stands_once() -> None:
    names = Names()
    assert names.give("boat_zone", "galley") == "BUSIM_BOAT_ZONE_GALLEY"
    with pytest.raises(ValueError, match="two things would be called BUSIM_BOAT_ZONE_GALLEY"):
        names.give("boat", "zone_galley")


def test_words_of_c_are_no_fields() -> None:
    assert all(c_field(word) not in TAKEN for word in TAKEN)
    assert c_field("lever") == "lever"


def test_text_stays_inside_its_comment_or_string() -> None:
    assert comment("a */ b") == "/* a * / b */"
    assert literal('say "x" \\ ??/ é') == "\"say 'x' / ? ?/ ?\""
