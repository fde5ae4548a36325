"""The fault `frames_lost`: so many frames of one sender are not heard by one node, and by that one only."""

import itertools
from pathlib import Path

import pytest

from busim.boat.load import load_boat
from busim.events import bits
from busim.faults.frames_lost import CODES, FramesLostPlace
from busim.protocol.catalogue import BY_NAME
from busim.reading.problem import InputError
from busim.scenario.load import load_scenario
from busim.simulator.kinds import load_kinds
from busim.simulator.world import World
from busim.units import MS

from .boat_under_way import UNDER_WAY_NS, boat_under_way
from .first_boat_world import boat

WHEELHOUSE, ENGINE_ROOM = 1, 2
LEVER = CODES["lever"] << 6 | WHEELHOUSE


def place(frames: int) -> FramesLostPlace:
    return FramesLostPlace(node="engine_room", sender="wheelhouse", bus="main", message="lever", frames=frames)


def acted_on(world: World) -> list[int]:
    """Counters of lever frames that the drive says it acted on, as they come."""
    found: list[int] = []

    def note(now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        found.append(bits.field(int.from_bytes(data, "big"), bits.OBEYS_ACTED_ON))

    world.journal.watch_frames(bits.CODE_DRIVE_OBEYS << 6 | ENGINE_ROOM, note)
    return found


def test_codes_are_those_of_the_catalogue() -> None:
    assert {name: BY_NAME[name].code for name in CODES} == CODES


@pytest.mark.parametrize(("frames", "lost"), [(5, False), (20, True)])
def test_a_drive_that_misses_lever_frames_loses_control_at_its_timeout(frames: int, lost: bool) -> None:
    """Levers every 20 ms and a control timeout of 250 ms (design, s. 6): 5 in a row are ridden through, 20 are not."""
    ship = boat_under_way().with_fault("frames_lost", place(frames))
    ship.run(UNDER_WAY_NS + 1000 * MS)
    row_24 = 24  # engaged, lost (state table of the drive)
    assert bool(ship.told("row", "engine_room", "drive", row_24)) == lost


def test_others_hear_them_all() -> None:
    """The frames are on the bus and acknowledged: sent as ever, and nobody's error count moves."""
    ship = boat_under_way().with_fault("frames_lost", place(10))
    ship.run(UNDER_WAY_NS + 1000 * MS)
    levers = [frame for frame in ship.sent_by(WHEELHOUSE, UNDER_WAY_NS, UNDER_WAY_NS + 400 * MS) if frame[2] == LEVER]
    assert len(levers) in (19, 20, 21)
    assert not ship.told("controller")[-1:] or ship.told("controller")[-1] < UNDER_WAY_NS


def test_a_world_saved_meanwhile_goes_on_the_same() -> None:
    ship = boat_under_way().with_fault("frames_lost", place(8))
    ship.run(UNDER_WAY_NS + 60 * MS)
    loaded = boat()
    other = World.restore(ship.world.save(), loaded.boat, loaded.plan, load_kinds())
    heard, again = acted_on(ship.world), acted_on(other)
    ship.run(UNDER_WAY_NS + 500 * MS)
    other.run(UNDER_WAY_NS + 500 * MS)
    assert heard == again
    assert max(later - earlier & 0xFF for earlier, later in itertools.pairwise(heard)) > 5


def test_names_in_a_scenario_are_looked_at(tmp_path: Path) -> None:
    file = tmp_path / "lost.yaml"
    file.write_text(
        "scenario: lost\nlasts_s: 2\nfaults:\n  - at_s: 1\n"
        "    frames_lost: {node: engine_room, sender: wheel_house, bus: main, message: lever}\n"
    )
    shipped = load_boat(Path(__file__).parents[2] / "configs" / "first_boat").boat
    with pytest.raises(InputError, match="there is no node"):
        load_scenario(file, shipped)
