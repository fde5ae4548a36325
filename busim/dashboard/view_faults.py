"""Faults: what can break and where, and what is broken now."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import Choice, mark
from busim.dashboard.drawing import Drawing, fitted, wrapped
from busim.dashboard.looks import Look
from busim.rehearsal.shown import Snapshot

LIST: Final = 24


def faults(
    snapshot: Snapshot, names: list[tuple[str, str, str]], places: list[str], choice: Choice, look: Look, wide: int, high: int
) -> Drawing:
    """`names`: (fault, what it is, what it does); `places`: where the chosen one can be on this boat, in words."""
    drawing = Drawing()
    _on(drawing, snapshot, look)
    room = max(high - len(drawing.lines) - 1, 4)
    left, right = Drawing(), Drawing()
    for number, (name, _, _) in enumerate(names):
        chosen = number == choice.fault
        left.put((fitted(f"{mark(chosen)}{name}", LIST), look.chosen if chosen else look.plain))
        left.touch(0, LIST, "fault", number)
    left = left.window(room, choice.fault, look.quiet)
    _, words, effect = names[choice.fault]
    beside = max(wide - LIST - 2, 20)
    for line in wrapped(f"{words}: {effect}", beside)[: max(room // 2, 1)]:
        right.put((line, look.strong))
    if places:
        right.put((f"[{labels.BREAK}]", look.strong))
        right.touch(0, len(labels.BREAK) + 2, "break")
    else:
        right.put((labels.NO_PLACE, look.quiet))
    listed = Drawing()
    for number, place in enumerate(places):
        chosen = number == choice.place
        listed.put((fitted(f"{mark(chosen)}{place}", beside), look.chosen if chosen else look.plain))
        listed.touch(0, beside, "place", number)
    right.add(listed.window(max(room - len(right.lines), 2), choice.place, look.quiet))
    heads = ((fitted(f"{labels.FAULTS_HEAD}", LIST + 2), look.strong), (labels.PLACES_HEAD, look.quiet))
    drawing.put(*heads)
    drawing.add(left.beside(right, LIST + 2))
    return drawing


def _on(drawing: Drawing, snapshot: Snapshot, look: Look) -> None:
    if not snapshot.faults:
        drawing.put((labels.FAULTS_ON, look.strong), (f": {labels.NONE_ON}", look.quiet))
        return
    drawing.put((labels.FAULTS_ON, look.strong))
    newest = max(number for number, _, _ in snapshot.faults)
    for number, name, words in snapshot.faults:
        button = f"[m {labels.MEND}]" if number == newest else f"[{labels.MEND}]"
        text = f"  {name}: {words} "
        drawing.put((text, look.warning), (button, look.strong))
        drawing.touch(len(text), len(text) + len(button), "mend", number)
