"""The bus: every node with the age of its heartbeat and its error counters, how busy each bus is, and the traffic in words."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import Choice
from busim.dashboard.drawing import Drawing, fitted, fitted_name
from busim.dashboard.looks import Look
from busim.dashboard.plan import bar
from busim.protocol.plan import WirePlan
from busim.rehearsal.decoded import decoded
from busim.rehearsal.shown import NodeShown, RawFrame, Snapshot
from busim.units import seconds_text

NARROW: Final = 26
ROOMY: Final = 39
"""Columns of a node, as few and as many as it can do with."""
AGE_BAR: Final = 5
AGE, COUNTS = AGE_BAR + 4, 7
"""Columns of an age and of the counts of two controllers, where nothing is wrong."""
LEAST_FRAMES: Final = 3


def nodes(snapshot: Snapshot, look: Look, wide: int, high: int) -> Drawing:
    """In columns, read downwards: as roomy ones as the height allows."""
    drawing = Drawing()
    drawing.put((labels.NODES_HEAD.format(limit=snapshot.missing_ms), look.strong))
    cell = ROOMY if -(-len(snapshot.nodes) // max(wide // ROOMY, 1)) < high else NARROW
    across = max(wide // cell, 1)
    rows = -(-len(snapshot.nodes) // across)
    for row in range(rows):
        parts = [part for node in snapshot.nodes[row::rows] for part in node_parts(node, snapshot.missing_ms, look, cell)]
        drawing.put(*parts)
    return drawing


def node_parts(node: NodeShown, missing_ms: int, look: Look, cell: int) -> list[tuple[str, str]]:
    """Its name, heartbeat running toward its limit, and each controller's TEC/REC."""
    if node.age_ms is None:
        age, style = labels.NEVER_HEARD, look.warning
    elif node.age_ms >= missing_ms:
        age, style = labels.SILENT_FOR.format(seconds=f"{node.age_ms / 1000:.1f}"), look.alarm
    else:
        age, style = f"{bar(node.age_ms * 1000 // missing_ms, AGE_BAR)} {node.age_ms:3d}", look.plain
    counts = " ".join(f"{tec}/{rec}{labels.BUS_STATE[state]}" for _, state, tec, rec in node.counts)
    troubled = any(state or tec or rec for _, state, tec, rec in node.counts)
    if cell == NARROW and not troubled:
        counts = counts.partition(" ")[0]
    # What is wrong is never cut for the sake of a name.
    width = max(len(counts), COUNTS if cell == ROOMY else 0)
    name = " " + fitted_name(node.name, max(cell - 3 - max(len(age), AGE) - 1 - width, 5))
    age = age.ljust(AGE)
    rest = fitted(f" {counts}", max(cell - len(name) - 1 - len(age), 1))
    return [(f"{name} ", look.plain), (age, style), (rest, look.warning if troubled else look.quiet)]


def bus(snapshot: Snapshot, plan: WirePlan, choice: Choice, look: Look, wide: int, high: int, *, held: Snapshot | None) -> Drawing:
    """`held` is what the traffic was held at."""
    drawing = nodes(snapshot, look, wide, high // 2)
    loads = [
        labels.LOAD.format(bus=name, bar=bar(load), load=load / 10, frames=frames) for name, frames, load in snapshot.load
    ]
    line = ""
    for words in loads:
        if line and len(line) + len(words) + 4 > wide:
            drawing.put((line, look.plain))
            line = ""
        line += f" {words}  "
    drawing.put((line, look.plain))
    from_ = held if held is not None else snapshot
    head = labels.FRAMES_HEAD
    if choice.filter:
        head += labels.FILTERED.format(filter=choice.filter)
    if held is not None:
        head += labels.HELD.format(seconds=seconds_text(held.at_ns))
    drawing.put((head, look.warning if held is not None else look.strong), (f"   {labels.FRAMES_KEYS}", look.quiet))
    lines = traffic(from_.frames, plan, choice.filter, max(high - len(drawing.lines), LEAST_FRAMES))
    for where, words in lines:
        drawing.put((where, look.plain), (fitted(words, max(wide - len(where), 1)), look.quiet))
    if not lines:
        drawing.put((f"  {labels.NO_FRAMES}", look.quiet))
    return drawing.window(high, len(drawing.lines) - 1, look.quiet)


def traffic(frames: tuple[RawFrame, ...], plan: WirePlan, wanted: str, most: int) -> list[tuple[str, str]]:
    """(when, where, who and what; its fields in words) of the last frames that have the letters wanted."""
    found: list[tuple[str, str]] = []
    for raw in reversed(frames):
        frame = decoded(raw, plan)
        if wanted.lower() in f"{frame.bus} {frame.sender} {frame.message}".lower():
            where = f" {seconds_text(frame.at_ns):>8} {fitted_name(frame.bus, 9)} {frame.can_id:03X} "
            found.append((f"{where}{fitted_name(frame.sender, 15)} {fitted(frame.message, 13)} ", frame.words))
            if len(found) == most:
                break
    return found[::-1]
