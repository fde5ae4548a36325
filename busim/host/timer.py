"""What a host needs of the kernel that runs it, and the error it raises where a node breaks the rules."""

from collections.abc import Callable

from busim.units import NEVER


class NodeError(Exception):
    """A node broke the rules of the seam, or its program failed; the message says which node and how."""


class Timer:
    """One entry of the kernel's queue: `fire(now_ns)` returns when it wants to be called next, NEVER for not at all."""

    __slots__ = ("armed_ns", "fire", "key")

    def __init__(self, fire: Callable[[int], int]) -> None:
        self.fire = fire
        self.armed_ns = NEVER
        self.key = -1


class Kernel:
    """What a host needs of the simulator's kernel."""

    __slots__ = ()

    def arm(self, timer: Timer, due_ns: int) -> None:
        raise NotImplementedError
