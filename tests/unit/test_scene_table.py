"""Scenes at the table: levels set by hand, saved into the boat file, taken back, refused; nothing on board follows them."""

from pathlib import Path

import pytest
from textual.app import App
from textual.widgets import Static

from busim import screen_labels as labels
from busim.boat.load import load_boat
from busim.dashboard.asking import SceneScreen
from busim.dashboard.scene_table import LEFT_ALONE, SceneTable
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.snapshot import take
from busim.simulator.kinds import load_kinds

from .screen_rig import CONFIGS, Table, play


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    path = tmp_path / "boat.yaml"
    path.write_bytes((CONFIGS / "marsh_tern" / "boat.yaml").read_bytes())
    return path


def fresh() -> SceneTable:
    loaded = load_boat(CONFIGS / "marsh_tern")
    rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
    return SceneTable(loaded.boat, take(rehearsal), {})


def test_levels_go_in_steps_and_a_switched_zone_is_on_or_off() -> None:
    table = fresh()
    for by, level in ((1, 50), (1, 100), (-1, 50), (-1, 0), (-1, 0)):
        table.step("galley", by)
        assert table.levels["galley"] == level
    table.levels["galley"] = 15
    table.step("galley", -1)
    assert table.levels["galley"] == 0
    table.step("deck_floods", 1)
    assert table.levels["deck_floods"] == 1000
    table.leave("galley")
    table.step("galley", 1)
    assert table.levels["galley"] == 50


def test_colours_go_round_and_only_where_a_zone_has_any() -> None:
    table = fresh()
    table.next_colour("galley")
    assert not table.colours
    seen = []
    for _ in range(20):
        table.next_colour("saloon_ceiling")
        seen.append(table.colours["saloon_ceiling"])
    assert seen[0] == "2700 K"
    assert seen.count("2700 K") > 1
    table.next_colour("chart_table")
    assert table.colours["chart_table"] == "#ff0000"


def test_a_scene_of_the_boat_is_begun_from_with_the_zones_it_names() -> None:
    table = fresh()
    table.next_scene()
    assert table.scene == "bright"
    assert table.levels["saloon_table"] == 1000
    assert table.levels["engine_room"] == LEFT_ALONE
    text = table.scene_text("bright")
    boat = load_boat(CONFIGS / "marsh_tern").boat
    assert (text.number, text.levels, text.fade_ms) == (1, boat.scenes["bright"].levels, 300)
    assert table.scene_text("other").number == 9, "the first that is free"
    assert {light.permille for light in table.lights() if light.name == "engine_room"} == {LEFT_ALONE}


@pytest.mark.slow
def test_set_by_hand_shown_saved_and_taken_back(mine: Path) -> None:
    text = mine.read_text(encoding="utf-8")

    async def keep(table: Table) -> None:
        table.go(1)
        await table.press("1", "w", "right", "right", "right", "up", "up", "c")
        assert labels.TABLE_HEAD in table.left
        assert "saloon_ceiling: 10 % warm" in table.left
        await table.press("left", "x", "v", "v")
        assert "begun from the scene evening" in table.left
        await table.press("right", "down", "0", "right", "up")
        table.go(1)
        assert not table.actions, "nothing on board was touched"
        await table.press("ctrl+s")
        await table.pilot.pause()
        from textual.widgets import Static

        await table.press("ctrl+u", *"my_evening")
        await table.pilot.pause()
        shown = str(table.app.screen.query_one("#difference", Static).render())
        assert "+  my_evening:" in shown
        assert "-" not in {line[:1] for line in shown.splitlines()}, "nothing is taken away"
        assert mine.read_text(encoding="utf-8") == text, "shown first"
        await table.press("enter")
        await until(table, lambda: mine.read_text(encoding="utf-8") != text)
        boat = load_boat(mine).boat
        evening = boat.scenes["evening"].levels
        assert boat.scenes["my_evening"].levels == {**evening, "saloon_ceiling": 0, "saloon_table": 500}
        assert list(boat.scenes)[-1] == "my_evening"
        await table.press("ctrl+z")
        await until(table, lambda: mine.read_text(encoding="utf-8") == text)
        await table.press("ctrl+z", "w")
        assert labels.TABLE_HEAD not in table.left

    play(keep, "marsh_tern", (120, 40), path=mine)


@pytest.mark.slow
def test_what_somebody_else_wrote_meanwhile_is_not_lost(mine: Path) -> None:
    """The boat file broken, or changed, while the rehearsal runs: the boat goes on as she was, and nothing is saved over it."""

    async def keep(table: Table) -> None:
        table.go(1)
        await table.press("w", "up", "ctrl+s")
        await table.pilot.pause()
        mine.write_text("boat: [broken\n", encoding="utf-8")
        await table.press("enter")
        await until(table, lambda: len(table.app._notifications) > 0)
        assert mine.read_text(encoding="utf-8") == "boat: [broken\n"
        assert any("changed by somebody else" in each.message for each in table.app._notifications)
        before_ns = table.rehearsal.now_ns
        table.go(1)
        assert table.rehearsal.now_ns > before_ns

    play(keep, "marsh_tern", (120, 40), path=mine)


def test_a_boat_that_came_with_busim_is_not_written_into() -> None:
    async def keep(table: Table) -> None:
        table.go(0.5)
        await table.press("w", "up", "ctrl+s", "ctrl+z")
        await table.pilot.pause()
        said = [each.message for each in table.app._notifications]
        assert said == [labels.NO_FILE, labels.SCENE_NOTHING]

    play(keep)


async def until(table: Table, done: object) -> None:
    """A thread writes the file: give it turns of the loop until it has."""
    for _ in range(50_000):
        await table.pilot.pause()
        if done():  # type: ignore[operator]
            return
    raise AssertionError("it never came")


async def test_what_would_change_is_seen_before_a_key_is_pressed() -> None:
    """All its lines: a text that grows after it was first laid out keeps the height of its first line."""

    class Alone(App[None]):
        def on_mount(self) -> None:
            text = "a: 1\nb: 2\n"
            self.push_screen(SceneScreen(Path("boat.yaml"), text, lambda name: f"{text}scenes:\n  {name}: {{}}\n", "evening"))

    app = Alone()
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        shown = app.screen.query_one("#difference", Static)
        assert shown.size.height >= 4
        assert "+  evening: {}" in str(shown.render())
