"""What every kind of node owes its host, as checks that any kind can be put through (see `busim.seam`).

`Watched` hands a node its calls and holds every answer against the rules; a script is a list of calls that any node of that
kind can be given, drawn from a seed. Kinds are those of `nodes.KINDS`; a new one needs a node of its own in `small_boat`.
"""

import pickle
from dataclasses import dataclass
from importlib import import_module
from random import Random
from typing import Any

from busim.protocol.catalogue import BY_CODE
from busim.protocol.plan import WirePlan
from busim.protocol.tables import TABLES
from busim.protocol.values import CAUSES
from busim.seam import BUS_OFF, ERROR_ACTIVE, ERROR_PASSIVE, NOTHING, OUTPUT, QUEUE, RECHECK, ROW, SEND, Actions, Node
from busim.units import MS, NEVER
from nodes import KINDS

from . import hand_made_frames as hand
from .small_boat import small_boat

Call = tuple[Any, ...]
"""(moment from the start in ns, name of the handler, its further arguments)."""

MOVES = {"shift": 0, "throttle": 0}
"""Outputs that move machinery, and the value that does not."""
PLAUSIBLE = {
    "shift_position": (0, 0, 0, 1000, -1000, 500),
    "throttle_position": (0, 0, 0, 0, 0, 150),
    "neutral_switch": (1, 1, 1, 0),
    "rpm": (800, 800, 800, 1200),
    "gear_switch": (1, 1, 1, 0),
    "speed": (800, 800, 800, 1200),
    "rudder_angle": (0, 0, 100, -100, 50, -50),
    "take": (0, 1),
    "neutral_now": (0, 0, 0, 1),
}
"""What a channel may well read; others read some of everything."""
UNKNOWN_CHANNELS = (
    "",
    "lever",
    "lever.",
    "lever.0",
    "lever.3",
    "lever.1.1",
    "touch.",
    "touch.999",
    "shift",
    "rpm ",
    "neutral",
    "§",
)
VALUES = (0, 1, -1, 2, 10, 11, 100, 499, 500, 501, 900, 1000, 1001, -1000, 255, 256, 65535, -(10**6), 10**6, 2**31, -(2**63), 2**80)


@dataclass(frozen=True)
class Specimen:
    kind: str
    plan: WirePlan
    address: int

    def make(self, build: int = 1) -> Node:
        module, _, name = KINDS[self.kind].partition(":")
        node: Node = getattr(import_module(module), name)(self.plan, self.address, build)
        return node

    def may_send(self, code: int) -> bool:
        message = BY_CODE.get(code)
        roles = {self.kind.replace("_", " "), "every node", *(("helm nodes",) if self.address < 16 else ())}
        return message is not None and not roles.isdisjoint(message.senders.split(", "))

    def channels(self, of_pattern: int = 3) -> list[str]:
        """Every input channel of this kind, a pattern standing for its first few."""
        names = []
        for pattern in self.make().inputs:
            names += [pattern[:-1] + str(number) for number in range(1, of_pattern + 1)] if pattern.endswith("*") else [pattern]
        return names


def specimen(kind: str, **boat: Any) -> Specimen:
    if kind == "rudder":
        boat.setdefault("rudder", {})
    if kind == "navigation":
        boat.setdefault("navigation", True)
    plan = small_boat(**boat)
    addresses = [address for address, _, each in plan.nodes if each == kind]
    assert addresses, f"tests/unit/small_boat.py has no node of kind {kind}: give it one, and this kind is held to the contract"
    return Specimen(kind, plan, addresses[0])


# ------------------------------------------------------------------------------------------------ one node under watch


class Watched:
    """A node whose every answer is checked. `said` is all it did, as (moment from the start, action)."""

    def __init__(self, kind: Specimen, start_ns: int = 0) -> None:
        self.kind = kind
        self.node = kind.make()
        self.start_ns = start_ns
        self.now_ns = start_ns
        self.said: list[tuple[int, Any]] = []

    def start(self, reset_cause: int = 0) -> None:
        self.keep(self.node.on_start(self.now_ns, reset_cause))

    def run_to(self, moment_ns: int) -> None:
        """Meet every deadline up to and including this moment from the start."""
        until_ns = self.start_ns + moment_ns
        while self.node.deadline_ns <= until_ns:
            self.now_ns = max(self.now_ns, self.node.deadline_ns)
            self.keep(self.node.on_deadline(self.now_ns))
            assert self.node.deadline_ns > self.now_ns, "the deadline it leaves lies behind"
        self.now_ns = until_ns

    def call(self, name: str, *arguments: Any) -> Actions:
        """A handler at this moment: a deadline moved earlier must show in the answer, or the host does not look."""
        before_ns = self.node.deadline_ns
        handler = getattr(self.node, name)
        actions: Actions = handler(self.now_ns, *arguments)
        self.keep(actions)
        assert actions or self.node.deadline_ns >= before_ns, f"{name} moved the deadline earlier and returned nothing"
        return actions

    def play(self, script: list[Call]) -> None:
        for moment_ns, name, *arguments in script:
            self.run_to(moment_ns)
            self.call(name, *arguments)

    def keep(self, actions: Actions) -> None:
        assert type(actions) is tuple
        assert type(self.node.deadline_ns) is int
        assert self.node.deadline_ns <= NEVER
        for action in actions:
            check_action(self.kind, action)
            self.said.append((self.now_ns - self.start_ns, action))

    def saved_and_restored(self) -> "Watched":
        """The same from here on, with a node that went through a save."""
        other = Watched(self.kind, self.start_ns)
        other.node = pickle.loads(pickle.dumps(self.node, protocol=5))
        other.now_ns = self.now_ns
        return other


def check_action(kind: Specimen, action: Any) -> None:
    """One legal action of this kind of node."""
    assert type(action) is tuple
    if action[0] in (SEND, QUEUE):
        _, bus, can_id, data, drop_after_ns = action
        assert bus in kind.plan.buses_for(can_id)
        assert can_id % 64 == kind.address, "an id of its own address"
        assert kind.may_send(can_id // 64), f"a {kind.kind} does not send code {can_id // 64}"
        message = BY_CODE[can_id // 64]
        assert not message.reserved_for
        assert type(data) is bytes
        assert len(data) == message.length
        if message.is_safety:
            assert data[0] == hand.crc_of(can_id, data[1:])
        assert type(drop_after_ns) is int
        assert drop_after_ns > 0
    elif action[0] == OUTPUT:
        _, channel, value = action
        assert type(channel) is str
        assert type(value) is int
    elif action[0] == ROW:
        _, machine, row, cause = action
        table = next(table for table in TABLES if table.name == machine)
        assert row in table.by_number
        assert cause in dict(CAUSES)
    else:
        assert (action,) == RECHECK


def moves_machinery(action: Any) -> bool:
    return bool(action[0] == OUTPUT and action[1] in MOVES and action[2] != MOVES[action[1]])


def state_of(thing: Any) -> Any:
    """Everything a node keeps, as plain values that can be compared; what has a `__dict__` is refused."""
    if isinstance(thing, int | str | bytes | None | WirePlan):
        return thing
    if isinstance(thing, tuple | list):
        return [state_of(each) for each in thing]
    if isinstance(thing, dict):
        return {key: state_of(value) for key, value in thing.items()}
    if type(thing).__module__ == "busim.protocol.plan":
        return thing
    assert not hasattr(thing, "__dict__"), f"{type(thing).__name__} keeps what a save may miss: give it __slots__"
    slots = [name for base in type(thing).__mro__ for name in getattr(base, "__slots__", ())]
    assert slots, f"{type(thing).__name__} is no plain value"
    return {name: state_of(getattr(thing, name)) for name in slots}


# ------------------------------------------------------------------------------------------------ what it is given


def noise(seed: int, count: int) -> list[Call]:
    """Any id with any data of any length, at any time: nothing of it was meant for anybody."""
    random = Random(seed)
    moment_ns = 0
    script: list[Call] = []
    for index in range(count):
        moment_ns += random.choice((0, 0, 1, 1000, MS, random.randrange(20 * MS)))
        script.append((moment_ns, "on_frame", 0, index % 2048, random.randbytes(random.randrange(9))))
    return script


def strange_days(kind: Specimen, seed: int, count: int) -> list[Call]:
    """Frames with a right CRC and any content, any input value, controller states, long silences. Other boats' heartbeats."""
    random = Random(seed)
    heard = sorted({can_id for _, can_id in kind.make().receives()})
    channels = kind.channels()
    counters = dict.fromkeys(heard, 0)
    moment_ns = 0
    script: list[Call] = []
    for _ in range(count):
        moment_ns += random.choice((0, 1, MS, 5 * MS, 20 * MS, 20 * MS, 100 * MS, 400 * MS))
        chance = random.random()
        if chance < 0.7 and heard:
            can_id = random.choice(heard)
            counters[can_id] += random.choice((0, 1, 1, 1, 2, 3, 4, 200))
            content = random.getrandbits(48) & random.getrandbits(48)
            safe = BY_CODE[can_id // 64].is_safety
            data = hand.safe(can_id, counters[can_id], content) if safe else random.randbytes(8)
            script.append((moment_ns, "on_frame", 0, can_id, data))
        elif chance < 0.95:
            channel = random.choice(channels) if channels and random.random() < 0.8 else random.choice(UNKNOWN_CHANNELS)
            value = random.choice(VALUES) if random.random() < 0.5 else random.randrange(-1100, 1100)
            script.append((moment_ns, "on_input", channel, value))
        else:
            script.append(
                (moment_ns, "on_controller", random.choice((0, 1)), random.choice((ERROR_ACTIVE, ERROR_PASSIVE, BUS_OFF)))
            )
    return script


def many_hands(kind: Specimen, seed: int, count: int) -> list[Call]:
    """Inputs that change at one moment, as a wet hand, a knee on the panel or a loose plug makes them."""
    random = Random(seed)
    channels = kind.channels(12)
    moment_ns = 0
    script: list[Call] = []
    for _ in range(count):
        moment_ns += random.choice((0, 5 * MS, 20 * MS, 60 * MS, 600 * MS))
        for channel in random.sample(channels, random.randrange(len(channels) + 1)):
            value = random.choice((0, 1)) if random.random() < 0.8 else random.choice(VALUES)
            script.append((moment_ns, "on_input", channel, value))
    return script


def busy_days(kind: Specimen, seed: int, count: int) -> list[Call]:
    """Frames that make sense more often than not, of this boat, in the order of a harbour day gone wrong."""
    random = Random(seed)
    heard = sorted({can_id for _, can_id in kind.make().receives()})
    channels = kind.channels()
    counters = dict.fromkeys(heard, 0)
    moment_ns = 0
    number = 1
    script: list[Call] = []
    gear = 0
    for _ in range(count):
        moment_ns += random.choice((0, 1, MS, 5 * MS, 10 * MS, 20 * MS))
        if random.random() < 0.01:
            moment_ns += 400 * MS
        if random.random() < 0.03:
            number, gear = number + 1, 0
        elif random.random() < 0.05:
            gear = random.randrange(3)
        for can_id in random.sample(heard, min(4, len(heard))):
            counters[can_id] += random.choice((1, 1, 1, 1, 1, 1, 0, 2, 5))
            data = _sensible(kind, can_id, counters[can_id], number, gear, random)
            script.append((moment_ns, "on_frame", 0, can_id, data))
        if channels and random.random() < 0.3:
            channel = random.choice(channels)
            value = random.choice(PLAUSIBLE.get(channel, (0, 1, 500, 500, 500, 500, 900, 950)))
            if channel == "shift_position" and random.random() < 0.9:  # most of the time the gear is where the lever wants it
                value = (0, 1000, -1000)[gear]
            script.append((moment_ns, "on_input", channel, value))
            if channel == "shift_position":  # the neutral switch sits on what the feedback shows
                script.append((moment_ns, "on_input", "neutral_switch", int(-100 <= value <= 100)))
    return script


def _sensible(kind: Specimen, can_id: int, counter: int, number: int, gear: int, random: Random) -> bytes:
    code, sender = can_id // 64, can_id % 64
    if code == hand.HEARTBEAT:
        return hand.heartbeat(sender, counter, kind.plan.helm_fingerprint)
    if code == hand.CLAIM:
        return hand.claim(sender, counter, number, wanted=7, withdrawn=int(random.random() < 0.01))
    if code == hand.LEVER:
        return hand.lever(sender, counter, number, gear, 90, other=(gear, 90), fault=int(random.random() < 0.002))
    if code == hand.OBEYS:
        if any(drive.address == kind.address for drive in kind.plan.drives):  # the other drive: obeys whom this one does
            return hand.obeys(sender, counter, kind.plan.stations[0].address if random.random() < 0.95 else 0, number, counter)
        if kind.kind == "rudder":
            return hand.obeys(sender, counter, random.choice(kind.plan.stations).address, number, counter)
        return hand.obeys(
            sender, counter, kind.address if random.random() < 0.95 else 0, random.choice((1, 2, 2, 2, 3, 3, number)), counter
        )
    if code == hand.WHEEL:
        return hand.wheel(sender, counter, number, random.randrange(-500, 500), fault=int(random.random() < 0.002))
    if code == hand.NEUTRAL_NOW:
        return hand.neutral_now(sender, counter, int(random.random() < 0.001))
    if code == hand.PRESS:
        return hand.press(number % 256, random.randrange(4), random.randrange(4))
    if code == hand.ZONE:
        return hand.zone_state(random.randrange(4), 1000, kind.address, random.randrange(4))
    if BY_CODE[code].is_safety:
        return hand.safe(can_id, counter, random.getrandbits(48))
    return random.randbytes(BY_CODE[code].length)


def quiet(actions: Actions) -> bool:
    return actions in (NOTHING, RECHECK)
