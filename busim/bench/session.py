"""One bench session, in a process of its own: listen first, ask, stimulate from harmless to violent, always end in neutral.

Everything it needs from outside comes in by three seams: the link to the device, the pace, and `Talk` to whoever shows and judges.
"""

import contextlib
import math
import selectors
from collections.abc import Callable
from typing import Final

from busim import bench_labels as labels
from busim.bench.band import Band
from busim.bench.cap import within_cap
from busim.bench.doubt import contradict, doubt
from busim.bench.farewell import Farewell
from busim.bench.guest import Seat
from busim.bench.link import InWorld, Link, LinkError, OverAdapter
from busim.bench.listening import FirstListen
from busim.bench.live import LiveBoat
from busim.bench.needs import FULL_BUS, lacking, wanted_of_adapter
from busim.bench.observer import OBSERVER_ID
from busim.bench.order import (
    ADAPTER,
    BAND,
    DONE,
    MOVING_KINDS,
    REFUSED,
    RIG,
    WENT_WRONG,
    EndedError,
    Ending,
    Order,
    RefusedError,
    Talk,
)
from busim.bench.pacing import Pace
from busim.bench.probe import UNACKNOWLEDGED
from busim.bench.stage import Ask, Play, Stage
from busim.bench.stimuli import STIMULI, Stimulus
from busim.boat.derive import limits_of
from busim.protocol.values import BENCH_OBSERVER_ADDRESS
from busim.scenario.model import CrankAction
from busim.seam import Node
from busim.units import MS, SECOND

SETTLING_NS: Final = 5 * SECOND // 2
LATE_NS: Final = 20 * MS
"""Later than this at one frame in a hundred, what was timed meanwhile is not decided."""
OPENING_NS: Final = 10 * SECOND
FAREWELL_STEP_S: Final = 0.005


class Session:
    def __init__(
        self,
        order: Order,
        kinds: dict[str, type[Node]],
        talk: Talk,
        make_link: Callable[[], Link] | None,
        pace: Pace | None = None,
    ) -> None:
        """`make_link` opens the way to the device; None: the device is simulated."""
        self.order = order
        self.talk = talk
        self.pace = pace or Pace()
        self.make_link = make_link
        self.live = LiveBoat(order.boat, order.plan, kinds, order.seed, keep=talk.block)
        world = self.live.world
        self.simulated = make_link is None
        self.seat: Seat | None = None if self.simulated else self.live.seat(order.bus, order.node, left_out=order.node)
        self.witness: Seat | None = None
        self.witness_address = 0
        if order.witness:
            self.witness = self.live.seat(order.bus, order.witness, left_out=order.witness)
            self.witness_address = order.boat.nodes[order.witness].address
        self.voice = self.live.seat(order.bus, "bench")
        self.stage = Stage(self.live, order.node, order.bus, self.voice, order.cap_permille, order.seed)
        self.stage.simulated = self.simulated
        self.stage.witness = self.witness is not None
        if self.witness is not None:
            self.stage.rests_on = labels.RESTS_ON_CUTOUT
        self.observable = order.machinery == RIG and all(address != BENCH_OBSERVER_ADDRESS for address, _, _ in order.plan.nodes)
        self.stage.self_reported = not self.simulated
        # Until it is known that nobody else is there, nobody but the device has power.
        world.script = [step for step in world.script if step[2] == "power" and step[3][0] == order.node]
        world.plan_steps([(0, -2, "engines", (0,))])
        self.band: Band | None = None
        self.link: Link | None = None
        self.listening: FirstListen | None = None
        self.spoke = False
        self.dead = False
        """The simulated boat has failed: nothing of it is carried on."""
        self.last: dict[int, bytes] = {}
        self.outgoing: list[tuple[int, int, bytes]] = []
        self.capped = 0
        self.bells = self.excused_bells = 0
        """Frames the adapter refused by now, and those among them that it could not get rid of, as the device had no supply."""
        self.odd = 0
        self.answers: list[tuple[str, str]] = []
        self.selector = selectors.SelectSelector()
        self.ending = Ending(WENT_WRONG)

    # ------------------------------------------------------------------------------------------------ from start to end

    def run(self) -> Ending:
        """Whatever happens in it, the end is the same: neutral and idle, awaited, and told."""
        why, words = WENT_WRONG, ""
        try:
            self.link = InWorld(self.voice) if self.make_link is None else self.make_link()
            self.talk.say(labels.LINK_IS.format(words=self.link.words))
            if (number := self.link.fileno()) is not None:
                self.selector.register(number, selectors.EVENT_READ)
            self.pace.begin(self.live.now_ns)
            if self.simulated:
                self.voice.go_on_bus(listen_only=False)
            self._play(self._course())
            why = DONE
        except RefusedError as refused:
            why, words = REFUSED, str(refused)
        except LinkError as trouble:
            why, words = ADAPTER, str(trouble)
        except EndedError as ended:
            why = str(ended)
        except Exception as error:
            words = f"{type(error).__name__}: {error}"
            self.dead = True
        return self._end(why, words)

    def _end(self, why: str, words: str) -> Ending:
        ending = Ending(why, words, spoke=self.spoke, answers=self.answers, machinery=self.order.machinery)
        try:
            ending.neutral = self._farewell()
        finally:
            if self.link is not None:
                ending.notes = [*self.link.notes, *self._notes()]
                with contextlib.suppress(OSError, LinkError):
                    self.link.close()
            self.selector.close()
        if not self.dead:
            with contextlib.suppress(Exception):
                self.live.end_second()
        report = self.stage.report
        ending.version = ".".join(str(part) for part in report.identity[2:5]) if report.identity else ""
        ending.fingerprints = report.fingerprints if any(report.fingerprints) else None
        ending.digest, ending.seconds = self.live.digest, self.live.now_ns / SECOND
        return ending

    def _notes(self) -> list[str]:
        late = self.pace.lateness
        notes = [labels.LATE_SHARES.format(
            median=late.share_ns(0.5) / MS, high=late.share_ns(0.99) / MS, worst=late.worst_ns / MS, count=late.total
        )]  # fmt: skip
        if self.pace.stops:
            notes.append(labels.HELD_UP.format(times=self.pace.stops, seconds=self.pace.stood_ns / SECOND))
        if self.capped:
            notes.append(labels.CAPPED.format(count=self.capped, cap=self.order.cap_permille))
        if self.odd:
            notes.append(labels.ODD_FRAMES.format(count=self.odd))
        return notes

    # ------------------------------------------------------------------------------------------------ the loop

    def _play(self, course: Play) -> None:
        """Carry on the boat, the link and the course, each when it is due."""
        wake_ns = self.live.now_ns
        asked: Ask | None = None
        while True:
            self._tick(min(wake_ns, self.live.next_ns) if asked is None else self.live.next_ns)
            if (reason := self.talk.ended()) != "":
                raise EndedError(reason)
            answer: str | None = None
            if asked is not None:
                answer = self.talk.answer()
                if answer is None:
                    continue
                self.stage.answered_ns = self.live.now_ns
                self.answers.append((asked.words, answer))
            elif self.live.now_ns < wake_ns:
                continue
            try:
                wanted = next(course) if asked is None else course.send(answer or "")
            except StopIteration:
                return
            asked = wanted if isinstance(wanted, Ask) else None
            if asked is not None:
                self.stage.asked_ns = self.live.now_ns
                self.talk.ask(asked)
            else:
                assert isinstance(wanted, int)
                wake_ns = self.live.now_ns + wanted

    def _tick(self, due_ns: int) -> None:
        assert self.link is not None
        self.selector.select(self.pace.wait_s(due_ns)) if self.selector.get_map() else self._rest(due_ns)
        received = self.link.receive()
        self.live.advance(self.pace.now_ns(self.live.now_ns))
        if self.simulated:
            received += self.link.receive()
        for plain, can_id, data in received:
            self._came(plain, can_id, data)
        self._go_out()
        bells = int(getattr(self.link, "bells", 0))
        if self.stage.supply_off:
            self.excused_bells += bells - self.bells
        self.bells = bells

    def _rest(self, due_ns: int) -> None:
        """Where nothing can be waited for, it is looked for often."""
        selectors.SelectSelector.select(self.selector, min(self.pace.wait_s(due_ns), 0.001))

    def _came(self, plain: bool, can_id: int, data: bytes) -> None:
        now_ns = self.live.now_ns
        own = plain and can_id & 0x3F == self.stage.address
        if self.listening is not None:
            self.listening.frame(now_ns, plain, can_id, data)
        if plain:
            self.last[can_id] = data
        if own:
            self.stage.heard(now_ns, can_id, data)
        if self.seat is None:
            return
        if plain and can_id == OBSERVER_ID and self.observable:
            self.stage.observed(now_ns, data)
            if self.spoke:
                self.voice.transmit(can_id, data)  # so that it is kept, and judged
        elif plain and self.witness is not None and can_id & 0x3F == self.witness_address:
            self.stage.witnessed(now_ns, can_id, data)
            if self.spoke:
                self.witness.transmit(can_id, data)
        elif not plain:
            self.odd += 1
        elif not own and self.spoke:
            name = next((name for at, name, _ in self.order.plan.nodes if at == can_id & 0x3F), labels.UNKNOWN_NODE)
            raise RefusedError(labels.SOMEBODY_CAME.format(other=name, can_id=can_id))
        elif self.spoke:
            if self.band is not None:
                self.band.frame(now_ns, can_id, data)
            self.seat.transmit(can_id, data)

    def _go_out(self) -> None:
        """What the simulated boat sent, on to the device; what its machinery measures, where the band carries it."""
        if self.seat is None or self.link is None or not self.spoke:
            return
        now_ns = self.pace.now_ns(self.live.now_ns)
        outgoing, self.outgoing = self.outgoing, []
        if self.stage.away:
            return  # nobody is there to acknowledge: it would pile up in the adapter
        for at_ns, can_id, data in outgoing:
            if not within_cap(can_id, data, self.order.cap_permille):
                self.capped += 1
                continue
            self.link.send(can_id, data)
            self.last[can_id] = data
            self.pace.note(at_ns, now_ns)
        if self.band is not None:
            for can_id, data in self.band.values(self.live.now_ns):
                self.link.send(can_id, data)

    # ------------------------------------------------------------------------------------------------ the course

    def _course(self) -> Play:
        yield from self._listen_first()
        yield from self._confirm()
        self._begin_to_speak()
        yield SETTLING_NS
        yield from self._probe()
        if self.band is not None and not self.band.answered:
            raise RefusedError(labels.NO_BAND)
        if self.stage.drive is not None and (self.simulated or self.band is not None):
            self.live.do("crank", CrankAction(drive=self.stage.drive.name))
            yield SETTLING_NS
        self._note_uncertainty()
        for stimulus in STIMULI:
            if self.stage.kind in stimulus.kinds and (not self.order.only or stimulus.name in self.order.only):
                yield from self._stimulate(stimulus)

    def _listen_first(self) -> Play:
        opened = getattr(self.link, "open", True)
        waited_ns = 0
        while not opened and waited_ns < OPENING_NS:
            yield 100 * MS
            waited_ns += 100 * MS
            opened = getattr(self.link, "open", True)
        if self.simulated:
            yield SECOND  # it boots
        self.talk.say(labels.LISTENING)
        self.listening = FirstListen(self.order.plan, self.stage.address, self.witness_address)
        self.listening.observable = self.observable
        for _ in range(2):  # asked in the middle, and again, when the first answer is in
            yield self.listening.lasts_ns // 2
            self._ask_for_trouble()
        refusal = self.listening.refusal()
        if refusal:
            trouble = getattr(self.link, "trouble", [])
            raise RefusedError(labels.WIRE_SAYS.format(refusal=refusal, trouble="; ".join(trouble)) if trouble else refusal)
        self.talk.say(labels.HEARD_ALONE.format(node=self.order.node, count=len(self.listening.beats_ns)))
        if self.stage.drive is not None and not self.simulated:
            self.talk.say(labels.GEAR_RESTS.format(rests_on=self.stage.rests_on))
        self.listening = None

    def _ask_for_trouble(self) -> None:
        if isinstance(self.link, OverAdapter):
            self.link.ask_for_trouble()

    def _probe(self) -> Play:
        """What is known of the adapter. Where nobody acknowledges, nothing goes out but one frame, again and again."""
        if not isinstance(self.link, OverAdapter):
            return
        known = yield from self.link.probe()
        for line in known.lines:
            self.talk.say(line)
        self.link.notes += known.lines
        if known.acknowledged == UNACKNOWLEDGED:
            raise RefusedError(labels.NOBODY_ACKNOWLEDGES)

    def _confirm(self) -> Play:
        """Before the first frame is sent to something that can move something."""
        if self.stage.kind not in MOVING_KINDS:
            return
        self.talk.say(labels.CAUTIONS)
        disconnected = yield Ask(labels.ASK_DISCONNECTED)
        if not disconnected.strip():
            raise RefusedError(labels.NOT_CONFIRMED)
        if (yield Ask(labels.ASK_CUT_OFF)).strip().lower() != labels.SHOWN:
            raise RefusedError(labels.NO_CUT_OFF)

    def _begin_to_speak(self) -> None:
        world = self.live.world
        self.spoke = True
        if self.seat is not None:
            seat = self.seat
            seat.hears = lambda now_ns, can_id, data: self._heard_by_device(world.now_ns, can_id, data)
            seat.go_on_bus(listen_only=False)
            if self.witness is not None:
                self.witness.go_on_bus(listen_only=False)
            self.voice.go_on_bus(listen_only=False)
            if self.order.machinery == BAND:
                self.band = Band(seat.host, self.stage.address)
        names = [name for name in self.order.boat.nodes if name not in (self.order.node, self.order.witness)]
        world.plan_steps([(world.now_ns, -1, "power", (name, 1)) for name in names])

    def _heard_by_device(self, at_ns: int, can_id: int, data: bytes) -> None:
        """What is to go out to it. What the witness or an observer sends it hears by itself."""
        if can_id == OBSERVER_ID and self.observable:
            return
        if not self.witness_address or can_id & 0x3F != self.witness_address:
            self.outgoing.append((at_ns, can_id, data))

    def _note_uncertainty(self) -> None:
        """What a moment is uncertain by: how late the bench itself was, and how long the way to the device and back takes."""
        way_ns = getattr(self.link, "round_trip_ns", 0)
        self.stage.uncertainty_ms = math.ceil((self.pace.lateness.share_ns(0.99) + way_ns) / MS) if not self.simulated else 0
        self.talk.say(labels.UNCERTAIN.format(ms=self.stage.uncertainty_ms))

    def _stimulate(self, stimulus: Stimulus) -> Play:
        stage = self.stage
        stage.stimulus, stage.requirements = stimulus.name, stimulus.requirements
        first = len(stage.results)
        lacks = lacking(
            stimulus.needs, self.order, simulated=self.simulated, stations=len(stage.stations()),
            round_trip_ns=int(getattr(self.link, "round_trip_ns", 0)),
        )  # fmt: skip
        if lacks:
            stage.not_exercised(", ".join(lacks))
        else:
            needs = [] if self.simulated else wanted_of_adapter(stimulus.needs)
            self.talk.say(labels.STIMULUS.format(name=stimulus.name, words="; ".join([stimulus.words, *needs])))
            bells, stops = self.bells - self.excused_bells, self.pace.stops
            stage.contradicted = ""
            yield from stimulus.play(stage)
            bells, stops = self.bells - self.excused_bells - bells, self.pace.stops - stops
            if bells and FULL_BUS in stimulus.needs:
                del stage.results[first:]
                stage.not_exercised(labels.LACKS[FULL_BUS].format(count=bells))
            late = bool(stops) or (not self.simulated and self.pace.lateness.share_ns(0.99) > LATE_NS)
            doubt(stage.results[first:], bells, late=late)
            if stage.contradicted:
                contradict(stage.results[first:])
                stage.failed(stage.contradicted)
            yield from stage.calm()
        self.talk.results(stage.results[first:])

    # ------------------------------------------------------------------------------------------------ the end

    def _farewell(self) -> bool | None:
        """Neutral and idle, commanded and awaited. None where nothing was ever sent, or there is no drive to see to."""
        if not self.spoke or self.stage.drive is None:
            return None
        if self.link is None:
            return False
        drive = self.stage.drive
        self.talk.say(labels.ENDING)
        limit_ms = limits_of(self.order.boat, self.order.boat.drives[drive.name]).loss_to_neutral_ms
        self._silence_the_boat()
        clock = self.pace.clock
        farewell = Farewell(self.order.plan, drive, self.last, clock(), limit_ms * MS)
        now_ns = clock()
        try:
            while not farewell.over(now_ns):
                for can_id, data in farewell.frames(now_ns):
                    self.link.send(can_id, data)
                self._carry_on()
                now_ns = clock()
                for plain, can_id, data in self.link.receive():
                    if plain:
                        farewell.frame(now_ns, can_id, data)
                        if self.band is not None and not self.dead:
                            self.band.frame(self.live.now_ns, can_id, data)
        except LinkError:
            return False
        return farewell.reported(now_ns)

    def _silence_the_boat(self) -> None:
        """Nobody else of the simulated boat speaks any more: what is said now is said by the bench alone."""
        self.outgoing = []
        if self.dead:
            return
        try:
            for name, host in self.live.world.hosts.items():
                if name not in (self.order.node, "bench"):
                    host.tamper = None
                    host.power(self.live.now_ns, False)
            if self.seat is None and not self.voice.host.powered:
                self.voice.go_on_bus(listen_only=False)
        except Exception:  # the boat is broken: the device is what counts
            self.dead = True

    def _carry_on(self) -> None:
        """Machinery that is simulated goes on while its device is brought to rest. A boat that fails now is left where it is."""
        next_ns = self.live.next_ns if self.simulated and not self.dead else 0
        wait_s = min(self.pace.wait_s(next_ns), FAREWELL_STEP_S) if next_ns else min(FAREWELL_STEP_S, self.pace.wait_s(1 << 62))
        self.selector.select(wait_s)
        if self.dead:
            return
        try:
            self.live.advance(self.pace.now_ns(self.live.now_ns))
            if self.band is not None and self.link is not None:
                for can_id, data in self.band.values(self.live.now_ns):
                    self.link.send(can_id, data)
        except LinkError:
            raise
        except Exception:  # as above
            self.dead = True
