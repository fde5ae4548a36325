"""`busim listen` as a user meets it: on the simulated boat behind `busim plug`, on adapters with every trouble, and wrong words."""

import json
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import can
import pytest

from busim import adapter_labels as words
from busim import bench_labels
from busim.protocol.catalogue import HEARTBEAT, LEVER
from tests.unit.slcan_device import BELL, Answer, SlcanDevice, without_waits

from .command_line import ENTRY, ROOT, Ended, call_busim, environment
from .test_plug import Plugged

pytestmark = pytest.mark.xdist_group("real time")

FIRST_BOAT = str(ROOT / "configs" / "first_boat")
SILENT: dict[bytes, Answer] = dict.fromkeys((b"", b"C", b"S", b"L", b"O", b"V", b"F"), b"")
LEVER_LINE = "t0818" + LEVER.pack(LEVER.can_id(1), 7, 3, 1, 500, 0, 0, 0, 0).hex().upper() + "\r"
BEAT_LINE = "t2818" + HEARTBEAT.pack(HEARTBEAT.can_id(1), 7, 1, 0, 0x1234, 0x5678, 0).hex().upper() + "\r"


@pytest.fixture(autouse=True)
def _no_long_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    without_waits(monkeypatch)


def listen(device: SlcanDevice, *options: str, folder: Path, boat: str = FIRST_BOAT, seconds: int = 1) -> Ended:
    named = [boat] if boat else ["--bit-rate", "250000"]
    return call_busim(
        "listen", *named, "--interface", "slcan", "--channel", device.channel, "--seconds", str(seconds), *options, folder=folder
    )


# ------------------------------------------------------------------------------------------------ the simulated boat as the bus


class Listener:
    """A process of `busim listen` on a channel, with a log."""

    def __init__(self, folder: Path, channel: str, *options: str) -> None:
        self.log = folder / f"heard_{len(options)}.log"
        self.process = subprocess.Popen(
            [sys.executable, "-c", ENTRY, "listen", FIRST_BOAT, "--interface", "slcan", "--channel", channel,
             "--record", str(self.log), *options],
            cwd=folder, env=environment(), stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def until_heard(self, node: str) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if words.HEARD_FIRST.format(node=node) in line:
                return
        raise AssertionError(self.process.stderr.read() if self.process.stderr else "")

    def end(self) -> tuple[int, str, str]:
        out, err = self.process.communicate(timeout=60)
        return self.process.returncode, out, err


@pytest.fixture
def started() -> Iterator[list[subprocess.Popen[str]]]:
    """Processes of a test, none of which outlives it, however it ends."""
    processes: list[subprocess.Popen[str]] = []
    yield processes
    for process in processes:
        process.kill()
        process.communicate()


@pytest.mark.slow
@pytest.mark.parametrize("door", ["port", "pty"])
def test_a_boat_is_heard_kept_and_judged_and_ctrl_c_loses_nothing(
    tmp_path: Path, door: str, started: list[subprocess.Popen[str]]
) -> None:
    plugged = Plugged(*(("--pty", "2") if door == "pty" else ()), folder=tmp_path, channels=2 if door == "pty" else 1)
    channels = plugged.channels if door == "pty" else plugged.channels * 2
    interrupted, whole = Listener(tmp_path, channels[0]), Listener(tmp_path, channels[1], "--seconds", "3", "--json")
    started += [plugged.process, interrupted.process, whole.process]
    interrupted.until_heard("engine_room")
    interrupted.process.send_signal(signal.SIGINT)
    status, out, err = interrupted.end()
    assert (status, err) == (130, "")
    assert "bus.helm_first" in out
    told = re.search(r"([\d,]+) frames in", out)
    assert told is not None
    with can.LogReader(interrupted.log) as reader:
        kept = [*reader]
    assert len(kept) == int(told[1].replace(",", ""))
    assert {message.channel for message in kept} == {"main"}
    status, out, err = whole.end()
    assert status == 0, err
    found = json.loads(out)
    assert found["adapter"]["listens_only"] is True
    assert found["frames"] == len(whole.log.read_text().splitlines())
    assert {each["id"]: each["verdict"] for each in found["verdicts"]}["bus.helm_first"] == "pass"
    said = plugged.end()
    assert said.count(" 0 handed in") == 2, "it never sends"
    judged = call_busim("judge", str(whole.log), FIRST_BOAT, "--json", folder=tmp_path)
    assert [each["verdict"] for each in json.loads(judged.out)["verdicts"]] == [each["verdict"] for each in found["verdicts"]]


@pytest.mark.slow
def test_an_adapter_that_is_unplugged_leaves_a_log_and_verdicts(tmp_path: Path, started: list[subprocess.Popen[str]]) -> None:
    plugged = Plugged(folder=tmp_path)
    listener = Listener(tmp_path, plugged.channels[0])
    started += [listener.process, plugged.process]
    listener.until_heard("engine_room")
    plugged.process.kill()
    status, out, err = listener.end()
    assert status == 2
    assert "the adapter is gone" in err
    assert "plug it in anew" in err
    assert "bus.helm_first" in out
    with can.LogReader(listener.log) as reader:
        assert [*reader]


# ------------------------------------------------------------------------------------------------ what is said of frames


def test_without_a_boat_frames_are_told_by_the_protocol(tmp_path: Path) -> None:
    with SlcanDevice(opened=f"{LEVER_LINE}{BEAT_LINE}t7FF2ABCD\rt0818{'00' * 8}\r".encode()) as device:
        done = listen(device, boat="", folder=tmp_path)
    assert done.status == 0, done.err
    assert words.LISTEN_WITHOUT_BOAT in done.out
    assert "node 1: lever: number 3, gear 1 ahead, throttle 1 500 permille" in done.out
    assert "helm fingerprint 1234" in done.out
    assert "7FF: no message of this protocol, AB CD" in done.out
    assert "node 1: lever: its CRC is wrong" in done.out


def test_with_a_boat_and_on_demand_too_and_of_whom(tmp_path: Path) -> None:
    with SlcanDevice(opened=f"{LEVER_LINE}{BEAT_LINE}".encode()) as device:
        done = listen(device, "--frames", folder=tmp_path)
    assert done.status == 1, done.err
    assert "wheelhouse: lever: number 3, gear 1 ahead" in done.out
    assert "built from another boat file" in done.out


def test_json_is_alone_on_its_stream(tmp_path: Path) -> None:
    with SlcanDevice(opened=LEVER_LINE.encode() * 3 + b"nonsense\r") as device:
        done = listen(device, "--json", "--record", "a.log", boat="", folder=tmp_path)
    found = json.loads(done.out)
    assert (found["frames"], found["exit_status"], found["trouble"]) == (3, 0, None)
    assert [(each["id"], each["frames"]) for each in found["ids"]] == [(0x081, 3)]
    assert any("no frames" in note for note in found["notes"])
    assert found["log"] == "a.log"
    assert len((tmp_path / "a.log").read_text().splitlines()) == 3


# ------------------------------------------------------------------------------------------------ troubles, each of an adapter


TROUBLES: dict[str, tuple[dict[str, object], str]] = {
    "it never answers": ({"replies": SILENT}, words.NOTHING_HEARD.format(bit_rate=250_000)),
    "nothing is on the bus": ({}, words.NOTHING_HEARD.format(bit_rate=250_000)),
    "it is no adapter": ({"beats": lambda: b"$GPRMC,225446,A,4916.45,N\r\n" * 5}, "is it an slcan adapter"),
    "it says what is no text": ({"beats": lambda: bytes(range(128, 256)) + b"\r"}, "is it an slcan adapter"),
    "it cuts its lines": ({"beats": lambda: b"t2818AB\r"}, "is it an slcan adapter"),
    "it refuses the bit rate": ({"replies": {b"S": BELL}}, "refuses a bit rate of 250000 bit/s"),
    "it refuses to go on the bus": ({"replies": {b"L": BELL}}, "--acknowledge"),
}


@pytest.mark.parametrize("trouble", TROUBLES)
def test_a_trouble_is_one_line_with_what_to_try(tmp_path: Path, trouble: str) -> None:
    options, said = TROUBLES[trouble]
    with SlcanDevice(**options) as device:  # type: ignore[arg-type]
        done = listen(device, "--record", "a.log", folder=tmp_path)
    assert done.status == 2, done.out
    assert said in done.err
    assert len(done.err.splitlines()) == 1


@pytest.mark.slow
def test_trouble_on_the_bus_is_told_while_it_lasts(tmp_path: Path) -> None:
    """The bit rate is another's: status flags of error upon error, and no frame."""
    with SlcanDevice(replies={b"F": b"FA0\r"}) as device:
        done = listen(device, folder=tmp_path, seconds=4)
    assert done.status == 2
    assert words.WIRE_PASSIVE in done.out
    assert done.out.index(words.WIRE_PASSIVE) < done.out.index(words.LISTEN_ENDS) + 10_000
    with SlcanDevice(replies={b"F": b"F08\r"}, beats=lambda: LEVER_LINE.encode()) as device:
        done = listen(device, boat="", folder=tmp_path, seconds=3)
    assert done.status == 0
    assert words.WIRE_LOST in done.out


def test_unplugged_in_the_middle_keeps_what_was_heard(tmp_path: Path) -> None:
    device = SlcanDevice(opened=LEVER_LINE.encode() * 50)

    def unplugged() -> bytes:
        device.over.set()
        return b""

    device.beats = unplugged
    with device:
        done = listen(device, "--record", "a.log", folder=tmp_path, seconds=20)
    assert done.status == 2
    assert "the adapter is gone" in done.err
    assert len((tmp_path / "a.log").read_text().splitlines()) == 50
    with can.LogReader(tmp_path / "a.log") as reader:
        assert len([*reader]) == 50


# ------------------------------------------------------------------------------------------------ words


@pytest.fixture
def device() -> Iterator[SlcanDevice]:
    with SlcanDevice(opened=LEVER_LINE.encode()) as device:
        yield device


def test_a_log_is_never_written_over_nor_called_after_nothing(device: SlcanDevice, tmp_path: Path) -> None:
    (tmp_path / "a.log").write_text("mine")
    done = listen(device, "--record", "a.log", folder=tmp_path)
    assert (done.status, (tmp_path / "a.log").read_text()) == (2, "mine")
    assert words.RECORD_IS_THERE in done.err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "which adapter?"),
        (("--interface", "slcan"), "--channel: which adapter?"),
        (("--interface", "slacn", "--channel", "x"), "did you mean slcan?"),
        (("--interface", "slcan", "--channel", "/dev/nothing_here"), "is it plugged in"),
        (("--interface", "slcan", "--channel", "x", "--bus", "maim"), "did you mean main?"),
        (("--interface", "slcan", "--channel", "x", "--bit-rate", "500000"), "the boat file says 250000 bit/s"),
        (("--interface", "slcan", "--channel", "x", "--bit-rate", "5"), "from 10000 to 1000000"),
        (("--interface", "slcan", "--channel", "x", "--record", "a.txt"), "in .log"),
        (("--interface", "slcan", "--channel", "x", "--record", "no/folder/a.log"), "can't be written"),
        (("--interface", "slcan", "--channel", "x", "--seconds", "0"), "from 1 to"),
    ],
)
def test_a_wrong_word_is_a_line(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    done = call_busim("listen", FIRST_BOAT, *options, folder=tmp_path)
    assert done.status == 2, done.out
    assert said in done.err
    assert not [*tmp_path.glob("*.log")], "no log is left of nothing"


def test_a_boat_or_a_bit_rate_is_wanted(tmp_path: Path) -> None:
    done = call_busim("listen", "--interface", "slcan", "--channel", "x", folder=tmp_path)
    assert (done.status, "--bit-rate" in done.err) == (2, True)
    done = call_busim("listen", "--interface", "slcan", "--channel", "x", "--bus", "main", folder=tmp_path)
    assert (done.status, words.BUS_OF_NO_BOAT in done.err) == (2, True)


def test_the_adapters_are_listed(tmp_path: Path) -> None:
    done = call_busim("listen", "--list", folder=tmp_path)
    assert done.status == 0, done.err
    assert bench_labels.FOUND_SIMULATED not in done.out
    assert words.ADAPTERS_HEAD[0] in done.out or words.NO_ADAPTERS in done.out
