"""Judges a log as it is read: frames through the journal, tellers, situation and requirements of a run, in bounded memory.

A log is judged in stretches: across a silence, or where its stamps begin anew, nothing is known, and so nothing is judged.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from busim import labels
from busim.boat.derive import limits_of
from busim.boat.model import BoatFile
from busim.events.situation import Situation
from busim.events.table import REPORTED
from busim.logs.census import SAFETY_IDS, Census
from busim.logs.channels import Channels
from busim.logs.clock import SILENCE_NS, Clock
from busim.logs.frame import LogFrame
from busim.logs.roster import Roster
from busim.logs.tell import LogJournal
from busim.logs.tell_drives import DriveTeller, RudderTeller
from busim.logs.tell_people import LampTeller, PeopleTeller
from busim.logs.timeline import LogTimeline
from busim.plant.hull import HullValues
from busim.protocol.plan import WirePlan
from busim.requirements.in_a_log import Doubt, NotInALog, Reported
from busim.requirements.requirement import Context
from busim.requirements.table import REQUIREMENTS
from busim.requirements.verdict import FAIL, INCONCLUSIVE, NOT_EXERCISED, PASS, SELF_REPORTED, Verdict
from busim.run.losses import LossBook, LossOfControl
from busim.run.timeline import Line
from busim.units import MS, seconds_text

LOOK_NS = 50 * MS
UNKNOWN_HULL = HullValues(1, 1, 1, 1, 1, given=False)
"""A log has no metres."""
EVERYBODY = -1
RANK = {NOT_EXERCISED: 0, PASS: 1, SELF_REPORTED: 1, INCONCLUSIVE: 2, FAIL: 3}


@dataclass(frozen=True)
class Judgement:
    """What a log came to. `frames` counts all, `seconds` from its first frame to its last; `findings` are of the bus itself and
    count as failures; `notes` are to be read."""

    frames: int
    seconds: float
    verdicts: list[Verdict]
    losses: list[LossOfControl]
    notes: list[str]
    findings: list[str]

    @property
    def failed(self) -> list[str]:
        return [verdict.id for verdict in self.verdicts if verdict.verdict == FAIL]

    @property
    def open(self) -> list[str]:
        return [verdict.id for verdict in self.verdicts if verdict.verdict == INCONCLUSIVE]

    @property
    def judged(self) -> bool:
        return any(verdict.verdict != NOT_EXERCISED for verdict in self.verdicts)


class Stretch:
    """A piece of the log without a hole in it, and everything that reads it."""

    def __init__(
        self, boat: BoatFile, plan: WirePlan, sink: Callable[[Line], None], tell_drives: type[DriveTeller] = DriveTeller
    ) -> None:
        self.doubt = Doubt()
        self.journal = journal = LogJournal()
        self.situation = situation = Situation(plan, reception_known=False)
        self.timeline = LogTimeline(boat, situation, sink)
        self.roster = Roster(journal, self.doubt, situation, self.timeline.say)
        self.drives = tell_drives(journal, self.doubt, situation)
        if situation.rudder is not None:
            RudderTeller(journal, self.doubt, situation.rudder)
        PeopleTeller(journal, self.doubt, plan)
        LampTeller(journal, self.doubt, plan)
        situation.attach(journal)
        limits = {name: limits_of(boat, drive) for name, drive in boat.drives.items()}
        context = Context(plan, limits, situation, boat.boat.ride_through_ms, boat.boat.rearm_max_s)
        self.requirements = [kind(context) for kind in REQUIREMENTS if not isinstance(kind.in_a_log, NotInALog)]
        for requirement in self.requirements:
            shown = requirement.in_a_log
            if isinstance(shown, Reported):
                requirement.tally.source = REPORTED
                requirement.tally.doubt = self.doubt
            if not isinstance(shown, NotInALog):
                requirement.tally.excuse = shown.excuse
            requirement.attach(journal)
        self.losses = LossBook(situation, UNKNOWN_HULL)
        self.losses.attach(journal)
        self.timeline.attach(journal)

    def finish(self, now_ns: int) -> tuple[list[Verdict], list[LossOfControl]]:
        self.doubt.ns = self.drives.oldest_ns(now_ns)
        verdicts = [requirement.finish(now_ns) for requirement in self.requirements]
        return verdicts, self.losses.finish(now_ns)


class Judge:
    """Give frames to `feed`, in the order of the log, and `finish`. `sink` is given every line of the timeline."""

    def __init__(self, boat: BoatFile, plan: WirePlan, channels: Channels, sink: Callable[[Line], None]) -> None:
        self.boat = boat
        self.plan = plan
        self.channels = channels
        self.sink = sink
        self.clock = Clock()
        self.census = Census(plan)
        self.stretch = Stretch(boat, plan, sink)
        self.verdicts: dict[str, Verdict] = {}
        self.losses: list[LossOfControl] = []
        self.heard: set[str] = set()
        self.strangers: dict[str, tuple[int, int]] = {}
        self.look_ns = 0

    def feed(self, frames: Iterable[LogFrame]) -> None:
        clock, census, buses = self.clock, self.census, self.channels.of
        lengths, counts = census.lengths, census.counts
        watch = self.stretch.journal.frame
        for stamp_ns, channel, kind, can_id, data in frames:
            if clock.offset_ns is None:
                clock.begin(stamp_ns)
            at_ns = stamp_ns - (clock.offset_ns or 0)
            if at_ns < clock.last_ns:
                at_ns, anew = clock.back(at_ns)
                if anew:
                    self._begin_anew(at_ns, labels.STAMPS_JUMP.format(seconds=f"{clock.jump_ns / 1e9:.3f}"))
                    watch = self.stretch.journal.frame
            elif at_ns - clock.last_ns > SILENCE_NS:
                clock.silences += 1
                words = labels.SILENCE.format(until=seconds_text(at_ns))
                self._begin_anew(clock.last_ns, words)
                watch = self.stretch.journal.frame
            clock.last_ns = at_ns
            if at_ns >= self.look_ns:
                self.stretch.roster.look(at_ns)
                self.look_ns = at_ns + LOOK_NS
            census.frames += 1
            if kind:
                census.note_odd(kind, can_id)
                continue
            bus = buses[channel] if channel in buses else self.channels.bus_of(channel)
            counts[bus][can_id] += 1
            if len(data) != lengths[can_id]:
                census.note_unlike(can_id, data)
            elif can_id < SAFETY_IDS:
                census.is_spoilt(can_id, data)
            watch(at_ns, bus, can_id, data, EVERYBODY)

    def _begin_anew(self, now_ns: int, words: str) -> None:
        self.sink(Line(now_ns, words))
        self._close(now_ns)
        self.stretch = Stretch(self.boat, self.plan, self.sink)

    def _close(self, now_ns: int) -> None:
        """The stretch is over: what it came to, the worst of all stretches first."""
        stretch = self.stretch
        verdicts, losses = stretch.finish(now_ns)
        self.losses += losses
        self.strangers |= stretch.roster.strangers
        self.heard |= {heard.name for heard in stretch.roster.nodes.values() if heard.heard_ns is not None}
        for requirement, verdict in zip(stretch.requirements, verdicts, strict=True):
            before = self.verdicts.get(verdict.id)
            if before is None or _worse(verdict, before, at_least=requirement.tally.at_least):
                self.verdicts[verdict.id] = replace(verdict, evidence=verdict.evidence.replace("the run ended", labels.LOG_ENDED))

    def finish(self) -> Judgement:
        self._close(self.clock.last_ns)
        verdicts = [self.verdicts.get(kind.id) or _unjudged(kind.id, kind.in_a_log) for kind in REQUIREMENTS]
        span_ns = self.clock.last_ns - self.clock.first_ns
        findings = [
            labels.FINDING_FINGERPRINT.format(node=node, helm=helm, lighting=lighting)
            for node, (helm, lighting) in sorted(self.strangers.items())
        ]
        return Judgement(self.census.frames, span_ns / 1e9, verdicts, self.losses, list(self._notes()), findings)

    def _notes(self) -> Iterable[str]:
        yield from self.channels.words()
        clock = self.clock
        if clock.counts_from_first:
            yield labels.COUNTS_FROM_FIRST
        if clock.backs:
            yield labels.STAMPS_BACK.format(count=clock.backs, ms=clock.most_back_ms)
        yield from self.census.words()
        silent = [name for _, name, _ in self.plan.nodes if name not in self.heard]
        if silent:
            words = labels.NEVER_IN_LOG if len(silent) < len(self.plan.nodes) else labels.NOBODY_IN_LOG
            yield words.format(nodes=", ".join(silent))


def _worse(verdict: Verdict, before: Verdict, *, at_least: bool) -> bool:
    """Is this one to stand for both? A failure before what is open, that before a pass; of two passes the nearer to the limit."""
    if RANK[verdict.verdict] != RANK[before.verdict]:
        return RANK[verdict.verdict] > RANK[before.verdict]
    if RANK[verdict.verdict] != RANK[PASS] or verdict.measured is None or before.measured is None:
        return False
    return verdict.measured < before.measured if at_least else verdict.measured > before.measured


def _unjudged(identity: str, shown: object) -> Verdict:
    lacks = shown.lacks if isinstance(shown, NotInALog) else ""
    return Verdict(identity, NOT_EXERCISED, None, None, "", REPORTED, None, labels.LOG_LACKS.format(lacks=lacks))
