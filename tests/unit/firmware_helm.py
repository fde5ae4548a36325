"""A station of the firmware's tests that has control: what its drives and rudder echo, tick by tick. Everybody beats."""

from typing import Any

from busim.boat.load import LoadedBoat
from busim.protocol.catalogue import DRIVE_OBEYS, HEARTBEAT, RUDDER_STATE
from busim.protocol.ids import HELM_ADDRESSES
from busim.protocol.values import NODE_WORKING
from busim.units import MS

from .firmware_rig import Told

TICK = 20 * MS
"""The lever period of the shipped boats; a node that starts at 0 is called at its multiples."""
AGE_MAX = 300 * MS
"""Their `age_max_ms`: an echo that is older lets control go (the page's timing)."""


class Helm(Told):
    """A station with its levers in neutral, that takes control at `taken_ns`, and whose drives and rudder obey it at once."""

    def __init__(self, boat: LoadedBoat, node: str, taken_ns: int) -> None:
        super().__init__(boat, node)
        assert self.plan.timing.lever_ms * MS == TICK
        assert self.plan.timing.age_max_ms * MS == AGE_MAX
        self.put_levers()
        for now_ns in (taken_ns - 2 * TICK, taken_ns - TICK):  # the first frame of a sender does not count
            self.until(now_ns)
            self.obeyed(0)
        self.put("take", 1)
        self.until(taken_ns)
        self.obeyed(self.address)

    def obeyed(
        self, by: int, *, acted_on: int | None = None, silent: tuple[int, ...] = (), refuse: tuple[int, ...] = ()
    ) -> None:
        """`by`: the address of whom they obey; another station has the next number. Who is to `refuse` obeys nobody."""
        number = 0 if not by else self.node.number + (by != self.address)
        for other, _, _ in self.plan.nodes:
            if other in HELM_ADDRESSES and other != self.address and self.shared_with(other) and self.now_ns % (5 * TICK) == 0:
                self.hear(HEARTBEAT, other, NODE_WORKING, 0, self.plan.helm_fingerprint, 0, 1)
        acted_on = self.node.lever_counter if acted_on is None else acted_on
        for drive in self.plan.drives:
            if drive.address not in silent:
                pair = (by, number) if drive.address not in refuse else (0, 0)
                self.hear(DRIVE_OBEYS, drive.address, *pair, acted_on & 0xFF, 1, 1, 0, drive.instance)
        if self.plan.rudder is not None and self.plan.rudder.address not in silent:
            self.hear(RUDDER_STATE, self.plan.rudder.address, by, number, 0, 0, 0)

    def held(self, until_ns: int, **echo: Any) -> None:
        """Echoes every tick from the next on, as `obeyed` has them."""
        self.goes_on(until_ns, self.address, **echo)

    def goes_on(self, until_ns: int, by: int, **echo: Any) -> None:
        while self.now_ns < until_ns:
            self.until(self.now_ns + TICK)
            self.obeyed(by, **echo)
