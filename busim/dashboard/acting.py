"""The part of the screen that turns keys and touches into actions of people, each recorded; it decides nothing about the boat."""

from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from busim import screen_labels as labels
from busim.boat.model import Section
from busim.dashboard.choice import Choice
from busim.dashboard.keeping import KeepsScenes
from busim.dashboard.places import places_for, places_in_words
from busim.dashboard.view_boat import fields_across
from busim.faults.table import BY_NAME, FAULTS
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.shown import PanelShown, Snapshot
from busim.scenario.model import CrankAction, KeyAction, LeverAction, TouchAction, WheelAction

LEVER_STEP: Final = 100
OVER_MS: Final = 100
"""How long a hand takes for a step of a lever or wheel."""
TOUCH_MS, HOLD_MS = 150, 2000
LOCK_OUT_MS: Final = 3200
STATION_KEYS: Final = {"t": "take", "n": "neutral_now", "a": "acknowledge", "s": "silence", "o": "lock_out"}


class Acts(KeepsScenes):
    def __init__(self, rehearsal: Rehearsal, path: Path | None) -> None:
        super().__init__(rehearsal, path)
        self.choice = Choice()
        self.fault_names = [(fault.name, fault.words, fault.effect) for fault in FAULTS]
        self.places: list[Section] = []
        self.place_words: list[str] = []
        self.meant: dict[tuple[str, str], int] = {}
        """Where a hand has a lever (or, with "", a wheel): the world says so only once it has begun to move."""
        self.list_places()

    def choose(self, **what: Any) -> None:
        self.choice = replace(self.choice, **what)

    # ------------------------------------------------------------------------------------------------ stations

    @property
    def station(self) -> str:
        return list(self.rehearsal.boat.stations)[self.choice.station] if self.rehearsal.boat.stations else ""

    def next_station(self) -> None:
        if self.rehearsal.boat.stations:
            self.choose(station=(self.choice.station + 1) % len(self.rehearsal.boat.stations), lever=0)

    def next_lever(self) -> None:
        if self.station:
            self.choose(lever=(self.choice.lever + 1) % (len(self.rehearsal.boat.stations[self.station].may_take) + 1))

    def press(self, key: str, station: str | None = None) -> None:
        at = station or self.station
        if at:
            for_ms = {"for_ms": LOCK_OUT_MS} if key == "lock_out" else {}
            self.rehearsal.do("key", KeyAction.model_validate({"station": at, "name": key, **for_ms}))

    def move_lever(self, station: str, drive: str, permille: int) -> None:
        self.meant[station, drive] = permille
        self.rehearsal.do("lever", LeverAction(station=station, drive=drive, to_permille=permille, over_ms=OVER_MS))

    def turn_wheel(self, station: str, permille: int) -> None:
        self.meant[station, ""] = permille
        self.rehearsal.do("wheel", WheelAction(station=station, to_permille=permille, over_ms=OVER_MS))

    def step_levers(self, step: int | None) -> None:
        """Those chosen at the chosen station; None: to neutral."""
        drives = self.rehearsal.boat.stations[self.station].may_take if self.station else ()
        for number, drive in enumerate(drives, 1):
            if self.choice.lever in (0, number):
                now = self.meant.get((self.station, drive), self.rehearsal.listener.levers.get((self.station, drive), 0))
                self.move_lever(self.station, drive, 0 if step is None else max(-1000, min(now + step, 1000)))

    def step_wheel(self, step: int | None) -> None:
        if self.station and self.rehearsal.boat.stations[self.station].steers:
            now = self.meant.get((self.station, ""), self.rehearsal.listener.wheels.get(self.station, 0))
            self.turn_wheel(self.station, 0 if step is None else max(-1000, min(now + step, 1000)))

    def crank(self, snapshot: Snapshot) -> None:
        """The start keys of the engines that stand."""
        for drive in snapshot.drives:
            if not drive.running:
                self.rehearsal.do("crank", CrankAction(drive=drive.name))

    def plug(self, node: str | None = None) -> None:
        """Pull a plug, or put it in where it is out."""
        boat = self.rehearsal.boat
        plugs = [name for name, each in boat.nodes.items() if any(tap.plug for tap in each.taps.values())]
        at = node or next(iter(plugs), "")
        out = next((number for number, node in self.rehearsal.unplugged().items() if node == at), None)
        if out is not None:
            self.rehearsal.mend(out)
        elif at in plugs:
            self.rehearsal.break_("unplugged", BY_NAME["unplugged"].place.model_validate({"node": at}))

    # ------------------------------------------------------------------------------------------------ panels

    def next_panel(self) -> None:
        if self.rehearsal.boat.panels:
            self.choose(panel=(self.choice.panel + 1) % len(self.rehearsal.boat.panels), field=0)

    def touch(self, panel: str, control: str, for_ms: int = TOUCH_MS) -> None:
        self.rehearsal.do("touch", TouchAction(panel=panel, control=control, for_ms=for_ms))

    def field_key(self, name: str, panels: tuple[PanelShown, ...], wide: int) -> None:
        """An arrow, enter or h at the chosen panel."""
        if not panels or not panels[self.choice.panel].fields:
            return
        shown = panels[self.choice.panel]
        place = min(self.choice.field, len(shown.fields) - 1)
        if name in ("enter", "h"):
            self.touch(shown.name, shown.fields[place].name, HOLD_MS if name == "h" else TOUCH_MS)
            return
        across = fields_across(wide)
        step = {"left": -1, "right": 1, "up": -across, "down": across}[name]
        if abs(step) == 1 or 0 <= place + step < len(shown.fields):
            self.choose(field=(place + step) % len(shown.fields))

    # ------------------------------------------------------------------------------------------------ faults

    def list_places(self) -> None:
        fault = BY_NAME[self.fault_names[self.choice.fault][0]]
        self.places = places_for(fault, self.rehearsal.boat)
        self.place_words = places_in_words(fault, self.places, self.rehearsal.boat)

    def words_of_place(self, fault: str, place: Section) -> str:
        return BY_NAME[fault].place_words(place)

    def choose_fault(self, number: int) -> None:
        self.choose(fault=number % len(self.fault_names), place=0)
        self.list_places()

    def fault_key(self, name: str) -> None:
        if name in ("up", "down"):
            self.choose_fault(self.choice.fault + (1 if name == "down" else -1))
        elif name in ("left", "right") and self.places:
            self.choose(place=(self.choice.place + (1 if name == "right" else -1)) % len(self.places))
        elif name == "enter":
            self.break_chosen()

    def break_chosen(self) -> None:
        if not self.places:
            return
        name = self.fault_names[self.choice.fault][0]
        wrong = self.rehearsal.break_(name, self.places[self.choice.place])
        self.notify(wrong or labels.BROKEN.format(fault=name, place=self.place_words[self.choice.place]), markup=False)

    def mend(self, number: int | None = None) -> None:
        """This fault, or the one that began last."""
        on = self.rehearsal.on
        which = number if number is not None else max(on, default=-1)
        if which in on:
            self.rehearsal.mend(which)

    # ------------------------------------------------------------------------------------------------ the scene table

    def table_key(self, name: str) -> None:
        """A key at the scene table, which changes nothing on board."""
        table = self.table
        if table is None or not table.zones:
            return
        zone = table.zones[min(self.choice.zone, len(table.zones) - 1)]
        if name in ("left", "right"):
            self.choose(zone=(self.choice.zone + (1 if name == "right" else -1)) % len(table.zones))
        elif name in ("up", "down"):
            table.step(zone, 1 if name == "up" else -1)
        elif name == "c":
            table.next_colour(zone)
        elif name == "v":
            table.next_scene()
        elif name == "x":
            table.leave(zone)
        elif name == "0":
            table.darken(zone)
