"""A drive between stations and machinery that a test plays by hand: every lever frame, every sensor, every nanosecond."""

from typing import Any

from busim.protocol.plan import WirePlan
from busim.protocol.tables import DRIVE_TABLE
from busim.seam import Actions
from busim.units import MS
from nodes.drive import Drive

from . import hand_made_frames as hand
from .hand_made_frames import AHEAD, ASTERN, NEUTRAL
from .node_rig import NodeRig
from .small_boat import PORT, WHEELHOUSE, small_boat

TIMEOUT_NS = 250 * MS
MISSING_NS = 350 * MS


class DriveRig(NodeRig):
    def __init__(self, plan: WirePlan | None = None, address: int = PORT, **drive: Any) -> None:
        self.plan = plan if plan is not None else small_boat(**drive)
        self.drive = Drive(self.plan, address)
        super().__init__(self.drive)
        self.instance = self.drive.instance
        self.fingerprint = self.plan.helm_fingerprint
        self.number = 0
        self.station = WHEELHOUSE

    # ------------------------------------------------------------------------------------------------ machinery

    def sense(
        self, shift: int | None = None, throttle: int | None = None, switch: int | None = None, rpm: int | None = None
    ) -> None:
        """Sensors read this: shift and throttle in permille, switch 1 closed (neutral), rpm."""
        for channel, value in (
            ("shift_position", shift),
            ("throttle_position", throttle),
            ("neutral_switch", switch),
            ("rpm", rpm),
        ):
            if value is not None:
                self.input(channel, value)

    def gear_is(self, gear: int) -> None:
        self.sense(shift={NEUTRAL: 0, AHEAD: 1000, ASTERN: -1000}[gear], switch=int(gear == NEUTRAL))

    # ------------------------------------------------------------------------------------------------ stations

    def beat(self, station: int | None = None, *, fingerprint: int | None = None, spoil: bool = False) -> Actions:
        station = self.station if station is None else station
        can_id = hand.id_of(hand.HEARTBEAT, station)
        data = hand.heartbeat(station, self.counter(can_id), self.fingerprint if fingerprint is None else fingerprint)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def lever(
        self, gear: int, throttle: int = 0, *, station: int | None = None, number: int | None = None, ahead: int = 1, **more: Any
    ) -> Actions:
        """A lever frame, its counter `ahead` of the one before."""
        station = self.station if station is None else station
        can_id = hand.id_of(hand.LEVER, station)
        number = self.number if number is None else number
        data = hand.lever(station, self.counter(can_id, ahead), number, gear, throttle, drive=self.instance, **more)
        return self.frame(can_id, data)

    def claim(self, number: int, *, station: int = WHEELHOUSE, spoil: bool = False, **more: Any) -> Actions:
        can_id = hand.id_of(hand.CLAIM, station)
        more.setdefault("wanted", 3)
        data = hand.claim(station, self.counter(can_id), number, **more)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    def press_neutral_now(self, station: int = WHEELHOUSE, *, pressed: int = 1, spoil: bool = False) -> Actions:
        can_id = hand.id_of(hand.NEUTRAL_NOW, station)
        data = hand.neutral_now(station, self.counter(can_id), pressed)
        return self.frame(can_id, hand.spoiled(data) if spoil else data)

    # ------------------------------------------------------------------------------------------------ sequences

    def wake(self) -> None:
        """On, in neutral at idle, and found so."""
        self.start()
        self.sense(shift=0, throttle=0, switch=1, rpm=800)

    def introduce(self, station: int = WHEELHOUSE) -> None:
        """A station's heartbeat is known, and its claims' counter: of each the first frame heard does not count."""
        self.beat(station)
        self.beat(station)
        self.claim(0, station=station, wanted=0)

    def take(self, number: int = 1, station: int = WHEELHOUSE) -> None:
        """A station takes control by two claims that agree; its lever frames count from then on."""
        self.introduce(station)
        self.claim(number, station=station)
        self.claim(number, station=station)
        self.station, self.number = station, number
        self.lever(NEUTRAL)

    def steer_for(self, for_ms: int, gear: int, throttle: int = 0) -> None:
        """The station in control sends all it should for so long: a lever frame at once and every 20 ms."""
        for _ in range(for_ms // 20):
            self.beat()
            self.lever(gear, throttle)
            self.run_for(20)

    def in_control(self) -> None:
        """In neutral, a station in control, the dwell after waking over."""
        self.wake()
        self.take()
        self.steer_for(1000, NEUTRAL)

    def engaging(self, gear: int = AHEAD) -> None:
        self.in_control()
        self.lever(gear)
        self.lever(gear)

    def engaged(self, gear: int = AHEAD, throttle: int = 0) -> None:
        """Gear in, and the throttle where it was asked to be."""
        self.engaging(gear)
        self.gear_is(gear)
        if throttle:
            self.lever(gear, throttle)
            self.lever(gear, throttle)
            self.sense(throttle=throttle, rpm=800 + 2 * throttle)

    def slowing(self, throttle: int = 500) -> None:
        self.engaged(AHEAD, throttle)
        self.lever(NEUTRAL)

    def disengaging(self) -> None:
        self.engaged()
        self.lever(NEUTRAL)
        self.sense(rpm=801)

    def dwelling(self) -> None:
        self.disengaging()
        self.gear_is(NEUTRAL)

    def forced_idle(self, throttle: int = 500) -> None:
        self.engaged(AHEAD, throttle)
        self.press_neutral_now()

    def forced_disengaging(self) -> None:
        self.engaged()
        self.press_neutral_now()

    def forced_neutral(self) -> None:
        self.forced_disengaging()
        self.gear_is(NEUTRAL)

    def held_idle(self) -> None:
        """The rig must have been made with on_loss="idle"."""
        self.engaged()
        self.run_to(self.now_ns + TIMEOUT_NS)

    # ------------------------------------------------------------------------------------------------ what it says

    @property
    def state(self) -> str:
        """As reported on the wire."""
        return DRIVE_TABLE.states[self.last(hand.OBEYS, 6, 4)][0]

    @property
    def obeyed(self) -> tuple[int, int]:
        return self.last(hand.OBEYS, 42, 6), self.last(hand.OBEYS, 26, 16)

    @property
    def acted_on(self) -> int:
        return self.last(hand.OBEYS, 18, 8)

    @property
    def row(self) -> int:
        return self.last(hand.OBEYS, 10, 8)

    @property
    def cause(self) -> int:
        return self.last(hand.OBEYS, 2, 4)

    def outcome(self) -> tuple[int, int]:
        """(gear, throttle) commanded."""
        return self.outputs.get("shift", 0), self.outputs["throttle"]
