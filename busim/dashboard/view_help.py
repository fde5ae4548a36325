"""Help: this boat in words first, then the keys."""

from busim import screen_labels as labels
from busim.dashboard.choice import Choice
from busim.dashboard.drawing import Drawing, fitted, wrapped
from busim.dashboard.looks import Look

KEYS: int = 18


def help_page(facts: list[str], choice: Choice, look: Look, wide: int, high: int) -> Drawing:
    drawing = Drawing()
    drawing.put((labels.HELP_BOAT, look.strong))
    for fact in facts:
        for line in wrapped(fact, wide - 4, indent=4 if fact.startswith(" ") else 2):
            drawing.put((f"  {line}", look.quiet if fact.startswith(" ") else look.plain))
    drawing.gap()
    drawing.put((labels.HELP_KEYS, look.strong))
    for keys, words in labels.KEYS_HELP.items():
        for number, line in enumerate(wrapped(words, wide - KEYS - 2)):
            drawing.put((fitted(f"  {'' if number else keys}", KEYS), look.strong), (line, look.plain))
    drawing.gap()
    for words in (labels.HELP_MOUSE, labels.HELP_CAUTION):
        for line in wrapped(words, wide - 4):
            drawing.put((f"  {line}", look.plain))
    first = max(0, min(choice.scroll, len(drawing.lines) - high))
    return drawing.window(high, first + high // 2, look.quiet)

