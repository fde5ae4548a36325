"""A supply: its voltage, and the hosts that hang on it. Below brown-out they stop; once it is back they start. Navigation lights
burn by the supply of the node that switches them, and are dark without.

Faults and the machinery act on it through the methods under "handles"; each can be on several times at once, and what is
lowest counts. Voltages are in mV. *Model assumption*: a regulator lets go and takes hold at the same voltage, at once.
"""

from collections.abc import Iterable
from typing import Protocol

from busim.host.host import Host, Kernel, Timer
from busim.seam import BROWN_OUT_RESET, POWER_ON
from busim.units import NEVER


class Lamps(Protocol):
    def feed_lamp(self, now_ns: int, light: str, on: bool) -> None: ...


class Supply:
    __slots__ = (
        "brown_out_mv", "dip", "fed", "hosts", "kernel", "lamps", "lights", "lost", "name", "nominal_mv", "ramp", "sags",
        "went_out",
    )  # fmt: skip

    def __init__(self, name: str, nominal_mv: int, brown_out_mv: int, kernel: Kernel, hosts: Iterable[Host] = ()) -> None:
        self.name = name
        self.nominal_mv = nominal_mv
        self.brown_out_mv = brown_out_mv
        self.kernel = kernel
        self.hosts = list(hosts)
        self.lamps: Lamps | None = None
        self.lights: list[str] = []
        """Of `lamps`, those that burn by it."""
        self.lost = 0
        """How many things have taken it away altogether."""
        self.sags: list[int] = []
        """What it is held down to, in mV, by each thing that does."""
        self.dip: list[tuple[int, int, int]] = []
        """Ramps back up after cranking: (from mV, begins ns, ends ns)."""
        self.fed = True
        self.went_out = False
        """It was at zero, not only below brown-out, since its hosts last ran."""
        self.ramp = Timer(self.settle)

    def volts_mv(self, now_ns: int) -> int:
        if self.lost:
            return 0
        lowest_mv = min([self.nominal_mv, *self.sags])
        for from_mv, begins_ns, ends_ns in self.dip:
            if now_ns < ends_ns:
                rise_mv = (self.nominal_mv - from_mv) * (now_ns - begins_ns) // (ends_ns - begins_ns)
                lowest_mv = min(lowest_mv, from_mv + rise_mv)
        return lowest_mv

    def settle(self, now_ns: int) -> int:
        """Look at the voltage; NEVER, or when it will have risen to brown-out by itself."""
        self.dip = [ramp for ramp in self.dip if ramp[2] > now_ns]
        volts_mv = self.volts_mv(now_ns)
        if volts_mv == 0:
            self.went_out = True
        fed = volts_mv >= self.brown_out_mv
        if fed != self.fed:
            self.fed = fed
            cause = POWER_ON if self.went_out else BROWN_OUT_RESET
            for host in self.hosts:
                host.feed(now_ns, fed, cause)
            if fed:
                self.went_out = False
        return NEVER if fed else self._risen_ns(now_ns)

    def _risen_ns(self, now_ns: int) -> int:
        """When the last ramp under way passes brown-out."""
        moments = [
            begins_ns - (-(self.brown_out_mv - from_mv) * (ends_ns - begins_ns) // (self.nominal_mv - from_mv))
            for from_mv, begins_ns, ends_ns in self.dip
            if from_mv < self.brown_out_mv
        ]
        return max([moment for moment in moments if moment > now_ns], default=NEVER)

    def _changed(self, now_ns: int) -> None:
        due_ns = self.settle(now_ns)
        if due_ns < self.ramp.armed_ns:
            self.kernel.arm(self.ramp, due_ns)

    def _feed_lights(self, now_ns: int, on: bool) -> None:
        if self.lamps is not None:
            for light in self.lights:
                self.lamps.feed_lamp(now_ns, light, on)

    # ------------------------------------------------------------------------------------------------ handles

    def lose(self, now_ns: int) -> None:
        self.lost += 1
        if self.lost == 1:
            self._feed_lights(now_ns, on=False)
        self._changed(now_ns)

    def restore(self, now_ns: int) -> None:
        self.lost -= 1
        if not self.lost:
            self._feed_lights(now_ns, on=True)
        self._changed(now_ns)

    def hold_down(self, now_ns: int, to_mv: int) -> None:
        """Something draws it down to this."""
        self.sags.append(to_mv)
        self._changed(now_ns)

    def let_go(self, now_ns: int, from_mv: int, ramp_ns: int = 0) -> None:
        """What held it down to `from_mv` no longer does; it rises to nominal in a straight line within `ramp_ns`."""
        self.sags.remove(from_mv)
        if ramp_ns:
            self.dip.append((from_mv, now_ns, now_ns + ramp_ns))
        self._changed(now_ns)

    def on_crank(self, now_ns: int, begins: bool, to_mv: int, ramp_ns: int) -> None:
        """A starter motor on this supply begins to turn, or stops: it is drawn down to `to_mv` meanwhile."""
        if begins:
            self.hold_down(now_ns, to_mv)
        else:
            self.let_go(now_ns, to_mv, ramp_ns)
