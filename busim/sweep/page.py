"""The failure-mode table as one HTML page that needs nothing beside it: style (page.css), plots and text are in it.

No script, no date. Plots are SVG made here, one bar a fault; everything that comes from a boat file is escaped.
"""

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from importlib.resources import files
from typing import Final

from busim import sweep_labels as words
from busim.boat.derive import limits_of
from busim.boat.model import BoatFile
from busim.sweep.outcome import SweepHead, SweptRun
from busim.sweep.pairs_words import pair_words, told_of, worst_of
from busim.sweep.rows import FaultRow, Row, middle
from busim.sweep.words import card, seconds, table_row
from busim.units import MS, SECOND

BAR_PX: Final = 22
LEFT_PX: Final = 190
WIDE_PX: Final = 760
RIGHT_PX: Final = 40


def page(
    head: SweepHead, boat: BoatFile, rows: Sequence[FaultRow], simulated_ns: int, pairs: Sequence[SweptRun] = ()
) -> str:
    """The whole page."""
    return "\n".join(_page(head, boat, rows, simulated_ns, pairs)) + "\n"


def _page(
    head: SweepHead, boat: BoatFile, rows: Sequence[FaultRow], simulated_ns: int, pairs: Sequence[SweptRun]
) -> Iterator[str]:
    style = files(__package__).joinpath("page.css").read_text(encoding="utf-8")
    title = escape(words.PAGE_TITLE.format(boat=head.boat))
    yield f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
    yield f'<meta name="viewport" content="width=device-width,initial-scale=1"><style>{style}</style></head><body>'
    yield f"<h1>{title}</h1><p>{escape(words.PAGE_INTRO)}</p>"
    runs = sum(row.whole.runs for row in rows)
    told = words.PAGE_RUNS.format(
        runs=runs, seconds=simulated_ns / SECOND, seed=head.seed, helm=head.helm, lighting=head.lighting
    )
    yield f'<p class="soft">{escape(told)}</p>'
    yield _summary_of(rows)
    yield f"<h2>{escape(words.PAGE_TABLE)}</h2>"
    for row in rows:
        yield from _fault(row, boat)
    yield f"<h2>{escape(words.LATENT_TITLE)}</h2>"
    latent = [f"{row.fault}, {row.place}" for each in rows for row in each.places if row.latent]
    yield _list(latent) if latent else f"<p>{escape(words.NO_LATENT)}</p>"
    if pairs:
        title, told = told_of(pairs)
        yield f"<h2>{escape(title)}</h2><p>{escape(told)}</p>"
        yield _list(f"{pair_words(run)}. {run.reproduce}" for run in worst_of(pairs))
    limit_ns = max((limits_of(boat, drive).loss_to_neutral_ms for drive in boat.drives.values()), default=0) * MS
    wholes = [row.whole for row in rows]
    yield from _figure(words.PAGE_OUT, words.PAGE_OUT_WORDS, wholes, "to_neutral_ns", SECOND, "s", limit_ns)
    yield from _figure(words.PAGE_RUN, words.PAGE_RUN_WORDS, wholes, "run_mm", 1000, "m", round(boat.boat.max_run_m * 1000))
    yield from _figure(words.PAGE_FOUND, words.PAGE_FOUND_WORDS, wholes, "found_ns", SECOND, "s", None)
    yield f"<h2>{escape(words.PAGE_RULE)}</h2><table>"
    for level in range(len(words.SEVERITIES) - 1, -1, -1):
        yield f'<tr><th class="s{level}">{words.SEVERITIES[level]}</th><td>{escape(words.SEVERITY_WORDS[level])}</td></tr>'
    yield f"</table><h2>{escape(words.PAGE_MODES)}</h2>"
    yield _list(f"{mode.mode}: {mode.words}. {mode.state}{': ' + mode.why if mode.why else ''}" for mode in head.modes)
    yield f"<h2>{escape(words.PAGE_LEFT_OUT)}</h2>"
    yield _list(
        [
            *head.thinned,
            *(f"{each.fault or 'every fault'}, {each.mode or 'every mode'}: {each.cells} cells, {each.why}" for each in head.empty),
            *(f"{name}: {why}" for name, why in head.faults_not_modelled),
        ]
    )
    yield "</body></html>"


def _summary_of(rows: Sequence[FaultRow]) -> str:
    """How many faults came to each severity, and which requirements failed."""
    counts = [sum(row.whole.worst_severity == level for row in rows) for level in range(len(words.SEVERITIES))]
    chips = "".join(
        f'<span class="chip s{level}">{counts[level]} {words.SEVERITIES[level]}</span>'
        for level in range(len(counts) - 1, -1, -1)
        if counts[level]
    )
    failed = sorted({name for row in rows for name in row.whole.failed})
    told = words.PAGE_FAILED.format(names=", ".join(failed)) if failed else words.PAGE_NONE_FAILED
    return f"<p>{chips}</p><p>{escape(told)}</p>"


def _list(lines: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _fault(row: FaultRow, boat: BoatFile) -> Iterator[str]:
    name, place, severity, _, out, run, _, verdict = table_row(row)
    yield _summary(f"<b>{escape(name)}</b>", place, severity, f"{out}, {run}", verdict, row.whole.worst_severity)
    yield _terms(row.whole, boat)
    for each in row.places if len(row.places) > 1 else ():
        out = seconds(each.slowest_out_ns)
        yield _summary(
            f"<b>{escape(each.place)}</b>", f"{each.runs:,} runs", words.SEVERITIES[each.worst_severity], out, each.verdict,
            each.worst_severity,
        )  # fmt: skip
        yield f"{_terms(each, boat)}</details>"
    yield "</details>"


def _summary(name: str, place: str, severity: str, out: str, verdict: str, level: int) -> str:
    spans = "".join(f"<span>{escape(text)}</span>" for text in (place, severity, out))
    return f'<details><summary class="s{level}">{name}{spans}<span class="verdict">{escape(verdict)}</span></summary>'


def _terms(row: Row, boat: BoatFile) -> str:
    said = card(row, boat)
    pairs = "".join(f"<dt>{escape(words.CARD_TERMS[key])}</dt><dd>{escape(text)}</dd>" for key, text in said.items())
    return f"<dl>{pairs}</dl>"


# ------------------------------------------------------------------------------------------------ plots


def _figure(
    title: str, told: str, rows: Sequence[Row], spans: str, scale: int, unit: str, limit: int | None
) -> Iterator[str]:
    """Bars of every row that has such spans, the longest first; nothing where none has."""
    bars = [(row.fault, getattr(row, spans), row.never_out if spans == "to_neutral_ns" else 0) for row in rows]
    bars = sorted((bar for bar in bars if bar[1] or bar[2]), key=lambda bar: (-bar[2], -max(bar[1], default=0), bar[0]))
    if not bars:
        return
    most = max(max((max(values) for _, values, _ in bars if values), default=1), limit or 1)
    step, top = _ticks(most / scale)
    high = BAR_PX * len(bars) + 34
    yield f"<figure><h2>{escape(title)}</h2><figcaption>{escape(told)}</figcaption><div class=scroll>"
    yield f'<svg viewBox="0 0 {WIDE_PX} {high}" role="img" aria-label="{escape(title)}">'
    for count in range(round(top / step) + 1):
        value = count * step
        x = _x(value, top)
        yield f'<line class="axis" x1="{x:.1f}" y1="4" x2="{x:.1f}" y2="{high - 24}"/>'
        yield f'<text x="{x:.1f}" y="{high - 8}" text-anchor="middle">{value:g} {unit}</text>'
    for number, (fault, values, never) in enumerate(bars):
        y = BAR_PX * number + 16
        yield f'<text x="{LEFT_PX - 8}" y="{y + 4}" text-anchor="end">{escape(fault)}</text>'
        if values:
            low, mid, long = (_x(value / scale, top) for value in (min(values), middle(values) or 0, max(values)))
            yield f'<line class="bar" x1="{low:.1f}" y1="{y}" x2="{max(long, low + 1):.1f}" y2="{y}"/>'
            yield f'<circle class="mid" cx="{mid:.1f}" cy="{y}" r="4"/>'
        if never:
            yield f'<text class="never" x="{WIDE_PX - 2}" y="{y + 4}" text-anchor="end">{never} x {words.NOT_REACHED}</text>'
    if limit:
        x = _x(limit / scale, top)
        yield f'<line class="limit" x1="{x:.1f}" y1="2" x2="{x:.1f}" y2="{high - 24}"/>'
    yield "</svg></div></figure>"


def _x(value: float, top: float) -> float:
    return LEFT_PX + (WIDE_PX - LEFT_PX - RIGHT_PX) * value / top


def _ticks(most: float) -> tuple[float, float]:
    """(step, end) of an axis that holds `most` in four to ten steps of 1, 2 or 5 times a power of ten."""
    step = 1e-6
    while most / step > 8:
        step *= 2.5 if f"{step:.0e}".startswith("2") else 2
    return step, step * max(1, -(-most // step))
