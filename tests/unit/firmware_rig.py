"""The firmware of one node, compiled once a session, and traces of the Python node to hold it against.

A trace is one life of a node: every call into its seam, from `on_start` on, each with what it answered and the deadline it then
had. Lines are those of `firmware_trace.c`.
"""

import itertools
import random
import re
import subprocess
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from busim.boat.load import LoadedBoat, load_boat
from busim.boat.shipped import shipped_folder
from busim.export.c_files import c_files
from busim.export.written import write_files
from busim.protocol.codec import Message
from busim.scenario.load import load_scenario, steps_of
from busim.seam import OUTPUT, QUEUE, ROW, SEND, Actions, Node
from busim.simulator.build import build_world, power_up
from busim.simulator.kinds import load_kinds
from busim.simulator.world import Step as WorldStep
from busim.units import SECOND

from .c_driver import compile_c, compiler

FIRMWARE = Path(__file__).parents[2] / "nodes" / "firmware"
TRACE_MAIN = Path(__file__).parent / "firmware_trace.c"
SHARED = ("seam", "watch", "member", "alarms", "channels")
OF_KIND = {"zone_driver": ("zone_*.c",), "station": ("station*.c", "list_*.c"), "drive": ("drive*.c",)}
"""Kind -> its files, as patterns."""
OPTIONS = ("-Wconversion", "-Wshadow", "-O0", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
"""Not optimised: compiling takes longer than all the traces through it, and a sanitizer sees no less."""

SEES = {"busim_protocol.c": ("busim_protocol.h",), "busim_boat.c": ("busim_boat.h",), "busim_rules.c": ("busim_boat.h",)}
"""Of the export: the files whose text differs from node to node, or boat to boat, that a source is compiled with; else all."""

Step = tuple[str, str]
"""(the call, what it answered): both as lines."""


def sources_of(kind: str) -> list[Path]:
    """What a program of this kind is made of, beside its export and a port."""
    own = [path for pattern in OF_KIND[kind] for path in sorted(FIRMWARE.glob(pattern))]
    return [*(FIRMWARE / f"{name}.c" for name in SHARED), *own]


class Firmware:
    """The programs of this session: (boat, node, switches) -> a program that answers a trace."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.programs: dict[tuple[str, ...], Path] = {}
        self.exports: dict[tuple[str, str], list[Path]] = {}
        """(boat, node) -> the files of its export."""
        self.objects: dict[tuple[str, ...], Path] = {}
        """What a source is compiled from -> compiled."""
        self.numbers = itertools.count()
        self.boats: dict[str, LoadedBoat] = {}

    def boat(self, name: str) -> LoadedBoat:
        if name not in self.boats:
            self.boats[name] = load_boat(shipped_folder() / name)
        return self.boats[name]

    def edited(self, name: str, *edits: tuple[str, str]) -> str:
        """The name of a boat that is a shipped one but for some of its text: (what stands there once, what shall)."""
        if not edits:
            return name
        new = "-".join([name, *(re.sub(r"\W+", "_", edit[1]) for edit in edits)])
        if new not in self.boats:
            text = (shipped_folder() / name / "boat.yaml").read_text(encoding="utf-8")
            for was, becomes in edits:
                assert text.count(was) == 1, was
                text = text.replace(was, becomes)
            (self.folder / "boats" / new).mkdir(parents=True)
            path = self.folder / "boats" / new / "boat.yaml"
            path.write_text(text, encoding="utf-8")
            self.boats[new] = load_boat(path)
        return new

    def program(self, boat: str, node: str, *switches: str) -> Path:
        key = (boat, node, *switches)
        if key not in self.programs:
            kind = self.boat(boat).boat.nodes[node].kind
            self.programs[key] = self.compiled(boat, node, [TRACE_MAIN, *sources_of(kind)], *switches)
        return self.programs[key]

    def compiled(self, boat: str, node: str, sources: Iterable[Path], *switches: str) -> Path:
        """A program of these files and the node's export. What has been compiled for another program of the session is taken."""
        compiler()
        exported = self.exported(boat, node)
        mine = [*sources, *(path for path in exported if path.suffix == ".c")]
        with ThreadPoolExecutor(2) as both:  # most of the time of these tests is the compiler's
            objects = list(both.map(lambda source: self._object(boat, node, source, switches), mine))
        program = self.folder / f"program_{next(self.numbers)}"
        compile_c(objects, [], *OPTIONS, "-o", str(program))
        return program

    def exported(self, boat: str, node: str) -> list[Path]:
        if (boat, node) not in self.exports:
            texts = c_files(self.boat(boat), node)
            self.exports[boat, node] = write_files(self.folder / f"{boat}-{node}", texts, replace=False)
        return self.exports[boat, node]

    def _object(self, boat: str, node: str, source: Path, switches: tuple[str, ...]) -> Path:
        text = source.read_text()
        concerned = [switch for switch in switches if switch in text or (switch.startswith("BROKEN") and "NODE_IS_BROKEN" in text)]
        exported = {path.name: path for path in self.exported(boat, node)}
        headers = SEES.get(source.name, tuple(exported))
        key = (source.name, text, *concerned, *(exported[name].read_text() for name in headers))
        if key not in self.objects:
            compiled = self.folder / f"{source.stem}_{next(self.numbers)}.o"
            folders = [exported["busim_node.h"].parent, FIRMWARE]
            defined = (f"-D{switch}" for switch in concerned)
            compile_c([source], folders, *OPTIONS, *defined, "-c", "-o", str(compiled))
            self.objects[key] = compiled
        return self.objects[key]

    def differences(self, trace: Iterable[Step], boat: str, node: str, *switches: str) -> list[str]:
        """Where the C node answers another thing than was recorded; the first few, in words."""
        steps = list(trace)
        answers = answers_of(self.program(boat, node, *switches), [call for call, _ in steps])
        return [
            f"{number}: {call}\n  Python {expected}\n  C      {given}"
            for number, ((call, expected), given) in enumerate(zip(steps, answers, strict=True))
            if expected != given
        ][:3]


def outputs_in(answers: Iterable[str]) -> list[tuple[str, int]]:
    """(channel, value) of each output."""
    found = []
    for answer in answers:
        words = answer.split()
        found += [(words[at + 1], int(words[at + 2])) for at, word in enumerate(words) if word == "o"]
    return found


def answers_of(program: Path, calls: list[str]) -> list[str]:
    """What the program answers to each call. AssertionError where it ended otherwise than it should, or a sanitizer spoke."""
    done = subprocess.run([program], input="\n".join(calls) + "\n", capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr[:2000]
    return done.stdout.splitlines()


# ------------------------------------------------------------------------------------------------ recording


def told(actions: Actions, deadline_ns: int) -> str:
    """What a call answered, as the C program prints it."""
    words = []
    for action in actions:
        if action[0] in (SEND, QUEUE):
            _, bus, can_id, data, drop_after_ns = action
            words.append(f"{'s' if action[0] == SEND else 'q'}{bus} {can_id:x} {data.hex()} {drop_after_ns}")
        elif action[0] == OUTPUT:
            words.append(f"o {action[1]} {action[2]}")
        elif action[0] == ROW:
            words.append(f"r {action[2]} {action[3]}")
    return " ".join([*words, f"@{deadline_ns}"])


Lives = dict[str, list[list[Step]]]
"""Node -> its lives, each a trace."""


def recording(kind: type[Node], life_of: Callable[[Any], list[Step] | None]) -> type[Node]:
    """The kind, noting every call in the list that `life_of` gives for a node that starts; None: not this one."""

    class Recorded(kind):  # type: ignore[misc, valid-type]
        __slots__ = ("inside", "life")

        def __init__(self, *arguments: Any) -> None:
            super().__init__(*arguments)
            self.inside = False
            self.life: list[Step] | None = None

        def _noted(self, line: str, call: Callable[[], Actions]) -> Actions:
            if self.inside or self.life is None:  # a node that calls itself is one call
                return call()
            self.inside = True
            actions = call()
            self.inside = False
            self.life.append((line, told(actions, self.deadline_ns)))
            return actions

        def receives(self) -> Any:
            def heard(handler: Any) -> Any:
                return lambda now_ns, bus, can_id, data: self._noted(
                    f"F {now_ns} {bus} {can_id:x} {data.hex() or '-'}", lambda: handler(now_ns, bus, can_id, data)
                )

            return {key: heard(handler) for key, handler in super().receives().items()}

        def on_start(self, now_ns: int, reset_cause: int) -> Actions:
            self.life = life_of(self)
            return self._noted(f"S {now_ns} {reset_cause}", lambda: super(Recorded, self).on_start(now_ns, reset_cause))

        def on_input(self, now_ns: int, channel: str, value: int) -> Actions:
            return self._noted(f"I {now_ns} {channel} {value}", lambda: super(Recorded, self).on_input(now_ns, channel, value))

        def on_controller(self, now_ns: int, bus: int, state: int) -> Actions:
            return self._noted(f"C {now_ns} {bus} {state}", lambda: super(Recorded, self).on_controller(now_ns, bus, state))

        def on_deadline(self, now_ns: int) -> Actions:
            return self._noted(f"D {now_ns}", lambda: super(Recorded, self).on_deadline(now_ns))

    return Recorded


def lives_in(boat: LoadedBoat, scenario: str, seed: int, of: Iterable[str]) -> Lives:
    """As `lives_of`, in a run of one of the boat's scenarios."""
    played = load_scenario(boat.path.parent / "scenarios" / f"{scenario}.yaml", boat.boat).scenario
    return lives_of(boat, steps_of(played, boat.boat), round(played.lasts_s * SECOND), seed, of)


def lives_of(boat: LoadedBoat, steps: Iterable[WorldStep], lasts_ns: int, seed: int, of: Iterable[str]) -> Lives:
    """Every life of every node of these kinds in a run with these steps, but those with another boat's values."""
    names = {node.address: name for name, node in boat.boat.nodes.items() if node.kind in of}
    lives: Lives = {name: [] for name in names.values()}

    def life_of(node: Any) -> list[Step] | None:
        if node.plan is not boat.plan:
            return None
        life: list[Step] = []
        lives[names[node.address]].append(life)
        return life

    kinds = load_kinds()
    recorded = {kind: recording(kinds[kind], life_of) for kind in of}
    world = build_world(boat.boat, boat.plan, {**kinds, **recorded}, seed)
    world.plan_steps([*power_up(world), *steps])
    world.run(lasts_ns)
    return lives


def scenarios_of(boat: LoadedBoat) -> list[str]:
    return sorted(path.stem for path in (boat.path.parent / "scenarios").glob("*.yaml"))


# ------------------------------------------------------------------------------------------------ told beforehand


class Told:
    """A node of the boat, called at moments that a test names, as a host would call it in time. `life` is what came of it."""

    def __init__(self, boat: LoadedBoat, node: str) -> None:
        self.life: list[Step] = []
        entry = boat.boat.nodes[node]
        kind = recording(load_kinds()[entry.kind], lambda _: self.life)
        self.node: Any = kind(boat.plan, entry.address, entry.build)
        self.plan, self.address = boat.plan, entry.address
        self.counters: dict[int, int] = {}
        self.now_ns = 0
        self.node.on_start(0, 0)
        self.handlers = self.node.receives()

    def until(self, now_ns: int) -> None:
        """Let its deadlines come, but those at `now_ns` itself: at equal times a frame comes first."""
        while self.node.deadline_ns < now_ns:
            self.node.on_deadline(self.node.deadline_ns)
        self.now_ns = now_ns

    def hear(self, message: Message, sender: int, *values: int, buses: Iterable[int] | None = None) -> None:
        """A sound frame, its counter one more than the last of its sender; by these buses, else by all they share."""
        can_id = message.can_id(sender)
        counter = self.counters[can_id] = self.counters.get(can_id, 0) + 1 & 0xFF
        data = message.pack(can_id, counter, *values) if message.is_safety else message.pack(*values)
        for each in self.shared_with(sender) if buses is None else buses:
            self.handlers[each, can_id](self.now_ns, each, can_id, data)

    def shared_with(self, sender: int) -> list[int]:
        """Buses, by number, that both are on."""
        return sorted({*self.plan.buses_of(self.address)} & {*self.plan.buses_of(sender)})

    def put(self, channel: str, value: int) -> None:
        self.node.on_input(self.now_ns, channel, value)

    def put_levers(self, permille: int = 500) -> None:
        """All levers of a station at the same, the wheel in the middle."""
        self.put("wheel", 500)
        for drive in self.plan.drives:
            self.put(f"lever.{drive.instance}", permille)
            if self.plan.station_at(self.address).lever_tracks == 2:
                self.put(f"lever.{drive.instance}b", 1000 - permille)

    def when(self, word: str) -> list[int]:
        """The moments, in ns, at which an answer has this in it."""
        return [int(call.split()[1]) for call, answer in self.life if word in answer]


# ------------------------------------------------------------------------------------------------ drawn at random


class Drawn:
    """A node of the boat, played at random: `play` gives one life. It is called as a host would, late deadlines included."""

    def __init__(self, boat: LoadedBoat, node: str, draw: random.Random) -> None:
        self.boat, self.draw = boat, draw
        self.entry = boat.boat.nodes[node]
        self.kind = load_kinds()[self.entry.kind]
        self.counters: dict[int, int] = {}
        self.node: Any = None
        self.obeyed = (0, 0)
        """Whom the others obey for now: (address, number)."""
        self.odd, self.mute = 0, False
        """A drive that follows nobody for now, and whether it is not even heard; 0 none."""

    def play(self, calls: int, event: Callable[["Drawn"], str], longest_ns: int) -> list[Step]:
        """`event` gives a call but for its time: "F bus id data", "I channel value", "C bus state"."""
        draw, life = self.draw, list[Step]()
        self.node = node = recording(self.kind, lambda _: life)(self.boat.plan, self.entry.address, self.entry.build)
        now_ns = draw.choice((0, 0, draw.randrange(10 * SECOND)))
        node.on_start(now_ns, draw.randrange(4))
        handlers = node.receives()
        for _ in range(calls):
            called_ns = now_ns
            now_ns += draw.choice((0, draw.randrange(1 + longest_ns // 20), draw.randrange(1 + longest_ns)))
            hangs = not draw.randrange(40)
            while node.deadline_ns < now_ns:  # at equal times the frame comes first
                called_ns = now_ns if hangs else max(called_ns, node.deadline_ns)
                node.on_deadline(called_ns)
            what, *words = event(self).split()
            if what == "F":
                bus, can_id = int(words[0]), int(words[1], 16)
                data = bytes.fromhex(words[2]) if words[2] != "-" else b""
                if (bus, can_id) in handlers:
                    handlers[bus, can_id](now_ns, bus, can_id, data)
            elif what == "I":
                node.on_input(now_ns, words[0], int(words[1]))
            else:
                node.on_controller(now_ns, int(words[0]), int(words[1]))
        return life

    def counted(self, can_id: int) -> int:
        """The next counter of a sender: mostly one more, sometimes the same, a gap, or any."""
        step = self.draw.choice((1,) * 16 + (0, 0, 2, 3, 4, self.draw.randrange(256)))
        self.counters[can_id] = self.counters.get(can_id, self.draw.randrange(256)) + step & 0xFF
        return self.counters[can_id]
