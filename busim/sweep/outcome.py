"""What one swept run came to, and what a whole sweep was: the records that go to disk, and back. Nothing here runs anything.

A sweep's folder holds

    head.json       one `SweepHead`: what was swept, and how it was thinned
    runs.jsonl      one `SweptRun` a line, in the order of `run`, once the sweep is over
    streamed.jsonl  the same lines in the order they were done, while it is not

Times are whole nanoseconds: moments from the start of the run, spans named `after_` or `to_` from the moment the fault began (of
a loss of control: from the last valid lever frame its drive received). None: it never came to that, or nothing can be said.
"""

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from pydantic import TypeAdapter, ValidationError

from busim.reading.problem import refused

SWEEP_VERSION: Final = 1
NODE_PROGRAM: Final = "node.program"
"""In place of a requirement's id: a node's program failed, or broke the rules of the seam, and the run ended there."""
HEAD: Final = "head.json"
RUNS: Final = "runs.jsonl"
STREAMED: Final = "streamed.jsonl"


@dataclass(frozen=True, slots=True)
class SweptVerdict:
    """A requirement that did not pass: `verdict` is "fail", "accepted weakness" or "inconclusive"."""

    id: str
    verdict: str
    limit: int | None
    measured: int | None
    unit: str
    source: str
    at_ns: int | None
    evidence: str
    weakness: str
    """Of one that is accepted, what the boat file calls it; else ""."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Who noticed: `who` is a node, `what` says by what: "shows that it hears nothing", "alarm node lost, port_drive", "row 23"."""

    who: str
    what: str
    after_ns: int


@dataclass(frozen=True, slots=True)
class SweptLoss:
    """One drive that lost control with its gear in or its throttle open. Metres through the water; `ground_mm` over ground, where
    there is a stream; `way_off_` is the coast from the moment the gear was out, in closed form."""

    drive: str
    base_ns: int
    to_idle_ns: int | None
    to_neutral_ns: int | None
    run_to_idle_mm: int | None
    run_mm: int | None
    ground_mm: int | None
    way_off_ms: int | None
    way_off_mm: int | None


@dataclass(frozen=True, slots=True)
class Severity:
    """What a severity can be weighed from, as the machinery had it, none of it reported by a node.

    `speed_mm_s` through the water when the fault began, + is ahead. `in_gear` and `off_idle`: drives that had no control and still
    had their gear in, or their throttle off its stop, when the boat should have been safe. `wrong_way`: drives that pushed
    the other way than their lever in control asked. `rudder_cdeg` how far the rudder was from where it stood when the fault began
    when it should have been safe, unasked. `dark`: navigation lights that were lit and went dark."""

    speed_mm_s: int
    in_gear: tuple[str, ...]
    off_idle: tuple[str, ...]
    wrong_way: tuple[str, ...]
    rudder_cdeg: int
    dark: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SweptRun:
    """`run` is its number in the whole grid, `key` says which it is in words that stay the same however much is swept.

    `place` in words, `place_json` as a scenario has it. `moment`: what the fault began at, like "before lever of wheelhouse";
    `at_ns` when that was, `ended_ns` when the fault ended for the last time, None for one that stays. `seed` draws phases and
    clock errors of the nodes.
    """

    run: int
    key: str
    fault: str
    place: str
    place_json: str
    mode: str
    moment: str
    duration: str
    at_ns: int
    ended_ns: int | None
    seed: int
    failed: tuple[str, ...]
    """Ids of requirements that failed and were not accepted, by name: their verdicts are in `verdicts`."""
    verdicts: tuple[SweptVerdict, ...]
    not_exercised: tuple[str, ...]
    passed: tuple[str, ...]
    found: tuple[Finding, ...]
    """In order of time; the first is who found it."""
    losses: tuple[SweptLoss, ...]
    thrust_lost_ns: int | None
    """After the fault began, the first gear went out that nobody in control wanted out."""
    thrust_again_ns: int | None
    """From the moment control was taken and a lever put in gear, the last of the drives that had lost it had its gear in."""
    works: tuple[str, ...]
    """What could still be had when it was tried at the end: "thrust port", "thrust starboard", "steering", "lights"."""
    works_not: tuple[str, ...]
    taken_at: str
    """The station at which control was taken at the end; "" where none could."""
    rows: tuple[tuple[str, int], ...]
    """(state table, row) taken since the fault began, each once, in order."""
    severity: Severity
    simulated_ns: int
    """How much was simulated for it, from the settled state on."""
    digest: str
    reproduce: str
    under: str = ""
    """The fault, and its place in words, that was there before: of a pair."""

    @property
    def to_neutral_ns(self) -> int | None:
        """The slowest gear to come out after control was lost; None where none was lost, or one never came out."""
        times = [loss.to_neutral_ns for loss in self.losses]
        return None if not times or None in times else max(time for time in times if time is not None)

    @property
    def run_mm(self) -> int | None:
        """The most metres run until the gear was out, in mm."""
        runs = [loss.run_mm for loss in self.losses if loss.run_mm is not None]
        return max(runs, default=None)


@dataclass(frozen=True, slots=True)
class SweptMode:
    """`state`: "swept", "left out" (the boat can't be brought there, or nobody asked) or "fails undisturbed"; `why` in words."""

    mode: str
    words: str
    state: str
    why: str


@dataclass(frozen=True, slots=True)
class EmptyCells:
    """Cells of the grid without a run, all for one reason. `fault` or `mode` is "" where it is all of them."""

    fault: str
    mode: str
    cells: int
    why: str


@dataclass(frozen=True, slots=True)
class SweepHead:
    """`cells` is how many (fault, place, mode) there are, `runs` how many runs are planned; `only` as given on the command line,
    `thinned` what was left out of a full grid and why, in words. `rows_known` is (state table, how many rows it has)."""

    sweep: int
    busim: str
    boat: str
    file: str
    helm: str
    lighting: str
    boat_digest: str
    seed: int
    full: bool
    only: tuple[str, ...]
    kinds: tuple[tuple[str, str], ...]
    faults_modelled: tuple[str, ...]
    faults_not_modelled: tuple[tuple[str, str], ...]
    modes: tuple[SweptMode, ...]
    cells: int
    runs: int
    empty: tuple[EmptyCells, ...]
    thinned: tuple[str, ...]
    rows_known: tuple[tuple[str, int], ...]


_RUN: Final = TypeAdapter(SweptRun)
_HEAD: Final = TypeAdapter(SweepHead)


def line_of(run: SweptRun) -> str:
    """One line of JSON, with its end of line; keys in the order of the fields, so that the same run is the same bytes."""
    return json.dumps(asdict(run), separators=(",", ":"), ensure_ascii=False) + "\n"


def head_text(head: SweepHead) -> str:
    return json.dumps(asdict(head), indent=1, ensure_ascii=False) + "\n"


def read_head(folder: Path) -> SweepHead:
    """Errors: InputError where it is no sweep's folder, of another version, or damaged."""
    path = folder / HEAD
    try:
        text = path.read_text(encoding="utf-8")
        plain = json.loads(text)
        if not isinstance(plain, dict) or "sweep" not in plain:
            raise refused(path, "is not the head of a sweep")
        if plain["sweep"] != SWEEP_VERSION:
            raise refused(path, "was written by another version of busim, and can't be read by this one")
        return _HEAD.validate_json(text)
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
    except (UnicodeDecodeError, ValidationError, ValueError) as error:
        raise refused(path, "is damaged: it is not what busim writes") from error


def read_runs(path: Path) -> Iterator[SweptRun]:
    """The runs of a file, one at a time. A last line that was torn by a sudden end is left out.

    Errors: InputError for any other line that busim does not write.
    """
    try:
        with path.open(encoding="utf-8") as file:
            for number, line in enumerate(file, 1):
                if not line.endswith("\n"):
                    return
                try:
                    yield _RUN.validate_json(line)
                except ValidationError as error:
                    raise refused(path, f"line {number} is damaged: it is not what busim writes") from error
    except UnicodeDecodeError as error:
        raise refused(path, "is damaged: it is not text") from error
    except OSError as error:
        raise refused(path, f"can't be read: {error.strerror}") from error
