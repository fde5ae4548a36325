"""The failure-mode table: the written rule of severity at its edges, the worst of many runs, what the crew is told, the page."""

from html.parser import HTMLParser
from typing import Any

import pytest

from busim import sweep_labels as words
from busim.boat.load import load_boat
from busim.boat.model import BoatFile
from busim.boat.shipped import shipped_folder
from busim.requirements.verdict import ACCEPTED, FAIL, PASS
from busim.sweep.crew import does, remains, sees, told_by
from busim.sweep.outcome import EmptyCells, Finding, Severity, SweptRun
from busim.sweep.page import page
from busim.sweep.rows import NEVER_REACHED, Row, gather
from busim.sweep.severity import ADRIFT, DANGER, LESS, NOTHING, TOLD, severity_of
from busim.sweep.words import card, plain_row, table_row
from busim.units import MS

from .swept_runs import QUIET, found, head, loss, run, verdict


@pytest.fixture(scope="module")
def boat() -> BoatFile:
    return load_boat(shipped_folder() / "marsh_tern").boat


def facts(**changed: Any) -> Severity:
    values = {name: changed.get(name, getattr(QUIET, name)) for name in Severity.__slots__}
    return Severity(**values)


# ------------------------------------------------------------------------------------------------ severity

SEVERITIES: dict[str, tuple[SweptRun, int]] = {
    "nothing": (run(), NOTHING),
    "told": (run(found=found(100)), TOLD),
    "a light is gone": (run(works_not=("lights",)), LESS),
    "a navigation light went dark": (run(severity=facts(dark=("stern_light",))), LESS),
    "thrust went and came": (run(thrust_lost_ns=5), LESS),
    "one drive of two lost": (run(losses=(loss(),), thrust_lost_ns=1), LESS),
    "a harmless requirement failed": (run(failed=("light.press",)), LESS),
    "both drives lost": (run(losses=(loss(), loss("starboard"))), ADRIFT),
    "no steering": (run(works_not=("steering",)), ADRIFT),
    "in gear without control": (run(severity=facts(in_gear=("port",))), DANGER),
    "an engine that races with its gear out": (run(severity=facts(off_idle=("port",))), LESS),
    "wrong way": (run(severity=facts(wrong_way=("port",))), DANGER),
    "rudder at the limit": (run(severity=facts(rudder_cdeg=-1000)), NOTHING),
    "rudder beyond": (run(severity=facts(rudder_cdeg=-1001)), DANGER),
    "a requirement against a hazard failed": (run(failed=("drive.loss_to_neutral",)), DANGER),
}


@pytest.mark.parametrize(("swept", "severity"), SEVERITIES.values(), ids=SEVERITIES.keys())
def test_severity_by_the_written_rule(swept: SweptRun, severity: int) -> None:
    assert severity_of(swept) == severity


def test_a_boat_of_one_drive_is_adrift_without_it() -> None:
    assert severity_of(run(works=("thrust engine",), losses=(loss("engine"),))) == ADRIFT


# ------------------------------------------------------------------------------------------------ rows


def whole(*runs: SweptRun) -> Row:
    rows = gather(runs)
    assert len(rows) == 1
    return rows[0].whole


def test_the_worst_and_the_middle_of_everything() -> None:
    row = whole(
        *(run(found=found(ms), losses=(loss(to_neutral_ms=ms + 1000, run_mm=ms),), thrust_again_ns=ms) for ms in (100, 900, 300)),
        run(works=("lights",), works_not=("steering",)),
    )
    assert (row.runs, row.slowest_out_ns, max(row.run_mm)) == (4, 1900 * MS, 900)
    assert (row.works, row.works_not) == ({"lights"}, {"steering"})
    said = table_row(gather([run(found=found(100), losses=(loss(),))])[0])
    assert said == ("cut", "helm at 12 m", "told", "0.10 s", "2.00 s", "3.0 m", "-", "pass")


def test_a_gear_that_never_came_out_is_the_slowest() -> None:
    row = whole(run(losses=(loss(to_neutral_ms=2900),)), run(losses=(loss(to_neutral_ms=None),)))
    assert (row.slowest_out_ns, row.never_out) == (NEVER_REACHED, 1)
    assert row.worst is not None
    assert row.worst.losses[0].to_neutral_ns is None


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        ([run()], PASS),
        ([run(), run(verdicts=(verdict("boat.availability", ACCEPTED),))], ACCEPTED),
        ([run(verdicts=(verdict("boat.availability", ACCEPTED),)), run(failed=("light.press",))], FAIL),
    ],
)
def test_one_failure_is_a_failure_and_a_weakness_no_pass(runs: list[SweptRun], said: str) -> None:
    assert whole(*runs).verdict == said


def test_loss_without_need_counts_whether_accepted_or_not() -> None:
    row = whole(run(), run(failed=("boat.availability",)), run(verdicts=(verdict("boat.availability", ACCEPTED),)))
    assert row.unneeded == 2


def test_failed_faults_come_first_then_the_severest_then_by_name() -> None:
    rows = gather(
        [
            run(fault="b"), run(fault="a"), run(fault="c", severity=facts(in_gear=("port",))),
            run(fault="d", failed=("light.press",)), run(fault="e", works_not=("steering",)), run(fault="e", place="q"),
        ]
    )  # fmt: skip
    assert [row.whole.fault for row in rows] == ["d", "c", "e", "a", "b"]
    assert [row.place for row in rows[2].places] == ["helm at 12 m", "q"]


def test_a_fault_is_latent_where_nobody_was_ever_told_and_nothing_came_of_it() -> None:
    assert whole(run(), run()).latent
    assert not whole(run(), run(found=found(10))).latent
    assert not whole(run(), run(works_not=("lights",))).latent


# ------------------------------------------------------------------------------------------------ words


def test_the_crew_is_told_what_is_seen_and_not_what_only_a_record_shows() -> None:
    seen = (Finding("port_drive", "row 23", 5), *found(9), *found(20, "upper_deck", "alarm node lost, port_drive"))
    row = whole(run(found=seen))
    assert sees(row) == "wheelhouse shows that it hears nothing; upper_deck alarm node lost, port_drive"
    assert sees(whole(run())) == words.SEES_NOTHING


def test_who_found_it_most_often() -> None:
    row = whole(run(found=found(5)), run(found=found(5)), run(found=found(1, "upper_deck", "x")), run())
    assert told_by(row) == "wheelhouse: shows that it hears nothing, in 3 of 4 runs"
    assert told_by(whole(run())) == words.NOBODY


ADVICE: dict[str, tuple[SweptRun, str, str]] = {
    "in gear": (
        run(severity=facts(in_gear=("port",))),
        "Stop the engine without the bus: stop pull beside the wheelhouse seat. Keep everybody away from the propeller.",
        "port stays in gear or off idle; instead: stop pull beside the wheelhouse seat, and a cutout where one is fitted",
    ),
    "wrong way": (
        run(severity=facts(wrong_way=("starboard",))),
        "Stop the engine without the bus: stop pull beside the wheelhouse seat. Keep everybody away from the propeller.",
        "starboard pushes the other way; instead: stop pull beside the wheelhouse seat",
    ),
    "rudder": (run(severity=facts(rudder_cdeg=1500)), words.DO_STEER, words.RESIDUAL_RUDDER.format(deg=15)),
    "dark": (run(severity=facts(dark=("stern_light",))), words.DO_LIGHTS, words.RESIDUAL_DARK.format(lights="stern_light")),
    "no thrust": (run(thrust_lost_ns=1, found=found(1)), words.DO_RETAKE, words.RESIDUAL_NONE),
    "a station less": (run(works_not=("lights",)), words.DO_OTHER, words.RESIDUAL_NONE),
    "told": (run(found=found(1)), words.DO_READ, words.RESIDUAL_NONE),
    "latent": (run(), words.DO_TEST, words.RESIDUAL_LATENT),
}


@pytest.mark.parametrize(("swept", "do", "left"), ADVICE.values(), ids=ADVICE.keys())
def test_what_to_do_and_what_remains(swept: SweptRun, do: str, left: str, boat: BoatFile) -> None:
    row = whole(swept)
    assert (does(row, boat), remains(row, boat)) == (do, left)


def test_a_card_has_every_term_in_order(boat: BoatFile) -> None:
    assert list(card(whole(run()), boat)) == list(words.CARD_TERMS)


def test_json_has_numbers_of_the_worst(boat: BoatFile) -> None:
    plain = plain_row(whole(run(found=found(7), losses=(loss(),)), run(failed=("light.press",))), boat)
    assert (plain["found_worst_ns"], plain["to_neutral_worst_ns"], plain["failed"]) == (7 * MS, 2000 * MS, {"light.press": 1})
    assert plain["worst"]["reproduce"].startswith("busim run")


# ------------------------------------------------------------------------------------------------ the page


class Outline(HTMLParser):
    """Tags that are open, and what is written; an end without its beginning fails."""

    VOID = ("meta", "line", "circle")

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        assert not any(name in ("src", "href") for name, _ in attrs), "it needs nothing beside it"
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: Any) -> None:
        assert tag in self.VOID

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_the_page_is_whole_needs_nothing_beside_it_and_escapes(boat: BoatFile) -> None:
    nasty = "<script>alert(1)</script> & \"'"
    never = run(fault="lamp_open", place="x", losses=(loss(to_neutral_ms=None),))
    runs = [run(place=nasty, losses=(loss(),), found=found(9, nasty)), never]
    told = page(head(boat=nasty, empty=(EmptyCells("", "", 3, nasty),)), boat, gather(runs), 10**10)
    outline = Outline()
    outline.feed(told)
    assert outline.open == []
    assert "<script" not in told
    said = "".join(outline.text)
    assert nasty in said
    assert "1 x never" in said
    assert said.count(words.PAGE_OUT) == 1


def test_a_sweep_without_losses_has_no_plot_of_them(boat: BoatFile) -> None:
    told = page(head(), boat, gather([run(), run(fault="lamp_open")]), 0)
    assert words.PAGE_OUT not in told
    assert words.NO_LATENT not in told
    assert "<svg" not in told
