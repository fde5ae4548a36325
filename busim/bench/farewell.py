"""The end of every bench session, however it comes: neutral and idle are commanded, and the report that it is so is awaited.

It needs neither the simulated boat nor anybody else: only the last frames that were on the bus, so that its own are taken for the
next of those. No I/O, no clock.
"""

from typing import Final

from busim.bench.observer import OBSERVER_ID, Observer
from busim.events import bits
from busim.protocol.catalogue import HEARTBEAT, LEVER, NEUTRAL_NOW
from busim.protocol.plan import DrivePlan, WirePlan
from busim.protocol.values import NODE_WORKING
from busim.units import MS, SECOND

COMMANDED_NS: Final = 2 * SECOND
PERIOD_NS: Final = 20 * MS
FRESH_NS: Final = 500 * MS
"""A report older than this says nothing about now."""
AT_STOP_PERMILLE: Final = 20
SENSED_THROTTLE_4: Final[bits.Field] = (24, 0xFF)
ASKED_THROTTLE_4: Final[bits.Field] = (32, 0xFF)


class Farewell:
    """`last` is the last frame of each id on the bus, the device's among them. Times are of any one clock that runs on."""

    def __init__(self, plan: WirePlan, drive: DrivePlan, last: dict[int, bytes], begins_ns: int, limit_ns: int) -> None:
        self.drive = drive
        self.plan = plan
        self.begins_ns = begins_ns
        self.gives_up_ns = begins_ns + max(COMMANDED_NS, limit_ns) + FRESH_NS
        self.due_ns = begins_ns
        self.beat_due_ns = begins_ns
        self.neutral_ns: int | None = None
        """When it last reported its gear out and its throttle at its stop."""
        self.heard_ns: int | None = None
        self.observer = Observer()
        """Who sees the gear by sensors of its own is believed before the device."""
        self.station, self.number = drive.stations[0], 0
        obeys = last.get(bits.CODE_DRIVE_OBEYS << 6 | drive.address)
        if obeys is not None and len(obeys) == 8:
            whole = int.from_bytes(obeys, "big")
            station = bits.field(whole, bits.OBEYS_STATION)
            if station in drive.stations:
                self.station, self.number = station, bits.field(whole, bits.OBEYS_NUMBER)
        self.counters = {can_id: data[1] for can_id, data in last.items() if len(data) == 8}

    def _next(self, can_id: int) -> int:
        self.counters[can_id] = (self.counters.get(can_id, 0) + 1) % 256
        return self.counters[can_id]

    def frames(self, now_ns: int) -> list[tuple[int, bytes]]:
        """What is to be sent now. NEUTRAL NOW acts whoever is in control; the lever is the one it obeys, in neutral and at idle."""
        if now_ns < self.due_ns:
            return []
        self.due_ns = now_ns + PERIOD_NS
        neutral_now, lever, beat = (message.can_id(self.station) for message in (NEUTRAL_NOW, LEVER, HEARTBEAT))
        out = [
            (neutral_now, NEUTRAL_NOW.pack(neutral_now, self._next(neutral_now), 1, 0)),
            (lever, LEVER.pack(lever, self._next(lever), self.number, 0, 0, 0, 0, 0, 0)),
        ]
        if now_ns >= self.beat_due_ns:
            self.beat_due_ns = now_ns + self.plan.timing.heartbeat_ms * MS
            own = (NODE_WORKING, 0, self.plan.helm_fingerprint, self.plan.lighting_fingerprint, 0)
            out.append((beat, HEARTBEAT.pack(beat, self._next(beat), *own)))
        return out

    def frame(self, now_ns: int, can_id: int, data: bytes) -> None:
        """A frame was heard."""
        if can_id == OBSERVER_ID:
            self.observer.frame(now_ns, data)
        if can_id != bits.CODE_DRIVE_STATE << 6 | self.drive.address or not bits.sound(can_id, data):
            return
        whole = int.from_bytes(data, "big")
        self.heard_ns = now_ns
        at_stop = 4 * bits.field(whole, SENSED_THROTTLE_4) <= AT_STOP_PERMILLE and not bits.field(whole, ASKED_THROTTLE_4)
        gears = bits.field(whole, bits.STATE_SENSED_GEAR), bits.field(whole, bits.STATE_ASKED_GEAR)
        self.neutral_ns = now_ns if at_stop and gears == (bits.NEUTRAL, bits.NEUTRAL) else None

    def over(self, now_ns: int) -> bool:
        commanded = now_ns - self.begins_ns >= COMMANDED_NS
        return commanded and (self.reported(now_ns) or now_ns >= self.gives_up_ns)

    def reported(self, now_ns: int) -> bool:
        """Its last report says neutral and idle, and is no older than it may be."""
        if self.observer.gear_in(now_ns) or (self.observer.throttle(now_ns) or 0) > AT_STOP_PERMILLE:
            return False
        return self.neutral_ns is not None and now_ns - self.neutral_ns <= FRESH_NS
