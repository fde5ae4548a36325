"""What people do to a boat in real time, as plain lines: `lever wheelhouse engine 300`, `key wheelhouse take`.

Each line is one action of a scenario, its values in the order in which a scenario file has them.
"""

from typing import Final

from pydantic import ValidationError

from busim import labels
from busim.boat.model import BoatFile, Section
from busim.reading.complaints import complaint
from busim.reading.problem import quoted, suggestion
from busim.scenario.load import wrong_in_action
from busim.scenario.model import (
    CrankAction,
    KeyAction,
    LeverAction,
    PowerAction,
    StreamAction,
    SwitchAction,
    TouchAction,
    WheelAction,
)

WORDS: Final[dict[str, tuple[type[Section], tuple[str, ...]]]] = {
    "lever": (LeverAction, ("station", "drive", "to_permille", "over_ms")),
    "wheel": (WheelAction, ("station", "to_permille", "over_ms")),
    "key": (KeyAction, ("station", "name", "for_ms")),
    "touch": (TouchAction, ("panel", "control", "for_ms")),
    "switch": (SwitchAction, ("light", "on")),
    "crank": (CrankAction, ("drive", "for_ms")),
    "power": (PowerAction, ("node", "on")),
    "stream": (StreamAction, ("set_deg", "kn")),
}
_YES: Final = {"true": True, "on": True, "1": True, "false": False, "off": False, "0": False}


class HandsError(Exception):
    """A line that nobody can do; the message says why."""


def usage() -> list[str]:
    """One line for each thing that can be done."""
    return [" ".join([word, *(value.upper() for value in values)]) for word, (_, values) in WORDS.items()]


def read_line(line: str, boat: BoatFile) -> tuple[str, Section]:
    """(kind of action, what it is). Errors: HandsError."""
    word, *given = line.split()
    if word not in WORDS:
        raise HandsError(labels.HANDS_UNKNOWN.format(word=quoted(word), meant=suggestion(word, WORDS, otherwise=labels.HANDS_ARE)))
    model, names = WORDS[word]
    if len(given) > len(names):
        raise HandsError(labels.HANDS_TOO_MANY.format(word=word, usage=" ".join(name.upper() for name in names)))
    try:
        what = model.model_validate({name: _value(model, name, text) for name, text in zip(names, given, strict=False)})
    except ValidationError as error:
        raise HandsError(f"{word}: {complaint(error.errors()[0], model)}") from None
    for _, words in wrong_in_action(boat, what):
        raise HandsError(words)
    return word, what


def _value(model: type[Section], name: str, text: str) -> object:
    kind = model.model_fields[name].annotation
    if kind is bool:
        return _YES.get(text.lower(), text)
    if kind is int:
        return int(text) if text.lstrip("+-").isdecimal() and text.isascii() and len(text) < 20 else text
    if kind is float:
        try:
            return float(text)
        except ValueError:
            return text
    return text
