"""Exported files on disk, the vectors as data, and the databases read back: by JSON, and by cantools."""

import json
import logging
import os
import random
import subprocess
import sys
from pathlib import Path

import cantools
import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.export.database import database_files, message_name
from busim.export.exchange import sent_by
from busim.export.vectors import RESULTS, vectors_text
from busim.export.written import MARK, left_over, with_sum, write_files
from busim.protocol.catalogue import BY_NAME, MESSAGES
from busim.protocol.codec import INVALID, check, read_plain
from busim.protocol.page_boat import senders_of
from busim.reading.problem import InputError

from .conftest import Edited
from .worked_frames import WORKED

# ------------------------------------------------------------------------------------------------ on disk


def test_an_export_is_written_over_by_the_next_one(tmp_path: Path) -> None:
    texts = {"a.h": f"/* {MARK} */\n", "node/b.h": f"/* {MARK}\n * é */\n"}
    first = write_files(tmp_path / "new" / "folder", texts, replace=False)
    assert [path.read_text(encoding="utf-8") for path in first] == [with_sum(text) for text in texts.values()]
    texts["a.h"] += "int more;\n"
    write_files(tmp_path / "new" / "folder", texts, replace=False)
    assert first[0].read_text().endswith("more;\n")
    assert not list((tmp_path / "new").rglob(".*"))


@pytest.mark.parametrize(
    ("before", "words"),
    [
        ("int mine;\n", "is there already and no export of busim's"),
        (with_sum(f"/* {MARK} */\n") + "int mine;\n", "was changed since it was exported"),
        (with_sum(f"/* {MARK} */\nint x;\n").replace("int x", "int y"), "was changed since it was exported"),
    ],
)
def test_somebodys_work_is_not_written_over_unless_told(tmp_path: Path, before: str, words: str) -> None:
    texts = {"a.h": f"/* {MARK} */\n", "b.h": f"/* {MARK} */\n"}
    (tmp_path / "b.h").write_text(before)
    with pytest.raises(InputError, match=words):
        write_files(tmp_path, texts, replace=False)
    assert (tmp_path / "b.h").read_text() == before
    assert not (tmp_path / "a.h").exists()  # all or none
    write_files(tmp_path, texts, replace=True)
    assert (tmp_path / "b.h").read_text() == with_sum(texts["b.h"])


def test_what_is_no_file_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "a.h").mkdir()
    os.mkfifo(tmp_path / "b.h")
    with pytest.raises(InputError) as caught:
        write_files(tmp_path, {"a.h": MARK, "b.h": MARK}, replace=True)
    assert [problem.words for problem in caught.value.problems] == [
        "is a folder, a file was to be written there",
        "is no plain file: nothing was written",
    ]


def test_a_folder_that_can_not_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="is a file, a folder was to be written to"):
        write_files(tmp_path / "file", {"a.h": MARK}, replace=False)
    with pytest.raises(InputError, match=r"a\.h: can't be written"):
        write_files(tmp_path / "file" / "under", {"a.h": MARK}, replace=False)
    with pytest.raises(InputError, match="can't be written"):
        write_files(tmp_path / "nul\0", {"a.h": MARK}, replace=False)


def test_files_left_from_an_earlier_export_are_named(tmp_path: Path) -> None:
    write_files(tmp_path, {"old/node.h": MARK, "new/node.h": MARK}, replace=False)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "node.h").write_text("int mine;\n")
    assert left_over(tmp_path, {"new/node.h": MARK}) == [tmp_path / "old" / "node.h"]


# ------------------------------------------------------------------------------------------------ vectors


def test_every_vector_is_what_the_codec_says() -> None:
    boat = load_boat(shipped_folder() / "first_boat")
    read = json.loads(with_sum(vectors_text(boat.plan, boat.boat.boat.name)))
    assert {frame["message"] for frame in read["frames"]} == set(BY_NAME)
    assert {frame["result"] for frame in read["frames"]} == set(RESULTS)
    bits: set[tuple[str, int]] = set()
    for frame in read["frames"]:
        message, can_id, data = BY_NAME[frame["message"]], int(frame["id"], 16), bytes.fromhex(frame["data"])
        if frame["result"] in ("ok", "out_of_range"):
            word = check(can_id, data) if message.is_safety else read_plain(message, data)
            raw = message.unpack(word)
            assert dict(zip((signal.name for signal in message.signals), raw, strict=True)) == frame["raw"]
            outside = [
                value
                for signal, value in zip(message.signals, raw, strict=True)
                if not signal.range[0] <= value <= signal.range[1]
            ]
            assert bool(outside) == (frame["result"] == "out_of_range"), frame
            bits |= {(message.name, bit) for bit in range(64) if word >> bit & 1}
        elif frame["result"] == "wrong_crc":
            assert check(can_id, data) == INVALID
        elif frame["result"] == "wrong_length":
            assert len(data) != message.length
    for message in MESSAGES:
        placed = {(message.name, below + bit) for signal, below in message.placed() for bit in range(signal.bits)}
        assert placed <= bits, message.name  # every bit of every signal was set in some frame


# ------------------------------------------------------------------------------------------------ databases


@pytest.fixture(scope="module")
def marsh_tern() -> LoadedBoat:
    return load_boat(shipped_folder() / "marsh_tern")


@pytest.fixture(scope="module")
def databases(marsh_tern: LoadedBoat) -> dict[str, cantools.database.can.Database]:
    """The exported files as cantools reads them."""
    loaded = {}
    for name, text in database_files(marsh_tern).items():
        database = cantools.database.load_string(text, database_format=name.rpartition(".")[2])
        assert isinstance(database, cantools.database.can.Database)
        loaded[name] = database
    return loaded


@pytest.mark.slow
def test_there_is_a_database_of_each_kind_for_each_bus(databases: dict[str, object]) -> None:
    assert set(databases) == {f"{bus}.{kind}" for bus in ("helm", "pendant_line", "lights") for kind in ("dbc", "kcd")}


def test_a_database_has_what_goes_over_its_bus(
    marsh_tern: LoadedBoat, databases: dict[str, cantools.database.can.Database]
) -> None:
    plan = marsh_tern.plan
    for number, (bus, rate, members) in enumerate(plan.buses):
        sent = {
            each.can_id: message_name(each.message, name)
            for address, name, kind in plan.nodes
            if number in plan.buses_of(address)
            for each in sent_by(plan, address, kind)
            if bus != "lights" or not (address < 16 and each.message.is_safety) or each.message.name in ("heartbeat", "condition")
        }
        assert set(members) >= {can_id & 63 for can_id in sent}
        for kind in ("dbc", "kcd"):
            database = databases[f"{bus}.{kind}"]
            assert {message.frame_id: message.name for message in database.messages} == sent
            assert [each.baudrate for each in database.buses] == [rate]


@pytest.mark.parametrize("kind", ["dbc", "kcd"])
def test_random_frames_read_the_same(
    kind: str, marsh_tern: LoadedBoat, databases: dict[str, cantools.database.can.Database]
) -> None:
    """Every message of Marsh Tern, from each of its senders, on each bus it goes over."""
    draw = random.Random(1871)
    seen = set()
    for message in MESSAGES:
        for address, _ in senders_of(message, marsh_tern.plan):
            can_id = message.can_id(address)
            on = [databases[f"{marsh_tern.plan.buses[bus][0]}.{kind}"] for bus in marsh_tern.plan.buses_for(can_id)]
            assert on
            for _ in range(5):
                raw = tuple(draw.randint(signal.low, signal.high) for signal in message.signals)
                counter = draw.randrange(256)
                data = message.pack(can_id, counter, *raw) if message.is_safety else message.pack(*raw)
                expected = {signal.name: value * signal.step for signal, value in zip(message.signals, raw, strict=True)}
                if message.is_safety:
                    expected |= {"crc": data[0], "counter": counter}
                for database in on:
                    assert database.decode_message(can_id, data, decode_choices=False) == expected
                    assert database.encode_message(can_id, expected, strict=False) == data
            seen.add(message.name)
    assert seen == {message.name for message in MESSAGES if not message.reserved_for}


def test_worked_frames_read_as_worked_out(databases: dict[str, cantools.database.can.Database]) -> None:
    """By hand, from the page: a step of 4 permille, of 10, of 8 rpm; of 5 hundredths of a degree."""
    helm = databases["helm.dbc"]
    drive = next(worked for worked in WORKED if worked.name == "drive_state" and worked.address == 2)
    decoded = helm.decode_message(drive.can_id, bytes.fromhex(drive.data))
    assert isinstance(decoded, dict)
    assert (decoded["asked_throttle"], decoded["sensed_throttle"], decoded["shift_position"]) == (1000, 500, -450)
    assert (decoded["rpm"], str(decoded["asked_gear"]), str(decoded["engine"])) == (800, "ahead", "running")
    rudder = next(worked for worked in WORKED if worked.name == "rudder_state" and worked.address == 7)
    decoded = helm.decode_message(rudder.can_id, bytes.fromhex(rudder.data))
    assert isinstance(decoded, dict)
    assert (decoded["asked_angle"], decoded["sensed_angle"]) == (1000, -35)


def test_comments_carry_units_and_periods(databases: dict[str, cantools.database.can.Database]) -> None:
    for kind in ("dbc", "kcd"):
        helm = databases[f"helm.{kind}"]
        state = helm.get_message_by_name("drive_state_port_drive")
        assert "in rpm, steps of 8" in str(state.get_signal_by_name("rpm").comment)
        assert (state.get_signal_by_name("rpm").unit, state.cycle_time) == ("rpm", 40)
        # What is repeated for a while only is no periodic message.
        assert helm.get_message_by_name("claim_wheelhouse").cycle_time is None
        assert state.senders == ["port_drive"]


def test_names_too_long_for_a_database(edited: Edited) -> None:
    """A DBC has 32 characters for a name; longer ones stand in an attribute, which cantools reads."""
    long = "a" * 31
    edits = [(f"{before}engine_room{after}", f"{before}{long}{after}") for before, after in (("  ", ":\n"), ("node: ", "\n"))]
    boat = edited(*edits)
    texts = database_files(load_boat(boat.path))
    database = cantools.database.load_string(texts["main.dbc"], database_format="dbc")
    assert isinstance(database, cantools.database.can.Database)
    assert database.get_message_by_frame_id(0x142).name == f"drive_obeys_{long}"


@pytest.mark.slow
def test_cantools_warns_of_nothing(marsh_tern: LoadedBoat, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        for name, text in database_files(marsh_tern).items():
            cantools.database.load_string(text, database_format=name.rpartition(".")[2], strict=True)
    assert not caplog.records


def test_cantools_is_loaded_by_the_database_alone() -> None:
    code = (
        "import sys, busim.commands.export, busim.export.c_files, busim.export.vectors\n"
        "assert 'cantools' not in sys.modules and 'can' not in sys.modules\n"
    )
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
