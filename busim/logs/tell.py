"""What every teller shares: an event made of what a frame reports, with how long before it may have happened.

Tellers turn reports into the events that a run has from machinery and people, for requirements and timeline to read. They stand
before the situation in the journal: a row is told while the situation still has what was before it.
"""

from busim.events.journal import Journal
from busim.requirements.in_a_log import Doubt


class Teller:
    """`doubt` is shared with whoever measures."""

    def __init__(self, journal: Journal, doubt: Doubt) -> None:
        self.journal = journal
        self.doubt = doubt

    def tell(self, now_ns: int, within_ns: int, kind: str, *fields: int | str) -> None:
        """It happened now, or up to `within_ns` before."""
        self.doubt.ns = within_ns
        self.journal.event(now_ns, kind, *fields)
        self.doubt.ns = 0


class LogJournal(Journal):
    """Tells whoever watches and keeps nothing: a log may be longer than any memory, and it has no run code."""

    __slots__ = ()

    def frame(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        if can_id in self.frame_watchers:
            for watcher in self.frame_watchers[can_id]:
                watcher(now_ns, bus, can_id, data, mask)

    def event(self, now_ns: int, kind: str, *fields: int | str) -> None:
        event = (now_ns, 0, kind, *fields)
        if kind == "output":
            channel = str(fields[1])
            for watcher in self.by_channel[channel] if channel in self.by_channel else self._watchers_of(channel):
                watcher(event)
        elif kind in self.event_watchers:
            for watcher in self.event_watchers[kind]:
                watcher(event)
