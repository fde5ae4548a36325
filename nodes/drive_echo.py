"""What drives report to a station, and which of them a take of it is of.

A boat whose policy is to carry on with the drive that is left must be able to change hands with it, too: a drive that is dead, or
refuses, must keep nobody from the other one. So a take is of the drives that are heard; and one that is heard and did not
follow is left out once somebody presses again.
"""

from collections.abc import Iterable
from typing import Final

from busim.protocol.counter import CounterWatch
from busim.protocol.plan import DrivePlan
from busim.protocol.tables import DRIVE_TABLE
from busim.protocol.values import CAUSE_NEUTRAL_NOW, PRESSED_AGAIN_MS
from busim.units import MS, NEVER

FORCED_IDLE: Final = DRIVE_TABLE.state_values["forced_idle"]
HELD_IDLE: Final = DRIVE_TABLE.state_values["held_idle"]
PRESSED_AGAIN_NS: Final = PRESSED_AGAIN_MS * MS

Pair = tuple[int, int]
"""(address of the station, number of its take)."""


class DriveEcho:
    """The last report of one drive: whom it obeys, under which number, which lever frame it acted on last."""

    __slots__ = (
        "acted_on", "counter", "heard_ns", "instance", "left_out_until_ns", "may_stay", "number", "policy_idle", "station",
    )  # fmt: skip

    def __init__(self, counter: CounterWatch, plan: DrivePlan) -> None:
        self.counter = counter
        self.instance = plan.instance
        self.policy_idle = plan.on_loss == "idle"
        self.may_stay = False
        """It reports that it obeys nobody, and may stay in gear for all that."""
        self.heard_ns = -NEVER
        self.station = 0
        self.number = 0
        self.acted_on = 0
        self.left_out_until_ns = -NEVER
        """Up to then the next take is not of this drive: it kept the last one from being complete."""

    @property
    def pair(self) -> Pair:
        return self.station, self.number

    def note(self, now_ns: int, report: tuple[int, ...]) -> None:
        """What a drive_obeys that counts says, its signals in their order."""
        self.heard_ns = now_ns
        self.station, self.number, self.acted_on, _, state, cause, _ = report
        self.may_stay = self.policy_idle and (state == HELD_IDLE or (state == FORCED_IDLE and cause != CAUSE_NEUTRAL_NOW))

    def heard(self, now_ns: int, missing_ns: int) -> bool:
        return now_ns - self.heard_ns < missing_ns


def to_want(echoes: Iterable[DriveEcho], now_ns: int, missing_ns: int, carries_on: bool, anew: bool) -> int:
    """The instances, as bits, that a take beginning now is of; the last one's failure counts no more after this.

    All, where the policy is all or nothing (not `carries_on`). Else those that are heard, but for those that kept the last take
    from being complete; taken `anew` while control is held, all that are heard. Where that leaves none, all.
    """
    every = list(echoes)
    heard = [echo for echo in every if carries_on and echo.heard(now_ns, missing_ns)]
    able = [echo for echo in heard if anew or now_ns >= echo.left_out_until_ns]
    for echo in every:
        echo.left_out_until_ns = -NEVER
    return sum(echo.instance for echo in able or heard or every)


def leave_out(echoes: Iterable[DriveEcho], now_ns: int, missing_ns: int, wanted: int, mine: Pair) -> None:
    """The take `mine` of the drives `wanted` was not complete in time. Those that are heard and kept it from that, though another
    one echoed, are left out of the next. One that is silent needs no word: if it is heard by then, it is another case."""
    asked = [echo for echo in echoes if echo.instance & wanted]
    if all(echo.pair != mine for echo in asked):
        return
    for echo in asked:
        if echo.pair != mine and echo.heard(now_ns, missing_ns):
            echo.left_out_until_ns = now_ns + PRESSED_AGAIN_NS
