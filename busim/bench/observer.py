"""A second node on the bench that watches the machinery by sensors of its own: gear switch, shift and throttle position.

It sends the message bench under an address that no node has, every channel it has at least every 100 ms, and needs no firmware that
the boat will carry. What it says is independent of the device, and goes before what the device reports. No I/O, no clock.
"""

from typing import Final

from busim.events import bits
from busim.protocol.catalogue import BENCH
from busim.protocol.values import BENCH_CHANNELS, BENCH_OBSERVER_ADDRESS
from busim.units import MS

OBSERVER_ID: Final = BENCH.can_id(BENCH_OBSERVER_ADDRESS)
FRESH_NS: Final = 300 * MS
"""Older than this, what it said says nothing about now: three of its periods."""
OBSERVER_MS: Final = 120
"""How old what it says may be: its period, and a pace of its own."""
IN_NEUTRAL: Final = 100
"""Permille of half the shift's stroke: nearer to the middle the gear is out, where there is no switch."""
AT_STOP: Final = 20
_NAMES: Final = dict(BENCH_CHANNELS)
_GEAR_SWITCH: Final = "gear_switch"
_SHIFT: Final = "shift_position"
_THROTTLE: Final = "throttle_position"


class Observer:
    """`out_ns`, `at_stop_ns`: when it last said so, having said otherwise."""

    def __init__(self) -> None:
        self.said: dict[str, tuple[int, int]] = {}
        """Channel -> (value, when)."""
        self.out_ns: int | None = None
        self.at_stop_ns: int | None = None

    @property
    def heard(self) -> bool:
        return bool(self.said)

    def frame(self, now_ns: int, data: bytes) -> None:
        """What can't be read is left alone."""
        if len(data) != BENCH.length:
            return
        _, number, value = BENCH.unpack(int.from_bytes(data, "big"))
        name = _NAMES.get(number)
        if name not in (_GEAR_SWITCH, _SHIFT, _THROTTLE):
            return
        was_in, throttle = self.gear_in(now_ns), self.throttle(now_ns)
        self.said[name] = value, now_ns
        if was_in and self.gear_in(now_ns) is False:
            self.out_ns = now_ns
        if throttle is not None and value <= AT_STOP < throttle and name == _THROTTLE:
            self.at_stop_ns = now_ns

    def _now(self, now_ns: int, name: str) -> int | None:
        value, at_ns = self.said.get(name, (0, -FRESH_NS - 1))
        return value if now_ns - at_ns <= FRESH_NS else None

    def gear_in(self, now_ns: int) -> bool | None:
        """Where it has both, out is what both call out. None: it does not say."""
        switch, shift = self._now(now_ns, _GEAR_SWITCH), self._now(now_ns, _SHIFT)
        says = [in_gear for in_gear in (
            None if switch is None else switch != 1, None if shift is None else abs(shift) > IN_NEUTRAL
        ) if in_gear is not None]  # fmt: skip
        return any(says) if says else None

    def gear(self, now_ns: int, asked: int) -> int | None:
        """Neutral, ahead or astern; by which way the shift is, else by what was asked."""
        is_in = self.gear_in(now_ns)
        if not is_in:
            return None if is_in is None else bits.NEUTRAL
        shift = self._now(now_ns, _SHIFT)
        if shift is None or abs(shift) <= IN_NEUTRAL:
            return asked or bits.AHEAD
        return bits.AHEAD if shift > 0 else bits.ASTERN

    def throttle(self, now_ns: int) -> int | None:
        """In permille."""
        return self._now(now_ns, _THROTTLE)

    def shift(self, now_ns: int) -> int | None:
        """In permille of half the stroke, + is ahead."""
        return self._now(now_ns, _SHIFT)


class Contradiction:
    """Ask `look` with what the device says: the words of what it says and the observer does not, once that has lasted."""

    def __init__(self, shift_ms: int) -> None:
        """`shift_ms`: how long a shift takes from a gear to the middle. While it moves, both may be right."""
        self.gear_for_ns = (shift_ms + OBSERVER_MS + 100) * MS
        self.since: dict[str, int] = {}
        self.throttle_off = 60
        """Permille that two sensors of a throttle that moves may differ by."""

    def look(self, now_ns: int, observer: Observer, gear: int, throttle: int, words: dict[str, str]) -> str:
        """`words`: "gear" and "throttle". "" where nothing is contradicted, or not for long enough."""
        seen = observer.throttle(now_ns)
        wrong = {
            "gear": gear == bits.NEUTRAL and observer.gear_in(now_ns) is True,
            "throttle": throttle <= AT_STOP and seen is not None and seen > AT_STOP + self.throttle_off,
        }
        for what, is_wrong in wrong.items():
            if not is_wrong:
                self.since.pop(what, None)
            elif now_ns - self.since.setdefault(what, now_ns) > self.gear_for_ns:
                return words[what]
        return ""
