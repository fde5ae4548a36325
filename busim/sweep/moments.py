"""When faults begin: just before, during and after every frame and transition that the fault can touch, and in between.

What happens in a mode's window is seen in a run that nothing disturbs; a moment is picked from it by a number. Consecutive numbers
spread evenly over what there is: they are the points of a Kronecker sequence, fractions of n times powers of 1/g, g the real root
of g^4 = g + 1 (M. Roberts, The unreasonable effectiveness of quasirandom sequences, 2018; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from busim.boat.model import BoatFile
from busim.events.journal import Event, Frame
from busim.frames.length import frame_bits
from busim.protocol.catalogue import BY_CODE
from busim.sweep.touches import Touched
from busim.sweep.watched import Watched
from busim.units import MS, SECOND, US

_ROOT: Final = 1.2207440846057596
_SHARES: Final = tuple(round(2**32 / _ROOT**power) for power in (1, 2, 3))
_WHOLE: Final = 2**32
_INTERMISSION: Final = 3
_PHASES: Final = ("before", "during", "after")
SPREAD: Final = "in between"
TRANSITIONS: Final = {"gear": 2, "throttle_stop": 2, "shift_rest": 2, "row": 3, "start": 1, "engine": 2}
"""Kind of event -> how many of its fields name the transition."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """Something that happens from `begin_ns` to `end_ns`; `what` in words."""

    what: str
    begin_ns: int
    end_ns: int

    def at_ns(self, phase: int) -> int:
        """Just before it, in the middle, just after."""
        gap_ns = US if self.end_ns > self.begin_ns else 2 * MS
        return (self.begin_ns - gap_ns, (self.begin_ns + self.end_ns) // 2, self.end_ns + gap_ns)[phase]


@dataclass(frozen=True)
class Trace:
    """What happened in a window that nothing disturbed."""

    begin_ns: int
    end_ns: int
    frames: tuple[Frame, ...]
    events: tuple[Event, ...]


def trace_of(watched: Watched, until_ns: int) -> Trace:
    """Run on to `until_ns` and say what happened."""
    begin_ns, world = watched.world.now_ns, watched.world
    frames: list[Frame] = []
    events: list[Event] = []

    def keep(some: list[Frame], others: list[Event], digest: str) -> None:
        frames.extend(some)
        events.extend(others)

    world.journal.watch_blocks(keep)
    world.run(until_ns)
    keep(world.journal.frames, world.journal.events, "")
    return Trace(begin_ns, until_ns, tuple(frames), tuple(events))


def share(number: int, axis: int, whole: int) -> int:
    """Point `number` of the sequence on an axis, as one of `whole` places."""
    return (number * _SHARES[axis] + _WHOLE // 2) % _WHOLE * whole // _WHOLE


def anchors(boat: BoatFile, trace: Trace, touched: Touched) -> tuple[list[list[Anchor]], list[list[Anchor]]]:
    """Frames and transitions that a fault there can touch, those of one name together, in order of name."""
    addresses = {boat.nodes[node].address for node in touched.nodes}
    controls = {boat.nodes[station.node].address for station in boat.stations.values()} if touched.helm else set()
    index = {bus: number for number, bus in enumerate(boat.buses)}
    buses = {index[bus] for bus in touched.buses}
    names = {node.address: name for name, node in boat.nodes.items()}
    bit_ns = [SECOND // bus.bit_rate for bus in boat.buses.values()]
    frames: dict[str, list[Anchor]] = {}
    for end_ns, bus, can_id, data, _ in trace.frames:
        sender = can_id & 0x3F
        lever = can_id >> 6 < 3 and sender in controls and not touched.buses
        if sender in addresses or bus in buses or lever:
            message = BY_CODE.get(can_id >> 6)
            what = f"{message.name if message is not None else can_id} of {names.get(sender, sender)}"
            length_ns = (frame_bits(can_id, data) - _INTERMISSION) * bit_ns[bus]
            frames.setdefault(what, []).append(Anchor(what, end_ns - length_ns, end_ns))
    transitions: dict[str, list[Anchor]] = {}
    for event in trace.events:
        if event[2] in TRANSITIONS:
            what = " ".join(str(field) for field in event[2 : 3 + TRANSITIONS[event[2]]])
            transitions.setdefault(what, []).append(Anchor(what, event[0], event[0]))
    return [frames[name] for name in sorted(frames)], [transitions[name] for name in sorted(transitions)]


Groups = tuple[Sequence[Sequence[Anchor]], Sequence[Sequence[Anchor]]]
"""Frames and transitions, those of one name together."""


def moment(number: int, trace: Trace, groups: Groups, *, spread: bool) -> tuple[int, str]:
    """(at_ns, in words) of moment `number`. `spread`: not at anything. Never before the window begins."""
    frames, transitions = groups
    kind = transitions if transitions and (number % 2 or not frames) else frames
    if spread or not kind:
        return trace.begin_ns + share(number, 0, trace.end_ns - trace.begin_ns), SPREAD
    group = kind[share(number, 0, len(kind))]
    anchor = group[share(number, 1, len(group))]
    phase = share(number, 2, len(_PHASES))
    return max(anchor.at_ns(phase), trace.begin_ns), f"{_PHASES[phase]} {anchor.what}"
