"""What becomes of each press of many, fed by hand: acted on, reported, lost, never registered."""

import pytest

from busim.events.journal import Journal
from busim.lighting.presses import ACTED_ON, LOST, NOT_REGISTERED, REPORTED, Ledger, Press, Touch
from busim.units import MS, SECOND

WAITS, DONE, FAILED, PARTLY = 1, 2, 3, 4
FADE_STEPS = 10


class Rig:
    """A panel with one field, for a lamp that is dark; touched at 1 s, and for the second time when a test says so."""

    def __init__(self, again_ms: int = 880) -> None:
        at_ns = [SECOND, SECOND + again_ms * MS]
        self.ledger = Ledger([Touch(each, 60 * MS, "panel", "touch.1", ("galley",)) for each in at_ns])
        self.journal = Journal()
        self.ledger.attach(self.journal)

    def event(self, ms: float, kind: str, *fields: int | str) -> None:
        self.journal.event(SECOND + round(ms * MS), kind, *fields)

    def touch(self, ms: int = 0) -> None:
        self.event(ms, "key", "panel", "touch.1", 1)
        self.event(ms + 20, "output", "panel", "field.1", WAITS)

    def fade(self, begins_ms: int, origin: int, end: int, steps: int = FADE_STEPS) -> None:
        """Ten steps, 10 ms apart; of them the first so many."""
        for step in range(steps):
            self.event(begins_ms + 10 * step, "lamp", "galley", origin + (end - origin) * (step + 1) // FADE_STEPS)

    def ends(self) -> list[Press]:
        self.ledger.finish()
        return self.ledger.done


def test_a_press_that_lights_the_lamp_was_acted_on() -> None:
    """Its wait is until a tenth of the change."""
    rig = Rig()
    rig.touch()
    rig.fade(50, 0, 1000)
    assert [(press.end, press.answered_ns) for press in rig.ends()] == [(ACTED_ON, SECOND + 50 * MS)]


@pytest.mark.parametrize("shows", [FAILED, PARTLY])
@pytest.mark.parametrize(("after_ms", "end"), [(1000, REPORTED), (1000.000001, LOST)])
def test_a_word_within_a_second_reports_it(after_ms: float, end: int, shows: int) -> None:
    rig = Rig(again_ms=2000)
    rig.touch()
    rig.event(after_ms, "output", "panel", "field.1", shows)
    assert [press.end for press in rig.ends()] == [end]


def test_neither_light_nor_a_word() -> None:
    rig = Rig()
    rig.touch()
    rig.touch(880)
    rig.event(1680, "output", "panel", "field.1", FAILED)
    assert [press.end for press in rig.ends()] == [LOST, REPORTED]


def test_a_panel_that_never_waited_registered_nothing() -> None:
    rig = Rig()
    rig.event(0, "key", "panel", "touch.1", 1)
    assert [press.end for press in rig.ends()] == [NOT_REGISTERED]


@pytest.mark.parametrize(("begins_ms", "before"), [(780, FADE_STEPS), (860, 2)])
def test_a_fade_that_the_next_press_overtakes_is_the_answer_to_the_one_before(begins_ms: int, before: int) -> None:
    """Acted on as late as a panel waits, 800 ms; the next press comes before the lamp has rested, or while it still moves."""
    rig = Rig()
    rig.touch()
    rig.fade(begins_ms, 0, 1000, before)
    rig.event(880, "key", "panel", "touch.1", 1)
    rig.event(900, "output", "panel", "field.1", WAITS)
    rig.fade(930, 100 * before, 0)
    assert [(press.end, press.answered_ns) for press in rig.ends()] == [
        (ACTED_ON, SECOND + begins_ms * MS),
        (ACTED_ON, SECOND + 930 * MS),
    ]


def test_a_fade_that_began_before_a_press_does_not_answer_it() -> None:
    rig = Rig(again_ms=60)
    rig.touch()
    rig.fade(50, 0, 1000, 2)
    rig.touch(60)
    assert [press.end for press in rig.ends()] == [ACTED_ON, LOST]
