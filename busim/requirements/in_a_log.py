"""What a log of frames shows of a requirement: everything, only what nodes report of themselves, or not enough to judge it.

A log knows no machinery, no display and no hand on a lever, and not who accepted a frame. Each requirement says in its own
file, as `in_a_log`, what of it a log shows; whoever judges logs asks that and keeps no list.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Wire:
    """Judged by frames alone, as in a run. `excuse`: why what looks like a failure in a log may be none, "" where it is one."""

    excuse: str = ""


@dataclass(frozen=True)
class Reported:
    """Judged by `reports`, what nodes say of themselves, in place of the machinery: it never comes to a plain pass."""

    reports: str
    excuse: str = ""


@dataclass(frozen=True)
class NotInALog:
    """Not judged: a log does not show `lacks`."""

    lacks: str


@dataclass
class Doubt:
    """How long before the event that is just told it may have happened: what is reported from time to time is between two
    reports. One object, shared by whoever tells and whoever measures."""

    ns: int = 0
