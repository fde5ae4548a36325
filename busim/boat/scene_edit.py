"""A scene put into a boat file's text, its comments and order kept; and the file replaced whole or not at all.

The text is changed where the scene stands and nowhere else: everything around it is the very text that was there. The scene itself
goes through ruamel's round trip, which keeps its comments and its order.
"""

import difflib
import os
import re
import tempfile
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.error import YAMLError
from ruamel.yaml.scalarstring import DoubleQuotedScalarString

from busim.boat.load import BOAT_FILE_NAME, load_boat
from busim.reading.problem import InputError, Problem, refused


@dataclass(frozen=True)
class SceneText:
    """A scene as it is to stand in a boat file: zone -> permille, zone -> "#rrggbb" or like "2700 K"."""

    number: int
    levels: dict[str, int]
    colours: dict[str, str]
    fade_ms: int


def with_scene(text: str, name: str, scene: SceneText) -> str:
    """The text with this scene: in its place where there is one of that name, else as the last of `scenes:`.

    Of a scene that is there, comments, order and the way it is written stay; every other line of the file stays as it is.
    Errors: InputError where the text is not YAML.
    """
    if "\r\n" in text:
        return with_scene(text.replace("\r\n", "\n"), name, scene).replace("\n", "\r\n")
    lines = text.split("\n")
    heads = [number for number, line in enumerate(lines) if re.match(r"scenes[ ]*:", line)]
    if not heads:
        body = text.rstrip("\n")
        return f"{body}\n\nscenes:\n{_written({name: _fresh(scene)}, 2)}"
    head = heads[0]
    if lines[head].split("#")[0].rstrip() != "scenes:":
        return _round_trip(text, name, scene)
    first, last, indent = _block(lines, head)
    if not indent:
        return "\n".join([*lines[: head + 1], *_written({name: _fresh(scene)}, 2).rstrip("\n").split("\n"), *lines[head + 1 :]])
    key = re.compile(f"{' ' * indent}{re.escape(name)}[ ]*:")
    start = next((number for number in range(first, last + 1) if key.match(lines[number])), None)
    if start is None:
        added = _written({name: _fresh(scene)}, indent).rstrip("\n").split("\n")
        return "\n".join([*lines[: last + 1], *added, *lines[last + 1 :]])
    end = start
    for number in range(start + 1, last + 1):
        if lines[number].strip() and _indent(lines[number]) <= indent:
            break
        if lines[number].strip():
            end = number
    part = _load("\n".join(line[indent:] for line in lines[start : end + 1]) + "\n")
    if not isinstance(part, dict) or not isinstance(part[name], dict):
        raise refused(Path(BOAT_FILE_NAME), f"the scene {name} is not written as busim reads it: nothing was changed", start + 1, 1)
    _change(part[name], scene)
    step = next((_indent(line) - indent for line in lines[start + 1 : end + 1] if line.strip()), 2)
    return "\n".join([*lines[:start], *_written(part, indent, step).rstrip("\n").split("\n"), *lines[end + 1 :]])


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _block(lines: list[str], head: int) -> tuple[int, int, int]:
    """(first line, last line, indent of the keys) of what stands under a top-level key; indent 0 where nothing does."""
    first, last, indent = head + 1, head, 0
    for number in range(head + 1, len(lines)):
        line = lines[number]
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if _indent(line) == 0:
            break
        indent = indent or _indent(line)
        last = number
    return first, last, indent


def _yaml(step: int = 2) -> YAML:
    """`step`: how much further in the next level is written."""
    yaml = YAML(typ="rt")
    yaml.indent(mapping=step)
    yaml.preserve_quotes = True
    yaml.width = 1_000_000  # a long line is not folded
    return yaml


def _load(text: str) -> Any:
    try:
        return _yaml().load(text)
    except YAMLError as error:
        raise refused(Path(BOAT_FILE_NAME), "its scenes can't be read as YAML: nothing was changed") from error


def _written(tree: Any, indent: int, step: int = 2) -> str:
    """As YAML, every line this far in."""
    out = StringIO()
    _yaml(step).dump(tree, out)
    return "".join(f"{' ' * indent}{line}" if line.strip() else line for line in out.getvalue().splitlines(keepends=True))


def _round_trip(text: str, name: str, scene: SceneText) -> str:
    """Scenes on one line, in braces: the whole file is read and written again, comments and order kept."""
    tree = _load(text)
    if tree["scenes"] is None:
        tree["scenes"] = CommentedMap()
    scenes = tree["scenes"]
    if name in scenes:
        _change(scenes[name], scene)
    else:
        scenes[name] = _fresh(scene)
    return _written(tree, 0)


def _fresh(scene: SceneText) -> CommentedMap:
    made = CommentedMap({"number": scene.number, "fade_ms": scene.fade_ms, "levels": _flow(dict(scene.levels))})
    if scene.colours:
        made["colours"] = _flow({zone: DoubleQuotedScalarString(colour) for zone, colour in scene.colours.items()})
    return made


def _flow(values: dict[str, Any]) -> CommentedMap:
    made = CommentedMap(values)
    made.fa.set_flow_style()
    return made


def _change(there: CommentedMap, scene: SceneText) -> None:
    """Only what differs is touched."""
    _settle(there, "levels", dict(scene.levels))
    _settle(there, "colours", {zone: DoubleQuotedScalarString(colour) for zone, colour in scene.colours.items()})


def _settle(there: CommentedMap, key: str, wanted: dict[str, Any]) -> None:
    if key not in there or there[key] is None:
        if wanted:
            there[key] = _flow(wanted)
        return
    if not wanted:
        del there[key]
        return
    values = there[key]
    for zone in [zone for zone in values if zone not in wanted]:
        del values[zone]
    for zone, value in wanted.items():
        if zone not in values or values[zone] != value:
            values[zone] = value


def difference(before: str, after: str) -> list[str]:
    """What changes, as a unified difference without its head."""
    return list(difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=1))[2:]


def check_text(text: str) -> None:
    """Errors: InputError where this would be no boat file, with everything that is wrong."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / BOAT_FILE_NAME
        path.write_text(text, encoding="utf-8")
        try:
            load_boat(path)
        except InputError as error:
            raise InputError(Problem(Path(BOAT_FILE_NAME), each.line, each.column, each.words) for each in error.problems) from None


def exact_text(path: Path) -> str:
    """What stands in a file, line ends as they are. Errors: OSError, UnicodeDecodeError."""
    return path.read_bytes().decode("utf-8")


def replace_text(path: Path, expected: str, text: str) -> None:
    """Put `text` in the place of `expected`. The old file stays whole until the new one is.

    Errors: InputError where the file is not what it was any more, or can't be written.
    """
    try:
        if exact_text(path) != expected:
            raise refused(path, "was changed by somebody else since it was read: nothing was saved")
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", text=False)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, path.stat().st_mode & 0o777)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except UnicodeDecodeError:
        raise refused(path, "was changed by somebody else since it was read: nothing was saved") from None
    except OSError as error:
        raise refused(path, f"can't be saved: {error.strerror}") from error
