"""A verdict: what was required, what was measured, by what evidence; and the tally a requirement keeps until the end."""

from dataclasses import dataclass
from typing import Final

from busim.requirements.in_a_log import Doubt
from busim.units import MS

PASS: Final = "pass"
FAIL: Final = "fail"
NOT_EXERCISED: Final = "not exercised"
INCONCLUSIVE: Final = "inconclusive"
ACCEPTED: Final = "accepted weakness"
"""Not met, and listed in the boat file as lived with: never counted as met, and no failure."""
SELF_REPORTED: Final = "pass (self-reported)"


@dataclass(frozen=True)
class Verdict:
    """`limit` and `measured` in `unit`, None where there is none. `source` is one of the sources in `busim.events.table`.

    `weakness`: of one that is accepted, the name the boat file gives what is lived with; else "".
    """

    id: str
    verdict: str
    limit: int | None
    measured: int | None
    unit: str
    source: str
    at_ns: int | None
    evidence: str
    weakness: str = ""


class Tally:
    """Collects what a requirement sees: the worst measurement, the first failure, what stayed open.

    `at_least` true: measured values must not fall below the limit; else they must not exceed it. Exactly the limit is met.
    """

    def __init__(self, identity: str, limit: int | None, unit: str, source: str, *, at_least: bool = False) -> None:
        self.identity = identity
        self.limit = limit
        self.unit = unit
        self.source = source
        self.at_least = at_least
        self.worst: tuple[int | None, int, str] | None = None
        self.failure: tuple[int | None, int, str] | None = None
        self.open: tuple[int | None, int, str] | None = None
        self.doubt: Doubt | None = None
        """Set where moments are only as good as the reports they come from."""
        self.excuse = ""
        """Set where what looks like a failure may be none: it stays open, and this is why."""

    def measure(self, value: int, at_ns: int, evidence: str, limit: int | None = None) -> None:
        """One measurement; `limit` where this place has its own."""
        bound = self.limit if limit is None else limit
        broken = bound is not None and (value < bound if self.at_least else value > bound)
        if bound is not None and self.doubt is not None and self._between_reports(value - bound, self.doubt):
            self.undecided(at_ns, f"{evidence}: {value} {self.unit}, and between two reports it can't be told nearer")
        elif broken:
            self.fail(at_ns, evidence, value, limit)
        elif self.worst is None or self.worst[0] is None or (value < self.worst[0] if self.at_least else value > self.worst[0]):
            self.worst = (value, at_ns, evidence)
            if limit is not None and self.failure is None:
                self.limit = limit

    def _between_reports(self, over: int, doubt: Doubt) -> bool:
        """Is a time so near its limit that it may be on the other side of it? It began or ended as much as `doubt` earlier."""
        if self.unit != "ms" or not doubt.ns:
            return False
        apart_ms = -(-doubt.ns // MS)
        return -apart_ms <= over < apart_ms if self.at_least else 0 < over <= apart_ms

    def held(self, at_ns: int, evidence: str) -> None:
        """Exercised, and kept; there is nothing to measure."""
        if self.worst is None:
            self.worst = (None, at_ns, evidence)

    def fail(self, at_ns: int, evidence: str, value: int | None = None, limit: int | None = None) -> None:
        if self.excuse:
            self.undecided(at_ns, f"{evidence}; {self.excuse}")
        elif self.failure is None:
            self.failure = (value, at_ns, evidence)
            if limit is not None:
                self.limit = limit

    def undecided(self, at_ns: int, evidence: str) -> None:
        """The run ended before it was known."""
        self.open = (None, at_ns, evidence)

    def verdict(self, unexercised: str) -> Verdict:
        """The worst of it all: a failure, else what is open, else the worst measurement; else `unexercised` says why not."""
        for found, word in ((self.failure, FAIL), (self.open, INCONCLUSIVE), (self.worst, PASS)):
            if found is not None:
                value, at_ns, evidence = found
                if word == PASS and self.source == "reported on the wire":
                    word = SELF_REPORTED
                return Verdict(self.identity, word, self.limit, value, self.unit, self.source, at_ns, evidence)
        return Verdict(self.identity, NOT_EXERCISED, self.limit, None, self.unit, self.source, None, unexercised)
