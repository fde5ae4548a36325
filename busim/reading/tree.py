"""YAML text -> plain JSON values, with the position of each, refusing what YAML allows and a boat file has no use for.

Works on the parser's events, so nothing is ever built from a tag, no alias is expanded, and both of two equal keys are seen.
Plain scalars are read by YAML 1.2.2, core schema (s. 10.3.2, from memory; a test asks another reader), but for
True, TRUE and their like, which stay text.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    CollectionStartEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
)

from busim.reading.problem import MOST_PROBLEMS, InputError, Problem, printable, quoted
from busim.reading.source import DEEPEST, TOO_DEEP, place_in

Loc = tuple[str | int, ...]
"""The way to a value: keys of mappings and indexes of lists, from the top."""
Place = tuple[int, int]
"""(line, column), both from 1."""

_INTEGER: Final = re.compile(r"[-+]?[0-9]+")
_OTHER_INTEGER: Final = re.compile(r"0(?:o[0-7]+|x[0-9a-fA-F]+)")
_FLOAT: Final = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NOT_FINITE: Final = {".nan": "nan", ".NaN": "nan", ".NAN": "nan"} | {
    sign + word: sign + "inf" for sign in ("", "+", "-") for word in (".inf", ".Inf", ".INF")
}
_NULLS: Final = ("", "~", "null", "Null", "NULL")
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[Tt ].*)?")
"""What a YAML 1.1 reader would turn into a date; an editor or another program may, so it is asked for in quotes."""
_LONGEST_NUMBER: Final = 100
_MOST_EVENTS: Final = 12_000
"""Keys, values, starts and ends of sections: about 5,000 values, four times a large boat, and a third of a second of parsing."""
_PAST_UNICODE: Final = re.compile(r"\\U(?!0010|000)[0-9a-fA-F]{8}")
_INVISIBLE: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters, lone surrogates, and the marks that make text read in another order than it is stored."""

_SYNTAX: Final = (
    ("mapping values are not allowed", "a ':' where none can stand: is the line above finished, and the indentation right?"),
    ("found character '\\t'", "a tab where spaces are wanted: indent with spaces"),
    ("cannot start any token", "a character that can't begin a value: put such text in quotes"),
    ("expected the node content", "a value is missing, or a bracket is closed that was never opened"),
    ("expected alphabetic or numeric character", "a name is missing after * or &: put such text in quotes"),
    ("expected URI", "a tag (!) that is not whole: put such text in quotes"),
    ("could not find expected ':'", "a ':' is missing after this name"),
    ("expected ':'", "a ':' is missing after this name"),
    ("<block end>", "the indentation does not fit the lines above"),
    ("block sequence entries are not allowed", "a '-' where no list can begin"),
    ("block collections are not allowed", "a list or section can't begin here"),
    ("expected ',' or", "a ',' or the closing bracket is missing"),
    ("unexpected end of stream", "a quote is opened and never closed"),
    ("unexpected document separator", "a quote is opened and never closed"),
    ("unknown escape character", "a backslash in double quotes: use single quotes, or write it twice"),
    ("expected <document start>", "the text goes on after its end: is the indentation right?"),
)


class Positions:
    """Where each value of a document stands."""

    def __init__(self) -> None:
        self.keys: dict[Loc, Place] = {}
        self.values: dict[Loc, Place] = {}

    def reach(self, loc: Loc) -> Loc:
        """As much of `loc` as the text holds; steps it does not hold (a missing key, a validator's name) are left out."""
        reached: Loc = ()
        for step in loc:
            if (*reached, step) in self.values:
                reached = (*reached, step)
        return reached

    def holds(self, loc: Loc) -> bool:
        """True where the value at `loc` is written in the text."""
        return loc in self.values

    def at(self, loc: Loc) -> Place:
        """(line, column) of a single value, or of the key that opens a section or list; of the parent where `loc` is not there."""
        return self.values.get(self.reach(loc), (1, 1))

    def key_at(self, loc: Loc) -> Place:
        """(line, column) of the key itself, or of the item in a list; of the parent's where `loc` is not there."""
        reached = self.reach(loc)
        return self.keys.get(reached) or self.at(reached)


@dataclass
class Tree:
    """`value` is what JSON could hold. Values at `spoiled` were refused: what else is said about them is of no use."""

    value: Any = None
    positions: Positions = field(default_factory=Positions)
    problems: list[Problem] = field(default_factory=list)
    spoiled: set[Loc] = field(default_factory=set)


def read_tree(text: str, path: Path) -> Tree:
    """The one document of `text`. Problems that leave the rest readable are collected in the tree.

    Errors: InputError where the text is not YAML, or nested too deep.
    """
    return _Reader(text, path).read()


class _Reader:
    def __init__(self, text: str, path: Path) -> None:
        self.text = text
        self.path = path
        self.tree = Tree()
        self.events = self._events()

    def read(self) -> Tree:
        documents = 0
        for event in self.events:
            if isinstance(event, DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self._problem(_place(event), "a second document begins here: one file holds one")
                    break
                if event.version is not None or event.tags:
                    self._problem((1, 1), "lines that begin with % are not used here")
            elif isinstance(event, AliasEvent | ScalarEvent | CollectionStartEvent):
                self.tree.value = self._value(event, (), None, 1)
        return self.tree

    def _events(self) -> Iterator[Event]:
        """The parser's events; whatever it raises becomes a problem with a position, after those found before it."""
        place: Place = (1, 1)
        try:
            for count, event in enumerate(YAML(typ="safe", pure=True).parse(self.text)):
                place = _place(event)
                if count > _MOST_EVENTS:
                    words = "the file holds more values than any that busim reads: reading stopped here"
                    break
                if len(self.tree.problems) >= MOST_PROBLEMS:
                    words = "too many problems: reading stopped here"
                    break
                yield event
            else:
                return
        except MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            place = (mark.line + 1, mark.column + 1) if mark is not None else place
            words = _syntax_words(error.problem or error.context or "")
        except YAMLError:
            words = "is not YAML"
        except (ValueError, OverflowError, IndexError, AttributeError, AssertionError, TypeError, KeyError):
            # The parser is not total: a character code past the end of Unicode raises ValueError, and keeps its place to itself.
            words = "is not YAML from here on"
            if (escape := _PAST_UNICODE.search(self.text)) is not None:
                place = place_in(self.text, escape.start())
                words = f"is not YAML: there is no character {escape[0]}"
        self._problem(place, words)
        raise self._all()

    def _value(self, event: Event, loc: Loc, key_place: Place | None, depth: int) -> Any:
        place = _place(event)
        if key_place is not None:
            self.tree.positions.keys[loc] = key_place
        is_collection = isinstance(event, CollectionStartEvent)
        self.tree.positions.values[loc] = key_place if is_collection and key_place is not None else place
        if isinstance(event, AliasEvent):
            self._spoil(loc, place, f"*{printable(str(event.anchor)[:30])} refers to another place (an alias): write the value out")
            return None
        if not isinstance(event, ScalarEvent | CollectionStartEvent):
            raise AssertionError(f"the parser gave {type(event).__name__} for a value")
        if event.anchor is not None:
            name = printable(str(event.anchor)[:30])
            self._problem(place, f"&{name} names a value (an anchor): write values out where they are used")
        if event.tag is not None:
            self._spoil(loc, place, f"{quoted(str(event.tag))} is a tag: write the value without it")
        if isinstance(event, ScalarEvent):
            return self._scalar(event, loc, place)
        if depth > DEEPEST:
            self._problem(place, TOO_DEEP)
            raise self._all()
        return self._mapping(loc, depth) if isinstance(event, MappingStartEvent) else self._list(loc, depth)

    def _list(self, loc: Loc, depth: int) -> list[Any]:
        items: list[Any] = []
        for event in self.events:
            if isinstance(event, SequenceEndEvent):
                break
            items.append(self._value(event, (*loc, len(items)), _place(event), depth + 1))
        return items

    def _mapping(self, loc: Loc, depth: int) -> dict[str, Any]:
        values: dict[str, Any] = {}
        for event in self.events:
            if isinstance(event, MappingEndEvent):
                break
            place = _place(event)
            key = self._key(event, loc, place, depth)
            value_event = next(self.events)
            if key is None:
                # Read on, so that what is wrong below is found too; the value has no place in the result.
                self._elsewhere(value_event, loc, depth + 1)
            elif key in values:
                first, _ = self.tree.positions.keys[(*loc, key)]
                self._problem(place, f"{quoted(key)} is written twice, first on line {first}")
                self._elsewhere(value_event, (*loc, key), depth + 1)
            else:
                values[key] = self._value(value_event, (*loc, key), place, depth + 1)
        return values

    def _elsewhere(self, event: Event, loc: Loc, depth: int) -> None:
        """Read a value that is not kept, for what is wrong with it, without touching what is known of the one that is."""
        positions, spoiled = self.tree.positions, self.tree.spoiled
        self.tree.positions, self.tree.spoiled = Positions(), set()
        self._value(event, loc, _place(event), depth)
        self.tree.positions, self.tree.spoiled = positions, spoiled

    def _key(self, event: Event, loc: Loc, place: Place, depth: int) -> str | None:
        if not isinstance(event, ScalarEvent):
            self._problem(place, "a name was expected here, not a list, section or alias")
            if isinstance(event, CollectionStartEvent):
                self._elsewhere(event, loc, depth + 1)
            return None
        if event.anchor is not None or event.tag is not None:
            self._problem(place, "a name stands without tag (!) and anchor (&)")
        plain = event.style is None
        if plain and event.value == "<<":
            self._problem(place, "'<<' takes values over from another place (a merge): write them out")
            return None
        if plain and not isinstance(_plain(event.value), str):
            self._problem(place, f"a name was expected here, not {quoted(event.value)}: names begin with a letter")
            return None
        if (hidden := _INVISIBLE.search(event.value)) is not None:
            self._problem(place, f"the name {quoted(event.value)} holds a character that can't be seen ({printable(hidden[0])})")
            return None
        return str(event.value)

    def _scalar(self, event: ScalarEvent, loc: Loc, place: Place) -> Any:
        text = str(event.value)
        if event.style is not None:
            if (hidden := _INVISIBLE.search(text)) is not None:
                self._spoil(loc, place, f"this text holds a character that can't be seen ({printable(hidden[0])})")
                return ""
            return text
        if _DATE.fullmatch(text):
            self._spoil(loc, place, f"{quoted(text)} reads as a date: put it in quotes")
            return text
        if len(text) > _LONGEST_NUMBER and (_INTEGER.fullmatch(text) or _OTHER_INTEGER.fullmatch(text) or _FLOAT.fullmatch(text)):
            self._spoil(loc, place, f"a number of {len(text)} characters is too long")
            return 0
        return _plain(text)

    def _spoil(self, loc: Loc, place: Place, words: str) -> None:
        self.tree.spoiled.add(loc)
        self._problem(place, words)

    def _problem(self, place: Place, words: str) -> None:
        self.tree.problems.append(Problem(self.path, *place, words))

    def _all(self) -> InputError:
        return InputError(self.tree.problems)


def _plain(text: str) -> Any:
    """What a scalar without quotes is: nothing, true or false, a number, else text."""
    if text in _NULLS:
        return None
    if text in ("true", "false"):
        return text == "true"
    if _INTEGER.fullmatch(text):
        return int(text) if len(text) <= _LONGEST_NUMBER else 0
    if _OTHER_INTEGER.fullmatch(text):
        return int(text[2:], 8 if text[1] == "o" else 16) if len(text) <= _LONGEST_NUMBER else 0
    if _FLOAT.fullmatch(text):
        return float(text)
    return float(_NOT_FINITE[text]) if text in _NOT_FINITE else text


def _place(event: Event) -> Place:
    return event.start_mark.line + 1, event.start_mark.column + 1


def _syntax_words(problem: str) -> str:
    for part, words in _SYNTAX:
        if part in problem:
            return f"is not YAML: {words}"
    return f"is not YAML: {printable(problem)}"
