"""What `busim judge` and `busim listen` print, as text and as JSON."""

from collections.abc import Iterator
from typing import Any, Final

from busim import VERSION, labels
from busim.commands.run_output import verdict_object, verdict_row
from busim.commands.tables import table
from busim.logs.judge import Judgement
from busim.reading.problem import printable
from busim.requirements.in_a_log import NotInALog
from busim.requirements.table import REQUIREMENTS
from busim.run.losses import LossOfControl
from busim.run.timeline import Line
from busim.units import MS, seconds_text

JSON_VERSION: Final = 1
MOST_LINES: Final = 100_000
"""Of a timeline in JSON, which has to be kept until the end; what is beyond is counted."""


class JudgedLines:
    """Prints each line of the timeline as it comes, or keeps the first of them."""

    def __init__(self, kept: int) -> None:
        self.most = kept
        self.kept: list[Line] = []
        self.left_out = 0
        self.begun = False

    def take(self, line: Line) -> None:
        if not self.most:
            if not self.begun:
                print(labels.TIMELINE_HEAD)
                self.begun = True
            print(f"  {seconds_text(line.at_ns):>9} s  {printable(line.words)}")
        elif len(self.kept) < self.most:
            self.kept.append(line)
        else:
            self.left_out += 1


def text_lines(judgement: Judgement, notes: list[str], weaknesses: bool) -> Iterator[str]:
    """All but the timeline, which has been printed by then."""
    if judgement.losses:
        yield ""
        yield labels.LOSS_TITLE
        yield from table(labels.LOG_LOSS_HEAD, [_loss_row(loss) for loss in judgement.losses])
    yield ""
    shown = {kind.id for kind in REQUIREMENTS if not isinstance(kind.in_a_log, NotInALog)}
    yield from table(labels.VERDICT_HEAD, [verdict_row(verdict) for verdict in judgement.verdicts])
    yield ""
    if notes:
        yield labels.LOG_NOTES_HEAD
        yield from (f"  {printable(note)}" for note in notes)
        yield ""
    for finding in judgement.findings:
        yield labels.FINDING.format(words=printable(finding))
    if judgement.failed:
        yield labels.SOME_FAILED.format(names=", ".join(judgement.failed))
    if judgement.failed and weaknesses:
        yield labels.LOG_WEAKNESSES
    if judgement.open:
        yield labels.LOG_OPEN.format(names=", ".join(judgement.open))
    if not judgement.judged:
        yield labels.LOG_NOTHING_JUDGED
    elif not judgement.failed and not judgement.findings and not judgement.open:
        yield labels.LOG_ALL_PASSED
    yield labels.LOG_NOT_SHOWN.format(count=len(judgement.verdicts) - len(shown))
    yield labels.LOG_DIGEST.format(frames=judgement.frames, seconds=judgement.seconds)


def _loss_row(loss: LossOfControl) -> tuple[str, ...]:
    return loss.drive, f"{seconds_text(loss.base_ns)} s", _after(loss.to_idle_ns), _after(loss.to_neutral_ns)


def _after(after_ns: int | None) -> str:
    return labels.NOT_YET if after_ns is None else f"{-(-after_ns // MS):,} ms"


def json_object(
    judgement: Judgement, named: dict[str, Any], notes: list[str], lines: JudgedLines, exit_status: int, reproduce: str
) -> dict[str, Any]:
    """The versioned JSON of a judged log: as that of a run, as far as a log has it. `named`: `boat`, `fingerprints`, `log`."""
    return {
        "json": JSON_VERSION,
        "busim": VERSION,
        **named,
        "frames": judgement.frames,
        "log_s": judgement.seconds,
        "exit_status": exit_status,
        "failed": judgement.failed,
        "not_shown": judgement.open,
        "findings": judgement.findings,
        "notes": notes,
        "verdicts": [verdict_object(verdict, reproduce) for verdict in judgement.verdicts],
        "losses": [
            {
                "drive": loss.drive,
                "from_ns": loss.base_ns,
                "to_idle_ns": loss.to_idle_ns,
                "to_neutral_ns": loss.to_neutral_ns,
            }
            for loss in judgement.losses
        ],
        "timeline": [{"at_ns": line.at_ns, "words": line.words} for line in lines.kept],
        "timeline_left_out": lines.left_out,
    }
