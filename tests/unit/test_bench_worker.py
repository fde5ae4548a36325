"""The pipe from a session to whoever shows and judges: an end that closes or hangs is noticed, and holds up nothing."""

import multiprocessing
from collections.abc import Iterator

import pytest

from busim.bench import worker
from busim.bench.order import INTERRUPTED, SCREEN_GONE
from busim.bench.worker import ENDED, SAY, PipeTalk


class Pipe:
    def __init__(self) -> None:
        self.ours, theirs = multiprocessing.Pipe()
        self.asked = False
        self.talk = PipeTalk(theirs, lambda: self.asked)

    def close(self) -> None:
        self.ours.close()
        self.talk.close(None)
        self.talk.connection.close()


@pytest.fixture
def pipe() -> Iterator[Pipe]:
    pipe = Pipe()
    yield pipe
    pipe.close()


def test_words_arrive_and_answers_come_back(pipe: Pipe) -> None:
    pipe.talk.say("listening")
    assert pipe.ours.recv() == (SAY, "listening")
    assert pipe.talk.answer() is None
    pipe.ours.send("shown")
    assert pipe.talk.ended() == ""  # an answer that waits is no end
    assert pipe.talk.answer() == "shown"
    pipe.asked = True
    assert pipe.talk.ended() == INTERRUPTED


def test_the_last_words_are_heard(pipe: Pipe) -> None:
    assert pipe.talk.close("neutral")
    assert pipe.ours.recv() == (ENDED, "neutral")


def test_an_end_that_closes_is_noticed(pipe: Pipe) -> None:
    assert pipe.talk.ended() == ""
    pipe.ours.close()
    assert pipe.talk.ended() == SCREEN_GONE
    pipe.talk.say("nobody hears it")  # and nothing comes of it
    assert not pipe.talk.close("nor this")


def test_an_end_that_hangs_is_noticed_and_holds_up_nothing(pipe: Pipe, monkeypatch: pytest.MonkeyPatch) -> None:
    """It reads nothing: the pipe fills up, what else is said waits, and after three seconds of the clock that is an end."""
    now = [worker.clock_ns()]
    monkeypatch.setattr(worker, "clock_ns", lambda: now[0])
    monkeypatch.setattr(worker, "LAST_WORDS_S", 0.05)
    for _ in range(100):
        pipe.talk.say("x" * 100_000)
    assert pipe.talk.ended() == ""
    now[0] += worker.HANGS_NS + 1
    # The thread may still have put one through at the new time.
    ended = [pipe.talk.ended()]
    now[0] += worker.HANGS_NS + 1
    ended.append(pipe.talk.ended())
    assert SCREEN_GONE in ended
    assert not pipe.talk.close("nobody hears it")
