"""One alarm, at whoever raised it or shows it: its row in `busim.protocol.alarms.ALARM_TABLE`, and when it sounds."""

from typing import Final

from busim.protocol.alarms import ACKNOWLEDGE, ALARM_TABLE, BY_NUMBER, RAISED, SILENT_FOR_S, UNCONFIRMED_MS
from busim.units import MS, NEVER, SECOND

_S: Final = ALARM_TABLE.state_values
GONE, PUT_RIGHT = _S["gone"], _S["put_right"]
_MOVES: Final = ALARM_TABLE.moves

NO_ANSWER: Final = -1
ANSWERS: Final = ("acknowledge", "silence")
"""By the value on the wire."""


class Alarm:
    """`raiser` is the address of the node whose alarm it is, `number` its raiser's number of this occurrence."""

    __slots__ = (
        "about", "answer", "answer_due_ns", "answer_until_ns", "confirmed_ns", "ended_by", "number", "priority", "quiet_until_ns",
        "raiser", "since_ns", "state", "under", "which",
    )  # fmt: skip

    def __init__(self, which: int, about: int, raiser: int) -> None:
        self.which = which
        self.about = about
        self.raiser = raiser
        self.priority = BY_NUMBER[which].priority
        self.number = 0
        self.state = GONE
        self.since_ns = -NEVER
        """When it arose."""
        self.quiet_until_ns = -NEVER
        self.under: tuple[int, ...] = ()
        """(which, about) of the one it was listed under last, while its cause was there."""
        self.confirmed_ns = -NEVER
        """When its raiser's frame said it last."""
        self.ended_by = 0
        """Of what comes in notices: bit n, bus n has said once since that it is gone."""
        self.answer = NO_ANSWER
        """What the crew answered here, while that is still being sent."""
        self.answer_due_ns = NEVER
        self.answer_until_ns = -NEVER

    def event(self, now_ns: int, event: str) -> bool:
        """Take the row for this event; False where there is none."""
        move = _MOVES.get((self.state, event))
        if move is None:
            return False
        self.state = move[0]
        if event == "arises":
            self.since_ns = now_ns
            self.quiet_until_ns = -NEVER
        elif event == "silence":
            self.quiet_until_ns = now_ns + SILENT_FOR_S * SECOND
        return True

    def answered(self, now_ns: int, answer: int) -> bool:
        """The crew's answer, as its value on the wire; False where it changes nothing."""
        return self.event(now_ns, "acknowledge" if answer == ACKNOWLEDGE else "silence")

    def wake(self, now_ns: int) -> bool:
        """Let a silence end that is over; True where it was."""
        return now_ns >= self.quiet_until_ns and self.event(now_ns, "silence_over")

    def sounds(self, now_ns: int) -> bool:
        return self.state == RAISED or (self.state == PUT_RIGHT and now_ns >= self.quiet_until_ns)

    def doubtful(self, now_ns: int) -> bool:
        """Its raiser has not said it for too long. What a listener sees by itself has no raiser, and needs no word of one."""
        return self.raiser != 0 and self.stands and now_ns - self.confirmed_ns >= UNCONFIRMED_MS * MS

    @property
    def unanswered(self) -> bool:
        """Nobody acknowledged it."""
        return self.state not in (GONE, _S["acknowledged"])

    @property
    def stands(self) -> bool:
        """Its cause is there."""
        return self.state not in (GONE, PUT_RIGHT)
