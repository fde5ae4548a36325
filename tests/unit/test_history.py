"""Snapshots kept to look back at."""

from dataclasses import replace

from busim.rehearsal.history import APART_NS, MOST, History
from busim.rehearsal.shown import Snapshot

EMPTY = Snapshot(0, (), (), None, 0.0, 0.0, (), (), (), 350, (), (), (), (), 0)


def at(ms: int, lines: int = 0) -> Snapshot:
    return replace(EMPTY, at_ns=ms * 1_000_000, lines=lines)


def test_the_snapshot_after_a_moment_shows_what_happened_in_it() -> None:
    history = History()
    assert history.at(0) is None
    for snapshot in (at(0), at(50), at(100, 1), at(120, 1), at(130, 2)):
        history.keep(snapshot)
    assert [each.at_ns // 1_000_000 for each in history.kept] == [0, 100, 130], "close ones only where something was said"
    for wanted, found in ((0, 0), (1, 100), (100, 100), (101, 130), (130, 130), (9999, 130)):
        snapshot = history.at(wanted * 1_000_000)
        assert snapshot is not None
        assert snapshot.at_ns == found * 1_000_000


def test_a_long_rehearsal_keeps_its_beginning_more_coarsely_and_what_was_said_longest() -> None:
    history = History()
    apart = APART_NS // 1_000_000
    for number in range(3 * MOST):
        history.keep(at(number * apart, lines=number // 50))
    assert len(history.kept) <= MOST
    assert history.kept[0].at_ns == 0
    times = [each.at_ns for each in history.kept]
    assert times == sorted(times)
    said = {each.lines for each in history.kept}
    assert len(said) == (3 * MOST - 1) // 50 + 1, "every line is still there to be looked back at"
