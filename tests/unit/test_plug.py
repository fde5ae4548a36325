"""The loop of `busim plug` over real sockets and pseudo-terminals, its clock in the test's hand: no test waits for time to pass."""

import contextlib
import os
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from busim import labels
from busim.bench.doors import loopback_listener
from busim.bench.hands import HandsError, read_line, usage
from busim.bench.live import LiveBoat
from busim.bench.pacing import LONGEST_STEP_NS, Pace, Spread
from busim.bench.plug import HELD_MOST, Plug
from busim.boat.load import load_boat
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND

CONFIGS = Path(__file__).parents[2] / "configs"
BOAT = load_boat(CONFIGS / "first_boat")


class Clock:
    """Moves on by half a millisecond each time it is read."""

    def __init__(self) -> None:
        self.now_ns = 0

    def __call__(self) -> int:
        self.now_ns += MS // 2
        return self.now_ns


class Hurried(Pace):
    """Never waits: what time it is, its clock says by being read."""

    def wait_s(self, next_ns: int) -> float:
        return 0.0


class Rig:
    def __init__(self, seats: int = 2) -> None:
        self.live = LiveBoat(BOAT.boat, BOAT.plan, load_kinds(), 1)
        places = [self.live.seat("main", f"guest {number}") for number in range(1, seats + 1)]
        self.said: list[str] = []
        self.programs: list[socket.socket] = []
        self.plug = Plug(self.live, 250_000, places, self.said.append, Hurried(Clock()))

    def connect(self) -> socket.socket:
        """A program that comes in by the listening socket, as on a user's computer."""
        if self.plug.listener is None:
            self.plug.open_port(loopback_listener(0))
        assert self.plug.listener is not None
        program = socket.create_connection(self.plug.listener.getsockname())
        program.setblocking(False)
        self.programs.append(program)
        come = self.plug.come
        self.run_until(lambda: self.plug.come > come)
        return program

    def run_until(self, done: Callable[[], bool], most_ns: int = 5 * SECOND) -> None:
        self.plug.run(self.live.now_ns + most_ns, done)
        assert done(), self.said


@pytest.fixture
def rig() -> Iterator[Rig]:
    rig = Rig()
    yield rig
    rig.plug.close()
    for program in rig.programs:
        program.close()


def read_all(program: socket.socket) -> bytes:
    try:
        return program.recv(1 << 20)
    except BlockingIOError:
        return b""


class Reader:
    """What a program has read so far; truthy once some words are in it."""

    def __init__(self, program: socket.socket) -> None:
        self.program = program
        self.seen = b""

    def saw(self, words: bytes, times: int = 1) -> bool:
        self.seen += read_all(self.program)
        return self.seen.count(words) >= times


def test_two_programs_hear_the_boat_and_each_other(rig: Rig) -> None:
    one, two = rig.connect(), rig.connect()
    first, second = Reader(one), Reader(two)
    one.send(b"S5\rO\r")
    two.send(b"Z1\rO\r")
    rig.run_until(lambda: first.saw(b"t281") and second.saw(b"t281"))  # heartbeat of the station, code 10, address 1
    one.send(b"t7002AB01\r")
    rig.run_until(lambda: first.saw(b"z\r") and second.saw(b"t7002AB01"))
    assert b"t7002AB01" not in first.seen
    at = second.seen.index(b"t7002AB01") + 9
    stamp = int(second.seen[at : at + 4], 16)
    assert 0 < stamp < rig.live.now_ns // MS


def test_garbage_from_one_does_not_touch_the_other(rig: Rig) -> None:
    one, two = rig.connect(), rig.connect()
    good = Reader(two)
    two.send(b"O\r")
    one.send(b"O\r" + bytes(range(256)) * 40 + b"\rt12\rt7FF812\r")
    rig.run_until(lambda: good.saw(b"t281", 10))
    assert len(rig.plug.clients) == 2
    assert rig.plug.clients[0].slcan.refused > 3
    assert good.seen.startswith(b"\r")


def test_a_program_that_vanishes_leaves_the_bus(rig: Rig) -> None:
    one, two = rig.connect(), rig.connect()
    good = Reader(two)
    one.send(b"O\r")
    two.send(b"O\r")
    rig.run_until(lambda: good.saw(b"t281", 3))
    seat = rig.plug.clients[0].seat
    assert seat.host.powered
    one.close()
    rig.run_until(lambda: len(rig.plug.clients) == 1)
    assert not seat.host.powered
    assert any(labels.CLIENT_LEFT in words for words in rig.said)
    rig.run_until(lambda: good.saw(b"t281", 6))


def test_a_program_that_does_not_read_is_dropped_and_named_and_the_boat_goes_on(rig: Rig) -> None:
    deaf, good_one = rig.connect(), rig.connect()
    good = Reader(good_one)
    good_one.send(b"O\r")
    deaf.send(b"O\r")
    flood = b"V\r" * 20_000

    def dropped() -> bool:
        with contextlib.suppress(BlockingIOError, OSError):
            deaf.send(flood)
        good.saw(b"")
        return len(rig.plug.clients) == 1

    rig.run_until(dropped, 60 * SECOND)
    stuck = labels.CLIENT_STUCK.format(kib=HELD_MOST >> 10)
    assert any(stuck in words and "127.0.0.1:" in words for words in rig.said)
    seen = good.seen.count(b"t281")
    rig.run_until(lambda: good.saw(b"t281", seen + 3))


def test_one_too_many_is_turned_away(rig: Rig) -> None:
    rig.connect(), rig.connect()
    assert rig.plug.listener is not None
    third = socket.create_connection(rig.plug.listener.getsockname())
    rig.run_until(lambda: any("turned away" in words for words in rig.said))
    assert third.recv(10) == b""
    third.close()


def test_a_wrong_rate_is_refused_in_words(rig: Rig) -> None:
    program = rig.connect()
    reader = Reader(program)
    program.send(b"S6\rO\r")
    rig.run_until(lambda: reader.saw(b"\a"))
    assert any("500,000" in words and "250,000" in words for words in rig.said)
    assert not rig.plug.clients[0].seat.host.powered


def test_a_pseudo_terminal_is_there_again_for_the_next_program(rig: Rig) -> None:
    rig.plug.open_terminal()
    for _ in range(2):
        path = rig.plug.clients[-1].stream.words
        end = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        seen = b""

        def heard(end: int = end) -> bool:
            nonlocal seen
            with contextlib.suppress(BlockingIOError):
                seen += os.read(end, 4096)
            return b"t281" in seen

        os.write(end, b"O\r")
        rig.run_until(heard)
        come = rig.plug.come
        os.close(end)
        rig.run_until(lambda come=come: rig.plug.come > come)  # type: ignore[misc]
        assert len(rig.plug.clients) == 1


def test_lines_move_levers_while_it_runs(rig: Rig) -> None:
    ours, theirs = os.pipe()
    with os.fdopen(ours) as lines:
        rig.plug.listen_to(lines)
        rig.run_until(lambda: rig.live.now_ns > SECOND)
        os.write(theirs, b"key wheelhouse take\nfly\nhelp\n")
        rig.run_until(lambda: any("in control here" in words for words in rig.said))
        os.write(theirs, b"lever wheelhouse engine 600\n")
        rig.run_until(lambda: any("gear in, ahead" in words for words in rig.said))
        os.close(theirs)
        rig.run_until(lambda: lines not in {key.fileobj for key in rig.plug.selector.get_map().values()})
    assert any('"fly"' in words for words in rig.said)
    assert any("lever STATION DRIVE" in words for words in rig.said)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("levr wheelhouse engine 300", "did you mean lever?"),
        ("lever wheelhouse engin 300", "did you mean engine?"),
        ("lever wheelhouse engine 3000", "3000 is too large, at most 1000"),
        ("lever wheelhouse engine much", "a whole number is wanted"),
        ("lever wheelhouse", "drive is missing"),
        ("lever wheelhouse engine 300 200 9", "no more"),
        ("wheel wheelhouse 100", "has no wheel"),
        ("key wheelhouse fly", "one of take, neutral_now"),
        ("engines on", "nobody knows how to"),
    ],
)
def test_a_line_nobody_can_do_is_a_line(line: str, said: str) -> None:
    with pytest.raises(HandsError, match=said):
        read_line(line, BOAT.boat)


def test_every_word_of_the_usage_is_one() -> None:
    marsh_tern = load_boat(CONFIGS / "marsh_tern").boat
    told = {line.split()[0] for line in usage()}
    good = (
        "lever wheelhouse port -300 400", "wheel wheelhouse 100", "key wheelhouse take", "crank port", "power port_drive off",
        "stream 90 1.5", "touch saloon_panel evening",
    )  # fmt: skip
    for line in good:
        kind, what = read_line(line, marsh_tern)
        assert kind == line.split()[0]
        assert what.model_dump()
    assert {line.split()[0] for line in good} <= told


def test_a_computer_that_stands_still_makes_time_stand_still() -> None:
    clock = Clock()
    pace = Pace(clock)
    pace.begin(0)
    clock.now_ns += 20 * MS
    at_ns = pace.now_ns(0)
    assert 20 * MS <= at_ns < 25 * MS
    clock.now_ns += 10 * SECOND
    later_ns = pace.now_ns(at_ns)
    assert later_ns == at_ns + LONGEST_STEP_NS
    assert pace.stops == 1
    assert 9 * SECOND < pace.stood_ns < 10 * SECOND


def test_a_spread_tells_its_shares_within_a_sixteenth() -> None:
    spread = Spread()
    for duration_us in range(1, 10_001):
        spread.add(duration_us * 1000)
    for share in (0.5, 0.99, 0.1):
        exact_ns = share * 10_000_000
        assert exact_ns <= spread.share_ns(share) <= exact_ns * 17 / 16
    assert spread.share_ns(1.0) == spread.worst_ns == 10_000_000
    assert Spread().share_ns(0.5) == 0
