"""A cutout between its drive and its engine, both played by hand."""

from typing import Any

from busim.protocol.plan import WirePlan
from busim.protocol.tables import CUTOUT_TABLE
from busim.seam import Actions
from busim.units import MS
from nodes.cutout import Cutout

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import CUTOUT, PORT, WHEELHOUSE, small_boat

MISSING_NS = 350 * MS
DUE_NS = (2592 + 500) * MS
"""The small boat's limit and its cutout_ms: from the last time the drive was driven to the fuel cut."""


class CutoutRig(NodeRig):
    def __init__(self, plan: WirePlan | None = None) -> None:
        self.plan = plan if plan is not None else small_boat()
        self.cutout = Cutout(self.plan, CUTOUT)
        super().__init__(self.cutout)
        self.acted = 0

    def report(
        self,
        station: int = WHEELHOUSE,
        number: int = 1,
        *,
        acted: int = 2,
        ahead: int = 1,
        bus: int = 0,
        spoil: bool = False,
        **more: Any,
    ) -> Actions:
        """The drive says whom it obeys, and that it acted on so many lever frames more."""
        can_id = hand.id_of(hand.OBEYS, PORT)
        self.acted += acted
        data = hand.obeys(PORT, self.counter(can_id, ahead), station, number, self.acted, **more)
        return self.frame(can_id, hand.spoiled(data) if spoil else data, bus)

    def started(self, *, gear_in: bool = False, speed: int = 800) -> None:
        """On, its sensors read and believed."""
        self.start()
        self.gear(gear_in)
        self.input("speed", speed)
        self.run_for(100)

    def gear(self, gear_in: bool) -> None:
        self.input("gear_switch", int(not gear_in))

    def drive_for(self, for_ms: int, **more: Any) -> None:
        """A station drives: a report every 40 ms, the last of them now."""
        for _ in range(for_ms // 40):
            self.run_for(40)
            self.report(**more)

    def driven(self, *, gear_in: bool = True) -> int:
        """Driven under way: the moment it was driven last."""
        self.started(gear_in=gear_in)
        self.drive_for(400)
        return self.now_ns

    def fired(self) -> None:
        base_ns = self.driven()
        self.run_to(base_ns + DUE_NS)

    @property
    def fuel_cut(self) -> int:
        return self.outputs["fuel_cut"]

    def state_name(self) -> str:
        return CUTOUT_TABLE.states[self.cutout.state][0]
