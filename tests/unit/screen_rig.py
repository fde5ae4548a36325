"""A rehearsal's screen on a table: driven by a pilot, on a clock that a test moves by hand."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from textual.pilot import Pilot

from busim.boat.load import load_boat
from busim.dashboard.app import RehearsalApp
from busim.dashboard.board import Board
from busim.dashboard.drawing import Target
from busim.rehearsal.guides import BY_NAME
from busim.rehearsal.rehearsal import Rehearsal
from busim.simulator.kinds import load_kinds

CONFIGS = Path(__file__).parents[2] / "configs"


class Table:
    """`go` lets time pass, in steps a timer would take."""

    def __init__(self, boat: str, path: Path | None = None, guide: str = "") -> None:
        loaded = load_boat(CONFIGS / boat)
        self.rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
        self.now_s = 0.0
        led = BY_NAME[guide] if guide else None
        self.app = RehearsalApp(self.rehearsal, loaded.boat.boat.name, lambda: self.now_s, driven=True, path=path, guide=led)
        self.pilot: Pilot[Any]

    def go(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.25)):
            self.now_s += 0.25
            self.app.tick()

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)

    async def settle(self) -> None:
        """Let the screen do what it put off."""
        await self.pilot.pause()
        self.app.draw()

    @property
    def banner(self) -> str:
        return plain(self.app.banner)

    @property
    def left(self) -> str:
        return plain(self.app.left)

    @property
    def status(self) -> str:
        return plain(self.app.status)

    @property
    def actions(self) -> list[dict[str, Any]]:
        return self.rehearsal.script.actions

    def screen(self) -> str:
        """All of it, as letters."""
        app = self.app
        middle = [line.rstrip() for line in rows(app.left)]
        if app.right.display:
            middle = [f"{one}{other}".rstrip() for one, other in zip(rows(app.left), rows(app.right), strict=True)]
        boards = (app.status, app.banner), (app.timeline, app.keys)
        above, below = ([line.rstrip() for board in group for line in rows(board)] for group in boards)
        return "\n".join([*above, *middle, *below]) + "\n"

    def target(self, board: Board, *what: Any) -> Target:
        return next(target for target in board.targets if target.what[: len(what)] == what)

    async def click(self, board: Board, *what: Any) -> None:
        await self.settle()
        target = self.target(board, *what)
        await self.pilot.click(board, offset=(target.left + 1, target.line))
        await self.settle()


def plain(board: Board) -> str:
    return "\n".join(line.plain for line in board.lines)


def rows(board: Board) -> list[str]:
    """As it stands on the screen: every row of it, cut or filled up to its width."""
    return [board.render_line(y).text for y in range(board.size.height)]


def play(
    what: Callable[[Table], Awaitable[None]],
    boat: str = "first_boat",
    size: tuple[int, int] = (100, 40),
    path: Path | None = None,
    guide: str = "",
) -> Table:
    async def run() -> Table:
        table = Table(boat, path, guide)
        async with table.app.run_test(size=size) as pilot:
            table.pilot = pilot
            await pilot.pause()
            await what(table)
        return table

    return asyncio.run(run())
