"""A node, driven by calls of the seam on a clock of the test's own; what it did is written down.

The clock only moves in `run_to` and `run_for`, which meet every deadline on the way. At a moment that is both, a frame given
after `run_to(moment - 1)` comes before the deadline, one given after `run_to(moment)` comes behind it.
"""

from busim.protocol.tables import TABLES
from busim.seam import OUTPUT, ROW, SEND, Actions, Node
from busim.units import MS

from .hand_made_frames import part

_TABLES = {table.name: table for table in TABLES}


class NodeRig:
    """`did` holds (now, action) of everything, `rows` the row numbers, `outputs` what each output was told last."""

    def __init__(self, node: Node) -> None:
        self.node = node
        self.now_ns = 0
        self.did: list[tuple[int, tuple[object, ...]]] = []
        self.rows: list[int] = []
        self.outputs: dict[str, int] = {}
        self.counters: dict[int, int] = {}

    # ------------------------------------------------------------------------------------------------ calls

    def start(self, reset_cause: int = 0) -> None:
        self.note(self.node.on_start(self.now_ns, reset_cause))

    def run_to(self, to_ns: int) -> None:
        """To this moment, its deadline included."""
        assert to_ns >= self.now_ns
        while self.node.deadline_ns <= to_ns:
            assert self.node.deadline_ns >= self.now_ns
            self.now_ns = self.node.deadline_ns
            self.note(self.node.on_deadline(self.now_ns))
            assert self.node.deadline_ns > self.now_ns
        self.now_ns = to_ns

    def run_for(self, for_ms: float) -> None:
        self.run_to(self.now_ns + round(for_ms * MS))

    def frame(self, can_id: int, data: bytes, bus: int = 0) -> Actions:
        return self.note(self.node.on_frame(self.now_ns, bus, can_id, data))

    def input(self, channel: str, value: int) -> Actions:
        return self.note(self.node.on_input(self.now_ns, channel, value))

    def counter(self, can_id: int, ahead: int = 1) -> int:
        """The next counter of a sender's message: `ahead` of the one before."""
        self.counters[can_id] = counter = (self.counters.get(can_id, 0) + ahead) % 256
        return counter

    def note(self, actions: Actions) -> Actions:
        for action in actions:
            self.did.append((self.now_ns, action))
            if action[0] == ROW:
                self.rows.append(action[2])
                assert action[2] in _TABLES[action[1]].by_number
            elif action[0] == OUTPUT:
                self.outputs[action[1]] = action[2]
        return actions

    # ------------------------------------------------------------------------------------------------ what it did

    def forget(self) -> None:
        """Start the notes anew; outputs stay."""
        self.did.clear()
        self.rows.clear()

    def said(self, code: int, since_ns: int = 0) -> list[tuple[int, bytes]]:
        """(now, data) of every frame of this code, on bus 0."""
        return [
            (now_ns, action[3])  # type: ignore[misc]
            for now_ns, action in self.did
            if action[0] in (SEND, SEND + 1) and action[1] == 0 and action[2] // 64 == code and now_ns >= since_ns  # type: ignore[operator]
        ]

    def last(self, code: int, below: int, bits: int) -> int:
        """A part of the frame of this code sent last."""
        return part(self.said(code)[-1][1], below, bits)

    def told(self, channel: str) -> list[tuple[int, int]]:
        """(now, value) of everything said to an output."""
        return [(now_ns, action[2]) for now_ns, action in self.did if action[:2] == (OUTPUT, channel)]  # type: ignore[misc]
