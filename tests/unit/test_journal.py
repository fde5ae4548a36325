"""The journal: what is kept, who is told, and the digest, computed here a second time from its description."""

import hashlib
import json
import pickle
import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.events.journal import DIGEST_VERSION, Journal


def plain_digest(blocks: list[tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]]) -> str:
    """SHA-256 over (what was before, number of frames, frames as little-endian 64-bit integers, their data, events as JSON)."""
    state = hashlib.sha256(f"busim digest {DIGEST_VERSION}".encode()).digest()
    for frames, events in blocks:
        packed = b"".join(
            struct.pack("<qqq", at_ns, bus * 65536 + can_id * 16 + len(data), mask) for at_ns, bus, can_id, data, mask in frames
        )
        text = json.dumps(events, separators=(",", ":")).encode() if events else b""
        state = hashlib.sha256(
            state + struct.pack("<I", len(frames)) + packed + b"".join(frame[3] for frame in frames) + text
        ).digest()
    return state.hex()[:32]


frames = st.tuples(
    st.integers(0, 2**62), st.integers(0, 3), st.integers(0, 0x7FF), st.binary(max_size=8), st.integers(-1, 2**62 - 1)
)
fields = st.lists(st.one_of(st.integers(-(2**40), 2**40), st.text(max_size=6)), max_size=4)
events = st.tuples(st.integers(0, 2**62), st.sampled_from(["row", "output", "lamp"]), fields)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(st.one_of(frames, events), max_size=8), max_size=4))
def test_the_digest_is_what_its_description_says(seconds: list[list[tuple[Any, ...]]]) -> None:
    journal = Journal()
    blocks = []
    journal.watch_blocks(lambda frames, events, digest: blocks.append((frames, events)))
    for second in seconds:
        for entry in second:
            if len(entry) == 5:
                journal.frame(*entry)
            else:
                journal.event(entry[0], entry[1], *entry[2])
        journal.close_block()
    assert journal.digest == plain_digest(blocks)


def written(*, frame: Any = (5, 0, 0x123, b"\1", 6), event: Any = (7, "lamp", "cabin", 1000)) -> Journal:
    journal = Journal()
    journal.frame(*frame)
    journal.event(*event)
    journal.close_block()
    return journal


@pytest.mark.parametrize(
    "other",
    [
        {"frame": (6, 0, 0x123, b"\1", 6)},
        {"frame": (5, 1, 0x123, b"\1", 6)},
        {"frame": (5, 0, 0x124, b"\1", 6)},
        {"frame": (5, 0, 0x123, b"\2", 6)},
        {"frame": (5, 0, 0x123, b"\1\0", 6)},
        {"frame": (5, 0, 0x123, b"\1", 7)},
        {"frame": (5, 0, 0x123, b"\1", -1)},
        {"event": (8, "lamp", "cabin", 1000)},
        {"event": (7, "gear", "cabin", 1000)},
        {"event": (7, "lamp", "cabine", 1000)},
        {"event": (7, "lamp", "cabin", 999)},
        {"event": (7, "lamp", "cabin", "1000")},
    ],
    ids=str,
)
def test_anything_that_differs_makes_another_digest(other: dict[str, Any]) -> None:
    assert written(**other).digest != written().digest
    assert written().digest == written().digest


def test_the_order_of_frames_and_events_is_in_the_digest() -> None:
    first, second = Journal(), Journal()
    first.frame(5, 0, 0x123, b"", 6)
    first.event(5, "lamp", "cabin", 0)
    second.event(5, "lamp", "cabin", 0)
    second.frame(5, 0, 0x123, b"", 6)
    for journal in (first, second):
        journal.close_block()
    assert first.events == second.events == []
    assert first.digest != second.digest


def test_a_second_without_anything_counts_too() -> None:
    journal = Journal()
    before = journal.digest
    journal.close_block()
    assert journal.digest != before


def test_watchers_are_told_what_they_asked_for_in_the_order_they_came() -> None:
    journal = Journal()
    told: list[Any] = []
    journal.watch_frames(0x123, lambda now_ns, bus, can_id, data, mask: told.append(("first", now_ns, bus, can_id, data, mask)))
    journal.watch_frames(0x123, lambda *frame: told.append(("second", *frame)))
    journal.watch_events("lamp", lambda event: told.append(event))
    journal.frame(1, 0, 0x123, b"\1", 6)
    journal.frame(2, 0, 0x124, b"\2", 6)
    journal.event(3, "lamp", "cabin", 1000)
    journal.event(4, "gear", "engine", 1)
    assert told == [("first", 1, 0, 0x123, b"\1", 6), ("second", 1, 0, 0x123, b"\1", 6), (3, 2, "lamp", "cabin", 1000)]


def test_outputs_are_told_by_channel_in_the_order_of_those_who_asked() -> None:
    journal = Journal()
    told: list[tuple[str, Any]] = []
    journal.watch_outputs(lambda event: told.append(("fields", event[4])), "field.", "page")
    journal.watch_events("output", lambda event: told.append(("all", event[4])))
    journal.watch_outputs(lambda event: told.append(("shows", event[4])), "shows")
    journal.watch_events("shows", lambda event: told.append(("kind", event[4])))
    for _ in range(2):
        for channel in ("field.1", "field", "page", "shows", "shows.1", "throttle"):
            journal.event(1, "output", "node", channel, 1)
        once = [("fields", "field.1"), ("all", "field.1"), ("all", "field"), ("fields", "page"), ("all", "page")]
        assert told == [*once, ("all", "shows"), ("shows", "shows"), ("all", "shows.1"), ("all", "throttle")]
        told.clear()
    journal.watch_outputs(lambda event: told.append(("late", event[4])), "throttle")
    journal.event(2, "output", "node", "throttle", 2)
    assert told == [("all", "throttle"), ("late", "throttle")]


def test_a_block_is_handed_over_whole_and_not_touched_again() -> None:
    journal = Journal()
    blocks: list[Any] = []
    journal.watch_blocks(lambda frames, events, digest: blocks.append((frames, events, digest)))
    journal.frame(1, 0, 0x123, b"", 6)
    journal.close_block()
    journal.event(2, "lamp", "cabin", 0)
    journal.close_block()
    assert [block[:2] for block in blocks] == [([(1, 0, 0x123, b"", 6)], []), ([], [(2, 0, "lamp", "cabin", 0)])]
    assert blocks[1][2] == journal.digest != blocks[0][2]


def test_saved_in_mid_block_it_goes_on_to_the_same_digest_without_its_watchers() -> None:
    def finish(journal: Journal) -> str:
        journal.event(9, "lamp", "cabin", 0)
        journal.close_block()
        return journal.digest

    journal = written()
    told: list[Any] = []
    journal.watch_events("lamp", told.append)
    journal.frame(8, 0, 0x123, b"", 6)
    copy = pickle.loads(pickle.dumps(journal))
    assert finish(copy) == finish(journal)
    assert len(told) == 1, "only the original told its watcher"
