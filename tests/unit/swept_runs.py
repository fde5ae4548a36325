"""Records of swept runs, made by hand for the tests of what is told of them."""

from dataclasses import replace
from typing import Any

from busim.sweep.outcome import Finding, Severity, SweepHead, SweptLoss, SweptMode, SweptRun, SweptVerdict
from busim.units import MS

QUIET = Severity(0, (), (), (), 0, ())


def run(**changed: Any) -> SweptRun:
    """Nothing came of it, and nobody was told."""
    quiet = SweptRun(
        run=0, key="cut/helm at 12 m/moored", fault="cut", place="helm at 12 m",
        place_json='{"bus":"helm","at_m":12}', mode="moored", moment="before lever of wheelhouse",
        duration="permanent", at_ns=5_000 * MS, ended_ns=None, seed=1, failed=(), verdicts=(),
        not_exercised=(), passed=(), found=(), losses=(), thrust_lost_ns=None, thrust_again_ns=None,
        works=("thrust port", "thrust starboard", "steering", "lights"), works_not=(), taken_at="wheelhouse", rows=(),
        severity=QUIET, simulated_ns=10_000 * MS, digest="0", reproduce="busim run --scenario one.yaml --seed 1",
    )  # fmt: skip
    return replace(quiet, **changed)


def loss(drive: str = "port", to_neutral_ms: int | None = 2000, **changed: Any) -> SweptLoss:
    out_ns = None if to_neutral_ms is None else to_neutral_ms * MS
    return replace(SweptLoss(drive, 0, 1000 * MS, out_ns, 1500, 3000, None, 9000, 12_000), **changed)


def found(after_ms: int, who: str = "wheelhouse", what: str = "shows that it hears nothing") -> tuple[Finding, ...]:
    return (Finding(who, what, after_ms * MS),)


def verdict(name: str, said: str) -> SweptVerdict:
    return SweptVerdict(name, said, 1, 2, "ms", "plant", 0, "because", "")


def head(**changed: Any) -> SweepHead:
    plain = SweepHead(
        sweep=1, busim="0", boat="Marsh Tern", file="boat.yaml", helm="0001", lighting="0002", boat_digest="", seed=1, full=False,
        only=(), kinds=(), faults_modelled=("cut",), faults_not_modelled=(), modes=(SweptMode("moored", "alongside", "swept", ""),),
        cells=1, runs=1, empty=(), thinned=(), rows_known=(),
    )  # fmt: skip
    return replace(plain, **changed)
