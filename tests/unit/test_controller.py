"""A CAN controller: error counters and states, mailboxes and queues.

Counters after Bosch, CAN Specification 2.0, 1991, part A s. 8. Mailboxes and queues are the seam's own words (`busim.seam`).
The stateful test sets controllers and segment against a second model of a bus, written here as plainly as it can be: a list
of requests, and the smallest that may start.
"""

from dataclasses import dataclass, field

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from busim.bus.controller import FIRST_IN_FIRST_OUT, PRIORITY, Controller
from busim.frames.layout import TAIL_BITS, wire_bits
from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus


def controller() -> Controller:
    return SmallBus(1).controller("a")


# ------------------------------------------------------------------------------------------------ counters


@pytest.mark.parametrize(
    ("tec", "rec", "state"),
    [
        (0, 0, ERROR_ACTIVE),
        (127, 127, ERROR_ACTIVE),
        (128, 0, ERROR_PASSIVE),
        (0, 128, ERROR_PASSIVE),
        (255, 0, ERROR_PASSIVE),
        (256, 0, BUS_OFF),
    ],
)
def test_states_by_counters(tec: int, rec: int, state: int) -> None:
    """Rule 9: passive from 128 of either counter; rule 10: bus-off from a transmit count of 256; rule 11: active below 128."""
    one = controller()
    one.tec, one.rec = tec, rec
    one._settle()
    assert one.state == state


def test_a_transmission_error_counts_8_a_good_transmission_takes_1_and_not_below_0() -> None:
    """Rules 3 and 7."""
    one = controller()
    assert one.transmit_error(acknowledgement=True) is False
    assert one.tec == 8
    for left in (7, 6, 5, 4, 3, 2, 1, 0, 0):
        one.transmitted()
        assert one.tec == left


def test_passive_at_the_16th_failure_and_active_again_below_128() -> None:
    one = controller()
    assert [one.transmit_error(acknowledgement=False) for _ in range(16)] == [False] * 15 + [True]
    assert one.state == ERROR_PASSIVE
    assert one.transmitted() is True
    assert (one.tec, one.state) == (127, ERROR_ACTIVE)


def test_bus_off_at_the_32nd_failure() -> None:
    one = controller()
    changes = [one.transmit_error(acknowledgement=False) for _ in range(32)]
    assert [count for count, changed in enumerate(changes, start=1) if changed] == [16, 32]
    assert (one.tec, one.state) == (256, BUS_OFF)


def test_an_acknowledgement_error_of_a_passive_transmitter_does_not_count() -> None:
    """Rule 3, exception 1; also where it is passive through its receive count."""
    one = controller()
    for _ in range(100):
        one.transmit_error(acknowledgement=True)
    assert one.tec == 128
    other = controller()
    other.rec = 128
    other._settle()
    other.transmit_error(acknowledgement=True)
    assert other.tec == 0


def test_receive_errors_count_1_or_8_and_make_passive_but_never_bus_off() -> None:
    """Rules 1 and 2."""
    one = controller()
    one.receive_error()
    one.receive_error(8)
    assert one.rec == 9
    for _ in range(300):
        one.receive_error(8)
    assert one.state == ERROR_PASSIVE


def test_good_reception_takes_1_and_from_above_127_sets_it_between_119_and_127() -> None:
    """Rule 8."""
    one = controller()
    one.rec = 127
    one.received()
    assert one.rec == 126
    one.rec = 200
    one._settle()
    assert one.received() is True
    assert 119 <= one.rec <= 127


# ------------------------------------------------------------------------------------------------ mailboxes


def waiting(small: SmallBus) -> list[tuple[int, bytes]]:
    return [(request[0], request[3]) for request in small.controller("a").pending]


def test_a_mailbox_holds_the_newest_frame_of_its_id_and_a_queue_holds_all() -> None:
    small = SmallBus(2)
    small.send(0, "b", 0x000, bytes(8))
    for count in range(1, 4):
        small.send(count, "a", 0x100, bytes([count]))
        small.send(count, "a", 0x200, bytes([count]), queued=True)
    small.run(5 * MS)
    assert [(frame[2], frame[3]) for frame in small.frames[1:]] == [(0x100, b"\3"), (0x200, b"\1"), (0x200, b"\2"), (0x200, b"\3")]


def test_a_mailbox_is_overwritten_when_the_new_frame_is_ready_and_not_before() -> None:
    """With a processing delay the new data are not there yet: until then the old frame may go out."""
    small = SmallBus(2, delay_ns=100 * BIT)
    small.send(0, "b", 0x000)  # ready at 100 bits, over at 153
    small.send(60 * BIT, "a", 0x7FF, b"\1")  # ready at 160
    small.send(150 * BIT, "a", 0x7FF, b"\2")  # ready at 250
    small.run(MS * 3)
    assert [frame[3] for frame in small.frames[1:]] == [b"\1", b"\2"]


def test_a_processing_delay_longer_than_the_period_delays_and_does_not_silence() -> None:
    small = SmallBus(2, delay_ns=25 * MS)
    for count in range(10):
        small.send(count * 20 * MS, "a", 0x7FF, bytes([count]), drop_ns=20 * MS)
    small.run(SECOND)
    assert [frame[3] for frame in small.frames] == [bytes([count]) for count in range(10)]


def test_a_frame_in_flight_is_not_overwritten_and_a_newer_one_follows_it() -> None:
    small = SmallBus(2)
    small.send(0, "a", 0x7FF, b"\1")
    small.send(10, "a", 0x7FF, b"\2")
    small.run(MS)
    assert [frame[3] for frame in small.frames] == [b"\1", b"\2"]


def test_a_mailbox_keeps_its_place_in_a_first_in_first_out_queue() -> None:
    small = SmallBus(2, queue=FIRST_IN_FIRST_OUT)
    small.send(0, "b", 0x000, bytes(8))
    small.send(1, "a", 0x200, b"\1")
    small.send(2, "a", 0x300)
    small.send(3, "a", 0x200, b"\2")
    small.run(MS)
    assert [(frame[2], frame[3]) for frame in small.frames[1:]] == [(0x200, b"\2"), (0x300, b"")]


def test_a_frame_that_waits_longer_than_it_may_is_dropped_unsent() -> None:
    small = SmallBus(2)
    small.send(0, "b", 0x000, bytes(8))  # golden: 127 bits
    small.send(1, "a", 0x100, drop_ns=100 * BIT)
    small.send(1, "a", 0x101, drop_ns=200 * BIT)
    small.run(MS)
    assert [can_id for _, can_id in small.accepted] == [0x000, 0x101]
    assert waiting(small) == []


@pytest.mark.parametrize("state", ["off", "bus-off"])
def test_what_is_handed_to_a_controller_that_is_not_on_the_bus_is_gone(state: str) -> None:
    small = SmallBus(2)
    if state == "off":
        small.power(0, "a", False)
    else:
        small.controller("a").listening = False
    small.send(1, "a", 0x100)
    assert waiting(small) == []
    small.run(MS)
    assert small.frames == []


def test_reset_empties_the_queue_and_the_counters() -> None:
    small = SmallBus(1)
    small.send(0, "a", 0x100)
    small.send(0, "a", 0x200)
    small.run(50 * MS)
    small.hosts["a"].reset(50 * MS, 1)
    small.run(51 * MS)
    one = small.controller("a")
    assert (one.tec, one.rec, one.state, one.pending, one.listening) == (0, 0, ERROR_ACTIVE, [], True)
    assert small.bus.segments[0].contenders == []


# ------------------------------------------------------------------------------------------------ against a plain model


@dataclass
class Wanted:
    can_id: int
    number: int
    ready_ns: int
    drop_ns: int
    data: bytes
    mailbox: bool


@dataclass
class PlainBus:
    """Whoever is ready when the bus is free: the smallest id. One list per place, in the order of its queue."""

    queues: list[int]
    places: list[list[Wanted]] = field(default_factory=list)
    accepted: list[tuple[int, int, bytes]] = field(default_factory=list)
    free_ns: int = 0

    def alive(self, place: int, one: Wanted, at_ns: int) -> bool:
        overwritten = any(
            other.mailbox and other.can_id == one.can_id and other.number > one.number and other.ready_ns <= at_ns
            for other in self.places[place]
        )
        return one.ready_ns <= at_ns <= one.drop_ns and not overwritten

    def add(self, place: int, wanted: Wanted) -> None:
        queue = self.places[place]
        if wanted.mailbox:
            for position, other in enumerate(queue):
                takes_its_place = other.can_id == wanted.can_id and self.alive(place, other, max(other.ready_ns, wanted.ready_ns))
                if takes_its_place:
                    queue.insert(position + 1, wanted)
                    return
        queue.append(wanted)

    def start(self, before_ns: int) -> bool:
        """One frame that starts before this moment, if there is one."""
        moments = sorted({max(self.free_ns, one.ready_ns) for queue in self.places for one in queue})
        for at_ns in moments:
            if at_ns >= before_ns:
                return False
            offers = []
            for place, queue in enumerate(self.places):
                ready = [one for one in queue if self.alive(place, one, at_ns)]
                if ready:
                    first = ready[0] if self.queues[place] == FIRST_IN_FIRST_OUT else min(ready, key=lambda w: (w.can_id, w.number))
                    offers.append((first.can_id, place, first))
            if offers:
                _, place, best = min(offers, key=lambda offer: offer[0])
                self.places[place] = [
                    one
                    for one in self.places[place]
                    if one is not best and not (best.mailbox and one.can_id == best.can_id and one.number < best.number)
                ]
                bits = len(wire_bits(best.can_id, best.data)) + TAIL_BITS
                self.accepted.append((at_ns + (bits - 4) * BIT, best.can_id, best.data))
                self.free_ns = at_ns + bits * BIT
                return True
        return False

    def run(self, before_ns: int) -> None:
        while self.start(before_ns):
            pass


class AgainstPlainBus(RuleBasedStateMachine):
    """Every place has ids of its own, everybody is there to acknowledge: nothing fails, so only order and times are at stake."""

    @initialize(
        queues=st.lists(st.sampled_from([PRIORITY, FIRST_IN_FIRST_OUT]), min_size=3, max_size=3),
        delay=st.sampled_from([0, 1, 90 * BIT]),
    )
    def begin(self, queues: list[int], delay: int) -> None:
        self.small = SmallBus(4, delay_ns=delay)
        self.delay_ns = delay
        for name, queue in zip("abc", queues, strict=True):
            self.small.controller(name).queue = queue
        self.plain = PlainBus(queues, [[], [], []])
        self.now_ns = 0
        self.number = 0

    @rule(
        place=st.integers(0, 2),
        code=st.integers(0, 3),
        data=st.binary(max_size=3),
        queued=st.booleans(),
        drop_ns=st.sampled_from([0, 30 * BIT, 200 * BIT, SECOND]),
    )
    def submit(self, place: int, code: int, data: bytes, queued: bool, drop_ns: int) -> None:
        # SEND and QUEUE each have ids of their own: the seam does not say what one does to the other.
        can_id = (code << 3 | place << 1 | queued) * 67 % 0x7E0
        self.small.send(self.now_ns, "abc"[place], can_id, data, drop_ns=drop_ns, queued=queued)
        self.plain.run(self.now_ns)
        self.number += 1
        ready_ns = self.now_ns + self.delay_ns
        self.plain.add(place, Wanted(can_id, self.number, ready_ns, ready_ns + drop_ns, data, not queued))

    @rule(bits=st.integers(0, 150), more_ns=st.sampled_from([0, 0, 1, BIT - 1]))
    def wait(self, bits: int, more_ns: int) -> None:
        self.now_ns += bits * BIT + more_ns

    def teardown(self) -> None:
        if hasattr(self, "small"):
            self.plain.run(self.now_ns + 2 * SECOND)
            self.small.run(self.now_ns + 2 * SECOND)
            assert [(frame[0], frame[2], frame[3]) for frame in self.small.frames] == self.plain.accepted
            assert all(one.segment.contenders == [] for one in self.small.bus.controllers)


TestAgainstPlainBus = AgainstPlainBus.TestCase
TestAgainstPlainBus.settings = settings(
    max_examples=60, stateful_step_count=40, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
