"""A firmware as a process of its own, for the bench to test: our drive's program behind slcan over TCP, built for the bench.

Run as `python firmware_program.py BOAT NODE HOST:PORT`. `STUBBORN=1` in the environment: its gear never comes out again.
"""

import os
import select
import socket
import sys
import time
from pathlib import Path

from busim.bench.slcan import frame_line
from busim.boat.load import load_boat
from busim.protocol.catalogue import BENCH
from busim.protocol.values import BENCH_ADDRESS, BENCH_CHANNELS
from busim.seam import OUTPUT, QUEUE, SEND, Actions
from busim.simulator.kinds import load_kinds
from busim.units import SECOND

NUMBERS = {name: number for number, name in BENCH_CHANNELS}
NAMES = dict(BENCH_CHANNELS)


class Board:
    def __init__(self, boat_path: str, name: str, place: str) -> None:
        boat = load_boat(Path(boat_path))
        written = boat.boat.nodes[name]
        self.address = written.address
        self.node = load_kinds()[written.kind](boat.plan, written.address, written.build)  # type: ignore[call-arg]
        self.handlers = self.node.receives()
        host, _, port = place.rpartition(":")
        self.line = socket.create_connection((host, int(port)))
        self.line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.stubborn = bool(os.environ.get("STUBBORN"))
        self.zero_ns = time.monotonic_ns()
        self.line.sendall(b"C\rO\r")

    def now_ns(self) -> int:
        return time.monotonic_ns() - self.zero_ns

    def act(self, actions: Actions) -> None:
        for action in actions:
            if action[0] in (SEND, QUEUE):
                self.line.sendall(frame_line(action[2], action[3]))
            elif action[0] == OUTPUT and action[1] in NUMBERS:
                if self.stubborn and action[1] == "shift" and not action[2]:
                    continue
                self.line.sendall(frame_line(BENCH.can_id(self.address), BENCH.pack(1, NUMBERS[action[1]], action[2])))

    def heard(self, can_id: int, data: bytes) -> None:
        if can_id == BENCH.can_id(BENCH_ADDRESS):
            _, number, value = BENCH.unpack(int.from_bytes(data, "big"))
            if number in NAMES:
                self.act(self.node.on_input(self.now_ns(), NAMES[number], value))
        elif (0, can_id) in self.handlers:
            self.act(self.handlers[0, can_id](self.now_ns(), 0, can_id, data))

    def run(self) -> None:
        self.act(self.node.on_start(0, 0))
        for channel in ("shift_position", "throttle_position"):
            self.act(self.node.on_input(0, channel, 0))
        self.act(self.node.on_input(0, "neutral_switch", 1))
        rest = b""
        while True:
            wait_s = max(self.node.deadline_ns - self.now_ns(), 0) / SECOND
            if select.select([self.line], [], [], min(wait_s, 0.1))[0]:
                received = self.line.recv(65_536)
                if not received:
                    return
                *lines, rest = (rest + received).split(b"\r")
                for line in lines:
                    text = line.lstrip(b"\az\n").decode()
                    if text.startswith("t"):
                        self.heard(int(text[1:4], 16), bytes.fromhex(text[5:]))
            if self.node.deadline_ns <= self.now_ns():
                self.act(self.node.on_deadline(self.now_ns()))


if __name__ == "__main__":
    Board(*sys.argv[1:4]).run()
