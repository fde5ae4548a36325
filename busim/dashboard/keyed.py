"""What keys and touches mean: some change what is shown, some the time, and the rest is done to the boat (`acting`)."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, ClassVar, Final

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.command import CommandPalette
from textual.events import Key
from textual.screen import Screen

from busim import screen_labels as labels
from busim.dashboard.acting import LEVER_STEP, STATION_KEYS, Acts
from busim.dashboard.asking import ListScreen, WordsScreen
from busim.dashboard.board import Board
from busim.dashboard.looks import LOOKS, LOOKS_GREY
from busim.dashboard.palette import commands
from busim.dashboard.scene_table import SceneTable
from busim.rehearsal.guides import GUIDES, Guide, Guided, title_of
from busim.rehearsal.history import History
from busim.rehearsal.pace import Pace
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.shown import Snapshot
from busim.rehearsal.snapshot import take

VIEWS: Final = tuple(labels.VIEWS)
LEAST_WIDE, LEAST_HIGH = 60, 16
WIDE, WIDE_HIGH = 150, 40
"""From this size on boat, helm and nodes are shown together."""
SCROLL: Final = 3


class Whole(Screen[None], inherit_bindings=False):
    """Nothing on it takes a focus: tab is a key like any other, and comes in its turn."""


class Keyed(Acts):
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+c", "interrupt", show=False, priority=True),
        Binding("ctrl+s", "save_scene", show=False),
        Binding("ctrl+z", "take_back", show=False),
    ]

    def __init__(self, rehearsal: Rehearsal, path: Path | None, clock: Callable[[], float], guide: Guide | None) -> None:
        super().__init__(rehearsal, path)
        self.clock = clock
        self.guided = Guided(guide, rehearsal.boat) if guide is not None else None
        self.view = "helm" if rehearsal.boat.drives else "boat"
        self.look = 0
        self.looks = LOOKS_GREY if self.no_color else LOOKS
        self.pace = Pace(clock(), rehearsal.now_ns)
        self.history = History()
        self.back: int | None = None
        """Line of the timeline that is looked back at; None: now."""
        self.held: Snapshot | None = None
        """Where the traffic is held."""
        self.helping = False
        self.interrupted = False

    def get_default_screen(self) -> Screen[None]:
        return Whole()

    def draw(self) -> None:
        raise NotImplementedError

    def snapshot(self) -> Snapshot:
        """Now; or the boat as she was when the line looked back at was said."""
        if self.back is not None:
            then = self.history.at(self.rehearsal.timeline.said[self.back].at_ns)
            if then is not None:
                return then
        snapshot = take(self.rehearsal)
        self.history.keep(snapshot)
        return snapshot

    @property
    def together(self) -> bool:
        large = self.size.width >= WIDE and self.size.height >= WIDE_HIGH
        return large and self.view in ("boat", "helm") and not self.helping and self.table is None

    # ------------------------------------------------------------------------------------------------ keys

    def action_interrupt(self) -> None:
        self.interrupted = True
        self.exit()

    def action_save_scene(self) -> None:
        self.ask_for_name()

    async def action_take_back(self) -> None:
        await self.take_back()

    def action_command_palette(self) -> None:
        if len(self.screen_stack) == 1:
            self.push_screen(CommandPalette(placeholder=labels.PALETTE_ASK))

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        yield from commands(self)

    def show_view(self, view: str) -> None:
        self.view, self.helping, self.table = view, False, None
        self.draw()

    def show_fault(self, number: int) -> None:
        """Choose it on the faults view; where, and whether, is for whoever looks."""
        self.choose_fault(number)
        self.show_view("faults")

    def show_help(self) -> None:
        self.helping = not self.helping
        self.choose(scroll=0)
        self.draw()

    def show_look(self, look: int) -> None:
        self.look = look % len(self.looks)
        self.theme = f"busim-{self.looks[self.look].name}"
        self.draw()

    def show_table(self) -> None:
        """Open the scene table, or leave it."""
        boat_file = self.rehearsal.boat
        leave = self.table is not None or not boat_file.zones
        self.table = None if leave else SceneTable(boat_file, self.snapshot(), self.rehearsal.listener.asked_colours)
        self.choose(zone=0)

    def be_led(self, guide: Guide | None) -> None:
        self.guided = Guided(guide, self.rehearsal.boat) if guide is not None else None
        self.draw()

    def on_key(self, event: Key) -> None:
        if len(self.screen_stack) > 1:
            return  # what asks for words has the keys
        name = event.key
        if not (self._key_of_screen(name, event.character or "") or self._key_of_time(name)) and self.back is None:
            self._key_of_boat(name)
        self.draw()

    def _key_of_screen(self, name: str, letter: str) -> bool:
        """Keys that change what is shown and nothing else. True where it was one."""
        if name == "q":
            self.exit()
        elif name == "f1" or letter == "?":
            self.show_help()
        elif self.helping and name in ("up", "down"):
            self.choose(scroll=max(0, self.choice.scroll + (SCROLL if name == "down" else -SCROLL)))
        elif len(letter) == 1 and letter in "12345":
            self.show_view(VIEWS[int(letter) - 1])
        elif name == "l":
            self.show_look(self.look + 1)
        elif name == "w":
            self.show_table()
        elif name == "tab" and self.table is None:
            if self.view == "boat":
                self.next_panel()
            else:
                self.next_station()
        elif self.table is not None and self.back is None:
            self.table_key(name)
        elif name == "g":
            fit = [guide for guide in GUIDES if guide.needs(self.rehearsal.boat)]
            titles = [title_of(guide, self.rehearsal.boat) for guide in fit]
            self.push_screen(ListScreen(labels.GUIDE_ASK, titles), lambda n: self.be_led(fit[n]) if n is not None else None)
        elif self.view == "bus" and name == "slash":
            self.push_screen(WordsScreen(labels.FILTER_ASK, self.choice.filter), self._filter)
        elif self.view == "bus" and name == "x":
            self.held = self.snapshot() if self.held is None else None
        elif self.view == "verdicts" and name in ("up", "down"):
            count = max(len(self.rehearsal.judged), 1)
            self.choose(verdict=(self.choice.verdict + (1 if name == "down" else -1)) % count)
        else:
            return False
        return True

    def _filter(self, letters: str | None) -> None:
        if letters is not None:
            self.choose(filter=letters)

    def _key_of_time(self, name: str) -> bool:
        now_s, now_ns = self.clock(), self.rehearsal.now_ns
        if name == "space":
            self.pace.pause(now_s, now_ns)
        elif name in ("plus", "equals_sign", "minus"):
            self.pace.change(-1 if name == "minus" else 1, now_s, now_ns)
        elif name in ("left_square_bracket", "right_square_bracket", "pageup", "pagedown", "home", "end"):
            steps = {"left_square_bracket": -1, "right_square_bracket": 1, "pageup": -10, "pagedown": 10}
            self.look_back(steps.get(name, 0), name)
        else:
            return False
        return True

    def look_back(self, step: int, key: str = "") -> None:
        """So many lines of the timeline on from the one looked at; past the last one is now."""
        last = len(self.rehearsal.timeline.said) - 1
        if key == "end" or last < 0:
            self.back = None
        elif key == "home":
            self.back = 0
        elif self.back is not None or step < 0:
            wanted = (last if self.back is None else self.back) + step
            self.back = max(wanted, 0) if wanted <= last else None

    def _key_of_boat(self, name: str) -> None:
        """Keys that do something to the boat: not while what is shown is over."""
        if name in STATION_KEYS:
            self.press(STATION_KEYS[name])
        elif name == "m":
            self.mend()
        elif name == "u":
            self.plug()
        elif name == "e":
            self.crank(self.snapshot())
        elif self.view == "faults":
            self.fault_key(name)
        elif self.view == "boat" and name in ("left", "right", "up", "down", "enter", "h"):
            self.field_key(name, self.snapshot().panels, self.size.width // (2 if self.together else 1))
        elif name in ("up", "down", "0"):
            self.step_levers({"up": LEVER_STEP, "down": -LEVER_STEP, "0": None}[name])
        elif name in ("left", "right", "c"):
            self.step_wheel({"left": -LEVER_STEP, "right": LEVER_STEP, "c": None}[name])
        elif name == "d":
            self.next_lever()

    # ------------------------------------------------------------------------------------------------ mouse

    def on_board_scrolled(self, message: Board.Scrolled) -> None:
        if message.board == "timeline" and len(self.screen_stack) == 1:
            self.look_back(message.lines)
            self.draw()

    def on_board_touched(self, message: Board.Touched) -> None:
        if len(self.screen_stack) == 1:
            if not self._touched_screen(*message.what) and self.back is None:
                self._touched_boat(message.what, message.permille)
            self.draw()

    def _touched_screen(self, kind: str, *what: Any) -> bool:
        """Touches that change what is shown and nothing else. True where it was one."""
        rehearsed = self.rehearsal.boat
        if kind == "view":
            self.show_view(what[0])
        elif kind == "line":
            self.back = what[0]
        elif kind == "station":
            self.choose(station=list(rehearsed.stations).index(what[0]), lever=0)
        elif kind == "panel":
            self.choose(panel=list(rehearsed.panels).index(what[0]), field=0)
        elif kind == "fault":
            self.choose_fault(what[0])
        elif kind == "place":
            self.choose(place=what[0])
        elif kind == "verdict":
            self.choose(verdict=what[0])
        elif kind == "zone":
            if self.table is not None:
                self.choose(zone=self.table.zones.index(what[0]))
        else:
            return False
        return True

    def _touched_boat(self, what: tuple[Any, ...], permille: int | None) -> None:
        kind, *where = what
        if kind == "lever" and permille is not None:
            self._at(where[0])
            self.move_lever(where[0], where[1], permille)
        elif kind == "wheel" and permille is not None:
            self._at(where[0])
            self.turn_wheel(where[0], permille)
        elif kind == "key":
            self._at(where[0])
            self.press(where[1], where[0])
        elif kind == "plug":
            self.plug(where[0])
        elif kind == "touch":
            panel = list(self.rehearsal.boat.panels).index(where[0])
            self.choose(panel=panel)
            self.touch(where[0], where[1])
        elif kind == "break":
            self.break_chosen()
        elif kind == "mend":
            self.mend(where[0])

    def _at(self, station: str) -> None:
        number = list(self.rehearsal.boat.stations).index(station)
        if number != self.choice.station:
            self.choose(station=number, lever=0)
