"""What a person does at the bench: between which two moments that was, and what a measurement from there comes to at its edges."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim import bench_labels as labels
from busim.bench.hand_acts import HOLDS_OUT_NS, Moment, between_ms, cut_moment, given_moment, judged_between
from busim.bench.order import DONE
from busim.bench.session import Session
from busim.bench.stage import Ask, judged
from busim.boat.load import load_boat
from busim.requirements.verdict import FAIL, INCONCLUSIVE, PASS, SELF_REPORTED
from busim.units import MS, SECOND

from .bench_rig import CONFIGS, WILLING, Bench, Talk

MARSH_TERN = load_boat(CONFIGS / "marsh_tern")


# ------------------------------------------------------------------------------------------------ between which moments


@pytest.mark.parametrize(
    ("answered", "last", "gap", "earliest", "latest"),
    [
        (2000, 1500, 40, 1400, 1540),  # the bus shows it better than the key: last frame, less what it may hold out, to the next
        (1510, 1500, 40, 1400, 1510),  # the key came before the next frame was due
        (1400, 1500, 40, 1400, 1400),  # at the very moment from which it may have held out
        (1399, 1500, 40, 1400, 1540),  # earlier: the key was pressed too early and says nothing
        (2000, 1000, 100, 1000, 1100),  # not before it was asked, though it may have held out
        (2000, 960, 40, 1000, 1000),  # the next frame was due when it was asked
    ],
)
def test_when_a_supply_went(answered: int, last: int, gap: int, earliest: int, latest: int) -> None:
    """Asked at 1,000 ms. What a node may hold out is 100 ms."""
    assert HOLDS_OUT_NS == 100 * MS
    assert cut_moment(1000 * MS, answered * MS, last * MS, gap * MS) == Moment(earliest * MS, latest * MS)


def test_who_fell_silent_before_anybody_was_asked_was_not_switched_off() -> None:
    assert cut_moment(1000 * MS, 2000 * MS, 959 * MS, 40 * MS) is None


@pytest.mark.parametrize(("answered", "first", "latest"), [(1500, 1800, 1500), (1900, 1800, 1800), (1000, 1000, 1000)])
def test_when_a_supply_came_back(answered: int, first: int, latest: int) -> None:
    assert given_moment(1000 * MS, answered * MS, first * MS) == Moment(1000 * MS, latest * MS)
    assert given_moment(1000 * MS, answered * MS, 999 * MS) is None


TIMES = st.integers(0, 10_000)


@given(TIMES, TIMES, st.integers(0, 100), TIMES, TIMES, st.integers(1, 1000), st.integers(0, 999))
def test_the_truth_lies_between(asked: int, to_cut: int, holds: int, to_key: int, out_after: int, gap: int, before: int) -> None:
    """Whatever hand and node do within what is assumed of them: it sends until its capacitors are empty, at least every `gap`."""
    cut = asked + to_cut
    last = cut + holds - before % gap
    moment = cut_moment(asked * MS, (cut + to_key) * MS, last * MS, gap * MS)
    assert moment is not None
    assert moment.earliest_ns <= cut * MS <= moment.latest_ns
    least, most = between_ms(moment, Moment((cut + out_after) * MS, (cut + out_after) * MS))
    assert least <= out_after <= most


def test_what_lies_between_two_moments_in_whole_milliseconds() -> None:
    assert between_ms(Moment(0, 10 * MS), Moment(100 * MS, 120 * MS)) == (90, 120)
    assert between_ms(Moment(1, 10 * MS + 1), Moment(100 * MS, 120 * MS), 5) == (84, 125)
    assert between_ms(Moment(0, 50 * MS), Moment(20 * MS, 30 * MS)) == (0, 30)


@pytest.mark.parametrize(
    ("least", "most", "verdict"),
    [(0, 100, PASS), (100, 100, PASS), (0, 101, INCONCLUSIVE), (100, 500, INCONCLUSIVE), (101, 500, FAIL), (101, 101, FAIL)],
)
def test_what_straddles_its_limit_is_not_decided(least: int, most: int, verdict: str) -> None:
    """The limit is 100, and exactly it is met."""
    assert judged_between(least, most, 100, self_reported=False) == verdict
    if verdict == PASS:
        assert judged_between(least, most, 100, self_reported=True) == SELF_REPORTED


@given(st.integers(0, 300), st.integers(0, 100), st.booleans())
def test_both_ways_to_say_how_uncertain_it_is_come_to_the_same(measured: int, doubt: int, self_reported: bool) -> None:
    between = judged_between(measured - doubt, measured + doubt, 150, self_reported=self_reported)
    assert between == judged(measured, 150, doubt, self_reported=self_reported)


# ------------------------------------------------------------------------------------------------ a hand at a device


class Hand(Talk):
    """Switches the device's supply `act_ms` after it is asked to, and presses the key `key_ms` after it was asked. `sees_ms`: how
    long it takes to say what became of the gear."""

    def __init__(self, bench: Bench, *, act_ms: int | None, key_ms: int, sees_ms: int = 0, sees: str = "yes") -> None:
        super().__init__({**WILLING, "look at the gear": sees})
        self.bench = bench
        self.act_ms, self.key_ms, self.sees_ms = act_ms, key_ms, sees_ms
        self.due_ns = 0
        self.acts_ns: list[int] = []

    def ask(self, ask: Ask) -> None:
        super().ask(ask)
        now_ns = self.bench.clock.now_ns
        self.due_ns = now_ns
        for on, words in labels.ASK_SUPPLY.items():
            if ask.words == words.format(node=self.bench.session.order.node):
                self.due_ns = now_ns + self.key_ms * MS
                if self.act_ms is not None:
                    at_ns = max(now_ns + self.act_ms * MS, self.bench.device.live.now_ns)
                    self.acts_ns.append(at_ns)
                    self.bench.device.live.world.plan_steps([(at_ns, 0, "power", (self.bench.session.order.node, on))])
        if ask.words == labels.ASK_GEAR_OUT:
            self.due_ns = now_ns + self.sees_ms * MS

    def answer(self) -> str | None:
        return super().answer() if self.bench.clock.now_ns >= self.due_ns else None


def with_a_hand(*only: str, witness: bool = False, **does: Any) -> tuple[Bench, Hand]:
    there: dict[str, Any] = {"boat": MARSH_TERN, "node": "port_drive", "bus": "helm"}
    if witness:
        there |= {"others": ("port_cutout",), "witness": "port_cutout"}
    bench = Bench(*only, **there)
    hand = Hand(bench, **does)
    bench.session.talk = bench.talk = hand
    session: Session = bench.session
    session.live.keep = hand.block  # type: ignore[attr-defined]
    return bench, hand


@pytest.mark.slow
def test_a_hand_that_switches_the_supply_off_and_on() -> None:
    bench, hand = with_a_hand("start_up", act_ms=700, key_ms=900)
    ending = bench.run()
    assert (ending.why, ending.neutral) == (DONE, True)
    (result,) = hand.came
    assert result.verdict == SELF_REPORTED, result
    assert "after its supply came" in result.words
    assert len(hand.acts_ns) == 2


@pytest.mark.slow
def test_a_key_that_is_pressed_without_doing_anything_shows_nothing() -> None:
    bench, hand = with_a_hand("start_up", act_ms=None, key_ms=100)
    assert bench.run().why == DONE
    assert [(result.verdict, result.words) for result in hand.came] == [(INCONCLUSIVE, labels.SUPPLY_STAYED)]


@pytest.mark.slow
def test_a_key_that_is_pressed_too_early_is_borne() -> None:
    bench, hand = with_a_hand("start_up", act_ms=2000, key_ms=50)
    assert bench.run().why == DONE
    assert [result.verdict for result in hand.came] == [SELF_REPORTED]


@pytest.mark.slow
def test_nothing_is_sent_to_a_device_without_supply() -> None:
    bench, hand = with_a_hand("start_up", act_ms=300, key_ms=2000)
    bench.run()
    off_ns, on_ns = hand.acts_ns
    during = [at_ns for at_ns, _, _ in bench.device.sent if off_ns + 150 * MS < at_ns < on_ns]
    assert not during
    assert any(at_ns > on_ns + SECOND for at_ns, _, _ in bench.device.sent), "and it goes on afterwards"


@pytest.mark.slow
def test_what_the_adapter_can_not_get_rid_of_meanwhile_is_excused() -> None:
    bench, hand = with_a_hand("start_up", act_ms=300, key_ms=900)
    device, send = bench.device, bench.device.send
    device.bells = 0  # type: ignore[attr-defined]

    def refusing(can_id: int, data: bytes) -> None:
        if not device.live.world.hosts["port_drive"].powered:
            device.bells += 1  # type: ignore[attr-defined]
        send(can_id, data)

    device.send = refusing  # type: ignore[method-assign]
    bench.run()
    assert device.bells > 0  # type: ignore[attr-defined]
    assert [result.verdict for result in hand.came] == [SELF_REPORTED]


@pytest.mark.slow
def test_a_supply_that_is_cut_with_the_gear_in_as_a_person_sees_it() -> None:
    bench, hand = with_a_hand("supply_cut", act_ms=400, key_ms=600, sees_ms=1000)
    ending = bench.run()
    assert ending.neutral is True
    said, timed = hand.came
    assert (said.verdict, said.words) == (SELF_REPORTED, labels.SUPPLY_CUT[True])
    assert timed.measured is not None
    assert timed.limit is not None
    assert timed.verdict == SELF_REPORTED
    assert timed.uncertainty > 500, "from the cut to the key, anything is possible"


@pytest.mark.slow
def test_a_person_who_takes_long_to_see_it_decides_nothing_about_time() -> None:
    bench, hand = with_a_hand("supply_cut", act_ms=400, key_ms=600, sees_ms=20_000)
    bench.run()
    assert [result.verdict for result in hand.came] == [SELF_REPORTED, INCONCLUSIVE]


@pytest.mark.slow
def test_a_person_who_sees_it_stay_in() -> None:
    bench, hand = with_a_hand("supply_cut", act_ms=400, key_ms=600, sees="no")
    bench.run()
    assert [(result.verdict, result.words) for result in hand.came] == [(FAIL, labels.SUPPLY_CUT[False])]


@pytest.mark.slow
@pytest.mark.parametrize("key_ms", [450, 600, 5000])
def test_the_switch_of_another_node_times_it_within_what_is_known_of_the_hand(key_ms: int) -> None:
    bench, hand = with_a_hand("supply_cut", witness=True, act_ms=400, key_ms=key_ms)
    came_out_ns: list[int] = []
    # The switch closes where the shift comes to rest; the clutch has let go on the way there.
    journal = bench.device.live.world.journal
    journal.watch_events("shift_rest", lambda event: came_out_ns.append(event[0]) if event[3] == "port" and event[4] else None)
    assert bench.run().why == DONE
    (result,) = hand.came
    assert result.measured is not None
    assert result.limit is not None
    cut_ns = hand.acts_ns[0]
    truly_ms = next(at_ns - cut_ns for at_ns in came_out_ns if at_ns > cut_ns) / MS
    assert result.measured - result.uncertainty <= truly_ms <= result.measured + result.uncertainty
    assert 50 <= result.uncertainty < 300
    assert result.verdict == PASS, "another node has seen it, and nothing straddles"
    assert truly_ms + 2 * result.uncertainty < result.limit
