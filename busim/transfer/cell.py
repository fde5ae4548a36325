"""One node with what is wired to it: the part of a boat that a slot of time moves on by itself, given what it hears.

Cells are told apart by their canonical form and numbered; what a cell does in a slot is worked out once with the real node and
remembered. A cell holds what its surroundings need: machinery that does in the next slot what it is told, and a crew that puts
the levers ahead once the display says "in control here" and leaves them there, back to neutral only to take.
"""

import pickle
from collections.abc import Callable, Mapping
from io import BytesIO
from typing import Any, Final, NamedTuple

from busim.events import bits
from busim.protocol.plan import WirePlan
from busim.seam import OUTPUT, QUEUE, SEND, Actions, Node
from busim.transfer.memory import Label, form, numbers_in, relabel, settle

HERE: Final = 2
"""What a station's output `shows` says when it is in control (see `busim.labels.SHOWS`)."""
LEVER_AHEAD_PERMILLE: Final = 600
SHIFT_TRAVEL: Final = {0: 0, 1: 1000, 2: -1000}

# What happens to a cell at the beginning of a slot.
NOTHING_DONE: Final = 0
TAKES: Final = 1
"""Its levers go to neutral and its take key is pressed."""
TAKES_MATCHED: Final = 2
"""Its levers go ahead as the holder's are, and its take key is pressed."""
RESETS: Final = 3

MakeNode = Callable[[], Node]


class Cell:
    """State of one node and what is wired to it. `told` is the pair that a follower's report gave last."""

    __slots__ = ("booting", "gear", "lever", "node", "sensed", "shows", "stopped", "throttle", "told")

    def __init__(self) -> None:
        self.node: Node | None = None
        self.booting = 0
        """Slots until its program starts."""
        self.lever = 0
        """1: both levers ahead."""
        self.shows = 0
        self.gear = 0
        self.throttle = 0
        self.stopped = 0
        self.sensed = (0, 0)
        self.told = (0, 0)

    def key(self) -> tuple[Any, ...]:
        around = (self.booting, self.lever, self.shows, self.gear, self.throttle, self.stopped, self.sensed, self.told)
        return around if self.node is None else (*around, form(self.node))


class Done(NamedTuple):
    """What a cell came to in a slot: its next form, how far its counters moved, the frames it sent, what was wrong."""

    cell: int
    moved: tuple[tuple[Label, int], ...]
    sent: tuple[tuple[int, int, bytes], ...]
    obeyed_old: str


class Surroundings(NamedTuple):
    """What is fixed about a cell. `inputs` are the channels its class has, `levers` per instance (low, high, tracks)."""

    make: MakeNode
    address: int
    boot_slots: int
    slot_ns: int
    is_station: bool
    levers: tuple[int, ...]
    range_permille: tuple[int, int]
    tracks: int
    idle_rpm: int
    channels: Mapping[str, int]
    report_ids: frozenset[int]


class Cells:
    """All forms one node's cell has been seen in, and what it does from each."""

    def __init__(self, plan: WirePlan, fixed: Surroundings) -> None:
        self.plan = plan
        self.fixed = fixed
        self.saved: list[bytes] = []
        self.numbers: list[frozenset[int]] = []
        self.told: list[tuple[int, int]] = []
        self.shows: list[int] = []
        self.running: list[bool] = []
        self._ids: dict[tuple[Any, ...], int] = {}
        self._steps: dict[tuple[int, int, tuple[tuple[int, int, bytes], ...]], Done] = {}
        self._relabelled: dict[tuple[int, int], int] = {}
        probe = fixed.make()
        self._constant = {id(value): name for name, value in _constants(probe, plan)}
        self._constants = {name: value for name, value in _constants(probe, plan)}

    # ------------------------------------------------------------------------------------------------ forms

    def first(self) -> int:
        """A cell whose program starts with the next slot."""
        cell = Cell()
        cell.booting = 1
        return self.number_of(cell)

    def number_of(self, cell: Cell) -> int:
        key = cell.key()
        number = self._ids.get(key)
        if number is None:
            number = self._ids[key] = len(self.saved)
            self.saved.append(self._save(cell))
            self.numbers.append((numbers_in(cell.node) if cell.node is not None else frozenset()) | {cell.told[1]} - {0})
            self.told.append(cell.told)
            self.shows.append(cell.shows)
            self.running.append(cell.node is not None)
        return number

    def _save(self, cell: Cell) -> bytes:
        buffer = BytesIO()
        pickler = pickle.Pickler(buffer, protocol=5)
        constant = self._constant
        pickler.persistent_id = lambda thing: constant.get(id(thing))  # type: ignore[method-assign]
        pickler.dump(cell)
        return buffer.getvalue()

    def load(self, number: int) -> Cell:
        unpickler = pickle.Unpickler(BytesIO(self.saved[number]))
        unpickler.persistent_load = self._constants.__getitem__  # type: ignore[method-assign]
        cell: Cell = unpickler.load()
        return cell

    # ------------------------------------------------------------------------------------------------ a slot

    def step(self, number: int, event: int, heard: tuple[tuple[int, int, bytes], ...]) -> Done:
        """What the cell `number` comes to in a slot in which `event` happens, then these frames are heard in this order."""
        key = (number, event, heard)
        done = self._steps.get(key)
        if done is None:
            cell = self.load(number)
            slot = Slot(cell, self.fixed)
            moved = slot.play(event, heard)
            done = self._steps[key] = Done(self.number_of(cell), tuple(sorted(moved.items())), tuple(slot.sent), slot.obeyed_old)
        return done

    def relabelled(self, number: int, names: int, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> int:
        """The cell after counters moved and numbers are called anew. `names` stands for both of them."""
        key = (number, names)
        found = self._relabelled.get(key)
        if found is None:
            cell = self.load(number)
            if cell.node is not None:
                relabel(cell.node, moved, numbers)
            cell.told = (cell.told[0], numbers.get(cell.told[1], cell.told[1]))
            found = self._relabelled[key] = self.number_of(cell)
        return found


def _constants(node: Node, plan: WirePlan) -> list[tuple[str, Any]]:
    """What all nodes of a cell share, by name, so that it is not saved with each of them."""
    named = [("plan", plan), ("timing", plan.timing), ("class", type(node))]
    return [*named, *((f"me {name}", value) for name in ("me",) if (value := getattr(node, name, None)) is not None)]


class Slot:
    """One slot of one cell: its surroundings act, then it hears, then all its deadlines in the slot are met."""

    def __init__(self, cell: Cell, fixed: Surroundings) -> None:
        self.cell = cell
        self.fixed = fixed
        self.sent: list[tuple[int, int, bytes]] = []
        self.obeyed_old = ""

    def play(self, event: int, heard: tuple[tuple[int, int, bytes], ...]) -> dict[Label, int]:
        cell, fixed = self.cell, self.fixed
        if event == RESETS:
            cell.node, cell.booting = None, fixed.boot_slots
            cell.told, cell.shows = (0, 0), 0
            return {}
        if cell.node is None:
            cell.booting -= 1
            if cell.booting:
                return {}
            self._start()
        else:
            self._surround(event)
            for bus, can_id, data in heard:
                self._hear(bus, can_id, data)
        node = cell.node
        assert node is not None
        now_ns = 0
        while node.deadline_ns < fixed.slot_ns:
            now_ns = max(now_ns, node.deadline_ns)
            self._note(node.on_deadline(now_ns))
        return settle(node, fixed.slot_ns)

    def _start(self) -> None:
        node = self.cell.node = self.fixed.make()
        self._note(node.on_start(0, 0))
        if self.fixed.is_station:
            self._levers(self.cell.lever)
        else:
            self._machinery()

    def _surround(self, event: int) -> None:
        cell = self.cell
        if not self.fixed.is_station:
            if cell.sensed != (cell.gear, cell.throttle):
                self._machinery()
            return
        lever = cell.lever
        if event == TAKES:
            lever = 0
        elif event == TAKES_MATCHED or cell.shows == HERE:
            lever = 1
        if lever != cell.lever:
            self._levers(lever)
        if event in (TAKES, TAKES_MATCHED):
            self._input("take", 1)
            self._input("take", 0)

    def _levers(self, lever: int) -> None:
        self.cell.lever = lever
        low, high = self.fixed.range_permille
        middle = (low + high) // 2
        value = middle + (high - middle) * LEVER_AHEAD_PERMILLE // 1000 * lever
        for instance in self.fixed.levers:
            self._input(f"lever.{instance}", value)
            if self.fixed.tracks == 2:
                self._input(f"lever.{instance}b", low + high - value)

    def _machinery(self) -> None:
        """The actuators have arrived where they were sent in the slot before; the engine idles, whatever the throttle."""
        cell = self.cell
        cell.sensed = (cell.gear, cell.throttle)
        self._input("shift_position", SHIFT_TRAVEL[cell.gear])
        self._input("neutral_switch", int(cell.gear == 0))
        self._input("throttle_position", cell.throttle)
        self._input("rpm", self.fixed.idle_rpm)

    def _input(self, channel: str, value: int) -> None:
        channels, node = self.fixed.channels, self.cell.node
        if node is not None and (channel in channels or channel.partition(".")[0] + ".*" in channels):
            self._note(node.on_input(0, channel, value))

    def _hear(self, bus: int, can_id: int, data: bytes) -> None:
        cell = self.cell
        assert cell.node is not None
        told = cell.told
        actions = cell.node.on_frame(0, bus, can_id, data)
        self._note(actions)
        if can_id >> 6 == bits.CODE_LEVER and any(action[0] == OUTPUT and action[1] in ("shift", "throttle") for action in actions):
            pair = can_id & 0x3F, bits.field(int.from_bytes(data, "big"), bits.LEVER_NUMBER)
            if pair != told:
                self.obeyed_old = f"{pair[0]}/{pair[1]} {told[0]}/{told[1]}"

    def _note(self, actions: Actions) -> None:
        cell = self.cell
        for action in actions:
            kind = action[0]
            if kind in (SEND, QUEUE):
                _, bus, can_id, data, _ = action
                self.sent.append((bus, can_id, data))
                if can_id in self.fixed.report_ids:
                    cell.told = pair_told(can_id, data)
            elif kind == OUTPUT:
                channel, value = action[1], action[2]
                if channel == "shows":
                    cell.shows = value
                elif channel == "shift":
                    cell.gear = value
                elif channel == "throttle":
                    cell.throttle = value
                elif channel == "engine_stop":
                    cell.stopped = value


def pair_told(can_id: int, data: bytes) -> tuple[int, int]:
    """(station, number) of a follower's report: the same bits in a drive's and in the rudder's (46 to 27 of the frame)."""
    whole = int.from_bytes(data, "big")
    station, number = bits.field(whole, bits.OBEYS_STATION), bits.field(whole, bits.OBEYS_NUMBER)
    return station, number


