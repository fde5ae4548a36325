"""The world: the same run is the same whoever looks, however it is cut up, saved and restored, in whatever process; and what
people do reaches pins."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.boat.load import LoadedBoat
from busim.events.situation import Situation
from busim.events.table import BY_KIND
from busim.host.host import NodeError
from busim.seam import SEND, Actions, Node
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import KindError, load_kinds
from busim.simulator.levers import LeverSensor
from busim.simulator.world import World
from busim.units import MS, SECOND
from tests.unit.first_boat_world import END_NS, begun, boat, busy_script, finished_digest

ROOT = Path(__file__).parents[2]

Whole = tuple[str, list[Any], list[Any]]
"""Digest, frames and events of a run."""


@pytest.fixture(scope="module")
def loaded() -> LoadedBoat:
    return boat()


@pytest.fixture(scope="module")
def whole(loaded: LoadedBoat) -> Whole:
    """The busy run in one piece, with nobody looking on but a keeper of blocks."""
    world = begun(loaded)
    frames: list[Any] = []
    events: list[Any] = []

    def keep(some: list[Any], others: list[Any], digest: str) -> None:
        frames.extend(some)
        events.extend(others)

    world.journal.watch_blocks(keep)
    world.run(END_NS)
    return world.journal.digest, frames, events


# ------------------------------------------------------------------------------------------------ one run, one digest


def test_the_busy_run_is_busy(whole: Whole) -> None:
    """Or the tests below would show nothing: gears moved both ways, lamps lit, faults came and went, errors were counted."""
    _, frames, events = whole
    kinds = {event[2] for event in events}
    assert kinds == set(BY_KIND) - {"frame", "engine", "wheel", "crank", "starter", "rudder", "heading", "ground", "stream", "feed"}
    assert {event[4] for event in events if event[2] == "gear"} == {0, 1, 2}
    assert len(frames) > 1000


def test_who_looks_on_changes_nothing(loaded: LoadedBoat, whole: Whole) -> None:
    world = begun(loaded)
    Situation(loaded.plan).attach(world.journal)
    for can_id in range(0x800):
        world.journal.watch_frames(can_id, lambda *frame: None)
    world.run(END_NS)
    assert world.journal.digest == whole[0]


def test_another_seed_is_another_run_and_the_same_seed_the_same(loaded: LoadedBoat, whole: Whole) -> None:
    digests = []
    for seed in (1, 2, 3):
        world = begun(loaded, seed)
        world.run(END_NS)
        digests.append(world.journal.digest)
    assert digests[0] == whole[0]
    assert len(set(digests)) == 3


moments = st.lists(st.integers(0, END_NS), max_size=6)


@pytest.mark.slow
@settings(max_examples=12, deadline=None)
@given(pieces=moments)
def test_many_pieces_are_the_same_as_one(loaded: LoadedBoat, whole: Whole, pieces: list[int]) -> None:
    world = begun(loaded)
    for moment in sorted(pieces):
        world.run(moment)
        assert world.now_ns == moment
    world.run(END_NS)
    assert world.journal.digest == whole[0]


@pytest.mark.slow
@settings(max_examples=15, deadline=None)
@given(saves=st.lists(st.integers(0, END_NS), min_size=1, max_size=4))
def test_a_branch_is_a_rerun(loaded: LoadedBoat, whole: Whole, saves: list[int]) -> None:
    world = begun(loaded)
    kinds = dict(load_kinds())
    for moment in sorted(saves):
        world.run(moment)
        world = World.restore(world.save(), loaded.boat, loaded.plan, kinds)
        assert world.now_ns == moment
    world.run(END_NS)
    assert world.journal.digest == whole[0]


PLACES = ["in a frame", "in an error frame", "in a cut", "in a hang", "while booting", "with a stale mailbox"]


@pytest.mark.parametrize("where", PLACES)
def test_a_branch_from_the_middle_of(where: str, loaded: LoadedBoat, whole: Whole) -> None:
    world = begun(loaded)
    (bus,) = world.loop.buses
    if where == "in a frame":
        at_ns = whole[1][500][0] - 50_000
    elif where == "in an error frame":
        world.run(6 * SECOND)
        alone = world.hosts["engine_room"].controllers[0].segment
        at_ns = (alone.next_key >> 1) - 1000
        world.run(at_ns)
        assert bus.segments[1].busy
        assert bus.segments[1].error
    else:
        at_ns = {"in a cut": 6000, "in a hang": 10_600, "while booting": 7100, "with a stale mailbox": 14_000}[where] * MS
    world.run(at_ns)
    if where == "in a frame":
        assert bus.segments[0].busy
    if where == "in a hang":
        assert (world.hosts["wheelhouse"].running, world.hosts["wheelhouse"].booting) == (False, False)
    branch = World.restore(world.save(), loaded.boat, loaded.plan, dict(load_kinds()))
    for one in (world, branch):
        one.run(END_NS)
        assert one.journal.digest == whole[0]


def test_saving_does_not_change_what_is_saved(loaded: LoadedBoat) -> None:
    world = begun(loaded)
    world.run(6 * SECOND)
    assert world.save() == world.save()


@pytest.mark.slow
def test_another_process_with_other_hashes_says_the_same(
    tmp_path: Path, loaded: LoadedBoat, whole: Whole
) -> None:
    """And carries on from what this one saved."""
    world = begun(loaded)
    world.run(7_123_456_789)
    saved = tmp_path / "world"
    saved.write_bytes(world.save())
    code = (
        "import sys; from pathlib import Path; from tests.unit.first_boat_world import finished_digest, finished_from\n"
        "print(finished_digest(), finished_from(Path(sys.argv[1]).read_bytes()))"
    )
    for hash_seed in ("1", "4711"):
        done = subprocess.run(
            [sys.executable, "-c", code, str(saved)],
            capture_output=True,
            text=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONPATH": str(ROOT)},
            check=True,
        )
        assert done.stdout.split() == [whole[0], whole[0]]
    assert finished_digest() == whole[0]


def test_one_node_more_changes_no_clock_and_no_start_of_the_others(loaded: LoadedBoat) -> None:
    worlds = [build_world(loaded.boat, loaded.plan, load_kinds(), 5)]
    nodes = {name: node for name, node in loaded.boat.nodes.items() if name != "companionway"}
    fewer = loaded.boat.model_copy(update={"nodes": nodes, "panels": {}})
    worlds.append(build_world(fewer, loaded.plan, load_kinds(), 5))
    more, less = worlds
    for name in fewer.nodes:
        assert (more.hosts[name].rate, more.hosts[name].boot_ns) == (less.hosts[name].rate, less.hosts[name].boot_ns)
    rates = {host.rate for host in worlds[0].hosts.values()}
    assert len(rates) == len(worlds[0].hosts), "every clock is wrong in its own way"


# ------------------------------------------------------------------------------------------------ people and pins


def test_a_step_in_the_past_is_refused_and_one_at_this_moment_is_done(loaded: LoadedBoat) -> None:
    world = begun(loaded)
    world.run(2 * SECOND)
    with pytest.raises(ValueError, match=r"a moment before 2\.000 s, which is now"):
        world.plan_steps([(2 * SECOND - 1, 0, "key", ("wheelhouse", "take", 1))])
    seen: list[Any] = []
    world.journal.watch_events("key", seen.append)
    world.plan_steps([(2 * SECOND, 0, "key", ("wheelhouse", "take", 1))])
    world.run(2 * SECOND)
    assert [(event[0], *event[3:]) for event in seen] == [(2 * SECOND, "wheelhouse", "take", 1)]


def test_steps_of_one_moment_are_done_in_their_order(loaded: LoadedBoat) -> None:
    world = build_world(loaded.boat, loaded.plan, load_kinds(), 1)
    seen: list[Any] = []
    world.journal.watch_events("key", seen.append)
    world.plan_steps([(5, order, "key", ("wheelhouse", "take", order)) for order in (3, 1, 2)])
    world.plan_steps([(5, 0, "key", ("wheelhouse", "take", 0)), (4, 9, "key", ("wheelhouse", "take", 9))])
    world.run(5)
    assert [event[5] for event in seen] == [9, 0, 1, 2, 3]


@pytest.mark.parametrize(("permille", "reads"), [(1000, 900), (-1000, 100), (0, 500), (500, 700), (-250, 400)])
def test_a_lever_reads_between_the_ends_of_its_sensor(permille: int, reads: int) -> None:
    lever = LeverSensor("wheelhouse", "lever.1", 100, 900)
    lever.move(0, permille, 0)
    assert lever.read(SECOND) == reads


@settings(max_examples=100, deadline=None)
@given(permille=st.integers(-1000, 1000), back=st.integers(-1000, 1000), over_ms=st.integers(1, 60_000))
def test_a_hand_takes_the_time_it_is_given(permille: int, back: int, over_ms: int) -> None:
    """Within a thousandth of the time and a millisecond, however small the movement: a speed is a whole number too."""
    lever = LeverSensor("wheelhouse", "lever.1", 100, 900)
    lever.move(0, permille, 0)
    lever.move(SECOND, back, over_ms * MS)
    over_ns = over_ms * MS
    assert lever.still(SECOND + over_ns), "it is there in time"
    if abs(back - permille) >= 50:
        assert not lever.still(SECOND + over_ns - over_ns // 500 - MS), "and was not there long before"


def test_keys_of_a_node_without_power_are_found_as_they_are_when_it_starts(loaded: LoadedBoat) -> None:
    world = begun(loaded)
    world.run(100 * MS)  # booting
    world.key(100 * MS, "wheelhouse", "take", 1)
    assert world.hosts["wheelhouse"].inputs["take"].source.read(0) == 1


# ------------------------------------------------------------------------------------------------ nodes that break the rules


class Broken(Node):
    """Breaks one rule, named by `how`, at its first deadline."""

    __slots__ = ("how",)
    way = ""

    def __init__(self, plan: Any, address: int, build: int) -> None:
        super().__init__()
        self.how = self.way

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        self.deadline_ns = 10 * MS
        return ()

    def on_deadline(self, now_ns: int) -> Actions:
        self.deadline_ns += 10 * MS
        if self.how == "raises":
            raise KeyError("gear")
        if self.how == "deadline":
            self.deadline_ns = 1e12  # type: ignore[assignment]
        return ((SEND, 0, 0x1000, b"", 0),) if self.how == "id" else ()


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ("raises", r"^companionway \(Broken\): its program failed at 0\.\d\d\d s: KeyError: 'gear'$"),
        ("deadline", r"^companionway \(Broken\): its deadline is 1000000000000\.0, not a whole number$"),
        ("id", r"^companionway \(Broken\): a handler returned the action .*0x1000 is outside 0 to 0x7ff"),
    ],
)
def test_a_node_that_breaks_the_rules_is_named(
    how: str, words: str, loaded: LoadedBoat, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Broken, "way", how)
    world = build_world(loaded.boat, loaded.plan, {**load_kinds(), "panel": Broken}, 1)
    world.plan_steps(power_up(world))
    with pytest.raises(NodeError, match=words):
        world.run(2 * SECOND)


def test_what_goes_wrong_in_busim_itself_is_not_put_on_a_node(loaded: LoadedBoat) -> None:
    world = begun(loaded)
    world.plan_steps([(SECOND, 0, "key", ("nobody", "take", 1))])
    with pytest.raises(KeyError, match="nobody"):
        world.run(2 * SECOND)


def test_a_kind_nobody_has_is_said_so(loaded: LoadedBoat) -> None:
    kinds = {name: kind for name, kind in load_kinds().items() if name != "panel"}
    with pytest.raises(KindError, match="node companionway: nobody has the kind panel"):
        build_world(loaded.boat, loaded.plan, kinds, 1)


def test_the_script_is_in_order_of_time(loaded: LoadedBoat) -> None:
    world = begun(loaded)
    moments = [step[0] for step in world.script]
    assert moments == sorted(moments)
    assert len(moments) == len(busy_script()) + len(world.hosts)
