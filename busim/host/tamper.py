"""Handles between a node's program and its CAN controller: what leaves is not what was made, or not when."""

from busim.bus.controller import Controller


class Tamper:
    """Stands between program and controller, for as long as a fault puts it there. This one changes nothing."""

    __slots__ = ()

    def change(self, can_id: int, data: bytes) -> bytes:
        return data

    def release(
        self, controller: Controller, ready_ns: int, can_id: int, data: bytes, drop_after_ns: int, overwrite: bool
    ) -> None:
        """The program hands over a frame: let the controller have it, changed or not, now or later, or not at all."""
        controller.submit(ready_ns, can_id, self.change(can_id, data), drop_after_ns, overwrite)


class Babble:
    """A frame that a controller sends over and over."""

    __slots__ = ("bus", "can_id", "data")

    def __init__(self, bus: int, can_id: int, data: bytes) -> None:
        self.bus = bus
        self.can_id = can_id
        self.data = data

    def goes_on(self, bus: int, can_id: int) -> bool:
        """That frame was sent: the next one is due."""
        return bus == self.bus and can_id == self.can_id
