"""What noise makes of one frame. Only `busim.bus.troubled` makes and reads it."""

from busim.bus.controller import Controller


class Outcome:
    """What comes of a frame that was hit: who counts an error and of how much, and when the error is over.

    `flag_bits` is how long the flags last, laid over one another, from `error_ns` on; 0 where nobody signals anything.
    """

    __slots__ = ("blamed", "end_ns", "error_ns", "flag_bits", "senders_fail")

    def __init__(
        self, blamed: list[tuple[Controller, int]], error_ns: int, flag_bits: int, end_ns: int, *, senders_fail: bool
    ) -> None:
        self.blamed = blamed
        self.error_ns = error_ns
        self.flag_bits = flag_bits
        self.end_ns = end_ns
        self.senders_fail = senders_fail
