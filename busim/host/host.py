"""The host: power, reset, clock, inputs, processing delay, transmit queues round one node.

Three things of a host come from the kernel's queue: a sample of its inputs, something it put off (a delayed output, the
notice that a frame of its was sent), and its node's deadline. Each is a `Timer`, at most once in the queue.

Its clock starts at zero with its program and runs at `rate` / 2**32 of true time; a node's deadlines are meant in that clock.
Faults act only through the methods under "handles".
"""

from collections.abc import Callable
from typing import Any, Final

from busim.bus.bus import Bus
from busim.bus.controller import Controller
from busim.events.journal import Journal
from busim.host.inputs import Constant, Input
from busim.host.rejoin import Rejoin
from busim.host.tamper import Babble, Tamper
from busim.host.timer import Kernel as Kernel
from busim.host.timer import NodeError as NodeError
from busim.host.timer import Timer as Timer
from busim.host.unheard import Unheard
from busim.host.wrong import wrong_with
from busim.seam import (
    BROWN_OUT_RESET,
    BUS_OFF,
    OUTPUT,
    POWER_ON,
    QUEUE,
    RECHECK,
    ROW,
    SEND,
    WATCHDOG_RESET,
    Actions,
    FrameHandler,
    Node,
)
from busim.units import NEVER

ONE: Final = 1 << 32
"""A clock's rate without error."""
_FRAMES: Final = (SEND, QUEUE)

_SENT: Final = -1
_REJOIN: Final = -2
"""What is put off beside outputs: the notice that a frame was sent, the end of a pause after bus-off."""

HASTY_NS: Final = 1000
MOST_HASTY: Final = 100_000
"""A node that puts its deadline off by less than HASTY_NS so often, in all its life, would never let time go on."""


class Host:
    __slots__ = (
        "babbling", "bark_ns", "boot_ns", "booting", "buses", "controllers", "deadline", "deferred", "delay_ns", "fed", "handlers",
        "hasty", "index", "inputs", "journal", "kernel", "later", "make_node", "name", "node", "on_ns", "outputs", "pace",
        "powered", "rejoin", "running", "sampled", "sampling", "sinks", "start_cause", "stretch", "switched_on", "tamper",
        "unheard", "wants_sent", "watchdog_ns",
    )  # fmt: skip

    def __init__(
        self, index: int, name: str, make_node: Callable[[], Node], kernel: Kernel, journal: Journal, *, delay_ns: int, boot_ns: int
    ) -> None:
        self.hasty = 0
        """How often its node put its deadline off by next to nothing."""
        self.index = index
        self.name = name
        self.make_node = make_node
        self.node = make_node()
        self.kernel = kernel
        self.journal = journal
        self.delay_ns = delay_ns
        self.boot_ns = boot_ns
        self.rate = ONE
        self.watchdog_ns = NEVER
        """How long the program may be silent before the external watchdog resets it; NEVER: none is fitted."""
        self.bark_ns = NEVER
        self.on_ns = 0
        self.powered = False
        """It has voltage: its own switch is on, and its supply is above brown-out."""
        self.switched_on = False
        self.fed = True
        self.running = False
        self.booting = False
        self.start_cause = 0
        self.buses: dict[int, Bus] = {}
        self.controllers: dict[int, Controller] = {}
        self.inputs: dict[str, Input] = {}
        self.sampled: list[Input] = []
        self.outputs: dict[str, int] = {}
        self.sinks: dict[str, Callable[[int, int], None]] = {}
        """Channel -> what an output moves: `sink(now_ns, value)`. Rebuilt after a restore."""
        self.handlers: dict[tuple[int, int], FrameHandler] = {}
        self.wants_sent = self.node.on_sent is not None
        self.tamper: Tamper | None = None
        self.unheard: Unheard | None = None
        self.babbling: Babble | None = None
        self.rejoin: Rejoin | None = None
        """What its driver does once bus-off; None: it stays off."""
        self.later: list[tuple[int, int, tuple[Any, ...]]] = []
        self.sampling = Timer(self.sample)
        self.deferred = Timer(self.do_deferred)
        self.deadline = Timer(self.meet_deadline)

    # ------------------------------------------------------------------------------------------------ clock

    @property
    def rate(self) -> int:
        return self.pace

    @rate.setter
    def rate(self, rate: int) -> None:
        self.pace = rate
        """The rate again: a plain field for those who ask for every frame."""
        self.stretch = -((1 << 127) // rate)
        """Minus its inverse, times 2**95. What is cut off changes no result below 2**62 ns: an exact quotient would have to lie
        closer above a whole number than 1 / rate, its smallest step."""

    def own_ns(self, now_ns: int) -> int:
        """This host's clock at a moment of true time."""
        return (now_ns - self.on_ns) * self.pace >> 32

    def true_ns(self, own_ns: int) -> int:
        """The first moment of true time at which this host's clock shows at least `own_ns`: own_ns * 2**32 / rate, rounded up.
        A product, as a division of numbers this long takes four times as long."""
        return self.on_ns - (own_ns * self.stretch >> 95)

    # ------------------------------------------------------------------------------------------------ what the node does

    def act(self, now_ns: int, actions: Actions) -> None:
        """Carry out what a handler returned, and look at the node's deadline again."""
        self._carry_out(now_ns, actions)
        own_deadline_ns = self.node.deadline_ns
        if own_deadline_ns != NEVER:
            due_ns = self.on_ns - (own_deadline_ns * self.stretch >> 95)
            if due_ns < self.deadline.armed_ns:
                self.kernel.arm(self.deadline, due_ns if due_ns > now_ns else now_ns)

    def _carry_out(self, now_ns: int, actions: Actions) -> None:
        try:
            for action in actions:
                kind = action[0]
                if kind in _FRAMES:
                    _, bus, can_id, data, drop_after_ns = action
                    if can_id >> 11 or type(data) is not bytes or len(data) > 8:
                        raise NodeError
                    if self.tamper is not None:
                        ready_ns = now_ns + self.delay_ns
                        self.tamper.release(self.controllers[bus], ready_ns, can_id, data, drop_after_ns, kind == SEND)
                        continue
                    self.controllers[bus].submit(now_ns + self.delay_ns, can_id, data, drop_after_ns, kind == SEND)
                elif kind == ROW:
                    self.journal.event(now_ns, "row", self.name, action[1], action[2], action[3])
                elif kind == OUTPUT:
                    if type(action[2]) is not int:
                        raise NodeError
                    if self.delay_ns:
                        self._put_off(now_ns + self.delay_ns, action)
                    else:
                        self._set_output(now_ns, action[1], action[2])
                elif action not in RECHECK:
                    raise NodeError
        except Exception as error:
            # Looked into only now, so that a node that keeps the rules does not pay for the others.
            wrong = wrong_with(actions, tuple(self.controllers))
            if not wrong:
                raise
            raise NodeError(f"{self.words()}: {wrong}") from error

    def words(self) -> str:
        """This host and its program, for a message."""
        return f"{self.name} ({type(self.node).__name__})"

    def _set_output(self, now_ns: int, channel: str, value: int) -> None:
        if self.outputs.get(channel) == value:
            return
        self.outputs[channel] = value
        self.journal.event(now_ns, "output", self.name, channel, value)
        sink = self.sinks.get(channel)
        if sink is not None:
            try:
                sink(now_ns, value)
            except ValueError as error:
                raise NodeError(f"{self.words()}: output {channel}: {error}") from error

    def meet_deadline(self, now_ns: int) -> int:
        if not self.running:
            if self.powered and now_ns >= self.bark_ns:
                self.reset(now_ns, WATCHDOG_RESET)
                return NEVER
            return self._start(now_ns) if self.booting and now_ns >= self.on_ns else NEVER
        node = self.node
        own_ns = (now_ns - self.on_ns) * self.pace >> 32
        own_deadline_ns = node.deadline_ns
        if own_deadline_ns <= own_ns:
            actions = node.on_deadline(own_ns)
            if actions:
                self._carry_out(now_ns, actions)
            own_deadline_ns = node.deadline_ns
            if own_deadline_ns <= own_ns:
                raise NodeError(f"{self.words()}: on_deadline left its deadline at a moment that has passed")
            if own_deadline_ns < own_ns + HASTY_NS:
                self.hasty += 1
                if self.hasty > MOST_HASTY:
                    raise NodeError(f"{self.words()}: on_deadline puts its deadline off by less than 1 us again and again")
        return NEVER if own_deadline_ns == NEVER else self.on_ns - (own_deadline_ns * self.stretch >> 95)

    # ------------------------------------------------------------------------------------------------ put off

    def _put_off(self, due_ns: int, action: tuple[Any, ...]) -> None:
        self.later.append((due_ns, len(self.later), action))
        if due_ns < self.deferred.armed_ns:
            self.kernel.arm(self.deferred, due_ns)

    def note_sent(self, due_ns: int, bus: int, can_id: int) -> None:
        """A frame of ours is acknowledged and over at `due_ns`."""
        self._put_off(due_ns, (_SENT, bus, can_id))

    def do_deferred(self, now_ns: int) -> int:
        due, self.later = self.later, []
        if len(due) != 1 or due[0][0] > now_ns:
            self.later = [entry for entry in due if entry[0] > now_ns]
            due = [entry for entry in due if entry[0] <= now_ns]
        for _, _, action in due:
            if action[0] == OUTPUT:
                self._set_output(now_ns, action[1], action[2])
            elif action[0] == _REJOIN:
                if self.running:
                    self.buses[action[1]].recover(now_ns, self.controllers[action[1]])
            elif self.babbling is not None and self.babbling.goes_on(action[1], action[2]):
                self._babble_on(now_ns)
            elif self.running and self.node.on_sent is not None:
                actions = self.node.on_sent(self.own_ns(now_ns), action[1], action[2])
                if actions:
                    self.act(now_ns, actions)
        return min([entry[0] for entry in self.later]) if self.later else NEVER

    # ------------------------------------------------------------------------------------------------ inputs

    def add_input(self, channel: str, period_ns: int, source: Any) -> None:
        entry = self.inputs[channel] = Input(channel, period_ns, source)
        if period_ns:
            self.sampled.append(entry)

    def wake(self, now_ns: int, channel: str) -> None:
        """The source of an input may change from now on: sample it (or, for a switch, hear it at once)."""
        entry = self.inputs.get(channel)
        if entry is None or not self.running:
            return
        if not entry.period_ns:
            self._read(now_ns, entry)
        elif entry.due_ns == NEVER:
            entry.due_ns = entry.next_sample_ns(now_ns, self.on_ns)
            if entry.due_ns < self.sampling.armed_ns:
                self.kernel.arm(self.sampling, entry.due_ns)

    def set_switch(self, now_ns: int, channel: str, value: int) -> None:
        """A contact wired to this host opens or closes."""
        entry = self.inputs.get(channel)
        if entry is not None and isinstance(entry.source, Constant):
            entry.source.value = value
            self.wake(now_ns, channel)

    def sample(self, now_ns: int) -> int:
        if not self.running:
            return NEVER
        own_ns = (now_ns - self.on_ns) * self.pace >> 32
        earliest_ns = NEVER
        for entry in self.sampled:
            due_ns = entry.due_ns
            if due_ns <= now_ns:
                source = entry.replaced or entry.source
                value = source.read(now_ns)
                due_ns = entry.due_ns = now_ns + entry.period_ns
                if value != entry.last:
                    entry.last = value
                    actions = self.node.on_input(own_ns, entry.channel, value)
                    if actions:
                        self.act(now_ns, actions)
                elif source.still(now_ns):  # asked only of what did not move: of the rest the next sample asks
                    due_ns = entry.due_ns = NEVER
            if due_ns < earliest_ns:
                earliest_ns = due_ns
        return earliest_ns

    def _read(self, now_ns: int, entry: Input) -> None:
        value = entry.read(now_ns)
        if value != entry.last:
            self._hear(now_ns, entry, value)

    def _hear(self, now_ns: int, entry: Input, value: int) -> None:
        entry.last = value
        actions = self.node.on_input((now_ns - self.on_ns) * self.pace >> 32, entry.channel, value)
        if actions:
            self.act(now_ns, actions)

    def controller_changed(self, now_ns: int, bus: int, state: int) -> None:
        if self.rejoin is not None and state == BUS_OFF and self.running:
            self._put_off(now_ns + self.rejoin.pause_ns(now_ns, bus), (_REJOIN, bus))
        if self.running:
            self.act(now_ns, self.node.on_controller(self.own_ns(now_ns), bus, state))
        if self.babbling is not None and state != BUS_OFF:
            self._babble_on(now_ns)

    # ------------------------------------------------------------------------------------------------ handles

    def power(self, now_ns: int, on: bool) -> None:
        """Its own switch. With the voltage go the controllers, all outputs, and everything the node knew."""
        self.switched_on = on
        self._voltage(now_ns, POWER_ON)

    def feed(self, now_ns: int, fed: bool, cause: int = BROWN_OUT_RESET) -> None:
        """Its supply is above brown-out, or not; `cause` is what its program is told once it is back."""
        self.fed = fed
        self._voltage(now_ns, cause)

    def _voltage(self, now_ns: int, cause: int) -> None:
        on = self.switched_on and self.fed
        if on == self.powered:
            return
        self.powered = on
        self.journal.event(now_ns, "power", self.name, int(on))
        self._stop(now_ns)
        self._forget_routes(now_ns)
        if on:
            self._boot(now_ns, cause)

    def set_rate(self, now_ns: int, rate: int) -> None:
        """Its clock runs at another rate from now on. What it shows does not jump, and never runs backwards."""
        shown_ns = self.own_ns(now_ns)
        self.rate = rate
        self.on_ns = now_ns + (-(shown_ns << 32) // rate)
        if self.running and self.node.deadline_ns != NEVER:
            due_ns = max(self.true_ns(self.node.deadline_ns), now_ns)
            if due_ns < self.deadline.armed_ns:
                self.kernel.arm(self.deadline, due_ns)

    def reset(self, now_ns: int, cause: int) -> None:
        """The program starts again; supply stays."""
        if self.powered:
            self._stop(now_ns)
            self._boot(now_ns, cause)

    def hang(self, now_ns: int, *, watched: bool = True) -> None:
        """The program stops where it is; the controllers go on acknowledging, outputs stay. `watched` false: the external watchdog
        has failed as well."""
        if self.running:
            self.running = False
            self._forget_routes(now_ns)
            if watched and self.watchdog_ns != NEVER:  # it was fed just now: by the longest it lets a program be silent
                self.bark_ns = now_ns + self.watchdog_ns
                self.kernel.arm(self.deadline, self.bark_ns)

    def go_on(self, now_ns: int) -> None:
        """A hung program goes on where it was: late for its deadline, and all inputs read anew."""
        if self.powered and not self.running and not self.booting:
            self.running = True
            self.bark_ns = NEVER
            self.bind()
            self._forget_routes(now_ns)
            for entry in self.inputs.values():
                entry.due_ns = NEVER
                self.wake(now_ns, entry.channel)
            for bus, controller in self.controllers.items():
                if self.rejoin is not None and controller.state == BUS_OFF:
                    self.buses[bus].recover(now_ns, controller)
            self.kernel.arm(self.deadline, max(now_ns, self.true_ns(min(self.node.deadline_ns, self.own_ns(now_ns)))))

    def babble(self, now_ns: int, babble: Babble | None) -> None:
        """Its controller sends a frame over and over, as fast as it can, whatever its program does; None: no longer."""
        self.babbling = babble
        self.wants_sent = babble is not None or self.node.on_sent is not None
        if babble is not None:
            self._babble_on(now_ns)

    def _babble_on(self, now_ns: int) -> None:
        babble = self.babbling
        if babble is not None and not self.controllers[babble.bus].waits(babble.can_id):
            self.controllers[babble.bus].submit(now_ns, babble.can_id, babble.data, NEVER - now_ns, False)

    def miss(self, now_ns: int, bus: int, can_id: int, frames: int) -> None:
        """The program does not hear the next so many frames of this id on this bus."""
        if self.unheard is None:
            self.unheard = Unheard()
        self.unheard.left[bus, can_id] = self.unheard.left.get((bus, can_id), 0) + frames
        if self.running:
            self.bind()
            self._forget_routes(now_ns)

    def _forget_routes(self, now_ns: int) -> None:
        for bus in self.buses.values():
            bus.look_again(now_ns)

    def _stop(self, now_ns: int) -> None:
        self.running = self.booting = False
        self.later = []
        if self.rejoin is not None:
            self.rejoin.forget()
        for index, controller in self.controllers.items():
            self.buses[index].set_listening(now_ns, controller, False)
        for channel in list(self.outputs):
            sink = self.sinks.get(channel)
            if sink is not None:
                sink(now_ns, -1)
        self.outputs = {}

    def _boot(self, now_ns: int, cause: int) -> None:
        self.start_cause = cause
        self.booting = True
        self.bark_ns = NEVER
        self.node = self.make_node()
        self.on_ns = now_ns + self.boot_ns
        self.kernel.arm(self.deadline, self.on_ns)

    def _start(self, now_ns: int) -> int:
        """The program begins: `on_start`, then every input, all at zero of its clock."""
        self.booting = False
        self.running = True
        self.on_ns = now_ns
        self.bind()
        for index, controller in self.controllers.items():
            self.buses[index].set_listening(now_ns, controller, True)
        self.journal.event(now_ns, "start", self.name, self.start_cause)
        self.act(now_ns, self.node.on_start(0, self.start_cause))
        self._babble_on(now_ns)
        for entry in self.inputs.values():
            entry.last = entry.read(now_ns)
            entry.due_ns = NEVER
            self.act(now_ns, self.node.on_input(0, entry.channel, entry.last))
            if entry.period_ns and not entry.still(now_ns):
                self.wake(now_ns + 1, entry.channel)
        return NEVER if self.node.deadline_ns == NEVER else max(self.true_ns(self.node.deadline_ns), now_ns)

    # ------------------------------------------------------------------------------------------------ save and restore

    def bind(self) -> None:
        """Take the node's handlers; again after a restore, as bound methods are rebuilt and never saved."""
        handlers = self.node.receives()
        self.handlers = self.unheard.before(handlers) if self.unheard is not None else handlers
        self.wants_sent = self.babbling is not None or self.node.on_sent is not None

    def __getstate__(self) -> tuple[None, dict[str, Any]]:
        return None, {name: getattr(self, name) for name in self.__slots__ if name not in ("handlers", "sinks")}

    def __setstate__(self, state: tuple[None, dict[str, Any]]) -> None:
        for name, value in state[1].items():
            setattr(self, name, value)
        self.handlers = {}
        self.sinks = {}
