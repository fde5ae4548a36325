"""Listen first: before anything is sent, is there only the device under test, and does it report that nothing moves?

A bus with anybody else on it may be a boat. There is no override: what is refused here is refused. No I/O, no clock.
"""

from typing import Final

from busim import bench_labels as labels
from busim.bench.observer import AT_STOP, OBSERVER_ID, Observer
from busim.events import bits
from busim.protocol.plan import WirePlan
from busim.protocol.values import BENCH_OBSERVER_ADDRESS
from busim.units import MS, SECOND

HEARTBEATS: Final = 3
SHORTEST_NS: Final = SECOND
"""Never less: nodes beyond the helm say who they are once a second."""

STATE_SENSED_THROTTLE_4: Final[bits.Field] = (24, 0xFF)
CUTOUT_SPEED: Final = "speed"
_MOVES_CDEG_STEPS: Final = 2
"""Between two reports, in steps of the rudder's sensed angle: less is a feedback that trembles."""


class FirstListen:
    """Give every frame heard to `frame`; after `lasts_ns`, `refusal` says why nothing may be sent, or nothing."""

    def __init__(self, plan: WirePlan, address: int, witness: int = 0) -> None:
        """`witness`: the address of a second node that was named as being there; 0: none."""
        self.plan = plan
        self.witness = witness
        self.address = address
        self.kind = next(kind for at, _, kind in plan.nodes if at == address)
        self.lasts_ns = max(HEARTBEATS * plan.timing.heartbeat_ms * MS, SHORTEST_NS)
        self.observer = Observer()
        self.observable = all(at != BENCH_OBSERVER_ADDRESS for at, _, _ in plan.nodes)
        """No node of this boat has an observer's address."""
        self.strangers: dict[int, int] = {}
        """Id -> how many frames of others; -1: frames that no node of a boat sends."""
        self.beats_ns: list[int] = []
        self.moving = ""
        self.reported = False
        """It said how its machinery is."""
        self.angles: list[int] = []
        self.fingerprints: tuple[int, int] | None = None

    def frame(self, now_ns: int, plain: bool, can_id: int, data: bytes) -> None:
        if plain and can_id == OBSERVER_ID and self.observable:
            self.observer.frame(now_ns, data)
            if self.observer.gear_in(now_ns):
                self.moving = self.moving or labels.OBSERVED_IN
            elif (self.observer.throttle(now_ns) or 0) > AT_STOP:
                self.moving = self.moving or labels.OBSERVED_THROTTLE
            return
        if plain and self.witness and can_id & 0x3F == self.witness:
            return
        if not plain or can_id & 0x3F != self.address:
            key = can_id if plain else -1
            self.strangers[key] = self.strangers.get(key, 0) + 1
            return
        code = can_id >> 6
        if not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        if code == bits.CODE_HEARTBEAT:
            self.beats_ns.append(now_ns)
            self.fingerprints = (whole >> 24 & 0xFFFF, whole >> 8 & 0xFFFF)
        elif code == bits.CODE_DRIVE_STATE:
            self._drive(whole)
        elif code == bits.CODE_RUDDER_STATE:
            self._rudder(whole)

    def _drive(self, whole: int) -> None:
        self.reported = True
        gear, rpm = bits.field(whole, bits.STATE_SENSED_GEAR), 8 * bits.field(whole, bits.STATE_RPM_8)
        throttle = 4 * bits.field(whole, STATE_SENSED_THROTTLE_4)
        if gear != bits.NEUTRAL:
            self.moving = self.moving or labels.MOVING_GEAR
        elif throttle > 20:
            self.moving = self.moving or labels.MOVING_THROTTLE.format(permille=throttle)
        elif rpm:
            self.moving = self.moving or labels.MOVING_ENGINE.format(rpm=rpm)

    def _rudder(self, whole: int) -> None:
        self.reported = True
        self.angles.append(bits.signed_field(whole, bits.RUDDER_SENSED))
        if max(self.angles) - min(self.angles) > _MOVES_CDEG_STEPS:
            self.moving = self.moving or labels.MOVING_RUDDER

    def refusal(self) -> str:
        """Why nothing may be sent, in words; "" where all is well."""
        if self.strangers:
            names = {address: name for address, name, _ in self.plan.nodes}
            heard = {names.get(can_id & 0x3F, labels.UNKNOWN_NODE) if can_id >= 0 else labels.FOREIGN for can_id in self.strangers}
            return labels.NOT_ALONE.format(others=", ".join(sorted(heard)))
        if self.moving:
            return labels.MOVES.format(what=self.moving)
        if len(self.beats_ns) < HEARTBEATS:
            return labels.NOT_HEARD.format(count=len(self.beats_ns), seconds=self.lasts_ns / SECOND)
        if self.kind in ("drive", "rudder") and not self.reported:
            return labels.NO_REPORT
        return ""
