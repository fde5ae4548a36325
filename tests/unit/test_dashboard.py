"""The screen of a rehearsal: what its keys and its mouse do, time, looking back, what is recorded."""

import pytest

from busim import screen_labels as labels
from busim.boat.load import load_boat
from busim.dashboard.drawing import Target
from busim.dashboard.keyed import VIEWS
from busim.host.host import NodeError
from busim.rehearsal.snapshot import take
from busim.run.run import carry_out
from busim.simulator.kinds import load_kinds
from busim.units import SECOND

from .screen_rig import CONFIGS, Table, play

# ------------------------------------------------------------------------------------------------ what a newcomer does


def test_take_control_go_ahead_cut_the_cable_and_read_why() -> None:
    async def newcomer(table: Table) -> None:
        table.go(2)
        assert "NOBODY IN CONTROL: since power came, nobody has taken it" in table.banner
        await table.press("t")
        table.go(1)
        assert "in control: wheelhouse" in table.banner
        await table.press(*["up"] * 6)
        table.go(4)
        assert "is AHEAD" in table.left
        await table.press("4", "enter")
        table.go(4)
        assert labels.FORCED_NEUTRAL in table.banner
        assert "In control: nobody" in table.banner
        assert "Why: nothing valid from the lever in control" in " ".join(table.banner.split())
        assert "EMERGENCY hears nothing" in table.banner
        assert "faults on: cut" in table.banner
        await table.press("m", "2", "0")
        table.go(2)
        await table.press("t")
        table.go(2)
        assert "in control: wheelhouse" in table.banner

    table = play(newcomer)
    loaded = load_boat(CONFIGS / "first_boat")
    table.rehearsal.advance(-(-table.rehearsal.now_ns // SECOND) * SECOND)
    again = carry_out(loaded.boat, loaded.plan, load_kinds(), table.rehearsal.scenario(), 1)
    assert again.digest == table.rehearsal.world.journal.digest, "what was played runs again without a screen"


def test_a_screen_that_draws_seldom_or_often_changes_nothing_on_board() -> None:
    digests = []
    for step in (0.05, 0.5):

        async def watch(table: Table, step: float = step) -> None:
            while table.now_s < 2.99:
                table.now_s = round(table.now_s + step, 3)
                table.app.tick()
            table.rehearsal.advance(3 * SECOND)

        digests.append(play(watch).rehearsal.world.journal.digest)
    assert digests[0] == digests[1]


# ------------------------------------------------------------------------------------------------ sizes


@pytest.mark.slow
@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (160, 50)])
def test_every_view_fits_every_size(view: str, size: tuple[int, int]) -> None:
    async def look(table: Table) -> None:
        table.go(1)
        await table.press(str(VIEWS.index(view) + 1))
        table.go(0.5)
        assert f"{VIEWS.index(view) + 1} {view.upper()}]" in table.status
        app = table.app
        assert app.left.lines
        assert len(app.left.lines) <= app.left.size.height, "nothing is drawn below the screen's edge"
        assert len(app.banner.lines) == app.banner.size.height
        for board in (app.left, app.timeline, app.keys, app.status):
            for y in range(board.size.height):
                assert board.render_line(y).cell_length == board.size.width
        together = size[0] == 160 and view in ("boat", "helm")
        assert bool(app.right.display) == together
        if together:
            assert "Nodes: age of the last heartbeat" in table.left, "boat, helm and nodes together"
            assert "mast_lights" in table.left

    play(look, "marsh_tern", size)


def test_too_small_says_so_and_a_larger_one_works_again() -> None:
    async def shrink(table: Table) -> None:
        table.go(0.5)
        await table.pilot.resize_terminal(40, 10)
        await table.settle()
        table.go(0.25)
        assert "This screen is too small" in table.left
        await table.pilot.resize_terminal(100, 30)
        await table.settle()
        table.go(0.25)
        assert "too small" not in table.left
        assert "wheelhouse" in table.left

    play(shrink)


# ------------------------------------------------------------------------------------------------ mouse


@pytest.mark.slow
def test_a_lever_is_dragged_along_its_line() -> None:
    async def drag(table: Table) -> None:
        table.go(2)
        await table.press("t")
        table.go(1)
        await table.settle()
        target = table.target(table.app.left, "lever", "wheelhouse", "engine")
        await table.pilot.mouse_down(table.app.left, offset=(target.left + 15, target.line))
        for column in (18, 22, 26):
            await table.pilot.hover(table.app.left, offset=(target.left + column, target.line))
        await table.pilot.mouse_up(table.app.left, offset=(target.left + 26, target.line))
        await table.settle()
        table.go(1)
        assert table.rehearsal.listener.levers["wheelhouse", "engine"] == target.permille(target.left + 26)
        assert table.rehearsal.listener.levers["wheelhouse", "engine"] > 600

    play(drag)


def test_keys_views_and_fields_can_be_touched() -> None:
    async def touch(table: Table) -> None:
        table.go(2)
        await table.click(table.app.left, "key", "wheelhouse", "take")
        await table.click(table.app.status, "view", "boat")
        table.go(1)
        assert "in control: wheelhouse" in table.banner
        await table.click(table.app.left, "touch", "companionway", "lamp")
        table.go(1)
        assert "█████ lit" in table.left
        assert "[lamp] done" in table.left

    play(touch)


@pytest.mark.slow
def test_faults_are_chosen_broken_and_mended_by_mouse() -> None:
    async def touch(table: Table) -> None:
        table.go(1)
        await table.press("4")
        await table.click(table.app.left, "fault", 1)
        await table.click(table.app.left, "place", 1)
        await table.click(table.app.left, "break")
        table.go(0.5)
        assert [name for name, _ in table.rehearsal.on.values()] == ["wire_open"]
        await table.click(table.app.left, "mend", 0)
        table.go(0.5)
        assert not table.rehearsal.on

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
        assert labels.PAUSED in table.status
        await table.press("space", "minus")
        table.go(1)
        assert table.rehearsal.now_ns == before_ns + SECOND // 2
        await table.press("plus", "plus")
        table.go(1)
        assert table.rehearsal.now_ns == before_ns + SECOND // 2 + 2 * SECOND
        for _ in range(9):
            await table.press("plus")
        assert "x 10" in table.status
        table.now_s += 60
        table.app.tick()
        assert labels.LATE.strip() in table.status, "ten minutes are more than can be done at once"
        assert table.rehearsal.now_ns < 60 * SECOND
        for _ in range(9):
            await table.press("minus")
        assert "x 0.1" in table.status

    play(pace)


@pytest.mark.slow
def test_looking_back_shows_the_whole_boat_as_she_was_and_does_nothing_to_her() -> None:
    async def back(table: Table) -> None:
        table.go(2)
        early = take(table.rehearsal)
        await table.press("t")
        table.go(2)
        await table.press(*["up"] * 5)
        table.go(3)
        now = take(table.rehearsal)
        await table.press(*["left_square_bracket"] * 3)
        assert "LOOKING BACK" in table.screen()
        await table.press("home", "right_square_bracket")
        assert "NOBODY IN CONTROL" in table.banner
        assert table.app.snapshot().drives[0].true == early.drives[0].true != now.drives[0].true
        actions = len(table.actions)
        await table.press("up", "n", "enter", "m", "u", "4", "enter", "2", "t", "e", "d")
        await table.click(table.app.left, "key", "wheelhouse", "take")
        assert len(table.actions) == actions
        assert not table.rehearsal.on
        before_ns = table.app.snapshot().at_ns
        table.go(1)
        assert table.app.snapshot().at_ns == before_ns, "the picture stands while she goes on"
        await table.press("end")
        table.go(0.25)
        assert "in control: wheelhouse" in table.banner
        target = table.app.timeline.targets[0]
        await table.pilot.click(table.app.timeline, offset=(12, target.line))
        assert table.app.back == target.what[1]

    play(back)


def test_verdicts_are_those_of_the_moment_looked_at() -> None:
    async def back(table: Table) -> None:
        table.go(2)
        await table.press("t", "5")
        table.go(8)
        assert "station.transfer" in table.left
        assert any(each.id == "station.transfer" and each.verdict.startswith("pass") for each in table.app.snapshot().verdicts)
        await table.press("home")
        assert not any(each.id == "station.transfer" and each.verdict.startswith("pass") for each in table.app.snapshot().verdicts)

    play(back, size=(100, 60))


# ------------------------------------------------------------------------------------------------ other keys


@pytest.mark.slow
def test_the_pendant_is_pulled_and_plugged_in_again() -> None:
    async def plug(table: Table) -> None:
        table.go(1)
        await table.press("u")
        table.go(1)
        assert [name for name, _ in table.rehearsal.on.values()] == ["unplugged"]
        assert labels.UNPLUGGED in table.left
        await table.press("u")
        table.go(1)
        assert not table.rehearsal.on
        await table.click(table.app.left, "plug", "pendant")
        table.go(0.5)
        assert table.rehearsal.unplugged() == {1: "pendant"}

    play(plug, "marsh_tern", (100, 60))


@pytest.mark.slow
def test_levers_wheel_panel_fields_and_every_key_of_a_station() -> None:
    async def keys(table: Table) -> None:
        table.go(1)
        await table.press("tab", "right", "right", "left")
        table.go(0.5)
        assert table.rehearsal.listener.wheels["upper_deck"] == 100
        await table.press("c", "d", "up", "up", "d", "up")
        table.go(0.5)
        assert table.rehearsal.listener.wheels["upper_deck"] == 0
        assert table.rehearsal.listener.levers["upper_deck", "port"] == 200
        assert table.rehearsal.listener.levers["upper_deck", "starboard"] == 100
        await table.press("n", "a", "s", "o")
        assert [action["key"]["name"] for action in table.actions[-4:]] == ["neutral_now", "acknowledge", "silence", "lock_out"]
        assert table.actions[-1]["key"]["for_ms"] > 3000, "held for as long as it takes"
        await table.press("1", "tab", "right", "enter")
        assert table.actions[-1]["touch"]["panel"] == "upper_deck_panel"
        await table.press("h")
        assert table.actions[-1]["touch"]["for_ms"] == 2000
        await table.press("down", "down", "up")
        assert table.app.choice.field == 1

    play(keys, "marsh_tern", (100, 60))


@pytest.mark.slow
def test_traffic_is_filtered_and_held() -> None:
    async def bus(table: Table) -> None:
        table.go(1)
        await table.press("3", "slash")
        await table.pilot.pause()
        await table.press(*"up", "space", *"t", "enter")
        await table.settle()
        assert table.app.choice.filter == "up t", "letters typed there are no keys of the screen"
        assert not table.app.pace.paused
        assert not table.actions
        await table.press("slash")
        await table.pilot.pause()
        await table.press("ctrl+u", *"DRIVE_state", "enter")
        await table.settle()
        table.go(0.25)
        traffic = table.left.partition(labels.FRAMES_HEAD)[2]
        assert "drive_state" in traffic
        assert "lever" not in traffic
        await table.press("x")
        table.go(0.25)
        held = table.left.partition(labels.FRAMES_HEAD)[2]
        table.go(1)
        assert table.left.partition(labels.FRAMES_HEAD)[2] == held
        assert "HELD at" in held
        await table.press("x")
        table.go(0.5)
        assert "HELD" not in table.left

    play(bus)


def test_an_engine_that_stands_is_started_again() -> None:
    async def start(table: Table) -> None:
        table.go(1)
        await table.press("e")
        assert not table.actions, "it runs"
        stalls = next(n for n, (name, _, _) in enumerate(table.app.fault_names) if name == "engine_stalls")
        table.app.show_fault(stalls)
        await table.press("enter", "2")
        table.go(3)
        assert labels.ENGINE_OFF in table.left
        if table.rehearsal.on:
            await table.press("m")
        await table.press("e")
        table.go(5)
        assert labels.ENGINE_OFF not in table.left
        assert "crank" in table.actions[-1]

    play(start)


@pytest.mark.slow
def test_the_palette_knows_everything_and_help_knows_this_boat() -> None:
    async def palette(table: Table) -> None:
        table.go(1)
        named = {command.title: command for command in table.app.get_system_commands(table.app.screen)}
        assert {"view: bus", "look: night", "take control at pendant", "break: cut", "be led: the night scene"} <= set(named)
        assert not [title for title in named if "Theme" in title or "Screenshot" in title]
        named["take control at pendant"].callback()
        assert table.actions[-1]["key"] == {"station": "pendant", "node": None, "name": "take", "for_ms": 200}
        await table.press("f1")
        assert "Station upper_deck: may take port, starboard and steer" in table.left
        assert "neutral within 3,240 ms" in table.left, "5 m at 3 kn"
        await table.press(*["down"] * 20)
        assert "q  " in table.left
        assert labels.HELP_CAUTION[:40] in table.left
        await table.press("f1", "ctrl+p")
        await table.pilot.pause()
        assert len(table.app.screen_stack) > 1
        await table.press("escape")

    play(palette, "marsh_tern", (100, 40))


def test_a_node_that_breaks_the_rules_stops_the_boat_and_not_the_screen() -> None:
    async def broken(table: Table) -> None:
        table.go(1)

        def advance(until_ns: int) -> None:
            raise NodeError("wheelhouse: its deadline is in the past")

        table.rehearsal.advance = advance  # type: ignore[method-assign]
        table.go(1)
        assert "THE BOAT HAS STOPPED: wheelhouse: its deadline" in table.banner
        await table.press("3")
        assert "Nodes" in table.left

    play(broken)


def test_what_breaks_under_the_boat_ends_the_rehearsal_and_is_handed_on() -> None:
    async def broken(table: Table) -> None:
        def advance(until_ns: int) -> None:
            raise OSError(28, "No space left on device")

        table.rehearsal.advance = advance  # type: ignore[method-assign]
        table.go(0.25)

    table = play(broken)
    assert isinstance(table.app.failure, OSError)
    assert not table.app.is_running


def test_while_the_terminal_lags_nothing_is_drawn_and_the_boat_goes_on() -> None:
    async def lag(table: Table) -> None:
        table.go(1)
        drawn = table.status
        table.app._pictures_waiting = lambda: 30  # type: ignore[method-assign]
        table.go(2)
        assert table.status == drawn
        assert table.rehearsal.now_ns == 3 * SECOND

    play(lag)


def test_without_colours_night_is_grey_and_can_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")

    async def look(table: Table) -> None:
        table.app.show_look(1)
        assert table.app.looks[1].name == "night"
        assert not table.app.looks[1].red

    play(look)


def test_ctrl_c_ends_it_and_is_told() -> None:
    async def interrupt(table: Table) -> None:
        await table.press("ctrl+c")
        await table.pilot.pause()

    assert play(interrupt).app.interrupted
