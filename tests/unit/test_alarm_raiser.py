"""What a helm node alarms of its own: when it says so, how often, and what the crew's answers do."""

import pytest

from busim.protocol.alarms import BY_NAME
from busim.seam import QUEUE
from busim.units import MS, SECOND
from nodes.alarm_raiser import AlarmRaiser

from . import hand_made_frames as hand
from .small_boat import PORT, SALOON, WHEELHOUSE, small_boat

SHIFT, SENSOR, TWO = (BY_NAME[name].number for name in ("shift_fault", "sensor_fault", "two_at_one_address"))
GONE, RAISED, ACKNOWLEDGED, SILENCED = range(4)


class RaiserRig:
    """A drive's raiser with a main task every 20 ms. `said`: (now in ms, which, state, number, counter) of every frame."""

    def __init__(self, buses: int = 1) -> None:
        self.raiser = AlarmRaiser(small_boat(buses=buses), PORT)
        self.now_ns = SECOND
        self.said: list[tuple[int, int, int, int, int]] = []
        self.causes: list[int] = []
        self.counter = 0
        self.buses: list[int] = []

    def run(self, for_ms: int) -> None:
        for _ in range(for_ms // 20):
            for kind, bus, can_id, data, drop_after_ns in self.raiser.tell(self.now_ns, self.causes):
                assert (kind, can_id, drop_after_ns) == (QUEUE, hand.id_of(hand.ALARM, PORT), SECOND)
                assert data == hand.safe(can_id, data[1], int.from_bytes(data[2:], "big"))
                assert hand.part(data, 34, 6) == PORT
                self.buses.append(bus)
                if not bus:
                    which, state, number = (hand.part(data, *place) for place in ((40, 8), (32, 2), (22, 8)))
                    self.said.append(((self.now_ns - SECOND) // MS, which, state, number, data[1]))
            self.now_ns += 20 * MS

    def answer(self, answer: int = 0, *, which: int = SHIFT, raiser: int = PORT, number: int = 1, spoil: bool = False) -> None:
        """Twice, as the first frame of a sender does not count."""
        can_id = hand.id_of(hand.ALARM_ANSWER, SALOON)
        for _ in range(2):
            self.counter += 1
            data = hand.alarm_answer(SALOON, self.counter, which, raiser, answer=answer, number=number)
            self.raiser.receives()[0, can_id](self.now_ns, 0, can_id, hand.spoiled(data) if spoil else data)

    @property
    def last(self) -> tuple[int, int, int]:
        """(which, state, number) said last."""
        return self.said[-1][1:4]


def raised() -> RaiserRig:
    rig = RaiserRig()
    rig.causes = [SHIFT]
    rig.run(500)
    assert rig.last == (SHIFT, RAISED, 1)
    return rig


def test_with_nothing_to_say_it_says_nothing() -> None:
    rig = RaiserRig()
    rig.run(5000)
    assert rig.said == []


def test_a_change_is_told_three_times_and_then_every_second() -> None:
    """Two frames in a row have to come through before the first counts; one may be lost."""
    rig = RaiserRig()
    rig.causes = [SHIFT]
    rig.run(3500)
    assert [at_ms for at_ms, *_ in rig.said] == [0, 100, 200, 1200, 2200, 3200]
    assert [counter for *_, counter in rig.said] == [1, 2, 3, 4, 5, 6]


def test_its_end_is_told_three_times_and_no_more() -> None:
    rig = raised()
    rig.answer()
    rig.run(500)
    rig.said.clear()
    rig.causes = []
    rig.run(5000)
    assert [entry[1:4] for entry in rig.said] == [(SHIFT, GONE, 1)] * 3
    assert rig.raiser.entries == {}


def test_over_and_not_acknowledged_it_is_gone_on_the_wire_and_can_still_be_answered() -> None:
    rig = raised()
    rig.causes = []
    rig.run(5000)
    assert rig.last == (SHIFT, GONE, 1)
    assert rig.raiser.entries[SHIFT].unanswered
    rig.answer()
    rig.run(1000)
    assert rig.raiser.entries == {}


def test_each_occurrence_has_the_next_number() -> None:
    rig = raised()
    for number in (2, 3):
        rig.causes = []
        rig.run(500)
        rig.causes = [SHIFT]
        rig.run(500)
        assert rig.last == (SHIFT, RAISED, number)


def test_numbers_go_round_without_0() -> None:
    rig = raised()
    rig.causes = []
    rig.run(500)
    rig.raiser.last_number = 255
    rig.causes = [SHIFT]
    rig.run(100)
    assert rig.last == (SHIFT, RAISED, 1)


def test_two_alarms_at_once_are_both_told() -> None:
    """Neither overwrites the other in the queue, and their counters follow one another."""
    rig = RaiserRig()
    rig.causes = [SHIFT, SENSOR]
    rig.run(300)
    assert {(which, number) for _, which, _, number, _ in rig.said} == {(SHIFT, 1), (SENSOR, 2)}
    assert [counter for *_, counter in rig.said] == [1, 2, 3, 4, 5, 6]


def test_on_two_buses_it_tells_both_the_same() -> None:
    rig = RaiserRig(buses=2)
    rig.causes = [SHIFT]
    rig.run(100)
    assert rig.buses == [0, 1]


def test_acknowledged_it_says_so_at_once_and_goes_on() -> None:
    rig = raised()
    rig.said.clear()
    rig.answer()
    rig.run(2500)
    assert [entry[1:4] for entry in rig.said] == [(SHIFT, ACKNOWLEDGED, 1)] * 5


@pytest.mark.parametrize(
    "answer", [{"number": 2}, {"raiser": WHEELHOUSE}, {"which": SENSOR}, {"answer": 2}, {"answer": 3}, {"spoil": True}]
)
def test_answers_that_are_not_for_it(answer: dict[str, int]) -> None:
    rig = raised()
    rig.answer(**answer)  # type: ignore[arg-type]
    rig.run(1500)
    assert rig.last == (SHIFT, RAISED, 1)


def test_silenced_it_returns_after_30_s() -> None:
    """IMO MSC.302(87), MSC.252(83)."""
    rig = raised()
    rig.said.clear()
    rig.answer(1)
    at_ns = rig.now_ns
    rig.run(31_000)
    back_ms = next(at_ms for at_ms, _, state, _, _ in rig.said if state == RAISED)
    assert rig.said[0][2] == SILENCED
    assert 0 <= back_ms - (at_ns - SECOND) // MS - 30_000 <= 20


@pytest.mark.parametrize(("after_ms", "still"), [(980, True), (1000, False)])
def test_somebody_else_under_its_address_until_he_was_not_heard_for_a_second(after_ms: int, still: bool) -> None:
    rig = RaiserRig()
    beat = hand.id_of(hand.HEARTBEAT, PORT)
    handler = rig.raiser.receives()[0, beat]
    handler(rig.now_ns, 0, beat, hand.spoiled(hand.heartbeat(PORT, 9, 1)))
    rig.run(100)
    assert rig.said == [], "noise is nobody"
    handler(rig.now_ns, 0, beat, hand.heartbeat(PORT, 9, 1))
    rig.run(after_ms + 20)
    assert rig.said[0][1:4] == (TWO, RAISED, 1)
    assert rig.raiser.entries[TWO].stands == still


def test_whose_answers_it_hears() -> None:
    """Stations and alarm nodes, not itself."""
    assert sorted(AlarmRaiser(small_boat(), WHEELHOUSE).answers) == [3, 9]
    assert sorted(AlarmRaiser(small_boat(), PORT).answers) == [1, 3, 9]
