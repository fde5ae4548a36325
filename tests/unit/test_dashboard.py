"""The screen of a rehearsal, driven by a pilot on a clock of the test's own: keys, mouse, sizes, looks, looking back."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from busim import labels
from busim.boat.load import load_boat
from busim.dashboard import views
from busim.dashboard.app import RehearsalApp
from busim.dashboard.board import Board
from busim.dashboard.drawing import Drawing, Target, fitted
from busim.dashboard.looks import DAY, DUSK, LOOKS, NIGHT, glow
from busim.dashboard.views import VIEWS, Choice
from busim.rehearsal.guides import BY_NAME as GUIDES_BY_NAME
from busim.rehearsal.guides import GUIDES, Guide, Guided
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.snapshot import take
from busim.run.run import carry_out
from busim.simulator.kinds import load_kinds
from busim.units import SECOND

CONFIGS = Path(__file__).parents[2] / "configs"


class Table:
    """An app on a table: `go` lets time pass, in steps a timer would take."""

    def __init__(self, boat: str) -> None:
        loaded = load_boat(CONFIGS / boat)
        self.rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
        self.now_s = 0.0
        self.app = RehearsalApp(self.rehearsal, loaded.boat.boat.name, lambda: self.now_s, driven=True)
        self.pilot: Pilot[Any]

    def go(self, seconds: float) -> None:
        for _ in range(round(seconds / 0.25)):
            self.now_s += 0.25
            self.app.tick()

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)

    def text(self, board: Board | None = None) -> str:
        app = self.app
        boards = [board] if board is not None else [app.status, app.banner, app.left, app.timeline, app.keys]
        return "\n".join(line.plain for each in boards for line in each.lines)

    def target(self, board: Board, *what: Any) -> Target:
        return next(target for target in board.targets if target.what[: len(what)] == what)


def play(what: Callable[[Table], Awaitable[None]], boat: str = "first_boat", size: tuple[int, int] = (100, 40)) -> Table:
    async def run() -> Table:
        table = Table(boat)
        async with table.app.run_test(size=size) as pilot:
            table.pilot = pilot
            await pilot.pause()
            await what(table)
        return table

    return asyncio.run(run())


# ------------------------------------------------------------------------------------------------ what a newcomer does


def test_take_control_go_ahead_cut_the_cable_and_read_why() -> None:
    async def newcomer(table: Table) -> None:
        table.go(2)
        assert labels.BANNER_NOBODY in table.text(table.app.banner)
        await table.press("t")
        table.go(1)
        assert "in control: wheelhouse" in table.text(table.app.banner)
        await table.press(*["up"] * 6)
        table.go(4)
        assert "is AHEAD" in table.text(table.app.left)
        await table.press("4", "enter")
        table.go(4)
        banner = table.text(table.app.banner)
        assert labels.BANNER_FORCED in banner
        assert "nothing valid from the lever in control" in banner
        assert "1 faults on" in banner
        await table.press("m", "2", "0")
        table.go(2)
        await table.press("t")
        table.go(2)
        assert "in control: wheelhouse" in table.text(table.app.banner)

    table = play(newcomer)
    loaded = load_boat(CONFIGS / "first_boat")
    table.rehearsal.advance(-(-table.rehearsal.now_ns // SECOND) * SECOND)
    again = carry_out(loaded.boat, loaded.plan, load_kinds(), table.rehearsal.scenario(), 1)
    assert again.digest == table.rehearsal.world.journal.digest, "what was played runs again without a screen"


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (160, 50)])
def test_every_view_fits_every_size(view: str, size: tuple[int, int]) -> None:
    async def look(table: Table) -> None:
        table.go(1)
        await table.press(str(VIEWS.index(view) + 1))
        table.go(0.5)
        assert f"view: {view}" in table.text(table.app.status)
        assert table.app.left.lines
        for y in range(table.app.left.size.height):
            assert table.app.left.render_line(y).cell_length == table.app.left.size.width
        assert bool(table.app.right.display) == (size[0] == 160 and view in ("boat", "helm"))

    play(look, "marsh_tern", size)


def test_too_small_says_so_and_a_larger_one_works_again() -> None:
    async def shrink(table: Table) -> None:
        table.go(0.5)
        await table.pilot.resize_terminal(40, 10)
        await table.pilot.pause()
        table.go(0.25)
        assert labels.TOO_SMALL in table.text(table.app.left)
        await table.pilot.resize_terminal(100, 30)
        await table.pilot.pause()
        table.go(0.25)
        assert labels.TOO_SMALL not in table.text(table.app.left)

    play(shrink)


# ------------------------------------------------------------------------------------------------ mouse


@pytest.mark.slow
def test_a_lever_is_dragged_along_its_line() -> None:
    async def drag(table: Table) -> None:
        table.go(2)
        await table.press("t")
        table.go(1)
        target = table.target(table.app.left, "lever", "wheelhouse", "engine")
        await table.pilot.mouse_down(table.app.left, offset=(target.left + 15, target.line))
        for column in (18, 22, 26):
            await table.pilot.hover(table.app.left, offset=(target.left + column, target.line))
        await table.pilot.mouse_up(table.app.left, offset=(target.left + 26, target.line))
        await table.pilot.pause()
        table.go(1)
        assert table.rehearsal.listener.levers["wheelhouse", "engine"] == target.permille(target.left + 26)
        assert table.rehearsal.listener.levers["wheelhouse", "engine"] > 600

    play(drag)


def test_keys_and_fields_can_be_touched() -> None:
    async def touch(table: Table) -> None:
        table.go(2)
        key = table.target(table.app.left, "key", "wheelhouse", "take")
        await table.pilot.click(table.app.left, offset=(key.left + 1, key.line))
        await table.press("1")
        table.go(1)
        assert "in control: wheelhouse" in table.text(table.app.banner)
        field = table.target(table.app.left, "touch", "companionway", "lamp")
        await table.pilot.click(table.app.left, offset=(field.left + 1, field.line))
        await table.pilot.pause()
        table.go(1)
        assert "cabin_lamp lit" in table.text(table.app.left)
        assert "done" in table.text(table.app.left)

    play(touch)


def test_a_slider_snaps_to_neutral_and_ends_at_its_ends() -> None:
    target = Target(0, 10, 41, ("lever",), slides=True)
    assert [target.permille(column) for column in (10, 25, 40)] == [-1000, 0, 1000]
    assert target.permille(60) == 1000
    assert target.permille(0) == -1000


# ------------------------------------------------------------------------------------------------ time


@pytest.mark.slow
def test_paused_slower_faster() -> None:
    async def pace(table: Table) -> None:
        table.go(1)
        await table.press("space")
        before_ns = table.rehearsal.now_ns
        table.go(1)
        assert table.rehearsal.now_ns == before_ns
        assert labels.PAUSED in table.text(table.app.status)
        await table.press("space", "minus")
        table.go(1)
        assert table.rehearsal.now_ns == before_ns + SECOND // 2
        await table.press("plus", "plus")
        table.go(1)
        assert table.rehearsal.now_ns == before_ns + SECOND // 2 + 2 * SECOND
        for _ in range(9):
            await table.press("plus")
        table.go(0.25)
        assert labels.LATE.strip() in table.text(table.app.status), "ten times real time is more than is done at once"

    play(pace)


@pytest.mark.slow
def test_looking_back_shows_the_boat_as_she_was_and_does_nothing_to_her() -> None:
    async def back(table: Table) -> None:
        table.go(2)
        await table.press("t")
        table.go(2)
        await table.press(*["left_square_bracket"] * 12)
        assert labels.BANNER_NOBODY in table.text(table.app.banner)
        actions = len(table.rehearsal.script.actions)
        await table.press("up", "n", "enter", "m", "u")
        key = table.target(table.app.left, "key", "wheelhouse", "take")
        await table.pilot.click(table.app.left, offset=(key.left + 1, key.line))
        assert len(table.rehearsal.script.actions) == actions
        await table.press("right_square_bracket", "end")
        table.go(0.25)
        assert "in control: wheelhouse" in table.text(table.app.banner)

    play(back)


# ------------------------------------------------------------------------------------------------ other keys


@pytest.mark.slow
def test_the_pendant_is_pulled_and_plugged_in_again() -> None:
    async def plug(table: Table) -> None:
        table.go(1)
        await table.press("u")
        table.go(1)
        assert [name for name, _ in table.rehearsal.on.values()] == ["unplugged"]
        await table.press("u")
        table.go(1)
        assert not table.rehearsal.on

    play(plug, "marsh_tern")


@pytest.mark.slow
def test_station_panel_field_wheel_filter_help() -> None:
    async def keys(table: Table) -> None:
        table.go(1)
        await table.press("tab", "right", "right", "left")
        table.go(0.5)
        assert table.rehearsal.listener.wheels["upper_deck"] == 100
        await table.press("1", "tab", "right", "enter")
        table.go(0.5)
        assert table.rehearsal.script.actions[-1]["touch"]["panel"] == "upper_deck_panel"
        await table.press("h")
        assert table.rehearsal.script.actions[-1]["touch"]["for_ms"] == 2000
        await table.press("3", "slash")
        table.go(0.5)
        assert 'with "wheelhouse"' in table.text(table.app.left)
        await table.press("f1")
        assert all(keys_words in table.text(table.app.left) for keys_words in list(labels.KEYS_OF_THE_SCREEN)[:5])
        await table.press("l", "l", "l", "5")
        table.go(1)
        assert "alarm.shown" in table.text(table.app.left)

    play(keys, "marsh_tern", (100, 60))


def test_a_node_that_breaks_the_rules_stops_the_boat_and_not_the_screen() -> None:
    async def broken(table: Table) -> None:
        table.go(1)
        node = table.rehearsal.world.hosts["wheelhouse"].node
        node.deadline_ns = 0
        table.rehearsal.world.hosts["wheelhouse"].make_node = lambda: None  # type: ignore[assignment,return-value]
        table.rehearsal.world.plan_steps([(table.rehearsal.now_ns + 10, 0, "begin_fault", (99, "nothing", None))])
        with pytest.raises(KeyError):
            table.rehearsal.advance(table.rehearsal.now_ns + SECOND)

    play(broken)


# ------------------------------------------------------------------------------------------------ drawings


def test_every_look_says_the_same_words() -> None:
    loaded = load_boat(CONFIGS / "marsh_tern")
    rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
    rehearsal.advance(2 * SECOND)
    snapshot = take(rehearsal)
    for draw in (views.boat, views.helm):
        texts = {tuple(line.plain for line in draw(snapshot, Choice(), look, 100).lines) for look in LOOKS}
        assert len(texts) == 1


def test_night_is_red_and_low() -> None:
    """Long wavelengths and low levels spare an adapted eye (Naval submarine laboratory report 1036, 1984)."""
    for style in (NIGHT.plain, NIGHT.strong, NIGHT.quiet, NIGHT.good, NIGHT.warning, glow(NIGHT, 1000, (255, 255, 255))):
        for colour in (word for word in style.split() if word.startswith("#")):
            red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
            assert max(green, blue) <= max(red // 2, 0x60)
    assert glow(DAY, 0, (255, 255, 255)).endswith("#000000")
    assert glow(DUSK, 1000, (255, 0, 0)) != glow(DUSK, 100, (255, 0, 0))


def test_words_fit_exactly() -> None:
    assert fitted("wheelhouse", 5) == "whee…"
    assert fitted("é", 3) == "é  "
    assert len(fitted("漢字", 5)) == 3, "wide letters take two cells"


def test_drawings_side_by_side_keep_their_targets() -> None:
    left, right = Drawing(), Drawing()
    left.put(("one", ""))
    left.touch(0, 3, "left")
    right.put(("two", ""))
    right.gap()
    right.put(("three", ""))
    right.touch(1, 4, "right")
    both = left.beside(right, 10)
    assert [line.plain for line in both.lines] == ["one       two", "          ", "          three"]
    assert [(target.line, target.left, target.what) for target in both.targets] == [(0, 0, ("left",)), (2, 11, ("right",))]


# ------------------------------------------------------------------------------------------------ being led, and keeping scenes


def led(name: str, boat: str, *what: tuple[tuple[str, ...], float]) -> RehearsalApp:
    """Follow a guide: keys, then so many seconds, and so on. The app as it was at the end."""

    async def follow(table: Table) -> None:
        table.app.guided = Guided(GUIDES_BY_NAME[name])
        table.go(2)
        for keys, seconds in what:
            await table.press(*keys)
            table.go(seconds)
        assert table.app.guided.step == len(GUIDES_BY_NAME[name].steps), table.app.guided.words
        assert all(words in table.text(table.app.banner) for words in GUIDES_BY_NAME[name].end)

    return play(follow, boat, (160, 50)).app


def test_first_light() -> None:
    led("first_light", "first_boat", (("1", "enter"), 1.5), (("enter",), 1.5))


@pytest.mark.slow
def test_take_control_and_go_ahead() -> None:
    led("take_control", "first_boat", (("t",), 1), (("up",) * 4, 4), (("0",), 4))


@pytest.mark.slow
def test_cut_the_cable() -> None:
    under_way = [(("t",), 1.0), (("up",) * 5, 4.0)]
    cut_and_mended = [(("4", "right", "right", "enter"), 1.0), (("2",), 4.0), (("m", "0"), 2.0), (("t",), 2.0)]
    led("cut_the_cable", "first_boat", *under_way, *cut_and_mended)


@pytest.mark.slow
def test_hand_over() -> None:
    led("hand_over", "marsh_tern", (("t",), 1.5), (("tab", "t"), 2))


@pytest.mark.slow
def test_the_night_scene() -> None:
    evening = (("1", "tab", "tab", *["right"] * 4, "enter"), 3.0)  # the saloon's panel, its fifth field
    night = (("tab", "tab", "enter"), 2.0)  # round to the wheelhouse's, its first field
    led("night_scene", "marsh_tern", evening, night)


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.name)
def test_every_guide_says_what_was_seen_and_why(guide: Guide) -> None:
    assert len(guide.end) >= 2
    assert guide.needs(load_boat(CONFIGS / "marsh_tern").boat)
    assert all(step.words for step in guide.steps)


@pytest.mark.slow
def test_the_lights_as_they_are_become_a_scene_and_can_be_taken_back(tmp_path: Path) -> None:
    path = tmp_path / "boat.yaml"
    text = (CONFIGS / "marsh_tern" / "boat.yaml").read_text(encoding="utf-8")
    path.write_text(text, encoding="utf-8")

    async def keep(table: Table) -> None:
        table.app.path, table.app.text = path, text
        table.go(2)
        await table.press("1", "tab", "tab", *["right"] * 4, "enter")  # evening
        table.go(3)
        await table.press("w")
        await table.pilot.pause()
        await table.press("ctrl+u", *"my_evening", "enter")
        await table.pilot.pause()
        scenes = load_boat(tmp_path).boat.scenes
        assert scenes["my_evening"].levels["saloon_table"] == pytest.approx(scenes["evening"].levels["saloon_table"], abs=5)
        assert scenes["my_evening"].colours["saloon_floor"] == "#ff9040"
        await table.press("ctrl+z")
        await table.pilot.pause()
        assert path.read_text(encoding="utf-8") == text
        await table.press("w")
        await table.pilot.pause()
        path.write_text(text + "# somebody else\n", encoding="utf-8")
        await table.press("enter")
        await table.pilot.pause()
        assert path.read_text(encoding="utf-8") == text + "# somebody else\n", "what somebody else wrote is not lost"

    play(keep, "marsh_tern", (120, 40))
