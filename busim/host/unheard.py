"""Frames that reach a node's controller sound and never reach its program: a mailbox overwritten before it was read."""

from collections.abc import Mapping
from functools import partial

from busim.seam import NOTHING, Actions, FrameHandler


class Unheard:
    """How many frames of each (bus, id) are still to be missed. Plain values, so that a world can be saved meanwhile."""

    __slots__ = ("left",)

    def __init__(self) -> None:
        self.left: dict[tuple[int, int], int] = {}

    def before(self, handlers: Mapping[tuple[int, int], FrameHandler]) -> dict[tuple[int, int], FrameHandler]:
        """The handlers, with this before those whose frames are missed."""
        return {key: partial(self._hear, handler) if key in self.left else handler for key, handler in handlers.items()}

    def _hear(self, handler: FrameHandler, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        left = self.left.get((bus, can_id), 0)
        if not left:
            return handler(now_ns, bus, can_id, data)
        self.left[bus, can_id] = left - 1
        return NOTHING
