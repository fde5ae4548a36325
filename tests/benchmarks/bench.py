"""Real time at the edge: `python -m tests.benchmarks.bench [SECONDS]`.

Stimulus timing: how much later than due each frame of the simulated boat reaches an slcan adapter on loopback TCP, through the
bench's own loop and python-can, at about 80 % load; wanted are a median under 1 ms and 99 % under 5 ms. Plug: a full bus at
500 kbit/s to two programs; wanted is that neither misses a frame.
"""

import contextlib
import multiprocessing
import socket
import sys
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from busim.bench.adapter import AdapterError, Wanted, open_adapter
from busim.bench.doors import loopback_listener
from busim.bench.link import OverAdapter
from busim.bench.live import LiveBoat
from busim.bench.order import RIG, Order
from busim.bench.pacing import Pace, Spread, hold_still
from busim.bench.plug import Plug
from busim.bench.session import Session
from busim.bench.stage import Play
from busim.boat.load import LoadedBoat, load_boat
from busim.frames.length import frame_bits
from busim.simulator.kinds import load_kinds
from busim.units import MS, SECOND

FIRST_BOAT = Path(__file__).parents[2] / "configs" / "first_boat"
STEPS_MS = (0.1, 0.25, 0.5, 1, 2, 5, 10, 25, 50)
FILL_NS = 570_000
"""The bench's own frames come so often: with the boat's they make about 80 % of 250 kbit/s."""


def distribution(words: str, durations_ns: list[int]) -> None:
    spread = Spread()
    for duration_ns in durations_ns:
        spread.add(duration_ns)
    median, high = (spread.share_ns(share) / MS for share in (0.5, 0.99))
    print(f"{words}: {spread.total:,} times, median {median:.2f} ms, 99 % {high:.2f} ms, worst {spread.worst_ns / MS:.2f} ms")
    below = 0.0
    for step_ms in STEPS_MS:
        share = sum(duration_ns <= step_ms * MS for duration_ns in durations_ns) / max(len(durations_ns), 1)
        print(f"    up to {step_ms:5g} ms  {100 * share:6.2f} %  {'#' * round(50 * (share - below))}")
        below = share


# ------------------------------------------------------------------------------------------------ how late stimuli are


def adapter_end(listener: socket.socket, results: Connection) -> None:
    """An adapter that stamps what reaches it, and answers. Its clock is the bench's: the computer's monotonic one."""
    connection, _ = listener.accept()
    hold_still()  # an adapter's own clock waits for no other program
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    arrived: list[int] = []
    rest = b""
    with contextlib.suppress(OSError):  # the other end has closed: that is the end
        while received := connection.recv(65_536):
            now_ns = time.monotonic_ns()
            *lines, rest = (rest + received).split(b"\r")
            arrived += [now_ns] * sum(line.startswith(b"t") for line in lines)
            connection.sendall(b"z\r" * len(lines))
    results.send(arrived)


def bare_waits(seconds: int) -> None:
    """What the computer itself costs now: how late a process is that does nothing but wait for half a millisecond."""
    late: list[int] = []
    until_ns = time.monotonic_ns() + seconds * SECOND
    while (due_ns := time.monotonic_ns() + MS // 2) < until_ns:
        time.sleep(0.0005)
        late.append(time.monotonic_ns() - due_ns)
    distribution("a process that only waits is late by", late)


class Noted(Pace):
    """Keeps when each frame was due, by the clock."""

    def __init__(self) -> None:
        super().__init__()
        self.due_ns: list[int] = []

    def note(self, due_ns: int, done_ns: int) -> None:
        super().note(due_ns, done_ns)
        self.due_ns.append(self._zero_ns + due_ns)


class Quiet:
    """Nobody to talk to."""

    def __getattr__(self, name: str) -> Callable[..., Any]:
        return (lambda *arguments: "") if name == "ended" else (lambda *arguments: None)


class Loaded(Session):
    """Speaks at once, and fills the bus: what is timed is the loop and the link."""

    seconds = 10
    bits = 0

    def _course(self) -> Play:
        hold_still()
        self._begin_to_speak()
        bus = self.live.world.bus(self.order.bus)
        self.live.world.journal.watch_blocks(lambda frames, events, digest: self._count(frames))
        assert bus is not None
        until_ns = self.live.now_ns + self.seconds * SECOND
        number = 0
        due_ns = self.live.now_ns
        while due_ns < until_ns:
            self.voice.transmit(0x740 | number & 0x3F, number.to_bytes(8, "big"))
            number += 1
            due_ns += FILL_NS
            yield max(due_ns - self.live.now_ns, 0)

    def _count(self, frames: list[Any]) -> None:
        self.bits += sum(frame_bits(can_id, data) for _, _, can_id, data, _ in frames)

    def _farewell(self) -> bool | None:
        return None


def stimuli(seconds: int) -> None:
    boat = load_boat(FIRST_BOAT)
    context = multiprocessing.get_context("fork")
    listener = loopback_listener(0)
    listener.setblocking(True)
    ours, theirs = context.Pipe()
    adapter = context.Process(target=adapter_end, args=(listener, theirs))
    adapter.start()
    channel = f"socket://127.0.0.1:{listener.getsockname()[1]}"
    pace = Noted()
    order = Order(boat.boat, boat.plan, "engine_room", "main", machinery=RIG)
    session = Loaded(
        order, load_kinds(), Quiet(), lambda: OverAdapter(open_adapter(Wanted("slcan", channel, 250_000)), AdapterError), pace
    )
    session.seconds = seconds
    ending = session.run()
    arrived = ours.recv()
    adapter.join()
    listener.close()
    if ending.words:
        print(ending.words)
    load = session.bits / (session.live.now_ns / SECOND) / 250_000
    print(f"load {100 * load:.0f} % of 250 kbit/s; held up {pace.stops} times")
    distribution("later than due at the adapter", [after - due for due, after in zip(pace.due_ns, arrived, strict=False)])


# ------------------------------------------------------------------------------------------------ a full bus to two programs


def reader(port: int, results: Connection) -> None:
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.sendall(b"S6\rO\r")
        frames = 0
        while received := line.recv(65_536):
            frames += received.count(b"t")
        results.send(frames)


def full_bus(seconds: int) -> None:
    boat = fast_boat()
    live = LiveBoat(boat.boat, boat.plan, load_kinds(), 1)
    seats = [live.seat("main", f"guest {number}") for number in (1, 2)]
    filler = live.seat("main", "filler")
    plug = Plug(live, 500_000, seats, lambda words: None)
    listener = loopback_listener(0)
    plug.open_port(listener)
    context = multiprocessing.get_context("fork")
    pipes = [context.Pipe() for _ in seats]
    readers = [context.Process(target=reader, args=(listener.getsockname()[1], theirs)) for _, theirs in pipes]
    for each in readers:
        each.start()
    plug.run(5 * SECOND, lambda: len(plug.clients) == 2 and all(client.seat.host.powered for client in plug.clients))
    filler.go_on_bus(listen_only=False)
    heard_before = [seat.heard for seat in seats]
    first = live.now_ns
    bits: list[int] = []
    live.world.journal.watch_blocks(
        lambda frames, events, digest: bits.append(sum(frame_bits(can_id, data) for _, _, can_id, data, _ in frames))
    )
    plug.pace = Pace()
    number = 0

    def fill() -> bool:
        nonlocal number
        while len(filler.controller.pending) < 30:
            number += 1
            filler.transmit(0x700 | number & 0x3F, (number * 0x9E3779B97F4A7C15 & (1 << 64) - 1).to_bytes(8, "big"))
        return False

    hold_still()
    plug.run(first + seconds * SECOND, fill)
    on_bus = [seat.heard - before for seat, before in zip(seats, heard_before, strict=True)]
    dropped = 2 - len(plug.clients)
    for client in plug.clients:  # what they are still owed is theirs
        while client.owed and not client.gone:
            client.give()
    heard = [seat.heard for seat in seats]
    plug.close()
    counts = [ours.recv() for ours, _ in pipes]
    for each in readers:
        each.join()
    late = plug.pace.lateness
    load = sum(bits) / seconds / 500_000
    print(f"plug, 500 kbit/s: load {100 * load:.0f} %, {on_bus[0] / seconds:,.0f} frames/s to each of two programs")
    print(f"    heard by the guests {heard}, arrived at the programs {counts}, dropped programs {dropped}")
    print(
        f"    behind the clock: median {late.share_ns(0.5) / MS:.2f} ms, 99 % {late.share_ns(0.99) / MS:.2f} ms, "
        f"worst {late.worst_ns / MS:.2f} ms; held up {plug.pace.stops} times, {plug.pace.stood_ns / SECOND:.1f} s"
    )


def fast_boat() -> LoadedBoat:
    import tempfile

    text = (FIRST_BOAT / "boat.yaml").read_text(encoding="utf-8").replace("bit_rate: 250000", "bit_rate: 500000")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "boat.yaml"
        path.write_text(text, encoding="utf-8")
        return load_boat(path)


if __name__ == "__main__":
    lasting = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    bare_waits(max(lasting // 2, 1))
    stimuli(lasting)
    full_bus(lasting)
