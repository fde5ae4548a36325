"""Verdicts, live: what each requirement would come to if the rehearsal ended now, and on what evidence."""

from typing import Final

from busim import screen_labels as labels
from busim.dashboard.choice import Choice, mark
from busim.dashboard.drawing import Drawing, fitted, wrapped
from busim.dashboard.looks import Look
from busim.labels import SOURCES
from busim.rehearsal.shown import Snapshot
from busim.requirements.verdict import ACCEPTED, FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED, Verdict
from busim.units import seconds_text

ORDER: Final = {FAIL: 0, INCONCLUSIVE: 1, ACCEPTED: 2, PASS: 3, SELF_REPORTED: 3}
EVIDENCE_LINES: Final = 3


def in_order(found: tuple[Verdict, ...]) -> list[Verdict]:
    """Failures first, what was not exercised last."""
    return sorted(found, key=lambda each: (ORDER.get(each.verdict, 4), each.id))


def verdicts(snapshot: Snapshot, choice: Choice, look: Look, wide: int, high: int) -> Drawing:
    drawing = Drawing()
    found = in_order(snapshot.verdicts)
    if not found:
        drawing.put((labels.NOT_JUDGED, look.quiet))
        return drawing
    passed = sum(each.verdict in (PASS, SELF_REPORTED) for each in found)
    failed = sum(each.verdict == FAIL for each in found)
    count = labels.VERDICTS_COUNT.format(passed=passed, failed=failed, open=len(found) - passed - failed)
    drawing.put((labels.VERDICTS_HEAD, look.strong), (f": {count}", look.alarm if failed else look.plain))
    picked = min(choice.verdict, len(found) - 1)
    listed = Drawing()
    for number, verdict in enumerate(found):
        style = look.chosen if number == picked else _style(verdict, look)
        listed.put((fitted(_line(verdict, mark(number == picked)), wide), style))
        listed.touch(0, wide, "verdict", number)
    evidence = wrapped(_evidence(found[picked]), wide - 4)[:EVIDENCE_LINES]
    drawing.add(listed.window(max(high - len(drawing.lines) - EVIDENCE_LINES, 3), picked, look.quiet))
    for line in evidence:
        drawing.put((f"  {line}", look.strong))
    return drawing


def _style(verdict: Verdict, look: Look) -> str:
    if verdict.verdict in (INCONCLUSIVE, ACCEPTED):
        return look.warning
    return {FAIL: look.alarm, NOT_EXERCISED: look.quiet}.get(verdict.verdict, look.good)


def _line(verdict: Verdict, start: str) -> str:
    sign = labels.VERDICT_MARKS.get(verdict.verdict, labels.SELF_REPORTED_MARK)
    limit = "" if verdict.limit is None else labels.OF_LIMIT.format(limit=f"{verdict.limit:,}")
    measured = "" if verdict.measured is None else f"{verdict.measured:,}{limit} {verdict.unit}"
    return f"{start}{sign} {fitted(verdict.id, 27)} {fitted(verdict.verdict, 20)} {fitted(measured, 24)} {verdict.evidence}"


def _evidence(verdict: Verdict) -> str:
    at = "" if verdict.at_ns is None else labels.EVIDENCE_AT.format(seconds=seconds_text(verdict.at_ns))
    source = SOURCES.get(verdict.source, verdict.source)
    return f"{verdict.id}: {labels.EVIDENCE.format(evidence=verdict.evidence, source=source, at=at)}"
