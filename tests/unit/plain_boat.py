"""The boat of `check --transfer` played without canonical forms: clocks run on, counters and numbers are what they are.

It is given the same choices, slot by slot, and has to show the same to the outside: that is what the forms are held against.
"""

from functools import partial

from busim.seam import Node
from busim.transfer.cell import NOTHING_DONE, RESETS, Cell, Slot
from busim.transfer.memory import Leaf, Shape
from busim.transfer.network import UNCUT, Network
from busim.transfer.slots import Choice
from busim.units import NEVER

Parcel = tuple[int, int, tuple[int, int, bytes], tuple[int, ...]]


def own_counters(node: Node) -> list[Leaf]:
    return [leaf for leaf in Shape(node).leaves if leaf.kept.what == "own_counter"]


class PlainBoat:
    def __init__(self, network: Network) -> None:
        self.network = network
        self.cells = [Cell() for _ in network.members]
        self.started = [0] * len(self.cells)
        self.stood_at: list[list[int]] = [[] for _ in self.cells]
        """Where the counters of each stood that was reset."""
        self.flight: list[Parcel] = []
        self.cuts = [UNCUT] * len(network.bus_names)
        self.slot = 0

    def advance(self, choice: Choice) -> None:
        what, where = choice
        if what == "cut":
            self.cuts[where[0]] = where[1]
        elif what == "heal":
            self.cuts[where[0]] = UNCUT
        heard = self._deliver(what, where)
        fresh: list[Parcel] = []
        for index, cell in enumerate(self.cells):
            event = NOTHING_DONE
            if what == "take" and index in where[::2]:
                event = where[where[::2].index(index) * 2 + 1]
            elif what == "reset" and where[0] == index:
                event = RESETS
            if cell.node is None:
                self.started[index] = self.slot
            elif event == RESETS:
                self.stood_at[index] = [getattr(leaf.owner, leaf.slot) for leaf in own_counters(cell.node)]
            handlers = cell.node.receives() if cell.node is not None else {}
            begin_ns = (self.slot - self.started[index]) * self.network.slot_ns
            fixed = self.network.cells[index].fixed._replace(make=partial(self._made, index))
            slot = Slot(cell, fixed, handlers, begin_ns)
            slot.play(event, heard[index])
            if cell.node is not None and hasattr(cell.node, "start_permission"):
                # The one thing left out of a drive's form that has a deadline of its own; at each it also looks at its machinery.
                cell.node.start_permission.due_ns = NEVER
            for wire in slot.sent:
                listeners = self.network.routes.get(wire[:2], ())
                if listeners:
                    fresh.append((0, 0, wire, listeners))
        self.flight += fresh
        if what == "reset":
            address = self.network.members[where[0]]
            self.flight = [parcel for parcel in self.flight if parcel[2][1] & 0x3F != address]
        self.flight.sort(key=lambda parcel: (parcel[0], parcel[1], parcel[2][1]))
        self.slot += 1

    def _made(self, index: int) -> Node:
        """A node that starts again counts from where nobody takes it for going on: the exploration leaves out that chance."""
        node = self.network.cells[index].fixed.make()
        for leaf, stood_at in zip(own_counters(node), self.stood_at[index], strict=False):
            setattr(leaf.owner, leaf.slot, stood_at + 100 & 0xFF)
        return node

    def _deliver(self, what: str, where: tuple[int, ...]) -> list[list[tuple[int, int, bytes]]]:
        heard: list[list[tuple[int, int, bytes]]] = [[] for _ in self.cells]
        onward: list[Parcel] = []
        place = -1
        for wait, late, wire, listeners in self.flight:
            if wait:
                onward.append((wait - 1, late, wire, listeners))
                continue
            place += 1
            hit = what in ("lost", "late", "twice") and where[0] == place
            if hit and what in ("late", "twice"):
                onward.append((where[1] - 1, 1, wire, listeners))
            if hit and what == "late":
                continue
            for listener in listeners:
                lost = hit and what == "lost" and listener in where[1:]
                if not lost and self.network.passes(wire[0], self.cuts[wire[0]], wire[1] & 0x3F, self.network.members[listener]):
                    heard[listener].append(wire)
        self.flight = onward
        if what == "order":
            for each in heard:
                each.reverse()
        return heard

    def shown(self) -> list[tuple[int, ...]]:
        """Of each member: display, gear, throttle, whom it says it obeys; and in place of its number, its rank."""
        numbers = sorted({cell.told[1] for cell in self.cells})
        return [(cell.shows, cell.gear, cell.throttle, cell.told[0], numbers.index(cell.told[1])) for cell in self.cells]
