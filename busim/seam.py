"""The node seam: what a node is to busim and busim to a node.

A node is a state machine without input or output of its own. It is handed the time of its own clock with every call and
answers with plain tuples; it knows no clock, no bus object, no thread, no log and no random generator. The same object
runs in virtual time, under the dashboard and as a stand-in beside real hardware.

Rules every node keeps, and why:

* `deadline_ns` is the one moment it wants to be called at. The host reads it after a call that returned something and
  after `on_deadline`. A handler that moves the deadline *earlier* must therefore return something; `RECHECK` says just
  that. Moving it later needs nothing: the host calls nobody before the deadline is due. (A check after every frame would
  cost a tenth of the simulator's speed.)
* Time never runs backwards, and at equal times a frame comes before a deadline. A limit is met at exactly the limit.
* A handler is total: any data, any value, any order, and it neither raises nor blocks.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final, TypeAlias

from busim.units import NEVER

SEND: Final = 0
QUEUE: Final = 1
OUTPUT: Final = 2
ROW: Final = 3
_RECHECK: Final = 4

Action: TypeAlias = tuple[Any, ...]
"""One of

* `(SEND, bus, can_id, data, drop_after_ns)`: put a frame in its own mailbox of that bus: it overwrites an unsent frame of the
  same id, and is dropped, unsent, once that old. For all that is sent again anyway.
* `(QUEUE, bus, can_id, data, drop_after_ns)`: the same behind what waits, overwriting nothing.
* `(OUTPUT, channel, value)`: an output pin or a display takes this integer value.
* `(ROW, machine, row, cause)`: this row of the state table named `machine` was taken; `cause` is 0 where there is none.
"""

Actions: TypeAlias = tuple[Action, ...]

NOTHING: Final[Actions] = ()
RECHECK: Final[Actions] = ((_RECHECK,),)

FrameHandler: TypeAlias = Callable[[int, int, int, bytes], Actions]
"""Called with (now_ns, bus, can_id, data)."""

# Why a node starts: sent in its heartbeat, so the values are part of the protocol.
POWER_ON: Final = 0
EXTERNAL_RESET: Final = 1
WATCHDOG_RESET: Final = 2
BROWN_OUT_RESET: Final = 3

# States of a CAN controller, as `on_controller` hears them.
ERROR_ACTIVE: Final = 0
ERROR_PASSIVE: Final = 1
BUS_OFF: Final = 2


@dataclass(frozen=True)
class Kept:
    """What one slot of a node, or of a thing it keeps, is: so that two moments of a boat's life can be told to be alike.

    `what` is one of

    * `fixed`: never changes once the node is made, or names again what another slot keeps
    * `value`: as it is
    * `moment`: ns of the node's clock. `limit_ms(node)`: what is longer past than this is past for all that looks at it
    * `own_counter`: of the messages of `code` that this node sends
    * `counter`, `seen`: a counter of `sender`'s messages of `code`, as kept of a frame; -1 for none is `seen`'s. What is more than
      `limit_ms(node)` of them behind is behind for all that looks at it
    * `number`: of a take of control; in a tuple the entry at `at`
    * `frame`: a whole safety frame of that sender and code, or b"" for none
    * `inside`: a thing, or a dict or list of things, with slots of their own. `code` and `sender` hold for what is in it

    `sender` is "self", "key" for the key of a dict, or the slot that holds its address; left out, it is that of what it is in.
    """

    what: str
    limit_ms: Callable[[Any], int] | None = None
    code: int = -1
    sender: str = ""
    at: int = -1
    trim: Callable[[Any, Any, Any], Any] | None = None
    """trim(node, owner, value): the value that stands for all that make no difference, `owner` being the thing with the slot."""


class Node:
    """Base of all nodes. Subclasses keep plain values in `__slots__`, so that a world can be saved."""

    __slots__ = ("deadline_ns",)

    inputs: ClassVar[Mapping[str, int]] = {}
    """Channel pattern -> sampling period in ns; 0 is a switch, heard at its instant. A name ending in `*` stands for many."""

    memory: ClassVar[Mapping[str, Mapping[str, Kept]]] = {}
    """Name of a class -> slot -> what it is, for the class itself, its bases and all it keeps. Only `check --transfer` asks."""

    def __init__(self) -> None:
        self.deadline_ns: int = NEVER

    def receives(self) -> dict[tuple[int, int], FrameHandler]:
        """The acceptance filter: (bus, can_id) -> bound handler. Asked once at start; frames of other ids are not delivered."""
        return {}

    def on_start(self, now_ns: int, reset_cause: int) -> Actions:
        """Power has come or a reset ended. Outputs are at their unpowered values and every input follows at once."""
        return NOTHING

    def on_frame(self, now_ns: int, bus: int, can_id: int, data: bytes) -> Actions:
        """A valid frame was received. Hosts in a hurry call the handler in `receives` directly: it does the same."""
        handler = self.receives().get((bus, can_id))
        return handler(now_ns, bus, can_id, data) if handler is not None else NOTHING

    def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
        """An input has a new value (integer, in the channel's unit)."""
        return NOTHING

    on_sent: Callable[[int, int, int], Actions] | None = None
    """on_sent(now_ns, bus, can_id): a frame of ours was acknowledged. A node that does not define it is not called."""

    def on_controller(self, now_ns: int, bus: int, state: int) -> Actions:
        """The CAN controller became error active, error passive or bus-off."""
        return NOTHING

    def on_deadline(self, now_ns: int) -> Actions:
        """`deadline_ns` has come. The node sets the next one, or NEVER."""
        self.deadline_ns = NEVER
        return NOTHING
