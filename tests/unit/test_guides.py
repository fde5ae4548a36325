"""Guided rehearsals: each followed by its own words, to an end that says what was seen and why."""

import pytest

from busim import screen_labels as labels
from busim.boat.load import load_boat
from busim.rehearsal.guides import BY_NAME, GUIDES, Guide, Guided, title_of

from .screen_rig import CONFIGS, Table, play

Steps = tuple[tuple[tuple[str, ...], float], ...]


def led(name: str, boat: str, *what: tuple[tuple[str, ...], float]) -> str:
    """Follow a guide: keys, then so many seconds, and so on. What it said at the end."""
    said: list[str] = []

    async def follow(table: Table) -> None:
        table.go(2)
        for step, (keys, seconds) in enumerate(what):
            assert table.app.guided is not None
            assert f"{step + 1} of {len(BY_NAME[name].steps)}" in table.banner, table.banner
            await table.press(*keys)
            table.go(seconds)
        table.go(5)  # until every requirement was judged anew
        assert table.app.guided is not None
        assert table.app.guided.over, table.banner
        said.append(" ".join(table.banner.split()))

    play(follow, boat, (160, 50), guide=name)
    assert " ".join(BY_NAME[name].why) in said[0]
    return said[0]


def test_first_light() -> None:
    assert "SEEN: light.press pass" in led("first_light", "first_boat", (("1", "enter"), 1.5), (("enter",), 2))


@pytest.mark.slow
def test_take_control_and_go_ahead() -> None:
    said = led("take_control", "first_boat", (("2", "0", "t"), 1), (("up",) * 5, 4), (("0",), 4))
    assert "SEEN: drive.engage_at_idle pass" in said


@pytest.mark.slow
def test_cut_the_cable() -> None:
    under_way: Steps = ((("2", "0", "t"), 1.0), (("up",) * 5, 4.0))
    broken: Steps = ((("4", "right", "right", "enter"), 1.0), (("2",), 4.0))
    mended: Steps = ((("m", "0"), 1.0), (("t",), 3.0))
    said = led("cut_the_cable", "first_boat", *under_way, *broken, *mended)
    assert "SEEN: drive.loss_to_neutral pass" in said
    assert "of 2,592 ms" in said, "4 m at 3 kn: 4 x 3600 / (3 x 1852) s"


@pytest.mark.slow
def test_hand_over_to_the_upper_deck() -> None:
    said = led("hand_over", "marsh_tern", (("2", "t"), 1.5), (("tab", "t"), 2))
    assert "in control: upper_deck" in said
    assert "SEEN: station.transfer pass" in said


@pytest.mark.slow
def test_the_night_scene() -> None:
    evening = (("1", "tab", "tab", *["right"] * 4, "enter"), 3.0)  # the saloon's panel, its fifth field
    night = (("tab", "tab", "enter"), 2.0)  # round to the wheelhouse's, its first field
    assert "SEEN: light.scene pass" in led("night_scene", "marsh_tern", evening, night)


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
def test_every_guide_says_what_was_seen_and_why_in_the_boats_own_words(guide: Guide) -> None:
    boat = load_boat(CONFIGS / "marsh_tern").boat
    assert len(guide.why) >= 2
    assert guide.judged
    assert guide.needs(boat)
    guided = Guided(guide, boat)
    assert "{" not in "".join(step.words.format(**guided.names) for step in guide.steps)
    assert title_of(BY_NAME["hand_over"], boat) == "hand over to upper_deck"


def test_a_guide_asks_for_nothing_that_the_boat_has_not() -> None:
    boat = load_boat(CONFIGS / "first_boat").boat
    assert [guide.name for guide in GUIDES if guide.needs(boat)] == ["first_light", "take_control", "cut_the_cable"]


def test_one_can_be_chosen_on_the_screen_and_left_again() -> None:
    async def choose(table: Table) -> None:
        table.go(0.5)
        await table.press("g")
        await table.pilot.pause()
        await table.press("3")
        await table.settle()
        assert labels.GUIDE_TITLES["cut_the_cable"] in table.banner
        table.app.be_led(None)
        assert labels.GUIDE_TITLES["cut_the_cable"] not in table.banner

    play(choose)
