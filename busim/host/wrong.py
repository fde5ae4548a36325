"""What a node can do wrong at the seam, in words for whoever wrote it. Called only once something went wrong."""

from types import TracebackType
from typing import Any

from busim.seam import OUTPUT, QUEUE, RECHECK, ROW, SEND, Node


def wrong_with(actions: Any, buses: tuple[int, ...]) -> str:
    """The first thing wrong with what a handler returned, by a host on these buses; empty where it is as it should be."""
    if not isinstance(actions, tuple | list):
        return f"a handler returned {actions!r:.60}, not a tuple of actions"
    for action in actions:
        wrong = _wrong_with_one(action, buses)
        if wrong:
            return f"a handler returned the action {action!r:.120}: {wrong}"
    return ""


def _wrong_with_one(action: Any, buses: tuple[int, ...]) -> str:
    match action:
        case (int(kind), bus, can_id, data, drop_after_ns) if kind in (SEND, QUEUE):
            if bus not in buses:
                return f"the node is not on a bus with the number {bus!r}"
            if type(can_id) is not int or type(data) is not bytes or type(drop_after_ns) is not int:
                return "id and drop_after_ns are whole numbers, the data are bytes"
            if not 0 <= can_id <= 0x7FF:
                return f"the id {can_id:#x} is outside 0 to 0x7ff: frames here have 11-bit ids"
            return "" if len(data) <= 8 else f"{len(data)} data bytes do not fit a frame: it carries 0 to 8"
        case (int(kind), str(), value) if kind == OUTPUT:
            return "" if type(value) is int else "an output's value is a whole number"
        case (int(kind), str(), row, cause) if kind == ROW:
            return "" if type(row) is int and type(cause) is int else "row and cause are whole numbers"
        case _:
            return "" if (action,) == RECHECK else "it is none of SEND, QUEUE, OUTPUT, ROW with the fields they have"


def failed_node(traceback: TracebackType | None) -> Node | None:
    """The node in whose program an exception was raised, if it was."""
    node = None
    while traceback is not None:
        owner = traceback.tb_frame.f_locals.get("self")
        if isinstance(owner, Node):
            node = owner
        traceback = traceback.tb_next
    return node
