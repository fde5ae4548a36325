"""The exploration: it closes without a violation on the boats that ship, and finds what is planted."""

import pytest

from busim.simulator.kinds import load_kinds
from busim.transfer.judge import APART, BOTH, OBEYED_OLD, STUCK, Judge
from busim.transfer.network import UNCUT, Network
from busim.transfer.path import Path
from busim.transfer.search import Budget, Round, Search, Violation
from busim.transfer.slots import QUIET, Slots
from busim.units import MS

from .test_transfer_forms import boat, network

SLOT_MS = 40


def explored(
    name: str, budget: Budget, kind: str = "", place: str = "", most: int = 2_000_000
) -> tuple[Round, Violation | None, Network]:
    loaded = boat(name)
    classes = load_kinds({kind: place} if kind else None)
    made = Network(loaded.boat, loaded.plan, classes, SLOT_MS * MS)
    came_to = Round(budget)
    return came_to, Search(made, 0, most).run(budget, came_to), made


# ------------------------------------------------------------------------------------------------ sound boats


@pytest.mark.parametrize(("takes", "disturbances"), [(2, 0), (1, 1)])
def test_the_first_boat_closes(takes: int, disturbances: int) -> None:
    came_to, violation, _ = explored("first_boat", Budget(takes, disturbances))
    assert violation is None
    assert came_to.closed
    assert came_to.longest_take * SLOT_MS <= 500  # transfer_ms of the boat file


@pytest.mark.slow
def test_marsh_tern_closes_on_a_sound_bus() -> None:
    """From whoever is in control to whoever takes, whenever: and never two drives under two takes where nothing is disturbed."""
    came_to, violation, _ = explored("marsh_tern", Budget(1, 0))
    assert violation is None
    assert came_to.closed
    assert (came_to.longest_apart, came_to.longest_both) == (0, 0)


@pytest.mark.slow
def test_marsh_tern_closes_with_a_disturbance() -> None:
    """Overlap 600 ms by the boat file, and what it takes to hear of it."""
    came_to, violation, made = explored("marsh_tern", Budget(1, 1, holders=1))
    assert violation is None
    assert came_to.closed
    assert came_to.longest_apart * SLOT_MS <= made.plan.timing.overlap_ms
    assert came_to.longest_both * SLOT_MS <= made.plan.timing.overlap_ms


def test_a_search_that_runs_out_of_states_says_what_is_open() -> None:
    came_to, violation, _ = explored("first_boat", Budget(1, 1), most=500)
    assert violation is None
    assert not came_to.closed
    assert came_to.open


# ------------------------------------------------------------------------------------------------ planted defects

PLANTED = [
    ("marsh_tern", Budget(1, 0), "drive", "transfer:FollowsAnyNumber", OBEYED_OLD),
    ("marsh_tern", Budget(1, 0), "drive", "drives:NeverChangesOver", APART),
    ("marsh_tern", Budget(1, 0), "station", "transfer:ShowsItStill", BOTH),
    ("first_boat", Budget(0, 1), "station", "transfer:GivesUp", STUCK),
]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "budget", "kind", "twin", "what"), PLANTED, ids=[planted[3] for planted in PLANTED])
def test_a_planted_defect_is_found(name: str, budget: Budget, kind: str, twin: str, what: str) -> None:
    _, violation, made = explored(name, budget, kind, f"tests.twins.{twin}")
    assert violation is not None
    assert violation.what == what
    lines = Path(made, violation).lines()
    assert lines[-1][1].startswith("WRONG: ")
    assert [at_ns for at_ns, _ in lines] == sorted(at_ns for at_ns, _ in lines)


# ------------------------------------------------------------------------------------------------ the network, the judge


def test_cuts_part_those_on_either_side() -> None:
    """Marsh Tern's helm runs wheelhouse 0.4 m, upper deck 3 m, port drive 15 m, starboard drive 17.5 m (boat file)."""
    made = network("marsh_tern", SLOT_MS)
    helm = made.bus_names.index("helm")
    between_drives = next(place for place, at_m in enumerate(made.cuts_m[helm]) if 15 < at_m < 17.5)
    address = {made.names[each]: each for each in made.members}
    assert made.passes(helm, between_drives, address["wheelhouse"], address["port_drive"])
    assert not made.passes(helm, between_drives, address["port_drive"], address["starboard_drive"])
    cuts = [UNCUT] * len(made.bus_names)
    cuts[helm] = between_drives
    assert not made.apart(tuple(cuts), address["port_drive"], address["starboard_drive"])  # they share the pendant's line too
    assert made.apart(tuple(cuts), address["wheelhouse"], address["starboard_drive"])


def told(made: Network, **pairs: tuple[int, int]) -> list[tuple[int, int]]:
    return [pairs.get(made.names[address], (0, 0)) for address in made.members]


def test_drives_that_hear_each_other_are_judged_and_others_are_not() -> None:
    made = network("marsh_tern", SLOT_MS)
    judge = Judge(made, 0)
    dark = [0] * len(made.members)
    parted = told(made, port_drive=(1, 1), starboard_drive=(3, 2))
    uncut = (UNCUT,) * len(made.bus_names)
    assert judge.ages(parted, dark, uncut, 4, 0) == (5, 0)
    assert judge.ages(told(made, port_drive=(1, 1)), dark, uncut, 4, 0) == (0, 0)  # the other one obeys nobody
    both_cut = tuple(
        next(place for place, at_m in enumerate(cuts_m) if low < at_m < high)
        for cuts_m, (low, high) in zip(made.cuts_m, ((15, 17.5), (1, 2)), strict=False)
    )
    assert judge.ages(parted, dark, both_cut + uncut[len(both_cut) :], 4, 0) == (0, 0)  # the policy: each obeys whom it hears
    assert not judge.wrong(judge.limit_slots, 0)
    assert judge.wrong(judge.limit_slots + 1, 0) == APART
    assert judge.wrong(0, judge.limit_slots + 1) == BOTH


def test_numbers_are_called_by_rank() -> None:
    """Take after take: the numbers in the state stay small, however many there were."""
    slots = Slots(network("first_boat", SLOT_MS), Judge(network("first_boat", SLOT_MS), 0))
    state, _ = slots.settled(slots.start())
    for _ in range(12):
        state = slots.advance(state, ("take", (0, 1)), 0).state
        for _ in range(20):
            state = slots.advance(state, QUIET, 0).state
    assert max(max(slots.cells[index].numbers[number], default=0) for index, number in enumerate(state[0])) <= 2
