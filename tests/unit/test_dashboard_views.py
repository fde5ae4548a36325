"""What is drawn of a snapshot: looks, the plan, words that fit; and whole screens at a fixed size, as letters."""

import os
from pathlib import Path

import pytest

from busim import screen_labels as labels
from busim.boat.load import load_boat
from busim.boat.model import BoatFile
from busim.dashboard.banner import banner
from busim.dashboard.choice import CHOSEN, Choice
from busim.dashboard.drawing import Drawing, fitted, fitted_name, wrapped
from busim.dashboard.looks import DAY, DUSK, LOOKS, NIGHT, NIGHT_GREY, Look, glow
from busim.dashboard.places import places_for, places_in_words
from busim.dashboard.plan import colour_name, laid_out, plan
from busim.dashboard.view_boat import boat
from busim.dashboard.view_faults import faults
from busim.dashboard.view_helm import helm
from busim.dashboard.view_verdicts import verdicts
from busim.faults.table import BY_NAME
from busim.protocol.tables import DRIVE_TABLE
from busim.rehearsal.facts import facts
from busim.rehearsal.lamp_look import mixed
from busim.rehearsal.rehearsal import Rehearsal
from busim.rehearsal.shown import LightShown, Snapshot
from busim.rehearsal.snapshot import take
from busim.simulator.kinds import load_kinds
from busim.units import SECOND
from nodes.lamp_colour import rgb_shares

from .screen_rig import CONFIGS, Table, play

SCREENS = Path(__file__).parent / "screens"


def snapshot_of(name: str = "marsh_tern", seconds: int = 2) -> Snapshot:
    loaded = load_boat(CONFIGS / name)
    rehearsal = Rehearsal(loaded.boat, loaded.plan, load_kinds(), 1)
    rehearsal.advance(seconds * SECOND)
    rehearsal.judge_some(1)
    return take(rehearsal)


def marsh_tern() -> BoatFile:
    return load_boat(CONFIGS / "marsh_tern").boat


# ------------------------------------------------------------------------------------------------ looks


def test_every_look_says_the_same_words() -> None:
    snapshot = snapshot_of()
    names = [("cut", "the trunk is cut", "no bit passes")]
    for draw in (
        lambda look: boat(snapshot, Choice(), look, 100, 30, active=True),
        lambda look: helm(snapshot, Choice(), look, 100, 30),
        lambda look: verdicts(snapshot, Choice(), look, 100, 30),
        lambda look: faults(snapshot, names, ["here"], Choice(), look, 100, 30),
        lambda look: banner(snapshot, look, 100),
    ):
        assert len({tuple(line.plain for line in draw(look).lines) for look in LOOKS}) == 1


def test_night_is_red_and_low() -> None:
    """Long wavelengths and low levels spare an adapted eye (Naval submarine laboratory report 1036, 1984)."""
    styles = [NIGHT.plain, NIGHT.strong, NIGHT.quiet, NIGHT.good, NIGHT.warning, NIGHT.alarm, NIGHT.chosen]
    for style in (*styles, glow(NIGHT, 1000, (255, 255, 255)), glow(NIGHT, 1000, (0, 0, 255))):
        for colour in (word for word in style.split() if word.startswith("#")):
            red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
            assert max(green, blue) <= max(red // 2, 0x60)


@pytest.mark.parametrize("look", [*LOOKS, NIGHT_GREY], ids=["dusk", "night", "day", "night, no colours"])
def test_words_stand_out_from_their_ground(look: Look) -> None:
    """Contrast of at least 4.5 to 1 by day and dusk, 3 to 1 at night, which is meant to be dim (WCAG 2.1, s. 1.4.3, and the
    relative luminance it defines)."""
    least = 3.0 if look is NIGHT else 4.5
    for name in ("plain", "strong", "good", "warning", "alarm", "chosen"):
        words = [word for word in getattr(look, name).split() if word.startswith("#")]
        light, dark = sorted((luminance(words[0]), luminance(words[1])), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= least, (name, words)


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_a_lamp_glows_the_brighter_the_more_it_is_lit_and_in_its_colour() -> None:
    grounds = [luminance(glow(DUSK, level, (255, 225, 180)).split()[-1]) for level in (0, 20, 300, 1000)]
    assert grounds == sorted(grounds)
    assert len(set(grounds)) == 4
    assert glow(DUSK, 500, (255, 0, 0)) != glow(DUSK, 500, (0, 0, 255))
    paper = luminance(DAY.background)
    assert luminance(glow(DAY, 1000, (255, 0, 0)).split()[-1]) < luminance(glow(DAY, 100, (255, 0, 0)).split()[-1]) < paper


@pytest.mark.parametrize("colour", [0xFF0000, 0xFF9040, 0xFFD0A0, 0xFFFFFF, 0x20FF60])
@pytest.mark.parametrize("channels", [3, 4])
def test_a_colour_asked_for_looks_like_it_on_the_screen(colour: int, channels: int) -> None:
    """There and back by way of CIE XYZ (IEC 61966-2-1), through the shares a driver gives its channels."""
    shares, out_of_reach = rgb_shares(colour, channels)
    said = 0
    for share in shares[:3]:
        said = said << 8 | (share * 255 + max(shares) // 2) // max(shares)
    wanted = tuple(colour >> place & 0xFF for place in (16, 8, 0))
    seen = mixed(said, has_white=channels == 4)
    assert out_of_reach or all(abs(one - other) <= 8 or one < 48 for one, other in zip(wanted, seen, strict=True)), (wanted, seen)
    assert colour_name(seen) == colour_name(wanted)  # type: ignore[arg-type]


# ------------------------------------------------------------------------------------------------ the plan


def light(name: str, at: tuple[float, float] | None, permille: int = 0) -> LightShown:
    return LightShown(name, "dimmable", permille, (255, 225, 180), at)


def test_the_plan_has_every_zone_where_the_boat_file_has_it() -> None:
    zones = tuple(each for each in snapshot_of().lights if each.kind != "navigation")
    for across in (1, 2, 4, 8):
        cells = laid_out(zones, across)
        names = [cell.name for row in cells for cell in row if cell is not None]
        assert sorted(names) == sorted(zone.name for zone in zones), "each once"
        assert all(len(row) == across for row in cells)
    cells = laid_out(zones, 6)
    row_of = {cell.name: number for number, row in enumerate(cells) for cell in row if cell is not None}
    column_of = {cell.name: number for row in cells for number, cell in enumerate(row) if cell is not None}
    assert row_of["saloon_table"] < row_of["saloon_ceiling"] < row_of["galley"], "port above, starboard below: the bow is right"
    assert column_of["fore_berth"] < column_of["engine_room"] < column_of["deck_floods"]


def test_zones_without_a_place_stand_in_the_order_of_the_file() -> None:
    cells = laid_out(tuple(light(name, None) for name in "abcde"), 4)
    assert [[cell.name if cell else "" for cell in row] for row in cells] == [
        ["a", "d", "", ""], ["b", "e", "", ""], ["c", "", "", ""],
    ]  # fmt: skip
    assert len(laid_out(tuple(light(name, None) for name in "abcdefghijklm"), 2)) == 7


def test_levels_and_colours_stand_there_in_words() -> None:
    shown = (
        light("lamp", (1.0, 0.0), 450),
        LightShown("floor", "colour", 80, (255, 0, 0), (2.0, 0.0)),
        LightShown("pump", "switched", 1000, (255, 225, 180), (3.0, 0.0)),
    )
    text = "\n".join(line.plain for line in plan(shown, DUSK, 80, 10).lines)
    assert "███░░ 45 %" in text
    assert "8 % red" in text
    assert "█████ lit" in text


# ------------------------------------------------------------------------------------------------ words


def test_every_forced_state_and_no_other_is_called_forced() -> None:
    """By the drive's own table: states that a loss leads to."""
    from busim.rehearsal import snapshot

    lost = {row.next_state for row in DRIVE_TABLE.rows if row.event == "lost"}
    assert lost <= set(snapshot._FORCED) | {"unclaimed", "waking"}
    assert {name for name, words in DRIVE_TABLE.states if words.startswith("control lost")} == set(snapshot._FORCED)


def test_what_is_chosen_is_marked_without_colour() -> None:
    snapshot = snapshot_of()
    for drawing in (helm(snapshot, Choice(station=1), DUSK, 100, 40), boat(snapshot, Choice(field=2), DUSK, 100, 40, active=True)):
        assert any(CHOSEN in line.plain for line in drawing.lines)
    text = [line.plain for line in helm(snapshot, Choice(station=1), DUSK, 100, 40).lines]
    assert [line for line in text if line.startswith(f"{CHOSEN}upper_deck")]


def test_a_place_on_a_trunk_names_its_neighbours() -> None:
    fault, model = BY_NAME["cut"], marsh_tern()
    words = places_in_words(fault, places_for(fault, model), model)
    assert "helm at 7 m, between upper_deck and aft_cabin_alarm" in words
    assert len(words) == len(set(words))


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(BY_NAME))
def test_no_two_places_read_alike(name: str) -> None:
    model, fault = marsh_tern(), BY_NAME[name]
    words = places_in_words(fault, places_for(fault, model), model)
    assert len(words) == len(set(words))


def test_help_says_what_this_boat_does_when_control_is_lost() -> None:
    """Limits by hand from the boat file: 5 m at 3 kn is 5 x 3600 / (3 x 1852) s = 3.240 s."""
    said = "\n".join(facts(marsh_tern()))
    for words in ("3,240 ms", "250 ms", "wheelhouse", "on a plug", "Cutout port", "carries on", "20 % at most", "14 zones"):
        assert words in said
    assert "because: she berths among other boats" in "\n".join(facts(load_boat(CONFIGS / "first_boat").boat))


def test_words_fit_exactly() -> None:
    assert fitted("wheelhouse", 5) == "whee…"
    assert fitted("é", 3) == "é  "
    assert len(fitted("漢字", 5)) == 3, "wide letters take two cells"
    assert wrapped("one two three", 10, indent=2) == ["one two", "  three"]


def test_a_long_name_is_cut_in_its_middle() -> None:
    assert fitted_name("starboard_drive", 10) == "starb…rive"
    assert fitted_name("starboard_cutout", 10) == "starb…tout"
    assert fitted_name("galley", 10) == "galley    "


def test_a_window_keeps_the_line_that_matters_and_says_what_is_left_out() -> None:
    drawing = Drawing()
    for number in range(20):
        drawing.put((f"line {number}", ""))
        drawing.touch(0, 5, "line", number)
    cut = drawing.window(7, 12, "")
    words = [line.plain.strip() for line in cut.lines]
    assert words[0] == "... 10 more above"
    assert words[-1] == "... 5 more below"
    assert "line 12" in words
    assert [(target.line, target.what[1]) for target in cut.targets] == [(place, 9 + place) for place in range(1, 6)]
    assert drawing.window(20, 3, "") is drawing


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


def test_every_label_of_the_screen_is_used() -> None:
    folders = [CONFIGS.parent / "busim" / folder for folder in ("dashboard", "rehearsal", "commands")]
    sources = [path for folder in folders for path in sorted(folder.glob("*.py"))]
    text = "".join(path.read_text(encoding="utf-8") for path in sources)
    names = [name for name in vars(labels) if name.isupper() and name not in labels.__all__]
    assert [name for name in names if f"labels.{name}" not in text] == []


# ------------------------------------------------------------------------------------------------ whole screens


async def under_way(table: Table) -> None:
    table.go(2)
    await table.press("t")
    table.go(1)
    await table.press("up", "up", "up")
    table.go(3)


async def cut(table: Table) -> None:
    await under_way(table)
    await table.press("4", "right", "enter", "2")
    table.go(4)


async def lit(table: Table) -> None:
    table.go(2)
    await table.press("1", "tab", "tab", *["right"] * 4, "enter")
    table.go(3)


async def everything(table: Table) -> None:
    await lit(table)
    await table.press("2", "t")
    table.go(2)


SHOTS = {
    "first_boat_cut_80x24": ("first_boat", (80, 24), cut),
    "marsh_tern_boat_80x24": ("marsh_tern", (80, 24), lit),
    "marsh_tern_helm_120x40": ("marsh_tern", (120, 40), under_way),
    "marsh_tern_all_160x50": ("marsh_tern", (160, 50), everything),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", SHOTS)
def test_the_screen_is_as_it_was_looked_at(name: str) -> None:
    """Letters only, on a clock moved by hand. `BUSIM_WRITE_SCREENS=1` writes them anew, to be looked at."""
    shot, size, what = SHOTS[name]
    seen = []

    async def look(table: Table) -> None:
        await what(table)
        await table.settle()
        seen.append(table.screen())

    play(look, shot, size)
    path = SCREENS / f"{name}.txt"
    if os.environ.get("BUSIM_WRITE_SCREENS"):
        path.write_text(seen[0], encoding="utf-8")
    assert seen[0] == path.read_text(encoding="utf-8")
