"""A rudder between stations, drives and its actuator, all played by hand."""

from typing import Any

from busim.protocol.plan import WirePlan
from busim.protocol.tables import RUDDER_TABLE
from busim.seam import Actions
from busim.units import MS
from nodes.rudder import Rudder

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import PORT, RUDDER, STARBOARD, WHEELHOUSE, small_boat

TIMEOUT_NS = 250 * MS
MISSING_NS = 350 * MS


class RudderRig(NodeRig):
    def __init__(self, plan: WirePlan | None = None, **rudder: Any) -> None:
        self.plan = plan if plan is not None else small_boat(rudder=rudder)
        self.rudder = Rudder(self.plan, RUDDER)
        super().__init__(self.rudder)
        self.station = WHEELHOUSE
        self.number = 0

    # ------------------------------------------------------------------------------------------------ machinery

    def sense(self, angle_cdeg: int) -> Actions:
        return self.input("rudder_angle", angle_cdeg)

    def turn_to(self, angle_cdeg: int, from_cdeg: int = 0, cdeg_per_s: int = 700, *, steered: bool = True) -> None:
        """The feedback goes there at this speed, a sample every 20 ms; the station in control goes on all the while."""
        step = cdeg_per_s * 20 // 1000
        here = from_cdeg
        while here != angle_cdeg:
            here = min(here + step, angle_cdeg) if here < angle_cdeg else max(here - step, angle_cdeg)
            if steered and self.rudder.obeyed:
                self.beat()
                self.wheel(self.rudder.motion.asked)
            self.run_for(20)
            self.sense(here)

    # ------------------------------------------------------------------------------------------------ the others

    def beat(self, station: int | None = None, *, fingerprint: int | None = None, spoil: bool = False) -> Actions:
        station = self.station if station is None else station
        can_id = hand.id_of(hand.HEARTBEAT, station)
        data = hand.heartbeat(station, self.counter(can_id), fingerprint or self.plan.helm_fingerprint)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def wheel(
        self,
        angle_cdeg: int,
        *,
        station: int | None = None,
        number: int | None = None,
        ahead: int = 1,
        spoil: bool = False,
        bus: int = 0,
        **more: int,
    ) -> Actions:
        """A wheel frame, its counter `ahead` of the one before."""
        station = self.station if station is None else station
        can_id = hand.id_of(hand.WHEEL, station)
        number = self.number if number is None else number
        data = hand.wheel(station, self.counter(can_id, ahead), number, angle_cdeg, **more)
        return self.frame(can_id, hand.spoiled(data) if spoil else data, bus)

    def claim(self, number: int, *, station: int = WHEELHOUSE, spoil: bool = False, ahead: int = 1, **more: Any) -> Actions:
        can_id = hand.id_of(hand.CLAIM, station)
        more.setdefault("wanted", 7)
        data = hand.claim(station, self.counter(can_id, ahead), number, **more)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def drive_says(self, drive: int, station: int, number: int, *, spoil: bool = False, ahead: int = 1) -> Actions:
        can_id = hand.id_of(hand.OBEYS, drive)
        data = hand.obeys(drive, self.counter(can_id, ahead), station, number)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def drives_say(self, station: int, number: int) -> None:
        for drive in (PORT, STARBOARD):
            self.drive_says(drive, station, number)

    # ------------------------------------------------------------------------------------------------ sequences

    def wake(self, angle_cdeg: int = 0) -> None:
        self.start()
        self.sense(angle_cdeg)

    def introduce(self, station: int = WHEELHOUSE) -> None:
        """A station's heartbeat and the counters of its claims and of the drives' reports: of each the first does not count."""
        self.beat(station)
        self.beat(station)
        self.claim(0, station=station, wanted=0)
        self.drives_say(0, 0)

    def claimed(self, number: int = 1, station: int = WHEELHOUSE) -> None:
        """Two claims that agree; the drives have not changed over yet."""
        self.introduce(station)
        self.claim(number, station=station)
        self.claim(number, station=station)

    def take(self, number: int = 1, station: int = WHEELHOUSE) -> None:
        """The drives change over, and with them the rudder; the station's wheel frames count from then on."""
        self.claimed(number, station)
        self.drives_say(station, number)
        self.station, self.number = station, number

    def matching(self, wheel_cdeg: int = 1000) -> None:
        self.wake()
        self.take()
        self.wheel(wheel_cdeg)
        self.wheel(wheel_cdeg)

    def steered(self) -> None:
        """The wheelhouse steers, amidships."""
        self.matching(0)

    def steer_for(self, for_ms: int, angle_cdeg: int) -> None:
        """The station in control sends all it should for so long; the feedback stays as it is."""
        for _ in range(for_ms // 40):
            self.beat()
            self.wheel(angle_cdeg)
            self.run_for(40)

    # ------------------------------------------------------------------------------------------------ what it says

    @property
    def state(self) -> str:
        return RUDDER_TABLE.by_number[self.rows[-1]].next_state if self.rows else "waking"

    @property
    def obeyed(self) -> tuple[int, int]:
        return self.last(hand.RUDDER_STATE, 42, 6), self.last(hand.RUDDER_STATE, 26, 16)

    @property
    def fault(self) -> int:
        return self.last(hand.RUDDER_STATE, 0, 4)

    def reported(self) -> tuple[int, int]:
        """(asked, sensed) of the last report, in hundredths of a degree."""
        raw = self.last(hand.RUDDER_STATE, 15, 11), self.last(hand.RUDDER_STATE, 4, 11)
        asked, sensed = (5 * (value - 2048 if value > 1023 else value) for value in raw)
        return asked, sensed
