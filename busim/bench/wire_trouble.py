"""What an adapter tells of trouble on the bus, in words: status flags of slcan, error frames of a CAN link; and how fine it stamps.

No I/O, no clock. Error frames are as the Linux kernel gives them (include/uapi/linux/can/error.h).
"""

from math import gcd
from typing import Final

from busim import adapter_labels as labels
from busim.bench import slcan

LOST: Final = "lost"
PASSIVE: Final = "passive"
BUS_OFF: Final = "bus-off"
ERRORS: Final = "errors"
NO_ACKNOWLEDGEMENT: Final = "no acknowledgement"
WORDS: Final = {
    LOST: labels.WIRE_LOST,
    PASSIVE: labels.WIRE_PASSIVE,
    BUS_OFF: labels.WIRE_BUS_OFF,
    ERRORS: labels.WIRE_ERRORS,
    NO_ACKNOWLEDGEMENT: labels.WIRE_UNACKNOWLEDGED,
}

_FLAGS: Final = (
    (slcan.RECEIVE_FULL | slcan.OVERRUN, LOST),
    (slcan.PASSIVE, PASSIVE),
    (slcan.ERROR_WARNING | slcan.BUS_ERROR, ERRORS),
)
# Error classes of an error frame's id, and of a controller's state in its byte 1.
_ID_CONTROLLER: Final = 0x04
_ID_PROTOCOL: Final = 0x08
_ID_ACK: Final = 0x20
_ID_OFF: Final = 0x40
_ID_BUS_ERROR: Final = 0x80
_RECEIVE_OVERFLOW: Final = 0x01
_PASSIVE_STATE: Final = 0x10 | 0x20
_WARNING_STATE: Final = 0x04 | 0x08

COMPUTERS_CLOCK: Final = ("slcan", "serial", "virtual", "udp_multicast", "usb2can", "nican", "robotell")
"""Interfaces whose frames python-can, or busim, stamps itself as they are read."""
KERNELS_CLOCK: Final = ("socketcan",)
STAMPS_WANTED: Final = 20


class WireTrouble:
    """`seen`: what was told -> how often. `known`: the adapter can tell at all."""

    def __init__(self) -> None:
        self.seen: dict[str, int] = {}
        self.known = False

    def flags(self, status: int | None) -> None:
        """Status flags of slcan, gathered since the last; None: it tells none."""
        if status is None:
            return
        self.known = True
        for bits, what in _FLAGS:
            if status & bits:
                self._note(what)

    def error_frame(self, can_id: int, data: bytes) -> None:
        self.known = True
        state = data[1] if can_id & _ID_CONTROLLER and len(data) > 1 else 0
        if state & _RECEIVE_OVERFLOW:
            self._note(LOST)
        if state & _PASSIVE_STATE:
            self._note(PASSIVE)
        if can_id & _ID_OFF:
            self._note(BUS_OFF)
        if can_id & _ID_ACK:
            self._note(NO_ACKNOWLEDGEMENT)
        if can_id & (_ID_PROTOCOL | _ID_BUS_ERROR) or state & _WARNING_STATE:
            self._note(ERRORS)

    def _note(self, what: str) -> None:
        self.seen[what] = self.seen.get(what, 0) + 1

    def words(self) -> list[str]:
        less = {ERRORS} if PASSIVE in self.seen else set()  # it is the same, and worse
        return [WORDS[what] for what in WORDS if what in self.seen and what not in less]


class Stamps:
    """How fine the stamps of an adapter's frames are: the greatest step that all distances between them are multiples of."""

    def __init__(self, interface: str) -> None:
        self.interface = interface
        self.step_ns = 0
        self.count = 0
        self._last_ns = 0

    def see(self, stamp_ns: int) -> None:
        # What came as a float of seconds since 1970 is good to a quarter of a microsecond.
        stamp_ns = round(stamp_ns, -3)
        if self.count:
            self.step_ns = gcd(self.step_ns, stamp_ns - self._last_ns)
        self._last_ns = stamp_ns
        self.count += 1

    def words(self) -> str:
        if self.interface in COMPUTERS_CLOCK:
            return labels.STAMPS_NONE
        if self.interface in KERNELS_CLOCK:
            return labels.STAMPS_KERNEL
        if self.count < STAMPS_WANTED or not self.step_ns:
            return labels.STAMPS_FEW
        return labels.STAMPS_FINE.format(us=self.step_ns // 1000)
