"""`--kind`: a builder's own class for a kind of node, right and wrong. Whatever it does, the answer names node and class."""

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from .command_line import call_busim, run_busim

MODULE = "a_builders_nodes"
CLASSES = '''
from busim.seam import OUTPUT, QUEUE, RECHECK, ROW, SEND, Node
from nodes.drive import Drive

class Same(Drive):
    """Nothing wrong with it."""

class Elsewhere:
    pass

class MadeOtherwise(Node):
    def __init__(self):
        super().__init__()

class FailsToBeMade(Drive):
    def __init__(self, plan, address, build=1):
        raise RuntimeError("no [bold]way\\x1b[31m")

class NeverInitialised(Node):
    def __init__(self, plan, address, build=1):
        pass

class NoInputs(Drive):
    inputs = None

class NegativePeriod(Drive):
    inputs = {"rpm": -5}

class PeriodInWords(Drive):
    inputs = {"rpm": "often"}

class ReceivesNothingAtAll(Drive):
    def receives(self):
        return None

class ReceivesByNumber(Drive):
    def receives(self):
        return {key: 5 for key in super().receives()}

class FailsToReceive(Drive):
    def receives(self):
        raise ValueError("receives")

class FailsAtStart(Drive):
    def on_start(self, now_ns, reset_cause):
        raise ValueError("start")

class FailsOnFrame(Drive):
    def _on_heartbeat(self, now_ns, bus, can_id, data):
        return [][data[0]]

class FailsOnInput(Drive):
    def on_input(self, now_ns, channel, value):
        return 1 // 0

class FailsWhenSent(Drive):
    def on_sent(self, now_ns, bus, can_id):
        raise KeyError(can_id)

class FailsAtDeadline(Drive):
    def on_deadline(self, now_ns):
        raise ValueError("two\\nlines")

class CallsItself(Drive):
    def on_deadline(self, now_ns):
        return self.on_deadline(now_ns)

class KeepsItsDeadline(Drive):
    def on_deadline(self, now_ns):
        return ()

class DeadlineInSeconds(Drive):
    def on_deadline(self, now_ns):
        actions = super().on_deadline(now_ns)
        self.deadline_ns /= 1.0
        return actions

class NoDeadline(Drive):
    def on_deadline(self, now_ns):
        self.deadline_ns = None
        return ()

class ReturnsNone(Drive):
    def on_start(self, now_ns, reset_cause):
        super().on_start(now_ns, reset_cause)

class ReturnsText(Drive):
    def on_start(self, now_ns, reset_cause):
        return "SEND"

class ReturnsOneAction(Drive):
    def on_start(self, now_ns, reset_cause):
        return (OUTPUT, "throttle", 0)

class LongId(Drive):
    def on_start(self, now_ns, reset_cause):
        return ((SEND, 0, 0x800, b"", 1000),)

class LongFrame(Drive):
    def on_start(self, now_ns, reset_cause):
        return ((QUEUE, 0, 0x100, bytes(9), 1000),)

class OtherBus(Drive):
    def on_start(self, now_ns, reset_cause):
        return ((SEND, 3, 0x100, b"", 1000),)

class HalfThrottle(Drive):
    def on_start(self, now_ns, reset_cause):
        return ((OUTPUT, "throttle", 0.5),)

class EndsTheProgram(Drive):
    def on_start(self, now_ns, reset_cause):
        raise SystemExit(0)

class OwnRows(Drive):
    def on_start(self, now_ns, reset_cause):
        rows = ((ROW, "own[red]", 7, 0), (ROW, "drive", 250, 99), (OUTPUT, "field.x", 3), (OUTPUT, "own\\x1b", 1), RECHECK[0])
        return (*super().on_start(now_ns, reset_cause), *rows)
'''

WRONG = {
    "MadeOtherwise": "it can't be made with (plan, address, build): TypeError: ",
    "FailsToBeMade": r"it can't be made with (plan, address, build): RuntimeError: no [bold]way\x1b[31m",
    "NeverInitialised": "it can't be made with (plan, address, build): AttributeError: ",
    "NoInputs": "its inputs are not channels with their sampling period",
    "NegativePeriod": "its inputs are not channels with their sampling period",
    "PeriodInWords": "its inputs are not channels with their sampling period",
    "ReceivesNothingAtAll": "receives() does not return (bus, can_id) -> handler",
    "ReceivesByNumber": "receives() does not return (bus, can_id) -> handler",
    "FailsToReceive": "receives() fails: ValueError: receives",
    "FailsAtStart": "ValueError: start",
    "FailsOnFrame": "IndexError: list index out of range",
    "FailsOnInput": "ZeroDivisionError: ",
    "FailsWhenSent": "KeyError: ",
    "FailsAtDeadline": r"ValueError: two\nlines",
    "CallsItself": "RecursionError: ",
    "KeepsItsDeadline": "deadline",
    "DeadlineInSeconds": "its deadline is ",
    "NoDeadline": "its deadline is None, not a whole number",
    "ReturnsNone": "a handler returned None",
    "ReturnsText": "a handler returned ",
    "ReturnsOneAction": "a handler returned ",
    "LongId": "0x800",
    "LongFrame": "9 data bytes do not fit a frame",
    "OtherBus": "the node is not on a bus with the number 3",
    "HalfThrottle": "an output's value is a whole number",
}


@pytest.fixture
def classes(own_boat: Path) -> Iterator[Path]:
    """The folder of a boat with a builder's module in it."""
    (own_boat / f"{MODULE}.py").write_text(CLASSES)
    sys.modules.pop(MODULE, None)
    yield own_boat
    sys.modules.pop(MODULE, None)


def run_with(place: str, folder: Path, *more: str) -> tuple[int, str, str]:
    ended = call_busim("run", "--scenario", "one_second", "--kind", place, *more, folder=folder)
    return ended.status, ended.out, ended.err


def test_a_class_from_a_module_in_the_current_folder(classes: Path) -> None:
    status, out, err = run_with(f"drive={MODULE}:Same", classes)
    assert (status, err) == (0, "")
    assert f"kinds replaced: drive by {MODULE}:Same" in out.splitlines()
    assert out.splitlines()[-1].endswith(f" --kind drive={MODULE}:Same")


def test_a_module_here_is_found_by_the_installed_command_too(classes: Path) -> None:
    """Where the interpreter itself does not look into the current folder, as behind the console script."""
    before = "import sys; sys.path = [entry for entry in sys.path if entry]"
    ended = run_busim("run", "--scenario", "one_second", "--kind", f"drive={MODULE}:Same", folder=classes, before=before)
    assert (ended.status, ended.err) == (0, "")


def test_several_kinds(classes: Path) -> None:
    status, out, _ = run_with(f"drive={MODULE}:Same", classes, "--kind", "panel=nodes.panel:Panel")
    assert status == 0
    assert f"kinds replaced: drive by {MODULE}:Same, panel by nodes.panel:Panel" in out.splitlines()


@pytest.mark.parametrize("name", WRONG)
def test_a_class_that_breaks_the_rules_is_named_with_its_node(classes: Path, name: str) -> None:
    status, _, err = run_with(f"drive={MODULE}:{name}", classes)
    assert status == 2
    assert len(err.splitlines()) == 1
    assert err.startswith(f"engine_room ({name}): ")
    assert WRONG[name] in err
    assert err.strip().isprintable()


def test_a_class_that_breaks_the_rules_leaves_its_record(classes: Path) -> None:
    status, _, err = run_with(f"drive={MODULE}:FailsAtDeadline", classes, "--record")
    assert status == 2
    assert err.splitlines()[0] == "record: results/run-0001, up to and with second 0"


def test_a_class_that_ends_the_program(classes: Path) -> None:
    status, _, err = run_with(f"drive={MODULE}:EndsTheProgram", classes)
    assert (status, len(err.splitlines())) == (2, 1)
    assert "sys.exit" in err


def test_a_class_with_rows_and_channels_of_its_own(classes: Path) -> None:
    """Nothing is wrong with that; what is not known has no words, and is shown by its number."""
    status, out, err = run_with(f"drive={MODULE}:OwnRows", classes)
    assert (status, err) == (0, "")
    assert re.search(r"engine_room: row 7 of its table own\[red\]$", out, re.MULTILINE)
    assert re.search(r"engine drive: row 250 of its table drive$", out, re.MULTILINE)
    assert all(line.isprintable() for line in out.splitlines())


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("drive", '--kind: "drive" is not written as KIND=MODULE:CLASS'),
        ("drive=nodes.drive", '--kind: "drive=nodes.drive" is not written as KIND=MODULE:CLASS'),
        ("=nodes.drive:Drive", '--kind: "=nodes.drive:Drive" is not written as KIND=MODULE:CLASS'),
        ("drive=:Drive", '--kind: "drive=:Drive" is not written as KIND=MODULE:CLASS'),
        ("drive=nodes.drive:", '--kind: "drive=nodes.drive:" is not written as KIND=MODULE:CLASS'),
        ("driv=nodes.drive:Drive", 'no node of this boat is of the kind "driv": did you mean drive?'),
        ("rudder=nodes.drive:Drive", 'no node of this boat is of the kind "rudder": it has: drive, panel, station, zone_driver'),
        ("drive=no_such_module_at_all:Drive", "no_such_module_at_all can't be imported: ModuleNotFoundError"),
        ("drive=nodes.drive:Driv", "nodes.drive has no node class Driv"),
        (f"drive={MODULE}:Elsewhere", f"{MODULE} has no node class Elsewhere"),
        ("drive=nodes.drive:DRIVE_TABLE", "nodes.drive has no node class DRIVE_TABLE"),
        ("drive=fails_on_import:Drive", "fails_on_import can't be imported: RuntimeError: not today"),
        ("drive=is_no_python:Drive", "is_no_python can't be imported: SyntaxError"),
        ("drive=ends_on_import:Drive", "sys.exit"),
        ("drive=..nodes:Drive", "can't be imported"),
    ],
)  # fmt: skip
def test_a_kind_that_can_not_be_had(classes: Path, given: str, words: str) -> None:
    (classes / "fails_on_import.py").write_text("raise RuntimeError('not today')\n")
    (classes / "is_no_python.py").write_text("def (\n")
    (classes / "ends_on_import.py").write_text("import sys\nsys.exit()\n")
    status, out, err = run_with(given, classes)
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1
    assert words in err


def test_a_kind_given_twice_and_all_else_that_is_wrong_at_once(classes: Path) -> None:
    status, _, err = run_with("drive=nodes.drive:Drive", classes, "--kind", f"drive={MODULE}:Same", "--kind", "pannel=x:Y")
    assert status == 2
    assert err.splitlines() == [
        "--kind: drive is given twice",
        '--kind: no node of this boat is of the kind "pannel": did you mean panel?',
    ]


def test_settings_of_a_kind_that_takes_none_are_not_lost_in_silence(own_boat: Path) -> None:
    file = own_boat / "boat.yaml"
    file.write_text(file.read_text().replace("    kind: panel\n", "    kind: panel\n    settings: {brightness: 3}\n"))
    ended = call_busim("run", "--scenario", "one_second", folder=own_boat)
    assert (ended.status, ended.err.strip()) == (2, "node companionway: the kind panel takes no settings (it has: brightness)")
