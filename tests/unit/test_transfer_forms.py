"""Canonical forms: every slot of every node has its entry, and a boat told in forms does what the boat itself does."""

import random
from functools import cache
from pathlib import Path
from typing import ClassVar

import pytest

from busim.boat.load import LoadedBoat, load_boat
from busim.host.host import NodeError
from busim.protocol.catalogue import DRIVE_OBEYS, LEVER
from busim.protocol.codec import check, counter_of
from busim.seam import Actions, Kept
from busim.simulator.kinds import load_kinds
from busim.transfer import slots as slots_module
from busim.transfer.judge import Judge
from busim.transfer.memory import FORGOTTEN, Shape, UntoldError, numbers_in_frame, relabel_frame
from busim.transfer.network import Network
from busim.transfer.slots import FREE, Slots
from busim.units import MS
from nodes.drive import Drive
from nodes.station import Station

from .conftest import Edited
from .plain_boat import PlainBoat
from .small_boat import BRIDGE, PORT, small_boat
from .test_two_buses import DOUBLED

CONFIGS = Path(__file__).parents[2] / "configs"


@cache
def boat(name: str) -> LoadedBoat:
    return load_boat(CONFIGS / name)


@cache
def network(name: str, slot_ms: int) -> Network:
    loaded = boat(name)
    return Network(loaded.boat, loaded.plan, load_kinds(), slot_ms * MS)


# ------------------------------------------------------------------------------------------------ the table


@pytest.mark.parametrize("name", ["first_boat", "marsh_tern"])
def test_every_slot_of_stations_drives_and_rudders_says_what_it_is(name: str) -> None:
    loaded, kinds = boat(name), load_kinds()
    for address, _, kind in loaded.plan.nodes:
        if kind in ("station", "drive", "rudder"):
            Shape(kinds[kind](loaded.plan, address, 1))  # type: ignore[call-arg]


def test_a_slot_without_an_entry_is_found() -> None:
    class Careless(Drive):
        __slots__ = ("since_ns",)

    with pytest.raises(UntoldError, match="Careless does not say in `memory` what its slot 'since_ns' is"):
        Shape(Careless(small_boat(), PORT))


def test_a_class_without_slots_is_found() -> None:
    class Loose(Drive):
        pass

    with pytest.raises(UntoldError, match="Loose has no __slots__"):
        Shape(Loose(small_boat(), PORT))


# ------------------------------------------------------------------------------------------------ forms


def test_a_form_is_the_same_later_and_a_few_frames_on() -> None:
    """A station left alone for 10 periods of its levers and for 20: nothing but the clock and the counters differ."""
    forms = []
    for periods in (20, 40):
        station = Station(small_boat(), BRIDGE)
        station.on_start(0, 0)
        for channel in ("lever.1", "lever.2"):
            station.on_input(0, channel, 500)
        end_ns = periods * 20 * MS
        while station.deadline_ns < end_ns:
            station.on_deadline(station.deadline_ns)
        forms.append(Shape(station).read(end_ns))
    assert forms[0][0] == forms[1][0]
    assert forms[0][1][BRIDGE, LEVER.code] == 20
    assert forms[1][1][BRIDGE, LEVER.code] == 40


def test_a_written_form_is_read_back() -> None:
    drive = Drive(small_boat(), PORT)
    drive.on_start(0, 0)
    shape = Shape(drive)
    form, _ = shape.read(0)
    drive.on_input(0, "shift_position", 1000)
    drive.on_deadline(0)
    assert shape.read(0)[0] != form
    shape.write(form)
    assert shape.read(0)[0] == form


def test_counters_of_a_frame_follow_their_senders() -> None:
    """A drive's report: its own counter, and that of the lever frame it acted on, each moves with whose it is."""
    can_id = DRIVE_OBEYS.can_id(2)
    data = DRIVE_OBEYS.pack(can_id, 9, 1, 4, 200, 5, 4, 0, 1)
    moved = relabel_frame(can_id, data, {(2, DRIVE_OBEYS.code): 8, (1, LEVER.code): 199, (3, LEVER.code): 7}, {4: 1})
    word = check(can_id, moved)
    assert counter_of(word) == 1
    assert DRIVE_OBEYS.unpack(word) == (1, 1, 1, 5, 4, 0, 1)
    assert numbers_in_frame(can_id, moved) == {1}
    assert relabel_frame(can_id, data, {(2, DRIVE_OBEYS.code): FORGOTTEN}, {}) == data


# ------------------------------------------------------------------------------------------------ held against the boat itself


def seen(slots: Slots, cells: tuple[int, ...]) -> list[tuple[int, ...]]:
    """The same as `PlainBoat.shown`, of a state."""
    forms = [each.forms[number][0] for each, number in zip(slots.cells, cells, strict=True)]
    numbers = sorted({around[6][1] for around in forms})
    return [(around[2], around[3], around[4], around[6][0], numbers.index(around[6][1])) for around in forms]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["marsh_tern", "first_boat"])
@pytest.mark.parametrize("slot_ms", [20, 40])
@pytest.mark.parametrize("seed", range(6))
def test_a_boat_told_in_forms_does_what_the_boat_does(name: str, slot_ms: int, seed: int) -> None:
    play_both(network(name, slot_ms), slot_ms, random.Random(f"{name} {slot_ms} {seed}"))


@pytest.mark.slow
@pytest.mark.parametrize("slot_ms", [20, 40])
def test_a_boat_with_her_bus_doubled_told_in_forms_does_what_the_boat_does(edited: Edited, slot_ms: int) -> None:
    loaded = load_boat(edited(*DOUBLED).path)
    doubled = Network(loaded.boat, loaded.plan, load_kinds(), slot_ms * MS)
    for seed in range(6):
        play_both(doubled, slot_ms, random.Random(seed))


def play_both(network: Network, slot_ms: int, draw: random.Random) -> None:
    """Whatever happens, drawn from a seed, for longer than every limit: displays, outputs and reports are the same each slot."""
    slots = Slots(network, Judge(network, 0))
    plain = PlainBoat(network)
    state = slots.start()
    often = draw.choice((0.05, 0.2, 0.5))
    for slot in range(4000 // slot_ms):
        choices = list(slots.choices(state, 1, 1 if slot % 50 < 35 else 0))
        free = [choice for choice in choices if choice[0] in FREE]
        choice = draw.choice(choices if draw.random() < often else free if draw.random() < often else choices[:1])
        state = slots.advance(state, choice, 3).state
        plain.advance(choice)
        assert seen(slots, state[0]) == plain.shown(), f"slot {slot}: {choice}"


class Counts(Drive):
    """Counts for ever, in a slot that is said to be a plain value."""

    __slots__ = ("rounds",)
    memory: ClassVar = {**Drive.memory, "Counts": {"rounds": Kept("value")}}

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.rounds = 0

    def on_deadline(self, now_ns: int) -> Actions:
        self.rounds += 1
        return super().on_deadline(now_ns)


def test_a_boat_that_never_repeats_itself_is_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(slots_module, "LONGEST_SETTLING", 100)
    loaded = boat("first_boat")
    counting = Network(loaded.boat, loaded.plan, {**load_kinds(), "drive": Counts}, 40 * MS)
    slots = Slots(counting, Judge(counting, 0))
    with pytest.raises(NodeError, match="never repeat themselves"):
        slots.settled(slots.start())
