"""Lines of a YAML file with its comments standing in one column, and blocks that are commented out. Knows no boat."""

from collections.abc import Iterable
from typing import Final

COLUMN: Final = 30
_TITLE_WIDTH: Final = 124


class Lines:
    """A file being written. `column` is where comments begin, where the line before them leaves room."""

    def __init__(self, column: int = COLUMN) -> None:
        self.column = column
        self.lines: list[str] = []

    def text(self) -> str:
        return "\n".join(self.lines) + "\n"

    def put(self, text: str, comment: str = "") -> None:
        """A line, with its comment."""
        self.lines.append(f"{text.ljust(self.column - 2)}  # {comment}" if comment else text)

    def note(self, comment: str) -> None:
        """The comment of the line above goes on."""
        self.lines.append(f"{' ' * self.column}# {comment}")

    def say(self, comment: str) -> None:
        """A line of comment by itself."""
        self.lines.append(f"# {comment}")

    def title(self, words: str) -> None:
        self.lines.append(f"# -- {words} ".ljust(_TITLE_WIDTH, "-"))

    def gap(self) -> None:
        self.lines.append("")

    def option(self, indent: int, name: str, question: str, block: Iterable[str | tuple[str, str]]) -> None:
        """A block that is commented out. Its lines are texts, or (text, comment); the first takes the name and question."""
        comment = f"[{name}] {question}".rstrip()
        for line in block:
            text, reason = (line, "") if isinstance(line, str) else line
            self.put(f"{' ' * indent}#{text}", comment or reason)
            comment = ""
