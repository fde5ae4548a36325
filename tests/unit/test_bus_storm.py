"""Everything at once on one bus: first nothing breaks, then, with all of it over, the bus works again as if new.

Noise, bursts, cuts, open drops, shorts, pins stuck, dead transceivers, babbling, power, resets, forced bus-off, all by chance.
"""

from random import Random
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from busim.bus.noise import HitBit, Noise
from busim.bus.segment import Segment
from busim.host.rejoin import Rejoin
from busim.host.tamper import Babble
from busim.seam import ERROR_ACTIVE
from busim.units import MS, SECOND
from tests.unit.small_bus import BIT, SmallBus

NAMES = "abcde"
KINDS = ("noise", "burst", "end of frame", "cut", "drop", "recessive", "dominant", "pin", "deaf", "dumb", "babble", "power", "off",
         "reset", "hang", "send")  # fmt: skip


class Storm:
    def __init__(self, seed: int) -> None:
        self.small = SmallBus(5)
        self.seed = seed
        for host in self.small.hosts.values():
            host.rejoin = Rejoin()
        self.noises: list[Any] = []

    def turn(self, at_ns: int, kind: str, place: int) -> None:
        """Begin it, or end it where it is on."""
        small, wiring, now_ns = self.small, self.small.bus.wiring, at_ns
        small.run(now_ns)
        host = small.hosts[NAMES[place]]
        draw = Random(f"{self.seed} {now_ns} {place}").random
        if kind == "noise":
            self._noise(now_ns, Noise(0.004, draw, frozenset({place}) if place else None))
        elif kind == "burst":
            self._noise(now_ns, Noise(0.5, draw, None, begin_ns=now_ns, on_ns=300 * BIT, every_ns=900 * BIT))
        elif kind == "end of frame":
            self._noise(now_ns, HitBit(1 + place % 2, 3, frozenset({place})))
        elif kind in ("power", "off", "reset", "hang", "babble", "send"):
            self._host(now_ns, kind, host)
        else:
            field: Any = {
                "cut": wiring.cuts_m, "drop": wiring.open_drops, "pin": wiring.holding, "recessive": wiring.shorts,
                "dominant": wiring.shorts, "deaf": wiring.deaf, "dumb": wiring.dumb,
            }[kind]  # fmt: skip
            value = {"cut": place + 0.5, "recessive": "high_to_low", "dominant": "to_battery"}.get(kind, place)
            if value in field:
                field.remove(value)
            elif isinstance(field, set):
                field.add(value)
            else:
                field.append(value)
            small.bus.look_again(now_ns)

    def _noise(self, now_ns: int, noise: Any) -> None:
        if self.noises:
            self.small.bus.calm(self.noises.pop())
        else:
            self.noises.append(noise)
            self.small.bus.disturb(now_ns, noise)

    def _host(self, now_ns: int, kind: str, host: Any) -> None:
        if kind == "power":
            host.power(now_ns, not host.powered)
        elif kind == "off":
            self.small.bus.force_off(now_ns, host.controllers[0])
        elif kind == "reset":
            host.reset(now_ns, 1)
        elif kind == "babble":
            host.babble(now_ns, None if host.babbling else Babble(0, 0x010 + host.index, bytes(8)))
        elif kind == "send":
            for number in range(3):
                self.small.send(now_ns, host.name, 0x100 + host.index, bytes([number]), queued=True, drop_ns=100 * MS)
        elif host.running:
            host.hang(now_ns)
        else:
            host.go_on(now_ns)

    def over(self, now_ns: int) -> None:
        small, wiring = self.small, self.small.bus.wiring
        small.run(now_ns)
        for noise in self.noises:
            small.bus.calm(noise)
        for field in (wiring.cuts_m, wiring.open_drops, wiring.holding, wiring.shorts, wiring.deaf, wiring.dumb):
            field.clear()  # type: ignore[attr-defined]
        for host in small.hosts.values():
            host.babble(now_ns, None)
            host.go_on(now_ns)
            host.power(now_ns, True)
        small.bus.look_again(now_ns)


storms = st.lists(st.tuples(st.integers(0, 3000), st.sampled_from(KINDS), st.integers(0, 4)), max_size=30)


@settings(max_examples=40, deadline=None)
@given(storm=storms, seed=st.integers(0, 1000))
def test_after_every_storm_the_bus_is_as_before(storm: list[tuple[int, str, int]], seed: int) -> None:
    one = Storm(seed)
    for at_bits, kind, place in sorted(storm):
        one.turn(at_bits * BIT, kind, place)
    one.over(4000 * BIT)
    small = one.small
    small.run(30 * SECOND)
    (segment,) = small.bus.segments
    assert (segment.busy, segment.contenders, segment.outcome) == (False, [], None)
    assert [controller.listening for controller in small.bus.controllers] == [True] * 5
    # Counts fall with good frames only (rules 7 and 8): everybody sends enough of them.
    at_ns = 31 * SECOND
    for _ in range(260):
        for name in NAMES:
            small.send(at_ns, name, 0x200 + ord(name))
            at_ns += MS
    small.run(at_ns)
    assert type(small.bus.segments[0]) is Segment
    assert [(c.tec, c.rec, c.state) for c in small.bus.controllers] == [(0, 0, ERROR_ACTIVE)] * 5
    assert [frame[4].bit_count() for frame in small.frames[-20:]] == [4] * 20


@settings(max_examples=30, deadline=None)
@given(storm=storms, seed=st.integers(0, 1000), pieces=st.lists(st.integers(0, 6000), max_size=10))
def test_a_storm_in_pieces_is_the_same(storm: list[tuple[int, str, int]], seed: int, pieces: list[int]) -> None:
    """Where the run is cut up changes nothing."""
    results = []
    for cuts in ([], sorted(pieces)):
        one = Storm(seed)
        stops = [(at_bits, 1, kind, place) for at_bits, kind, place in sorted(storm)]
        for at_bits, order, kind, place in sorted([*stops, *((cut, 0, "", 0) for cut in cuts)], key=lambda stop: stop[:2]):
            if order:
                one.turn(at_bits * BIT, kind, place)
            else:
                one.small.run(at_bits * BIT)
        one.small.run(6000 * BIT)
        results.append((one.small.frames, one.small.journal.events))
    assert results[0] == results[1]
