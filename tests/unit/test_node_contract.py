"""Every kind of node in `nodes.KINDS` keeps the rules of the seam, whatever it is given."""

import pytest

from busim.boat.load import load_boat
from busim.boat.shipped import shipped_folder
from busim.protocol.catalogue import HEARTBEAT, IDENTITY
from busim.seam import OUTPUT, ROW, Node
from busim.units import MS, SECOND
from nodes import KINDS

from . import hand_made_frames as hand
from .contract import (
    UNKNOWN_CHANNELS,
    Call,
    Specimen,
    Watched,
    busy_days,
    many_hands,
    moves_machinery,
    noise,
    quiet,
    specimen,
    state_of,
    strange_days,
)

RESET_CAUSES = range(4)
STARTING, WORKING = 0, 1
WAITS_FOR_SENSORS = ("drive", "rudder")
"""Nothing tells them of any sensor here."""
NUMBERS = {"station": 1, "drive": 2, "panel": 3, "zone_driver": 4, "rudder": 5, "cutout": 6, "alarm": 7, "navigation": 8}
"""Kinds as the identity message numbers them; a builder's own kind is 0."""


@pytest.fixture(params=[*sorted(KINDS), "drive with a rudder", "station with a rudder"])
def kind(request: pytest.FixtureRequest) -> Specimen:
    """Of each kind one; and of those that a rudder aboard concerns, one of such a boat."""
    name, _, rudder = request.param.partition(" with ")
    return specimen(name, rudder={}) if rudder else specimen(name)


def started(kind: Specimen, start_ns: int = 0) -> Watched:
    watched = Watched(kind, start_ns)
    watched.start()
    return watched


def frames(watched: Watched, code: int) -> list[tuple[int, bytes]]:
    return [(moment_ns, action[3]) for moment_ns, action in watched.said if action[0] in (0, 1) and action[2] // 64 == code]


# ------------------------------------------------------------------------------------------------ heartbeat and identity


@pytest.mark.parametrize("reset_cause", RESET_CAUSES)
@pytest.mark.parametrize("build", [1, 200])
def test_heartbeats_come_at_their_period_and_say_what_they_should(kind: Specimen, reset_cause: int, build: int) -> None:
    watched = Watched(kind)
    watched.node = kind.make(build)
    watched.start(reset_cause)
    watched.run_to(26 * SECOND)
    beats = frames(watched, HEARTBEAT.code)
    assert [moment_ns for moment_ns, _ in beats] == list(range(0, 26 * SECOND + 1, 100 * MS))
    assert [data[1] for _, data in beats] == [(1 + index) % 256 for index in range(len(beats))]
    for _, data in beats:
        assert hand.part(data, 44, 4) == (STARTING if kind.kind in WAITS_FOR_SENSORS else WORKING)
        assert hand.part(data, 40, 4) == reset_cause
        assert hand.part(data, 24, 16) == kind.plan.helm_fingerprint
        assert hand.part(data, 8, 16) == kind.plan.lighting_fingerprint
        assert hand.part(data, 0, 8) == build


def test_identity_comes_at_the_start_and_every_second(kind: Specimen) -> None:
    watched = started(kind)
    watched.run_to(5 * SECOND)
    identities = frames(watched, IDENTITY.code)
    assert [moment_ns for moment_ns, _ in identities] == list(range(0, 5 * SECOND + 1, SECOND))
    assert {tuple(data[:2]) for _, data in identities} == {(1, NUMBERS.get(kind.kind, 0))}


def test_a_node_on_two_buses_beats_on_both(kind: Specimen) -> None:
    watched = started(specimen(kind.kind, buses=2))
    watched.run_to(SECOND)
    buses = [action[1] for _, action in watched.said if action[0] == 0 and action[2] // 64 == HEARTBEAT.code]
    assert buses == [0, 1] * 11


def test_the_first_deadline_is_at_the_start(kind: Specimen) -> None:
    watched = started(kind, 5 * SECOND)
    assert watched.node.deadline_ns == 5 * SECOND


# ------------------------------------------------------------------------------------------------ whatever it is given


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_noise_on_every_id_moves_nothing(kind: Specimen, seed: int) -> None:
    """All 2,048 ids, nine times over, any length: what is legal comes back, and no machinery moves."""
    watched = started(kind)
    watched.play(noise(seed, 9 * 2048))
    assert not [action for _, action in watched.said if moves_machinery(action)]


def test_every_length_on_every_id_it_hears(kind: Specimen) -> None:
    watched = started(kind)
    for bus, can_id in sorted(kind.make().receives()):
        for length in range(10):
            for byte in (0x00, 0x55, 0xFF):
                watched.call("on_frame", bus, can_id, bytes([byte]) * length)
    assert not [action for _, action in watched.said if moves_machinery(action)]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10, 14))
def test_strange_days_move_nothing(kind: Specimen, seed: int) -> None:
    """Right CRCs and any content: without a heartbeat of this boat nothing engages, and nothing raises."""
    watched = started(kind)
    watched.play(strange_days(kind, seed, 1000))
    watched.run_to(watched.now_ns + 10 * SECOND)
    assert not [action for _, action in watched.said if moves_machinery(action)]


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 12))])
def test_many_hands_at_one_moment_break_no_node_of_a_whole_boat(seed: int) -> None:
    plan = load_boat(shipped_folder() / "marsh_tern").plan
    for address, _, kind in plan.nodes:
        watched = started(Specimen(kind, plan, address))
        watched.play(many_hands(watched.kind, seed, 300))
        watched.run_to(watched.now_ns + 2 * SECOND)


def test_frames_of_other_ids_are_not_its_business(kind: Specimen) -> None:
    watched = started(kind)
    watched.run_to(MS)
    heard = {can_id for _, can_id in kind.make().receives()}
    before = state_of(watched.node)
    for can_id in set(range(2048)) - heard:
        assert watched.call("on_frame", 0, can_id, hand.safe(can_id, 1, 0)) == ()
    for can_id in heard:
        assert watched.call("on_frame", 7, can_id, hand.safe(can_id, 1, 0)) == (), "of a bus it is not on"
    assert state_of(watched.node) == before


def test_nothing_it_hears_was_sent_by_itself(kind: Specimen) -> None:
    """But for its own heartbeat's id: what comes under that is somebody else's, and two at one address."""
    own = {can_id for _, can_id in kind.make().receives() if can_id % 64 == kind.address}
    assert own <= {hand.id_of(hand.HEARTBEAT, kind.address)}


@pytest.mark.parametrize("value", [0, 1, -1, 1000, 2**80])
def test_unknown_inputs_are_ignored(kind: Specimen, value: int) -> None:
    watched = started(kind)
    watched.run_to(MS)
    before = state_of(watched.node)
    for channel in set(UNKNOWN_CHANNELS) - set(kind.channels()):
        assert quiet(watched.call("on_input", channel, value))
    assert state_of(watched.node) == before


@pytest.mark.parametrize("late_ns", [1, 7 * MS, 99 * MS, 100 * MS, SECOND, 3601 * SECOND])
def test_a_deadline_met_late_is_caught_up_with(kind: Specimen, late_ns: int) -> None:
    """A program that hung and goes on: one call brings it up to now (checked by the watch), and no burst of frames follows."""
    watched = started(kind)
    watched.play(strange_days(kind, 3, 100))
    watched.run_to(watched.now_ns)
    watched.now_ns = watched.node.deadline_ns + late_ns
    watched.said.clear()
    watched.keep(watched.node.on_deadline(watched.now_ns))
    assert watched.node.deadline_ns > watched.now_ns
    watched.run_to(watched.now_ns + 99 * MS)
    assert len(frames(watched, HEARTBEAT.code)) <= 2


# ------------------------------------------------------------------------------------------------ the same again


def script_for(kind: Specimen, seed: int) -> list[Call]:
    return [*busy_days(kind, seed, 1000), *later(strange_days(kind, seed, 200), 30 * SECOND)]


def later(script: list[Call], by_ns: int) -> list[Call]:
    return [(moment_ns + by_ns, *call) for moment_ns, *call in script]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "least"), [("drive", 15), ("station", 5)])
def test_the_scripts_below_take_a_node_through_much_of_its_table(name: str, least: int) -> None:
    """Else "the same again" would say little."""
    rows = set()
    for seed in (21, 22, 31, 32, 33):
        watched = started(specimen(name))
        watched.play(script_for(watched.kind, seed))
        rows |= {action[2] for _, action in watched.said if action[0] == ROW}
    assert len(rows) >= least, rows


@pytest.mark.slow
@pytest.mark.parametrize("seed", [21, 22])
def test_the_same_calls_give_the_same_actions(kind: Specimen, seed: int) -> None:
    script = script_for(kind, seed)
    first, second = started(kind), started(kind)
    first.play(script)
    second.play(script)
    assert first.said == second.said
    assert state_of(first.node) == state_of(second.node)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [21, 22])
@pytest.mark.parametrize("start_ns", [1, 7 * SECOND + 123, 10**15])
def test_the_time_it_is_given_is_the_only_time_it_knows(kind: Specimen, seed: int, start_ns: int) -> None:
    """Started later, it does the same later."""
    script = script_for(kind, seed)
    first, second = started(kind), started(kind, start_ns)
    first.play(script)
    second.play(script)
    assert first.said == second.said


@pytest.mark.slow
@pytest.mark.parametrize("seed", [31, 32, 33])
def test_a_node_saved_in_the_middle_goes_on_as_it_was(kind: Specimen, seed: int) -> None:
    script = script_for(kind, seed)
    middle = len(script) // 2
    whole = started(kind)
    whole.play(script[:middle])
    other = whole.saved_and_restored()
    assert state_of(other.node) == state_of(whole.node)
    already = len(whole.said)
    whole.play(script[middle:])
    other.play(script[middle:])
    assert other.said == whole.said[already:]
    assert state_of(other.node) == state_of(whole.node)


def test_what_it_keeps_stands_in_slots(kind: Specimen) -> None:
    """Every class on the way keeps to slots (`state_of` refuses what does not), and lists no name twice."""
    node = kind.make()
    state_of(node)
    names: list[str] = []
    for base in type(node).__mro__[:-1]:
        assert "__slots__" in vars(base), base
        names += vars(base)["__slots__"]
    assert len(set(names)) == len(names)


def test_outputs_it_sets_at_the_start_move_nothing(kind: Specimen) -> None:
    watched = started(kind)
    for channel in kind.channels():
        watched.call("on_input", channel, 0)
    watched.run_to(2 * SECOND)
    assert not [action for _, action in watched.said if moves_machinery(action)]


def test_the_acceptance_filter_stays_the_same(kind: Specimen) -> None:
    """Hosts ask for it once."""
    watched = started(kind)
    before = watched.node.receives()
    watched.play(script_for(kind, 41))
    assert watched.node.receives() == before


def test_inputs_are_switches_or_have_a_period(kind: Specimen) -> None:
    for pattern, period_ns in kind.make().inputs.items():
        assert pattern
        assert type(period_ns) is int
        assert period_ns >= 0


def test_the_contract_finds_what_breaks_it() -> None:
    """The checks bite: a deadline behind, one moved earlier in silence, a foreign id, a wrong CRC, a thing outside slots."""
    kind = specimen("panel")

    class Loose(Node):
        """No slots: it has a __dict__."""

    with pytest.raises(AssertionError, match="give it __slots__"):
        state_of(Loose())
    watched = started(kind)
    watched.node.deadline_ns = 10

    class Silent(Node):
        __slots__ = ()

        def on_input(self, now_ns: int, channel: str, value: int) -> tuple[()]:
            self.deadline_ns = now_ns
            return ()

        def on_deadline(self, now_ns: int) -> tuple[()]:
            return ()

    watched.node = Silent()
    with pytest.raises(AssertionError, match="moved the deadline earlier"):
        watched.call("on_input", "touch.1", 1)
    with pytest.raises(AssertionError, match="lies behind"):
        watched.run_to(0)
    good = hand.heartbeat(kind.address, 1, 1)
    beat = hand.id_of(hand.HEARTBEAT, kind.address)
    watched.keep(((0, 0, beat, good, MS),))
    for bad in (
        (0, 0, beat + 1, good, MS),
        (0, 3, beat, good, MS),
        (0, 0, beat, hand.spoiled(good), MS),
        (0, 0, beat, good, 0),
        (0, 0, hand.id_of(hand.LEVER, kind.address), good, MS),
        (OUTPUT, "field.1", 1.0),
        (3, "drive", 99, 0),
        (9,),
    ):
        with pytest.raises(AssertionError):
            watched.keep((bad,))
