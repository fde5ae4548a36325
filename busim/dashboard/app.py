"""The screen of a rehearsal: keys and touches become actions, a timer carries the boat on and draws what it came to."""

import time
from bisect import bisect_right
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar, Final

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.events import Key

from busim import labels
from busim.boat.model import Section
from busim.dashboard import views
from busim.dashboard.board import Board
from busim.dashboard.drawing import Drawing, fitted
from busim.dashboard.keeping import KeepsScenes
from busim.dashboard.looks import LOOKS
from busim.dashboard.places import places_for
from busim.dashboard.views import VIEWS, Choice
from busim.faults.table import BY_NAME, FAULTS
from busim.host.host import NodeError
from busim.rehearsal.guides import Guide, Guided
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.snapshot import Snapshot, take
from busim.requirements.verdict import Verdict
from busim.scenario.model import KeyAction, LeverAction, TouchAction, WheelAction
from busim.units import MS, SECOND, seconds_text

TICK_S: Final = 0.05
RATES: Final = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
HISTORY_NS: Final = 100 * MS
HISTORY: Final = 6000
"""Snapshots kept to look back at: ten minutes at real time."""
MOST_AT_ONCE_NS: Final = 500 * MS
"""A slow computer loses pace, never a moment of the simulation."""
LEAST_WIDE, LEAST_HIGH = 60, 16
WIDE: Final = 150
LEVER_STEP: Final = 100


class RehearsalApp(KeepsScenes):
    """`clock` gives seconds; tests drive it by hand and call `tick`."""

    CSS = """
    Screen { layers: base; }
    #banner { height: auto; max-height: 9; }
    #body { height: 1fr; }
    #left, #right { width: 1fr; height: 1fr; }
    #timeline { height: 7; }
    #status, #keys { height: 1; }
    """
    ENABLE_COMMAND_PALETTE = True
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "quit", labels.KEYS_OF_THE_SCREEN["q"]),
        Binding("ctrl+c", "quit", "quit", priority=True, show=False),
        Binding("f1", "help", "help"),
        Binding("space", "pause", "pause", priority=True),
        *(Binding(str(number), f"view('{name}')", name) for number, name in enumerate(VIEWS, 1)),
        Binding("tab", "next", "next", priority=True),
        Binding("l", "look", "look"),
        Binding("w", "keep_scene", "keep the lights as a scene"),
        Binding("ctrl+z", "take_back", "take the last scene back"),
    ]

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
        super().__init__(rehearsal, path)
        self.guided = Guided(guide) if guide is not None else None
        self.boat_name = name
        self.clock = clock
        self.driven = driven
        """By a test: no timer of its own."""
        self.view = "helm" if rehearsal.boat.drives else "boat"
        self.look = 0
        self.rate = RATES.index(1.0)
        self.paused = False
        self.helping = False
        self.choice = Choice()
        self.last_s = clock()
        self.behind = False
        self.history: list[Snapshot] = []
        self.back: int | None = None
        """Line of the timeline that is looked back at; None: now."""
        self.verdicts: list[Verdict] = []
        self.judged_ns = -SECOND
        self.error = ""
        self.fault_names = [(fault.name, fault.words) for fault in FAULTS]
        self.places: list[Section] = []
        self.place_words: list[str] = []
        self.unplugged: int | None = None
        self._list_places()

    # ------------------------------------------------------------------------------------------------ the screen

    def compose(self) -> ComposeResult:
        self.banner, self.left, self.right = Board("banner"), Board("left"), Board("right")
        self.timeline, self.status, self.keys = Board("timeline"), Board("status"), Board("keys")
        yield self.status
        yield self.banner
        with Vertical(id="whole"), Horizontal(id="body"):
            yield self.left
            yield self.right
        yield self.timeline
        yield self.keys

    def on_mount(self) -> None:
        if not self.driven:
            self.set_interval(TICK_S, self.tick)
        self.tick()

    def on_resize(self) -> None:
        self.draw()

    def tick(self) -> None:
        """Carry the boat on by the time that has passed, and draw."""
        now_s = self.clock()
        passed_s, self.last_s = now_s - self.last_s, now_s
        if not self.paused and not self.error:
            wanted_ns = round(passed_s * RATES[self.rate] * SECOND)
            self.behind = wanted_ns > MOST_AT_ONCE_NS
            try:
                self.rehearsal.advance(self.rehearsal.now_ns + min(wanted_ns, MOST_AT_ONCE_NS))
            except NodeError as error:
                self.error = str(error)
        self.draw()

    def _guide_lines(self, snapshot: Snapshot, wide: int) -> Drawing:
        drawing = Drawing()
        if self.guided is not None:
            self.guided.look(snapshot)
            over = self.guided.step == len(self.guided.guide.steps)
            for words in self.guided.words:
                drawing.put((fitted(f" {labels.GUIDE_DONE if over else '> '}{words}", wide), LOOKS[self.look].chosen))
        return drawing

    def draw(self) -> None:
        if not self.is_running or not self.status.is_attached:
            return
        snapshot = self.snapshot()
        look = LOOKS[self.look]
        wide, high = self.size.width, self.size.height
        if wide < LEAST_WIDE or high < LEAST_HIGH:
            small = Drawing()
            small.put((labels.TOO_SMALL, look.warning))
            self.left.show(small, look.background)
            return
        both = wide >= WIDE and self.view in ("boat", "helm")
        self.right.display = both
        body_high = max(high - 12, 4)
        side = wide // 2 if both else wide
        top = views.banner(snapshot, look, wide)
        top.add(self._guide_lines(snapshot, wide))
        if self.error:
            top.put((fitted(f" {self.error}", wide), look.alarm))
        self.banner.styles.height = len(top.lines)
        self.banner.show(top, look.background)
        self.left.show(self._body(self.view, snapshot, side, body_high), look.background)
        if both:
            other = self._body("boat" if self.view == "helm" else "helm", snapshot, side, body_high)
            other.gap()
            other.add(views.nodes(snapshot, look))
            self.right.show(other, look.background)
        self.timeline.show(self._lines(snapshot, wide), look.background)
        self._show_status(snapshot, wide)

    def snapshot(self) -> Snapshot:
        """Now; or the boat as she was when the line looked back at was said."""
        if self.back is not None and self.history:
            lines = self.rehearsal.timeline.said
            at_ns = lines[min(self.back, len(lines) - 1)].at_ns if lines else 0
            place = bisect_right(self.history, at_ns, key=lambda each: each.at_ns)
            return self.history[min(place, len(self.history) - 1)]
        snapshot = take(self.rehearsal)
        if not self.history or snapshot.at_ns - self.history[-1].at_ns >= HISTORY_NS:
            self.history.append(snapshot)
            del self.history[:-HISTORY]
        return snapshot

    def _body(self, view: str, snapshot: Snapshot, wide: int, high: int) -> Drawing:
        look = LOOKS[self.look]
        if self.helping:
            return views.help_page(look)
        if view == "boat":
            return views.boat(snapshot, self.choice, look, wide)
        if view == "helm":
            return views.helm(snapshot, self.choice, look, wide)
        if view == "bus":
            return views.bus(snapshot, self.choice, look, high)
        if view == "faults":
            return views.faults(snapshot, self.fault_names, self.place_words, self.choice, look, high)
        if self.rehearsal.now_ns - self.judged_ns >= SECOND:
            self.judged_ns = self.rehearsal.now_ns
            self.verdicts = self.rehearsal.verdicts()
        return views.verdicts(self.verdicts, look, wide)

    def _lines(self, snapshot: Snapshot, wide: int) -> Drawing:
        look = LOOKS[self.look]
        drawing = Drawing()
        said = self.rehearsal.timeline.said
        end = len(said) if self.back is None else min(self.back + 1, len(said))
        shown = said[max(end - 6, 0) : end]
        drawing.put((fitted("-" * wide, wide), look.quiet))
        for number, line in enumerate(shown):
            marked = self.back is not None and number == len(shown) - 1
            words = f" {seconds_text(line.at_ns):>9} s  {line.words}"
            drawing.put((fitted(words, wide), look.chosen if marked else look.plain))
        return drawing

    def _show_status(self, snapshot: Snapshot, wide: int) -> None:
        look = LOOKS[self.look]
        pace = labels.PAUSED if self.paused else labels.PACE.format(rate=RATES[self.rate]) + (labels.LATE if self.behind else "")
        if self.back is not None:
            pace = labels.TIMELINE_BACK.format(seconds=seconds_text(snapshot.at_ns))
        words = labels.STATUS.format(
            boat=self.boat_name, seconds=seconds_text(snapshot.at_ns), pace=pace, view=self.view, look=look.name
        )
        status, keys = Drawing(), Drawing()
        status.put((fitted(f" {words}", wide), look.strong))
        keys.put((fitted(f" {labels.KEYS_SHORT}", wide), look.quiet))
        self.status.show(status, look.background)
        self.keys.show(keys, look.background)

    # ------------------------------------------------------------------------------------------------ keys

    def action_pause(self) -> None:
        self.paused = not self.paused
        self.draw()

    def action_help(self) -> None:
        self.helping = not self.helping
        self.draw()

    def action_view(self, name: str) -> None:
        self.view, self.helping = name, False
        self.draw()

    def action_look(self) -> None:
        self.look = (self.look + 1) % len(LOOKS)
        self.draw()

    def action_next(self) -> None:
        boat = self.rehearsal.boat
        if self.view == "boat" and boat.panels:
            self._choose(panel=(self.choice.panel + 1) % len(boat.panels), field=0)
        elif boat.stations:
            self._choose(station=(self.choice.station + 1) % len(boat.stations))

    def on_key(self, event: Key) -> None:
        name = event.key
        if name in ("plus", "equals_sign", "minus"):
            step = -1 if name == "minus" else 1
            self.rate = max(0, min(self.rate + step, len(RATES) - 1))
        elif name in ("left_square_bracket", "right_square_bracket", "end"):
            self._look_back(name)
        elif self.back is not None:
            return  # what is shown is over: nothing can be done to it
        elif name == "m":
            if self.rehearsal.on:
                self.mend(max(self.rehearsal.on))
        elif name == "u":
            self._plug()
        elif name in ("t", "n", "a", "s"):
            self.press({"t": "take", "n": "neutral_now", "a": "acknowledge", "s": "silence"}[name])
        elif self.view == "faults" and name in ("up", "down", "left", "right", "enter"):
            self._fault_key(name)
        elif self.view == "boat" and name in ("left", "right", "enter", "h"):
            self._field_key(name)
        elif self.view == "bus" and name == "slash":
            self._next_filter()
        elif name in ("up", "down", "0"):
            self._levers({"up": LEVER_STEP, "down": -LEVER_STEP, "0": None}[name])
        elif name in ("left", "right"):
            self._wheel(-LEVER_STEP if name == "left" else LEVER_STEP)
        self.draw()

    def _choose(self, **what: Any) -> None:
        values = {name: getattr(self.choice, name) for name in Choice.__dataclass_fields__} | what
        self.choice = Choice(**values)
        self.draw()

    def _look_back(self, key: str) -> None:
        last = len(self.rehearsal.timeline.said) - 1
        if key == "end" or last < 0:
            self.back = None
        elif key == "left_square_bracket":
            self.back = max((last if self.back is None else self.back) - 1, 0)
        elif self.back is not None:
            self.back = self.back + 1 if self.back < last else None

    # ------------------------------------------------------------------------------------------------ what is done

    @property
    def station(self) -> str:
        return list(self.rehearsal.boat.stations)[self.choice.station] if self.rehearsal.boat.stations else ""

    def press(self, key: str, station: str | None = None) -> None:
        at = station or self.station
        if at:
            self.rehearsal.do("key", KeyAction(station=at, name=key))  # type: ignore[arg-type]

    def move_lever(self, station: str, drive: str, permille: int) -> None:
        self.rehearsal.do("lever", LeverAction(station=station, drive=drive, to_permille=permille, over_ms=100))

    def turn_wheel(self, station: str, permille: int) -> None:
        self.rehearsal.do("wheel", WheelAction(station=station, to_permille=permille, over_ms=100))

    def touch(self, panel: str, control: str, for_ms: int = 150) -> None:
        self.rehearsal.do("touch", TouchAction(panel=panel, control=control, for_ms=for_ms))

    def mend(self, number: int) -> None:
        if number in self.rehearsal.on:
            self.rehearsal.mend(number)
            if number == self.unplugged:
                self.unplugged = None

    def _levers(self, step: int | None) -> None:
        listener = self.rehearsal.listener
        for drive in self.rehearsal.boat.stations[self.station].may_take if self.station else ():
            now = listener.levers.get((self.station, drive), 0)
            self.move_lever(self.station, drive, 0 if step is None else max(-1000, min(now + step, 1000)))
            listener.levers[self.station, drive] = 0 if step is None else max(-1000, min(now + step, 1000))

    def _wheel(self, step: int) -> None:
        if self.station and self.rehearsal.boat.stations[self.station].steers:
            listener = self.rehearsal.listener
            permille = max(-1000, min(listener.wheels.get(self.station, 0) + step, 1000))
            self.turn_wheel(self.station, permille)
            listener.wheels[self.station] = permille

    def _field_key(self, name: str) -> None:
        boat = self.rehearsal.boat
        if not boat.panels:
            return
        shown = self.snapshot().panels[self.choice.panel]
        if name in ("enter", "h"):
            if shown.fields:
                field = shown.fields[min(self.choice.field, len(shown.fields) - 1)]
                self.touch(shown.name, field.name, 2000 if name == "h" else 150)
        elif shown.fields:
            self._choose(field=(self.choice.field + (1 if name == "right" else -1)) % len(shown.fields))

    def _plug(self) -> None:
        boat = self.rehearsal.boat
        plugged = [name for name, node in boat.nodes.items() if any(tap.plug for tap in node.taps.values())]
        if self.unplugged is not None:
            self.mend(self.unplugged)
        elif plugged:
            number = len(self.rehearsal.script.faults)
            if not self.rehearsal.break_("unplugged", BY_NAME["unplugged"].place.model_validate({"node": plugged[0]})):
                self.unplugged = number

    def _next_filter(self) -> None:
        names = ["", *self.rehearsal.boat.nodes]
        self._choose(filter=names[(names.index(self.choice.filter) + 1) % len(names)])

    def _fault_key(self, name: str) -> None:
        if name in ("up", "down"):
            step = 1 if name == "down" else -1
            self._choose(fault=(self.choice.fault + step) % len(self.fault_names), place=0)
            self._list_places()
        elif name in ("left", "right") and self.places:
            self._choose(place=(self.choice.place + (1 if name == "right" else -1)) % len(self.places))
        elif name == "enter" and self.places:
            self.error_of_fault = self.rehearsal.break_(self.fault_names[self.choice.fault][0], self.places[self.choice.place])
            if self.error_of_fault:
                self.notify(self.error_of_fault)

    def _list_places(self) -> None:
        fault = BY_NAME[self.fault_names[self.choice.fault][0]]
        self.places = places_for(fault, self.rehearsal.boat)
        self.place_words = [fault.place_words(place) for place in self.places]

    def on_board_touched(self, message: Board.Touched) -> None:
        """Of a drawing that is over nothing can be touched but its lists."""
        kind, *what = message.what
        stations, boat = list(self.rehearsal.boat.stations), self.rehearsal.boat
        if kind == "station":
            self._choose(station=stations.index(what[0]))
        elif kind == "fault":
            self._choose(fault=what[0], place=0)
            self._list_places()
        elif kind == "place":
            self._choose(place=what[0])
        elif self.back is not None:
            return
        elif kind == "lever" and message.permille is not None:
            self._choose(station=stations.index(what[0]))
            self.move_lever(what[0], what[1], message.permille)
        elif kind == "wheel" and message.permille is not None:
            self.turn_wheel(what[0], message.permille)
        elif kind == "key":
            self._choose(station=stations.index(what[0]))
            self.press(what[1], what[0])
        elif kind == "touch":
            self._choose(panel=list(boat.panels).index(what[0]))
            self.touch(what[0], what[1])
        elif kind == "mend":
            self.mend(what[0])
        self.draw()
