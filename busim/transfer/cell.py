"""One node with what is wired to it: the part of a boat that a slot of time moves on by itself, given what it hears.

Cells are told apart by their canonical form and numbered; what a cell does in a slot is worked out once with the real node and
remembered. A cell holds what its surroundings need: machinery that does in the next slot what it is told, and a crew that puts
the levers ahead once the display says "in control here" and leaves them there, back to neutral only to take.
"""

import copy
from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

from busim.events import bits
from busim.host.host import NodeError
from busim.host.wrong import failed_node
from busim.protocol.plan import WirePlan
from busim.seam import OUTPUT, QUEUE, SEND, Actions, FrameHandler, Node
from busim.transfer.memory import Form, Label, Shape, UntoldError
from busim.transfer.parcels import Parcels, Wire

LEVER_AHEAD_PERMILLE: Final = 300
HERE: Final = (2, 8)
"""What a station's display says when it is in control, steering or not (see `busim.labels.SHOWS`)."""
AMIDSHIPS_PERMILLE: Final = 500
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

    __slots__ = ("booting", "gear", "lever", "node", "sensed", "shows", "throttle", "told")

    def __init__(self) -> None:
        self.node: Node | None = None
        self.booting = 1
        """Slots until its program starts, 0 once it runs."""
        self.lever = 0
        """1: all its levers ahead."""
        self.shows = 0
        self.gear = 0
        self.throttle = 0
        self.sensed = (0, 0)
        self.told = (0, 0)

    def around(self) -> Form:
        return self.booting, self.lever, self.shows, self.gear, self.throttle, self.sensed, self.told


class Done(NamedTuple):
    """What a cell came to in a slot: its next form, how far its counters moved, the frames it sent, an old take it obeyed."""

    cell: int
    moved: tuple[tuple[Label, int], ...]
    sent: tuple[int, ...]
    obeyed_old: str


class Surroundings(NamedTuple):
    """What is fixed about a cell. `channels` are the inputs its class has, `levers` the instances it has a lever for."""

    make: MakeNode
    name: str
    plan: WirePlan
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
    """All forms one node's cell has been seen in, and what it does from each. A form's number stands for it everywhere."""

    def __init__(self, fixed: Surroundings, parcels: Parcels) -> None:
        self.fixed = fixed
        self.parcels = parcels
        self.forms: list[tuple[Form, Form | None, int]] = []
        """(what is round it, the node's form, number of its shape)."""
        self.numbers: list[frozenset[int]] = []
        self.told: list[tuple[int, int]] = []
        self.shows: list[int] = []
        self.running: list[bool] = []
        self._shapes: list[Shape] = []
        self._ids: dict[tuple[Form, Form | None, int], int] = {}
        self._steps: dict[tuple[int, int, tuple[int, ...]], Done] = {}
        self._relabelled: dict[tuple[int, int], int] = {}
        self._known: dict[Any, Any] = {}

    # ------------------------------------------------------------------------------------------------ forms

    def first(self) -> int:
        """A cell whose program starts with the next slot."""
        return self._number(Cell().around(), None, -1)

    def _number(self, around: Form, form: Form | None, shape: int) -> int:
        key = (around, form, shape)
        number = self._ids.get(key)
        if number is None:
            number = self._ids[key] = len(self.forms)
            self.forms.append(key)
            told: tuple[int, int] = around[-1]
            numbers = self._shapes[shape].numbers(form) if form is not None else frozenset()
            self.numbers.append((numbers | {told[1]}) - {0})
            self.told.append(told)
            self.shows.append(around[2])
            self.running.append(form is not None)
        return number

    def _load(self, number: int) -> tuple[Cell, Shape | None]:
        around, form, place = self.forms[number]
        cell = Cell()
        cell.booting, cell.lever, cell.shows, cell.gear, cell.throttle, cell.sensed, cell.told = around
        if form is None:
            return cell, None
        shape = self._shapes[place]
        cell.node = shape.write(form)
        return cell, shape

    def _save(self, cell: Cell, shape: Shape | None) -> tuple[int, dict[Label, int]]:
        """The cell's number at the end of a slot, and how far its counters moved in it."""
        if cell.node is None:
            return self._number(cell.around(), None, -1), {}
        mine = shape if shape is not None and shape.keeps() else Shape(cell.node)
        form, moved = mine.read(self.fixed.slot_ns)
        place = next((place for place, each in enumerate(self._shapes) if each.key == mine.key), -1)
        if place < 0:
            place = len(self._shapes)
            # A node of its own, as the one at hand may belong to another shape.
            self._shapes.append(mine if shape is None else Shape(copy.deepcopy(cell.node, {id(self.fixed.plan): self.fixed.plan})))
        return self._number(cell.around(), form, place), moved

    # ------------------------------------------------------------------------------------------------ a slot

    def step(self, number: int, event: int, heard: tuple[int, ...]) -> Done:
        """What the cell `number` comes to in a slot in which `event` happens, then these frames are heard in this order."""
        key = (number, event, heard)
        done = self._steps.get(key)
        if done is None:
            cell, shape = self._load(number)
            slot = Slot(cell, self.fixed, shape.handlers if shape is not None else {})
            try:
                slot.play(event, [self.parcels.wires[wire] for wire in heard])
                after, moved = self._save(cell, shape)
            except (UntoldError, LateError) as error:
                raise NodeError(f"{self.fixed.name}: {error}") from error
            except Exception as error:
                if failed_node(error.__traceback__) is None:
                    raise
                raise NodeError(f"{self.fixed.name}: its program failed: {type(error).__name__}: {error}") from error
            sent = tuple([self.parcels.wire(wire) for wire in slot.sent])
            done = self._steps[key] = Done(after, self._same(tuple(moved.items())), self._same(sent), slot.obeyed_old)
        return done

    def _same(self, thing: Any) -> Any:
        return self._known.setdefault(thing, thing)

    def relabelled(self, number: int, names: int, moved: Mapping[Label, int], numbers: Mapping[int, int]) -> int:
        """The cell after counters moved and numbers are called anew. `names` stands for both of them."""
        key = (number, names)
        found = self._relabelled.get(key)
        if found is None:
            around, form, place = self.forms[number]
            if form is not None:
                form = self._shapes[place].relabel(form, moved, numbers)
            station, take = around[-1]
            found = self._relabelled[key] = self._number((*around[:-1], (station, numbers.get(take, take))), form, place)
        return found


class LateError(Exception):
    """A node that would be called at the same moment for ever."""


class Slot:
    """One slot of one cell: its surroundings act, then it hears, then all its deadlines in the slot are met."""

    def __init__(
        self, cell: Cell, fixed: Surroundings, handlers: dict[tuple[int, int], FrameHandler], begin_ns: int = 0
    ) -> None:
        self.cell = cell
        self.begin_ns = begin_ns
        self.handlers = handlers
        self.fixed = fixed
        self.sent: list[Wire] = []
        self.obeyed_old = ""

    def play(self, event: int, heard: list[Wire]) -> None:
        cell, fixed = self.cell, self.fixed
        if event == RESETS:
            cell.node, cell.booting = None, fixed.boot_slots
            cell.told, cell.shows = (0, 0), 0
            return
        if cell.node is None:
            cell.booting -= 1
            if cell.booting:
                return
            self._start()
        else:
            self._surround(event)
            for bus, can_id, data in heard:
                self._hear(bus, can_id, data)
        node = cell.node
        assert node is not None
        now_ns = self.begin_ns
        while node.deadline_ns < self.begin_ns + fixed.slot_ns:
            now_ns = max(now_ns, node.deadline_ns)
            self._note(node.on_deadline(now_ns))
            if node.deadline_ns <= now_ns:
                raise LateError("on_deadline left its deadline at a moment that has passed")

    def _start(self) -> None:
        node = self.cell.node = self.fixed.make()
        self._note(node.on_start(self.begin_ns, 0))
        if self.fixed.is_station:
            self._levers(self.cell.lever)
            self._input("wheel", AMIDSHIPS_PERMILLE)
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
        elif event == TAKES_MATCHED or cell.shows in HERE:
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
        self._input("rudder_angle", 0)

    def _input(self, channel: str, value: int) -> None:
        channels, node = self.fixed.channels, self.cell.node
        if node is not None and (channel in channels or channel.partition(".")[0] + ".*" in channels):
            self._note(node.on_input(self.begin_ns, channel, value))

    def _hear(self, bus: int, can_id: int, data: bytes) -> None:
        cell = self.cell
        told = cell.told
        actions = self.handlers[bus, can_id](self.begin_ns, bus, can_id, data)
        if not actions:
            return
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


def pair_told(can_id: int, data: bytes) -> tuple[int, int]:
    """(station, number) of a follower's report: the same bits in a drive's and in the rudder's (46 to 27 of the frame)."""
    whole = int.from_bytes(data, "big")
    station, number = bits.field(whole, bits.OBEYS_STATION), bits.field(whole, bits.OBEYS_NUMBER)
    return station, number


