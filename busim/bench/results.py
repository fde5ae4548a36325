"""What a bench session leaves on the disk: frames and events second by second, then the table, JUnit XML and what it was made on.

    frames.log, events.jsonl, seconds.txt    as of a run, but for one that can't be run again
    bench.json      boat, fingerprints, node, firmware, adapter, host, date, what was typed, how it ended, verdicts
    verdicts.txt    the table a person reads
    junit.xml       for programs that collect tests
"""

import json
import platform
import re
import xml.etree.ElementTree as ET
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, TextIO

from busim import VERSION
from busim.bench.order import Ending, Order
from busim.bench.stage import Result
from busim.reading.problem import refused
from busim.record.writer import EVENTS, FRAMES, SECONDS, second_texts
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, Verdict

JSON_VERSION: Final = 1
_NO_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 (s. 2.2, Char) has no place for, escaped or not."""


class BenchRecord:
    """`keep` each second; `finish` once. What was kept is whole though it never comes to that."""

    def __init__(self, folder: Path, buses: list[str]) -> None:
        self.folder = folder
        self.buses = buses
        self.second = 0
        self.files: dict[str, TextIO] = {}
        try:
            for name in (FRAMES, EVENTS, SECONDS):
                self.files[name] = (folder / name).open("w", encoding="utf-8", newline="\n")
        except OSError as error:
            self.close()
            raise refused(folder, f"the record can't be written: {error.strerror}") from error

    def keep(self, frames: list[Any], events: list[Any], digest: str) -> None:
        texts = second_texts(self.buses, self.second + 1, frames, events, digest)
        for name, file in self.files.items():
            file.write(texts[name])
            file.flush()
        self.second += 1

    def finish(self, about: dict[str, Any], table: list[str], results: list[Result], verdicts: list[Verdict]) -> None:
        (self.folder / "bench.json").write_text(json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        (self.folder / "verdicts.txt").write_text("\n".join(table) + "\n", encoding="utf-8")
        (self.folder / "junit.xml").write_bytes(junit(about["node"], results, verdicts))

    def close(self) -> None:
        for file in self.files.values():
            file.close()


def about(order: Order, ending: Ending, adapter: str, date: str, results: list[Result], verdicts: list[Verdict]) -> dict[str, Any]:
    """Everything a reader of the results may want to know, as plain values. `date` is the caller's to look up."""
    said = ending.fingerprints
    return {
        "json": JSON_VERSION,
        "busim": VERSION,
        "boat": order.boat.boat.name,
        "fingerprints": {"helm": f"{order.plan.helm_fingerprint:04x}", "lighting": f"{order.plan.lighting_fingerprint:04x}"},
        "node": order.node,
        "bus": order.bus,
        "firmware": {"version": ending.version, "fingerprints": [f"{part:04x}" for part in said] if said else None},
        "adapter": adapter,
        "machinery": ending.machinery,
        "throttle_cap_permille": order.cap_permille,
        "host": {"system": platform.platform(), "python": platform.python_version()},
        "date": date,
        "typed": [{"asked": asked, "answered": answered} for asked, answered in ending.answers],
        "ended": {"why": ending.why, "words": ending.words, "neutral_reported": ending.neutral},
        "notes": ending.notes,
        "digest": ending.digest,
        "seconds": ending.seconds,
        "stimuli": [asdict(result) for result in results],
        "verdicts": [asdict(verdict) for verdict in verdicts],
    }


def junit(node: str, results: list[Result], verdicts: list[Verdict]) -> bytes:
    """One test case a result and a verdict. Not exercised and inconclusive are skipped, in JUnit's words: neither is a pass."""
    cases = [(f"stimulus.{result.stimulus}", result.words, result.verdict, _measured(result)) for result in results]
    cases += [("requirement", verdict.id, verdict.verdict, f"{verdict.evidence} {_measured(verdict)}") for verdict in verdicts]
    failed = sum(verdict == FAIL for _, _, verdict, _ in cases)
    skipped = sum(verdict in (NOT_EXERCISED, INCONCLUSIVE) for _, _, verdict, _ in cases)
    suite = ET.Element(
        "testsuite", name=_xml(f"busim bench {node}"), tests=str(len(cases)), failures=str(failed), skipped=str(skipped), errors="0"
    )
    for group, name, verdict, words in cases:
        case = ET.SubElement(suite, "testcase", classname=_xml(group), name=_xml(name))
        if verdict == FAIL:
            ET.SubElement(case, "failure", message=_xml(words)).text = _xml(words)
        elif verdict in (NOT_EXERCISED, INCONCLUSIVE):
            ET.SubElement(case, "skipped", message=_xml(f"{verdict}: {words}"))
        else:
            ET.SubElement(case, "system-out").text = _xml(f"{verdict}: {words}")
    text: bytes = ET.tostring(suite, encoding="utf-8", xml_declaration=True)
    return text


def _measured(of: Result | Verdict) -> str:
    if of.measured is None:
        return ""
    doubt = f" +- {of.uncertainty}" if isinstance(of, Result) and of.uncertainty else ""
    return f"{of.measured}{doubt} {of.unit}" + (f" (limit {of.limit} {of.unit})" if of.limit is not None else "")


def _xml(text: str) -> str:
    return _NO_XML.sub("\N{REPLACEMENT CHARACTER}", text)
