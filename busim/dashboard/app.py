"""The screen of a rehearsal: one loop carries the boat on with the clock, another draws snapshots of her as often as it can.

It draws what it is given and decides nothing: what keys and touches do is in `keyed` and `acting`. A screen that is slow, or a
terminal that does not take what is drawn, costs pictures and no moment of the simulation: between any two parts of a picture the
boat is carried on, and while the terminal lags behind no picture is drawn at all.
"""

import asyncio
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from textual.app import ComposeResult
from textual.containers import Horizontal

from busim import screen_labels as labels
from busim.dashboard.banner import MOST_LINES, banner
from busim.dashboard.board import Board
from busim.dashboard.drawing import Drawing, fitted, wrapped
from busim.dashboard.keyed import LEAST_HIGH, LEAST_WIDE, VIEWS, Keyed
from busim.dashboard.looks import Look, themes
from busim.dashboard.terminal import gone
from busim.dashboard.timeline_board import timeline, timeline_high
from busim.dashboard.view_boat import boat, table
from busim.dashboard.view_bus import bus, nodes
from busim.dashboard.view_faults import faults
from busim.dashboard.view_helm import helm
from busim.dashboard.view_help import help_page
from busim.dashboard.view_verdicts import verdicts
from busim.host.host import NodeError
from busim.rehearsal.facts import facts
from busim.rehearsal.guides import Guide
from busim.rehearsal.pace import Pace
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.shown import Snapshot
from busim.units import seconds_text

DRAWN_S: Final = 0.05
LOOKED_S: Final = 1.0
"""So often it is looked whether the terminal is still there."""
CARRIED_S: Final = 0.004
"""How long the boat waits until she is carried on again."""
JUDGED_AT_ONCE: Final = 2
WAITING_PICTURES: Final = 4
"""With more than this many pictures on the way to the terminal, none is added."""


class RehearsalApp(Keyed):
    """`clock` gives seconds; tests drive it by hand and call `tick`."""

    CSS = """
    Screen { layers: base; }
    #banner, #status, #keys { height: 1; }
    #body { height: 1fr; }
    #left, #right { width: 1fr; height: 1fr; }
    #timeline { height: 7; }
    """
    def __init__(
        self,
        rehearsal: Rehearsal,
        name: str,
        clock: Callable[[], float] = time.monotonic,
        *,
        driven: bool = False,
        path: Path | None = None,
        guide: Guide | None = None,
    ) -> None:
        super().__init__(rehearsal, path, clock, guide)
        self.boat_name = name
        self.driven = driven
        """By a test: no timer of its own."""
        self.facts = facts(rehearsal.boat)
        self.error = ""
        """Why the boat has stopped, in words."""
        self.failure: Exception | None = None
        """What ended the rehearsal, for whoever started it."""

    # ------------------------------------------------------------------------------------------------ time

    def on_mount(self) -> None:
        for theme in themes(self.looks):
            self.register_theme(theme)
        self.theme = f"busim-{self.looks[self.look].name}"
        if not self.driven:
            self.run_worker(self._carry_on(), exit_on_error=False)
            self.set_interval(DRAWN_S, self.tick)
            self.set_interval(LOOKED_S, self.look_for_terminal)
            for name in ("SIGHUP", "SIGTERM"):
                if hasattr(signal, name):
                    asyncio.get_running_loop().add_signal_handler(getattr(signal, name), self.exit)
        self.pace = Pace(self.clock(), self.rehearsal.now_ns)
        self.tick()

    def look_for_terminal(self) -> None:
        if gone():
            self.exit()

    async def _carry_on(self) -> None:
        while True:
            await asyncio.sleep(CARRIED_S)
            self.carry()

    def carry(self) -> None:
        """Carry the boat on to where the clock wants her."""
        if self.error or self.failure is not None:
            return
        turn_s = self.clock()
        try:
            self.rehearsal.advance(self.pace.due_ns(turn_s, self.rehearsal.now_ns))
        except NodeError as error:
            self.error = str(error)
        except Exception as error:
            # Such as a full disk under the record. It ends the rehearsal, and is told once the terminal is itself again.
            self.failure = error
            self.exit()
        self.pace.played(turn_s, self.clock())

    def tick(self) -> None:
        """Time for a picture, if the terminal has taken those before."""
        self.carry()
        self.rehearsal.judge_some(JUDGED_AT_ONCE)
        if self._pictures_waiting() <= WAITING_PICTURES:
            self.draw()

    def _pictures_waiting(self) -> int:
        """How many writes the terminal has not taken yet. The driver has no public word for it: without it, none."""
        writer = getattr(self._driver, "_writer_thread", None)
        queue = getattr(writer, "_queue", None)
        return queue.qsize() if queue is not None else 0

    # ------------------------------------------------------------------------------------------------ the screen

    def compose(self) -> ComposeResult:
        self.banner, self.left, self.right = Board("banner"), Board("left"), Board("right")
        self.timeline, self.status, self.keys = Board("timeline"), Board("status"), Board("keys")
        yield self.status
        yield self.banner
        with Horizontal(id="body"):
            yield self.left
            yield self.right
        yield self.timeline
        yield self.keys

    def on_resize(self) -> None:
        self.draw()

    def draw(self) -> None:
        if not self.is_running or not self.status.is_attached:
            return
        snapshot = self.snapshot()
        look = self.looks[self.look]
        wide, high = self.size.width, self.size.height
        small = wide < LEAST_WIDE or high < LEAST_HIGH
        for board in (self.status, self.banner, self.timeline, self.keys):
            board.display = not small
        self.right.display = both = not small and self.together
        if small:
            drawing = Drawing()
            for line in wrapped(labels.TOO_SMALL, wide):
                drawing.put((line, look.warning))
            self.left.show(drawing, look.background)
            return
        self.carry()
        top = self._top(snapshot, look, wide, max(high // 2 - 2, 3))
        below = timeline_high(high)
        self.banner.styles.height = len(top.lines)
        self.timeline.styles.height = below
        body_high = max(high - 2 - len(top.lines) - below, 3)
        self.banner.show(top, look.background)
        self._show_ends(snapshot, look, wide)
        self.carry()
        side = wide // 2 if both else wide
        body = (
            self._helm_and_nodes(snapshot, look, side - 1, body_high) if both else self._body(snapshot, look, wide, body_high)
        )
        self.carry()
        self.left.show(body, look.background)
        self.carry()
        if both:
            beside = boat(snapshot, self.choice, look, side, body_high, active=self.view == "boat")
            self.carry()
            self.right.show(beside, look.background)
            self.carry()
        said = self.rehearsal.timeline.said
        self.timeline.show(timeline(said if self.back is not None else said[: snapshot.lines], self.back, look, wide, below),
                           look.background)  # fmt: skip

    def _top(self, snapshot: Snapshot, look: Look, wide: int, most: int) -> Drawing:
        top = banner(snapshot, look, wide)
        if self.error:
            for line in wrapped(labels.BOAT_STOPPED.format(words=self.error), wide - 2, indent=2):
                top.put((fitted(f" {line}", wide), look.alarm))
        if self.guided is not None:
            if self.back is None:
                self.guided.look(snapshot)
            for words in self.guided.words(snapshot):
                for line in wrapped(words, wide - 2, indent=2):
                    top.put((fitted(f" {line}", wide), look.chosen))
        return top.window(max(most, MOST_LINES if self.size.height >= 2 * MOST_LINES + 6 else 0), 0, look.quiet)

    def _helm_and_nodes(self, snapshot: Snapshot, look: Look, wide: int, high: int) -> Drawing:
        drawing = helm(snapshot, self.choice, look, wide, high - len(snapshot.nodes) // 3 - 2)
        below = nodes(snapshot, look, wide, high - len(drawing.lines) - 1)
        drawing.gap()
        drawing.add(below)
        return drawing

    def _body(self, snapshot: Snapshot, look: Look, wide: int, high: int) -> Drawing:
        choice = self.choice
        if self.helping:
            return help_page(self.facts, choice, look, wide, high)
        if self.table is not None:
            return table(self.table.lights(), self.table.begun, choice, look, wide, high)
        if self.view == "boat":
            return boat(snapshot, choice, look, wide, high, active=True)
        if self.view == "helm":
            return helm(snapshot, choice, look, wide, high)
        if self.view == "bus":
            return bus(snapshot, self.rehearsal.plan, choice, look, wide, high, held=self.held)
        if self.view == "faults":
            return faults(snapshot, self.fault_names, self.place_words, choice, look, wide, high)
        return verdicts(snapshot, choice, look, wide, high)

    def _show_ends(self, snapshot: Snapshot, look: Look, wide: int) -> None:
        """The lines at the top and at the bottom: boat, time and views; keys that act here."""
        pace = labels.PAUSED if self.pace.paused else labels.PACE.format(rate=self.pace.times)
        pace += labels.LATE if self.pace.behind else ""
        words = labels.STATUS.format(boat=self.boat_name, seconds=seconds_text(snapshot.at_ns)[:-2], pace=pace)
        status, keys = Drawing(), Drawing()
        parts, left, touched = [(f" {words}  ", look.strong)], len(words) + 3, []
        for number, view in enumerate(VIEWS, 1):
            shown = view == self.view and not self.helping and self.table is None
            name = f"[{number} {labels.VIEWS[view].upper()}]" if shown else f" {number} {labels.VIEWS[view]} "
            parts.append((name, look.chosen if shown else look.plain))
            touched.append((left, left + len(name), view))
            left += len(name)
        parts.append((f"  {labels.LOOKS[look.name]}", look.quiet))
        status.put(*parts)
        for first, last, view in touched:
            status.touch(first, last, "view", view)
        acts = "help" if self.helping else "table" if self.table is not None else self.view
        keys.put((fitted(f" {labels.KEYS_FIRST}{labels.KEYS_OF_VIEW[acts]}{labels.KEYS_EVERYWHERE}", wide), look.plain))
        self.status.show(status, look.background)
        self.keys.show(keys, look.background)
