"""What takes from a result what it seemed to show: an adapter that took no more, a late computer, an observer who saw otherwise."""

from busim import bench_labels as labels
from busim.bench.stage import Result
from busim.requirements.verdict import INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED


def doubt(results: list[Result], bells: int, *, late: bool) -> None:
    """`bells`: frames the adapter refused. What was shown meanwhile was not shown."""
    words = labels.ADAPTER_OVERFLOWS.format(count=bells) if bells else labels.COMPUTER_LATE if late else ""
    for result in results if words else ():
        if result.verdict != NOT_EXERCISED:
            result.verdict, result.words = INCONCLUSIVE, f"{result.words} ({words})"


def contradict(results: list[Result]) -> None:
    """A device that is contradicted by who sees its machinery: nothing it reported meanwhile shows anything."""
    for result in results:
        if result.verdict in (PASS, SELF_REPORTED):
            result.verdict = INCONCLUSIVE
