"""A drawing on the screen. Only the lines that changed are drawn again: a table widget would cost most of a core."""

from typing import Any

from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual import events
from textual.geometry import Region
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from busim.dashboard.drawing import Drawing, Target


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
        self.lines: list[Text] = []
        self.targets: list[Target] = []
        self.ground = Style.parse("on #14181c")
        self._strips: dict[int, Strip] = {}
        self._dragged: Target | None = None

    def show(self, drawing: Drawing, background: str) -> None:
        """Draw this from now on."""
        ground = Style.parse(f"on {background}")
        everything = ground != self.ground
        self.ground = ground
        before, self.lines, self.targets = self.lines, drawing.lines, drawing.targets
        for number in range(max(len(before), len(self.lines))):
            old = before[number] if number < len(before) else None
            new = self.lines[number] if number < len(self.lines) else None
            if everything or old is None or new is None or old != new or old.spans != new.spans:
                self._strips.pop(number, None)
                if number < self.size.height:
                    self.refresh(Region(0, number, self.size.width, 1))
        if everything:
            self._strips.clear()
            self.refresh()

    def render_line(self, y: int) -> Strip:
        wide = self.size.width
        strip = self._strips.get(y)
        if strip is None or strip.cell_length != wide:
            segments = list(self.lines[y].render(self.app.console)) if y < len(self.lines) else []
            strip = Strip(Segment.apply_style(segments, self.ground)).adjust_cell_length(wide, self.ground)
            self._strips[y] = strip
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
