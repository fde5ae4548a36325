"""What a sweep is going to do: modes looked at first, then the grid, then the head that goes to disk."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from busim import VERSION, labels
from busim.boat.model import BoatFile
from busim.faults.table import FAULTS, NOT_MODELLED
from busim.protocol.plan import WirePlan
from busim.protocol.tables import TABLES
from busim.sweep.grid import Grid, Job, grid_of
from busim.sweep.modes import MODES, Mode
from busim.sweep.outcome import SWEEP_VERSION, EmptyCells, SweepHead, SweptMode
from busim.sweep.settled import FAILS_UNDISTURBED, LEFT_OUT, SWEPT, look_at_mode
from busim.sweep.watched import Ground


@dataclass(frozen=True)
class Asked:
    """What somebody asked for."""

    seed: int
    full: bool
    only: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """`jobs`: what is to be run, in order. `undisturbed_rows`: (state table, row) taken where nothing broke."""

    head: SweepHead
    jobs: tuple[Job, ...]
    undisturbed_rows: tuple[tuple[str, int], ...]

    @property
    def failing(self) -> list[SweptMode]:
        """Modes in which the boat fails with nothing broken: she is not swept."""
        return [mode for mode in self.head.modes if mode.state == FAILS_UNDISTURBED]


def whole_grid(boat: BoatFile, asked: Asked) -> Grid:
    """As numbered, whatever a look at the modes will show."""
    modes = [mode for mode in MODES if not isinstance(mode.script(boat), str)]
    return grid_of(boat, modes, asked.seed, full=asked.full, only=asked.only)


def plan_sweep(
    ground: Ground, file: str, kinds: dict[str, str], asked: Asked, look: Callable[[Mode], None] = lambda mode: None
) -> Plan:
    """`look` is told which mode is looked at next; `file` is what the boat's file is called."""
    boat, plan = ground.boat, ground.plan
    grid = whole_grid(boat, asked)
    needed = {job.mode for job in grid.jobs}
    modes: list[SweptMode] = []
    rows: dict[tuple[str, int], None] = {}
    for mode in MODES:
        if mode.name not in needed:
            script = mode.script(boat)
            why = script if isinstance(script, str) else labels.SWEEP_NOT_ASKED
            modes.append(SweptMode(mode.name, mode.words, LEFT_OUT, why))
            continue
        look(mode)
        found, taken = look_at_mode(ground, mode, asked.seed)
        modes.append(found)
        rows.update(dict.fromkeys(taken))
    swept = {mode.mode for mode in modes if mode.state == SWEPT}
    jobs = tuple(job for job in grid.jobs if job.mode in swept)
    empty = [*grid.empty, *_never_reached(grid.jobs, modes)]
    head = _head(boat, plan, file, kinds, asked, grid, tuple(modes), len(jobs), tuple(empty))
    return Plan(head, jobs, tuple(rows))


def _never_reached(jobs: Sequence[Job], modes: Sequence[SweptMode]) -> list[EmptyCells]:
    found = []
    for mode in modes:
        cells = {job.key[: job.key.index(f"/{job.mode}/")] for job in jobs if job.mode == mode.mode}
        if cells and mode.state != SWEPT:
            found.append(EmptyCells("", mode.mode, len(cells), mode.why))
    return found


def _head(
    boat: BoatFile, plan: WirePlan, file: str, kinds: dict[str, str], asked: Asked, grid: Grid, modes: tuple[SweptMode, ...],
    runs: int, empty: tuple[EmptyCells, ...],
) -> SweepHead:  # fmt: skip
    return SweepHead(
        sweep=SWEEP_VERSION,
        busim=VERSION,
        boat=boat.boat.name,
        file=file,
        helm=f"{plan.helm_fingerprint:04x}",
        lighting=f"{plan.lighting_fingerprint:04x}",
        boat_digest=hashlib.sha256(boat.model_dump_json().encode()).hexdigest()[:32],
        seed=asked.seed,
        full=asked.full,
        only=asked.only,
        kinds=tuple(sorted(kinds.items())),
        faults_modelled=tuple(fault.name for fault in FAULTS),
        faults_not_modelled=NOT_MODELLED,
        modes=modes,
        cells=grid.cells,
        runs=runs,
        empty=empty,
        thinned=grid.thinned,
        rows_known=tuple((table.name, len(table.rows)) for table in TABLES),
    )
