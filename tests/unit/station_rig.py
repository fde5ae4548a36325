"""A station between levers, keys and drives that a test plays by hand."""

from typing import Any

from busim.protocol.plan import WirePlan
from busim.protocol.tables import STATION_TABLE
from busim.seam import Actions
from nodes.station import Station

from . import hand_made_frames as hand
from .node_rig import NodeRig
from .small_boat import BRIDGE, PORT, STARBOARD, WHEELHOUSE, small_boat

MIDDLE = 500
"""Where the lever sensors of the small boat read neutral: 100 to 900 permille."""
INSTANCE = {PORT: 1, STARBOARD: 2}


class StationRig(NodeRig):
    def __init__(self, plan: WirePlan | None = None, address: int = BRIDGE, **station: Any) -> None:
        self.plan = plan if plan is not None else small_boat(station=station)
        self.station = Station(self.plan, address)
        super().__init__(self.station)
        self.address = address
        self.other = WHEELHOUSE if address == BRIDGE else BRIDGE

    def wake(self) -> None:
        """On, levers in neutral."""
        self.start()
        for instance in (1, 2):
            self.input(f"lever.{instance}", MIDDLE)

    def lever(self, value: int, instance: int = 1) -> None:
        """The sensor reads this, and a lever frame says so."""
        self.input(f"lever.{instance}", value)
        self.run_for(20)

    def press(self, key: str = "take", for_ms: int = 0) -> None:
        self.input(key, 1)
        self.run_for(for_ms)
        self.input(key, 0)

    def drive_says(self, drive: int, station: int, number: int, *, late: int = 0, ahead: int = 1, spoil: bool = False) -> Actions:
        """A drive reports whom it obeys, having acted on the lever frame sent `late` frames ago."""
        can_id = hand.id_of(hand.OBEYS, drive)
        acted_on = self.sampled - late
        data = hand.obeys(drive, self.counter(can_id, ahead), station, number, acted_on, instance=INSTANCE[drive])
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def drives_say(self, station: int, number: int, *, late: int = 0) -> None:
        for drive in INSTANCE:
            self.drive_says(drive, station, number, late=late)

    def hear(self, for_ms: int, station: int, number: int) -> None:
        """Both drives report this every 40 ms for so long."""
        for _ in range(for_ms // 40):
            self.run_for(40)
            self.drives_say(station, number)

    def introduce(self, station: int = 0, number: int = 0) -> None:
        """Both drives are heard: the first report of each does not count."""
        self.wake()
        self.drives_say(station, number)
        self.drives_say(station, number)

    def claiming(self) -> None:
        self.introduce()
        self.press()

    def holding(self) -> None:
        self.claiming()
        self.drives_say(self.address, self.number)

    def settled(self) -> None:
        """In control, for longer than an echo may be old."""
        self.holding()
        self.hear(400, self.address, self.number)

    # ------------------------------------------------------------------------------------------------ what it says

    @property
    def sampled(self) -> int:
        """Counter of the lever frame sent last."""
        frames = self.said(hand.LEVER)
        return frames[-1][1][1] if frames else 0

    @property
    def number(self) -> int:
        """Of the claim sent last."""
        self.run_for(0)
        return self.last(hand.CLAIM, 32, 16)

    @property
    def state(self) -> str:
        return STATION_TABLE.by_number[self.rows[-1]].next_state if self.rows else "watching"

    @property
    def shows(self) -> int:
        return self.outputs["shows"]

    @property
    def sounds(self) -> int:
        """Whether it has something to alarm of what it had in control."""
        return int(self.station.alarm != 0)

    def lever_says(self, instance: int = 1) -> tuple[int, int]:
        """(gear, throttle) of the lever frame sent last."""
        below = {1: (30, 20), 2: (18, 8)}[instance]
        return self.last(hand.LEVER, below[0], 2), self.last(hand.LEVER, below[1], 10)
