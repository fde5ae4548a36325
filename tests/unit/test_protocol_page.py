"""The written page, read as a firmware author reads it: everything of the tables is on it, and it decodes its own frames.

The frames are taken apart here with nothing but the page: positions, sign and ids as printed. CRCs are crccheck's Crc8Autosar.
"""

import os
import re
import subprocess
import sys
from dataclasses import fields, replace

import pytest
from crccheck.crc import Crc8Autosar  # type: ignore[import-untyped]

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.protocol.catalogue import MESSAGES
from busim.protocol.codec import INVALID, Message, check, read_plain
from busim.protocol.page import protocol_page
from busim.protocol.page_boat import PART_WORDS, TIMING_WORDS
from busim.protocol.plan import (
    ControlPlan,
    CutoutPlan,
    DrivePlan,
    NavigationLightPlan,
    PanelPlan,
    RudderPlan,
    ScenePlan,
    StationPlan,
    Timing,
    WirePlan,
    ZonePlan,
)
from busim.protocol.tables import TABLES, StateTable
from nodes.drive_sensing import IN_GEAR_PERMILLE, NEUTRAL_WITHIN_PERMILLE, SHIFT_BEYOND_PERMILLE

PLAN = load_boat(shipped_folder() / "first_boat").plan
PAGE = protocol_page(PLAN, "Reed Bunting")

every_message = pytest.mark.parametrize("message", MESSAGES, ids=lambda message: message.name)
every_table = pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)


def part(heading: str, page: str = PAGE) -> str:
    """From this heading to the next."""
    start = page.index(f"\n{heading}")
    return page[start + 1 :].split("\n#", 1)[0]


def tables(text: str) -> list[list[list[str]]]:
    """The tables of a part: rows of cells, the header first, without its rule."""
    found: list[list[list[str]]] = []
    inside = False
    for line in text.splitlines():
        if line.startswith("| "):
            if not inside:
                found.append([])
            found[-1].append([cell.strip() for cell in line.strip("|").split(" | ")])
        inside = line.startswith("| ")
    return [[rows[0], *rows[2:]] for rows in found]


def flat(text: str) -> str:
    return " ".join(text.split())


def of_message(message: Message, page: str = PAGE) -> str:
    return part(f"### Code {message.code}: {message.name}", page)


# ------------------------------------------------------------------------------------------------ messages


@every_message
def test_everything_about_a_message_is_there(message: Message) -> None:
    text = flat(of_message(message))
    assert message.words in text
    assert f"Sender: {message.senders}." in text
    assert f"Id: {message.code} x 64 + address, in hexadecimal {message.code * 64:03X} + address." in text
    assert f"Length: {message.length} bytes, {'CRC in byte 0' if message.code < 16 else 'no CRC'}" in text
    assert f"(reserved for {message.reserved_for})" in text if message.reserved_for else "reserved" not in text.lower()
    for signal in message.signals:
        if signal.choices:
            assert f"{signal.name}: {', '.join(f'{value} {words}' for value, words in signal.choices)}." in text


@every_message
def test_signals_stand_where_they_are_printed(message: Message) -> None:
    """Positions counted here from the first bit on."""
    header, *rows = tables(of_message(message))[0]
    assert header == ["signal", "first", "last", "bits", "signed", "unit", "step", "meaning"]
    place = 16 if message.code < 16 else 0
    expected = []
    for signal in message.signals:
        first, last = place, place + signal.bits - 1
        place += signal.bits
        expected.append(
            [
                signal.name,
                f"{first // 8}.{7 - first % 8}",
                f"{last // 8}.{7 - last % 8}",
                str(signal.bits),
                "yes" if signal.signed else "no",
                signal.unit,
                f"{signal.step}" if signal.unit else "",
                signal.words,
            ]
        )
    assert rows == expected
    unused = f"Unused: {place // 8}.{7 - place % 8} to {message.length - 1}.0."
    assert (unused in of_message(message)) == (place < 8 * message.length)


def read_printed(row: list[str], data: bytes) -> int:
    """A signal's raw value, from its printed row and nothing else."""
    first, last = ((int(byte) * 8 + 7 - int(bit)) for byte, bit in (place.split(".") for place in row[1:3]))
    text = "".join(f"{byte:08b}" for byte in data)[first : last + 1]
    assert len(text) == int(row[3])
    return int(text, 2) - (2 ** len(text) if row[4] == "yes" and text[0] == "1" else 0)


@every_message
def test_example_frame_decodes(message: Message) -> None:
    text = of_message(message)
    found = re.search(r"Example: id `([0-9A-F]{3})`, data `([0-9A-F ]+)`", text)
    assert found
    can_id, data = int(found[1], 16), bytes.fromhex(found[2])
    assert can_id >> 6 == message.code
    assert len(data) == message.length
    values = flat(text.split("Example:")[1].split("\n\n")[1])
    if message.code < 16:
        assert data[0] == Crc8Autosar.calc(can_id.to_bytes(2, "big") + data[1:])
        word = check(can_id, data)
        assert f"counter {data[1]}," in values
    else:
        word = read_plain(message, data)
    assert word != INVALID
    raw = [read_printed(row, data) for row in tables(text)[0][1:]]
    assert list(message.unpack(word)) == raw
    for signal, value in zip(message.signals, raw, strict=True):
        assert re.search(rf"\b{signal.name} {value}\b", values), signal.name
        if signal.choices:
            assert f"{signal.name} {value} ({dict(signal.choices)[value]})" in values


def test_examples_come_from_the_boats_own_senders() -> None:
    """Worked by hand: code x 64 + address, wheelhouse 1, engine_room 2, companionway 20, lamp_driver 21."""
    expected = {"neutral_now": "001", "claim": "041", "lever": "081", "drive_obeys": "142", "press": "414", "zone_state": "455"}
    for message in MESSAGES:
        if message.name in expected:
            assert f"Example: id `{expected[message.name]}`" in of_message(message)


def test_who_sends_which_id() -> None:
    rows = tables(part("## Ids"))[0][1:]
    assert rows == [
        ["1", "wheelhouse", "station", "001 041 081 101 281 2C1 301 341 501", ""],
        ["2", "engine_room", "drive", "142 182 282 302 3C2 502", ""],
        ["20", "companionway", "panel", "294 414 494 514", ""],
        ["21", "lamp_driver", "zone_driver", "295 455 4D5 515", ""],
    ]
    for message in MESSAGES:
        senders = re.search(r"On this boat: (.+?)\. - Length", flat(of_message(message)))
        assert senders
        printed = set(re.findall(r"([0-9A-F]{3}) from (\w+)", senders[1]))
        wanted = {(can_id, row[1]) for row in rows for can_id in row[3].split() if int(can_id, 16) >> 6 == message.code}
        assert printed == wanted


# ------------------------------------------------------------------------------------------------ the worked CRC


def test_the_worked_crc() -> None:
    text = part("### The CRC")
    found = re.search(r"id ([0-9A-F]{3}), data ([0-9A-F]{2}(?: [0-9A-F]{2}){7}):", flat(text))
    assert found
    covered = int(found[1], 16).to_bytes(2, "big") + bytes.fromhex(found[2])[1:]
    steps, shifts = tables(text)
    assert bytes(int(row[1], 16) for row in steps[1:]) == covered
    register = 0xFF
    for count, row in enumerate(steps[1:], 1):
        assert int(row[2], 16) == register ^ covered[count - 1]
        register = Crc8Autosar.calc(covered[:count]) ^ 0xFF
        assert int(row[3], 16) == register
    crc = bytes.fromhex(found[2])[0]
    assert register ^ 0xFF == crc == Crc8Autosar.calc(covered)
    assert f"The last register, {register:02X}, xor FF is {crc:02X}: byte 0." in flat(text)
    assert f'"123456789" it gives {Crc8Autosar.calc(b"123456789"):02X}' in flat(text)
    value = 0xFF ^ covered[0]
    for row in shifts[1:]:
        after = value << 1 if value < 0x80 else value << 1 ^ 0x12F
        assert row[1:] == [f"{value:02X}", str(value >> 7), f"{after:02X}"]
        value = after
    assert f"{value:02X}" == steps[1][3]


# ------------------------------------------------------------------------------------------------ state tables and lists


@every_table
def test_state_tables_are_printed_whole(table: StateTable) -> None:
    states, events, rows, matrix = tables(part(f"### The {table.name}\n"))
    assert states[1:] == [[str(value), name, words] for value, (name, words) in enumerate(table.states)]
    assert events[1:] == [[name, words] for name, words in table.events]
    assert rows[1:] == [[str(row.number), row.state, row.event, row.next_state, row.words] for row in table.rows]
    names = [name for name, _ in table.states]
    assert matrix[0] == ["event", *(str(value) for value in range(len(names)))]
    assert [line[0] for line in matrix[1:]] == [name for name, _ in table.events]
    cells = {(names[value], line[0]): cell for line in matrix[1:] for value, cell in enumerate(line[1:]) if cell != "."}
    assert cells == {(row.state, row.event): str(row.number) for row in table.rows}


def test_every_list_of_values_is_there() -> None:
    printed = [tuple((int(value), words) for value, words in rows[1:]) for rows in tables(part("## Lists of values"))]
    choices = [signal.choices for message in MESSAGES for signal in message.signals if signal.choices]
    assert len(printed) == len(set(printed))
    assert set(printed) == set(choices)
    for message in MESSAGES:
        for signal in message.signals:
            assert (f"{message.name}.{signal.name}" in part("## Lists of values")) == bool(signal.choices)


# ------------------------------------------------------------------------------------------------ this boat


def test_every_value_of_the_boat_is_there() -> None:
    timing = {row[0]: row[1] for row in tables(part("### Timing"))[0][1:]}
    assert timing == {field.name: str(getattr(PLAN.timing, field.name)) for field in fields(Timing)}
    drive = {row[0]: row[1] for row in tables(part("### Drives"))[0][1:]}
    assert drive == {
        "address": "2",
        "instance": "1",
        "stations": "1",
        "on_loss": "neutral",
        "dwell_ms": "1000",
        "idle_wait_ms": "1447",
        "shift_rpm": "1000",
        "shift_ms": "875",
        "throttle_ms": "1400",
        "has_neutral_switch": "yes",
        "has_engine_stop": "yes",
        "on_other_lost": "carry_on",
        "when_apart": "each_obeys",
    }
    assert [row[0] for row in tables(part("### Stations"))[0][1:]] == [field.name for field in fields(StationPlan)][1:]
    assert [row[0] for row in tables(part("### Zones"))[0][1:]] == [field.name for field in fields(ZonePlan)][1:]
    assert [row[0] for row in tables(part("### Panels"))[0][1:]] == ["address", "debounce_ms"]
    assert ["action", "toggle", "what a touch does"] in tables(part("### Controls of companionway"))[0]
    for name, value in (("helm", PLAN.helm_fingerprint), ("lighting", PLAN.lighting_fingerprint)):
        assert [name, f"{value:04X}"] in [row[:2] for row in tables(part("### Fingerprints"))[0]]


def test_every_value_has_words() -> None:
    assert list(TIMING_WORDS) == [field.name for field in fields(Timing)]
    kinds = (
        StationPlan, DrivePlan, RudderPlan, CutoutPlan, ZonePlan, NavigationLightPlan, ScenePlan, PanelPlan, ControlPlan
    )  # fmt: skip
    assert set(PART_WORDS) == {field.name for kind in kinds for field in fields(kind)} - {"name", "controls"}


def test_times_are_the_boats_and_not_the_defaults() -> None:
    changed = {field.name: 7001 + place for place, field in enumerate(fields(Timing)) if field.name != "max_gap"}
    page = protocol_page(replace(PLAN, timing=Timing(**changed, max_gap=5)), "Slow boat")
    lines = {message.name: flat(of_message(message, page)) for message in MESSAGES}
    assert f"every heartbeat_ms ({changed['heartbeat_ms']} ms)" in lines["heartbeat"]
    for name, period in (
        ("lever", "lever_ms"),
        ("claim", "claim_ms"),
        ("drive_obeys", "drive_ms"),
        ("drive_state", "drive_ms"),
        ("zone_state", "zone_ms"),
        ("press", "press_repeat_ms"),
    ):
        assert f"every {period} ({changed[period]} ms)" in lines[name]
    for field in fields(Timing):
        default = getattr(PLAN.timing, field.name)
        assert f"{default} ms ({field.name})" not in flat(page)
        assert f"{field.name} ({default} ms)" not in flat(page)
    assert "1 to 5 ahead (max_gap" in page


def two_engines() -> WirePlan:
    """Two drives, three stations, no lights: other shapes of the same tables."""
    station, drive = PLAN.stations[0], PLAN.drives[0]
    stations = tuple(replace(station, name=name, address=at, drives=(1, 2)) for name, at in (("in", 1), ("up", 3), ("aft", 4)))
    drives = tuple(replace(drive, name=name, address=at, instance=at - 4) for name, at in (("port", 5), ("starboard", 6)))
    nodes = (*((plan.address, plan.name, "station") for plan in stations), *((plan.address, plan.name, "drive") for plan in drives))
    return replace(PLAN, nodes=nodes, stations=stations, drives=drives, zones=(), panels=(), buses=())


def test_other_boats() -> None:
    plan = two_engines()
    page = protocol_page(plan, "Two engines")
    assert [row[0] for row in tables(part("### Stations", page))[0]] == ["name", "in", "up", "aft"]
    assert tables(part("### Drives", page))[0][0] == ["value", "port", "starboard", "what it is"]
    assert part("### Zones", page).endswith("None.\n")
    assert "On this boat: nobody sends it." in flat(of_message(next(m for m in MESSAGES if m.name == "press"), page))
    nobody = protocol_page(replace(plan, nodes=(), stations=(), drives=()), "An empty hull")
    for message in MESSAGES:
        found = re.search(r"Example: id `(\w+)`, data `([\w ]+)`", of_message(message, nobody))
        assert found
        assert message.code >= 16 or check(int(found[1], 16), bytes.fromhex(found[2])) != INVALID


# ------------------------------------------------------------------------------------------------ the page as text


def test_cautions_are_there() -> None:
    text = flat(part("## Before anything moves"))
    for words in ("never part of the boat's control system", "independent of this bus", "Local rules", "qualified surveyor"):
        assert words in text


def test_plain_text() -> None:
    assert PAGE.endswith("\n")
    assert all(character.isprintable() or character == "\n" for character in PAGE)
    assert not [line for line in PAGE.splitlines() if line != line.rstrip()]
    assert not [line for line in PAGE.splitlines() if len(line) > 110 and not line.startswith("| ")]
    assert max(map(len, PAGE.splitlines())) <= 150
    assert "```" not in PAGE
    assert PAGE.count("`") == 4 * len(MESSAGES), "code marks stand only round the examples' id and data"


@pytest.mark.parametrize(
    ("title", "heading"),
    [
        ("Reed Bunting", "# Reed Bunting"),
        ("marsh_tern, boat 2 & tender", "# marsh_tern, boat 2 & tender"),
        ("\x1b[31mred\x07\n# two\u202e", "# ?\\[31mred??# two?"),
        ("<b>*bold*</b> `x` _y_ a|b &amp; #", "# \\<b\\>\\*bold\\*\\</b\\> \\`x\\` \\_y\\_ a\\|b \\&amp; \\#"),
    ],
)
def test_a_title_is_text(title: str, heading: str) -> None:
    page = protocol_page(PLAN, title)
    assert page.split("\n")[0] == heading
    assert page.split("\n")[1:] == PAGE.split("\n")[1:]


def test_two_runs_give_the_same_page() -> None:
    program = (
        "import sys; from busim.boat.load import load_boat; from busim.boat.shipped import shipped_folder; "
        "from busim.protocol.page import protocol_page; "
        "sys.stdout.buffer.write(protocol_page(load_boat(shipped_folder() / 'first_boat').plan, 'Reed Bunting').encode())"
    )
    for seed in ("1", "2"):
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "PYTHONHASHSEED": seed}
        run = subprocess.run([sys.executable, "-c", program], env=environment, capture_output=True, check=True)
        assert run.stdout.decode() == PAGE


def test_no_date() -> None:
    assert not re.search(r"\b(?:19|20)\d\d-\d\d-\d\d\b", PAGE)


def test_the_page_says_where_a_feedback_shows_a_gear() -> None:
    """The limits the drive goes by (nodes.drive_sensing), which whoever writes one needs."""
    limits = (NEUTRAL_WITHIN_PERMILLE, IN_GEAR_PERMILLE, SHIFT_BEYOND_PERMILLE)
    words = "neutral within {} permille of neutral, a gear from {} to {} permille".format(*limits)
    assert words in " ".join(PAGE.split())
