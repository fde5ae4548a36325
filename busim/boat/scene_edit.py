"""A scene put into a boat file's text, its comments and order kept; and the file replaced whole or not at all.

The text is changed where the scene stands and nowhere else: everything around it is the very text that was there.
"""

import difflib
import os
import tempfile
from pathlib import Path

from busim.boat.load import BOAT_FILE_NAME, load_boat
from busim.reading.problem import InputError, Problem, refused


def scene_lines(name: str, number: int, levels: dict[str, int], colours: dict[str, str], fade_ms: int) -> list[str]:
    """A scene as a boat file has it, under `scenes:`."""
    lines = [f"  {name}:", f"    number: {number}", f"    fade_ms: {fade_ms}"]
    lines.append(f"    levels: {{{', '.join(f'{zone}: {level}' for zone, level in levels.items())}}}")
    if colours:
        pairs = ", ".join(f'{zone}: "{colour}"' for zone, colour in colours.items())
        lines.append(f"    colours: {{{pairs}}}")
    return lines


def with_scene(text: str, name: str, scene: list[str]) -> str:
    """The text with this scene, in place of one of the same name, else as the last of `scenes:`, which is added where missing."""
    lines = text.split("\n")
    head = next((number for number, line in enumerate(lines) if line.split("#")[0].rstrip() == "scenes:"), None)
    if head is None:
        body = "\n".join(lines).rstrip("\n")
        return f"{body}\n\nscenes:\n" + "\n".join(scene) + "\n"
    end = head + 1
    last = head
    while end < len(lines) and (not lines[end].strip() or lines[end][0] in " #"):
        if lines[end].strip() and lines[end][0] == " ":
            last = end
        end += 1
    first = next((number for number in range(head + 1, last + 1) if lines[number].split("#")[0].rstrip() == f"  {name}:"), None)
    if first is None:
        return "\n".join([*lines[: last + 1], *scene, *lines[last + 1 :]])
    after = first + 1
    while after <= last and (not lines[after].strip() or lines[after].startswith("    ")):
        after += 1
    comment = lines[first].partition("#")[2]
    head_line = f"{scene[0]}{' ' * max(2, 30 - len(scene[0]))}#{comment}" if comment else scene[0]
    return "\n".join([*lines[:first], head_line, *scene[1:], *lines[after:]])


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


def replace_text(path: Path, expected: str, text: str) -> None:
    """Put `text` in the place of `expected`. The old file stays whole until the new one is.

    Errors: InputError where the file is not what it was any more, or can't be written.
    """
    try:
        if path.read_text(encoding="utf-8") != expected:
            raise refused(path, "was changed by somebody else since it was read: nothing was saved")
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", text=False)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, path.stat().st_mode & 0o777)
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise refused(path, f"can't be saved: {error.strerror}") from error
