"""A bench without hardware: a device in a simulated world of its own behind a link that is made like an adapter's.

The session and the device share a clock in the test's hand, so that no test waits.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from busim.bench.band import NUMBERS
from busim.bench.guest import Seat
from busim.bench.link import LinkError
from busim.bench.live import LiveBoat
from busim.bench.observer import OBSERVER_ID
from busim.bench.order import RIG, Ending, Order
from busim.bench.pacing import Pace
from busim.bench.session import Session
from busim.bench.stage import Ask, Result
from busim.boat.load import LoadedBoat, load_boat
from busim.protocol.catalogue import BENCH
from busim.seam import Node
from busim.simulator.kinds import load_kinds
from busim.units import MS

CONFIGS = Path(__file__).parents[2] / "configs"
BOAT = load_boat(CONFIGS / "first_boat")
KINDS = load_kinds()
NODE = "engine_room"


class Clock:
    """Moves on by half a millisecond each time it is read."""

    def __init__(self) -> None:
        self.now_ns = 0

    def __call__(self) -> int:
        self.now_ns += MS // 2
        return self.now_ns


class Hurried(Pace):
    """Never waits: what time it is, its clock says by being read."""

    def wait_s(self, next_ns: int) -> float:
        return 0.0


class Device:
    """A link to a drive on a bus of its own, with whoever else is given power there. `sent` is all that was sent to it."""

    words = "a device on a bus of its own"

    def __init__(
        self, clock: Clock, *, others: tuple[str, ...] = (), engine: bool = False, powered: bool = True,
        drive: type[Node] | None = None, boat: LoadedBoat = BOAT, node: str = NODE, bus: str = "main",
    ) -> None:  # fmt: skip
        self.clock = clock
        self.observer: Callable[[Device], dict[str, int]] | None = None
        """What a second node's sensors show, by the names of the bench's channels; called every 50 ms."""
        self.changed: Callable[[int, bytes], bytes] | None = None
        """What the device says, as it says it on the wire."""
        self.watched_ns = 0
        self.notes: list[str] = []
        self.sent: list[tuple[int, int, bytes]] = []
        self.came: list[tuple[bool, int, bytes]] = []
        self.broken = False
        self.node = node
        self.live = LiveBoat(boat.boat, boat.plan, {**KINDS, "drive": drive or KINDS["drive"]}, 2)
        self.seat: Seat = self.live.seat(bus, "adapter")
        world = self.live.world
        world.script = [step for step in world.script if step[3][0] in ((node, *others) if powered else others)]
        world.plan_steps([(0, -2, "engines", (int(engine),))])
        self.seat.hears = lambda now_ns, can_id, data: self.came.append((True, can_id, data))
        self.seat.go_on_bus(listen_only=False)

    def fileno(self) -> int | None:
        return None

    def _advance(self) -> None:
        if self.broken:
            raise LinkError("the adapter is gone")
        self.live.advance(self.clock.now_ns)

    def receive(self) -> list[tuple[bool, int, bytes]]:
        self._advance()
        came, self.came = self.came, []
        if self.changed is not None:
            came = [(plain, can_id, self.changed(can_id, data)) for plain, can_id, data in came]
        if self.observer is not None and self.clock.now_ns - self.watched_ns >= 50 * MS:
            self.watched_ns = self.clock.now_ns
            came += [(True, OBSERVER_ID, BENCH.pack(0, NUMBERS[name], value)) for name, value in self.observer(self).items()]
        return came

    def measured(self, *names: str) -> dict[str, int]:
        """What sensors beside the device's own would show, by the machinery as it is."""
        world = self.live.world
        inputs = world.hosts[self.node].inputs
        sources = {"gear_switch": "neutral_switch"}
        return {name: inputs[sources.get(name, name)].read(world.now_ns) for name in names}

    def send(self, can_id: int, data: bytes) -> None:
        self._advance()
        self.sent.append((self.clock.now_ns, can_id, data))
        self.seat.transmit(can_id, data)

    def close(self) -> None:
        self.seat.leave_bus()

    @property
    def gear(self) -> int:
        """The true one."""
        return int(self.live.world.plant.drives[0].gear)


class Talk:
    """Answers what it is asked by the words in it, and ends the session when `end` says so."""

    def __init__(self, answers: dict[str, str], end: Callable[[], str] = lambda: "") -> None:
        self.answers = answers
        self.end = end
        self.said: list[str] = []
        self.asked: list[str] = []
        self.came: list[Result] = []
        self.waiting: list[str] = []
        self.blocks: list[Any] = []

    def say(self, words: str) -> None:
        self.said.append(words)

    def ask(self, ask: Ask) -> None:
        self.asked.append(ask.words)
        self.waiting.append(next((answer for part, answer in self.answers.items() if part in ask.words), ""))

    def results(self, results: list[Result]) -> None:
        self.came += results

    def block(self, frames: list[Any], events: list[Any], digest: str) -> None:
        self.blocks.append((frames, events, digest))

    def answer(self) -> str | None:
        return self.waiting.pop() if self.waiting else None

    def ended(self) -> str:
        return self.end()


WILLING = {"disconnected": "the shaft coupling", "cut-off": "shown", "supply": "", "gear: is it out": "yes"}


class Bench:
    def __init__(
        self, *only: str, answers: dict[str, str] | None = None, others: tuple[str, ...] = (), engine: bool = False,
        cap: int = 0, machinery: str = RIG, powered: bool = True,
        drive: type[Node] | None = None, boat: LoadedBoat = BOAT, node: str = NODE, bus: str = "main", witness: str = "",
    ) -> None:  # fmt: skip
        self.clock = Clock()
        self.device = Device(self.clock, others=others, engine=engine, powered=powered, drive=drive, boat=boat, node=node, bus=bus)
        self.talk = Talk(WILLING if answers is None else answers)
        order = Order(
            boat.boat, boat.plan, node, bus, cap_permille=cap, machinery=machinery, only=only, witness=witness
        )
        self.session = Session(order, KINDS, self.talk, lambda: self.device, Hurried(self.clock))

    def run(self) -> Ending:
        return self.session.run()
