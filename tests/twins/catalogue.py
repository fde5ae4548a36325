"""Nodes with a second catalogue: one scale, one id or one timing of theirs is not the boat's. Their own logic is sound."""

from dataclasses import replace

from busim.protocol.catalogue import DRIVE_OBEYS, DRIVE_STATE, LEVER
from busim.protocol.codec import INVALID, check, counter_of
from busim.protocol.plan import WirePlan
from busim.seam import Actions, FrameHandler
from nodes.drive import Drive
from nodes.station import Station


class ReadsHalfThrottles(Drive):
    """Its throttles are in steps of 2 permille: it opens twice as far as it is asked to."""

    __slots__ = ()

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        if word != INVALID:
            number, gear_1, throttle_1, gear_2, throttle_2, *flags = LEVER.unpack(word)
            doubled = (min(throttle * 2, 1000) for throttle in (throttle_1, throttle_2))
            data = LEVER.pack(can_id, counter_of(word), number, gear_1, next(doubled), gear_2, next(doubled), *flags)
        return super()._on_lever(now_ns, bus, can_id, data)


class SwapsAheadAndAstern(Drive):
    """Its gears are numbered the other way round."""

    __slots__ = ()

    def _on_lever(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        word = check(can_id, data)
        if word != INVALID:
            number, gear_1, throttle_1, gear_2, throttle_2, *flags = LEVER.unpack(word)
            gear_1, gear_2 = ((0, 2, 1, 3)[gear] for gear in (gear_1, gear_2))
            data = LEVER.pack(can_id, counter_of(word), number, gear_1, throttle_1, gear_2, throttle_2, *flags)
        return super()._on_lever(now_ns, bus, can_id, data)


class WaitsThreeTimes(Drive):
    """Its timeouts are three times the boat's, as of another boat file whose fingerprint it does not carry."""

    __slots__ = ()

    def __init__(self, plan: WirePlan, address: int, build: int = 1) -> None:
        super().__init__(plan, address, build)
        timing = self.timing
        longer = {name: 3 * getattr(timing, name) for name in ("control_timeout_ms", "heartbeat_missing_ms")}
        self.timing = replace(timing, **longer)


class ListensElsewhere(Station):
    """It takes the drives' other report for the one that says whom they obey."""

    __slots__ = ()

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        echoes = {DRIVE_OBEYS.can_id(drive) for drive in self.drives}
        moved = DRIVE_STATE.can_id(0) - DRIVE_OBEYS.can_id(0)
        heard = super().receives().items()
        return {(bus, can_id + moved if can_id in echoes else can_id): handler for (bus, can_id), handler in heard}
