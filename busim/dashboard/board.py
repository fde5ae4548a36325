"""A drawing on the screen. Only the lines that changed are drawn again: a table widget would cost most of a core."""

from functools import lru_cache
from typing import Any

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Region
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from busim.dashboard.drawing import EMPTY, Drawing, Row, Target


@lru_cache(maxsize=1024)
def styled(style: str, ground: str) -> Style:
    """A style in words, over the ground."""
    return Style.parse(ground) + Style.parse(style)


class Board(Widget):
    """Shows a drawing, and says what of it was touched."""

    class Touched(Message):
        """`permille` where it was a slider."""

        def __init__(self, what: tuple[Any, ...], permille: int | None) -> None:
            super().__init__()
            self.what = what
            self.permille = permille

    class Scrolled(Message):
        """`board` is its identity, `lines` + is down."""

        def __init__(self, board: str, lines: int) -> None:
            super().__init__()
            self.board = board
            self.lines = lines

    def __init__(self, identity: str) -> None:
        super().__init__(id=identity)
        self.lines: list[Row] = []
        self.targets: list[Target] = []
        self.ground = "on #14181c"
        self._strips: dict[int, Strip] = {}
        self._dragged: Target | None = None

    def show(self, drawing: Drawing, background: str) -> None:
        """Draw this from now on. Lines are made ready here, so that little is left to do when the screen is put together."""
        ground = f"on {background}"
        everything = ground != self.ground
        self.ground = ground
        before, self.lines, self.targets = self.lines, drawing.lines, drawing.targets
        wide, high = self.size
        if everything:
            self._strips.clear()
            self.refresh()
        for number in range(max(len(before), len(self.lines))):
            old = before[number] if number < len(before) else None
            new = self.lines[number] if number < len(self.lines) else None
            if old != new:
                self._strips.pop(number, None)
                if number < high and not everything:
                    self.refresh(Region(0, number, wide, 1))
            if number < high and number not in self._strips:
                self._strips[number] = self._strip(number, wide)

    def _strip(self, number: int, wide: int) -> Strip:
        row = self.lines[number] if number < len(self.lines) else EMPTY
        segments = [Segment(words, styled(style, self.ground)) for words, style in row.parts if words]
        return Strip(segments).adjust_cell_length(wide, styled("", self.ground))

    def render_line(self, y: int) -> Strip:
        wide = self.size.width
        strip = self._strips.get(y)
        if strip is None or strip.cell_length != wide:
            strip = self._strips[y] = self._strip(y, wide)
        return strip

    def _at(self, event: events.MouseEvent) -> Target | None:
        return next(
            (target for target in self.targets if target.line == event.y and target.left <= event.x < target.right), None
        )

    def on_mouse_down(self, event: events.MouseDown) -> None:
        target = self._at(event)
        if target is None:
            return
        if target.slides:
            self._dragged = target
            self.capture_mouse()
        self.post_message(self.Touched(target.what, target.permille(event.x) if target.slides else None))

    def on_mouse_move(self, event: events.MouseMove) -> None:
        if self._dragged is not None:
            self.post_message(self.Touched(self._dragged.what, self._dragged.permille(event.x)))

    def on_mouse_up(self, event: events.MouseUp) -> None:
        if self._dragged is not None:
            self._dragged = None
            self.release_mouse()

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        self.post_message(self.Scrolled(self.id or "", -1))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        self.post_message(self.Scrolled(self.id or "", 1))
