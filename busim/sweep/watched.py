"""A world with everybody who looks on: saved and restored as one, so that a branch judges as a rerun would.

Observers hold plain values and no handle of the world; what they subscribed to is subscribed anew, in the same order.
"""

import gc
import pickle
from dataclasses import fields, is_dataclass
from io import BytesIO
from typing import Any

from busim.boat.derive import limits_of
from busim.boat.model import BoatFile
from busim.events.situation import Situation
from busim.host.host import NodeError
from busim.protocol.plan import WirePlan
from busim.requirements.requirement import Context, Requirement
from busim.requirements.table import REQUIREMENTS
from busim.run.accepted import Acceptance
from busim.run.losses import LossBook
from busim.seam import Node
from busim.simulator.build import build_world, power_up
from busim.simulator.world import Step, World
from busim.sweep.witness import Witness


class Ground:
    """What all runs of a boat share and no saved state holds: the boat, her plan, the node classes, the limits."""

    def __init__(self, boat: BoatFile, plan: WirePlan, kinds: dict[str, type[Node]]) -> None:
        self.boat = boat
        self.plan = plan
        self.kinds: dict[str, Any] = dict(kinds)
        self.limits = {name: limits_of(boat, drive) for name, drive in boat.drives.items()}
        self.fixed: dict[str, Any] = {"boat": boat, "plan": plan, "kinds": self.kinds, "limits": self.limits}
        self.fixed |= _parts("plan", plan)
        self.names = {id(thing): name for name, thing in self.fixed.items()}


def _parts(name: str, whole: Any) -> dict[str, Any]:
    """The frozen parts of a plan, by where they are in it, and theirs: nodes and views hold many of them."""
    found: dict[str, Any] = {}
    for field in fields(whole):
        value = getattr(whole, field.name)
        if isinstance(value, tuple) and value:
            found[f"{name}.{field.name}"] = value
        for index, part in enumerate(value if isinstance(value, tuple) else (value,)):
            if is_dataclass(part):
                place = f"{name}.{field.name}.{index}"
                found |= {place: part, **_parts(place, part)}
    return found


class Watched:
    __slots__ = ("acceptance", "losses", "requirements", "situation", "witness", "world")

    def __init__(
        self, world: World, situation: Situation, requirements: list[Requirement], losses: LossBook, acceptance: Acceptance
    ) -> None:
        self.world = world
        self.situation = situation
        self.requirements = requirements
        self.losses = losses
        self.acceptance = acceptance
        self.witness = Witness(situation)

    def attach(self) -> None:
        journal = self.world.journal
        self.situation.attach(journal)
        readers: list[Requirement | LossBook | Acceptance | Witness] = [*self.requirements, self.losses, self.acceptance]
        readers.append(self.witness)
        for reader in readers:
            reader.attach(journal)

    def save(self, ground: Ground) -> bytes:
        buffer = BytesIO()
        pickler = pickle.Pickler(buffer, protocol=5)
        names = ground.names
        pickler.persistent_id = lambda thing: names.get(id(thing))  # type: ignore[method-assign]
        try:
            pickler.dump((self.world, self.situation, self.requirements, self.losses, self.acceptance, self.witness))
        except (pickle.PicklingError, AttributeError, TypeError) as error:
            raise self._not_saved() or error from error
        return buffer.getvalue()

    def _not_saved(self) -> NodeError | None:
        """The node whose state can't be saved, where it is one's: a builder's own may keep what is no plain value."""
        for host in self.world.hosts.values():
            for value in _slots_of(host.node):
                try:
                    pickle.dumps(value)
                except (pickle.PicklingError, AttributeError, TypeError) as error:
                    return NodeError(f"{host.words()}: it keeps something that can't be saved, which a sweep has to: {error}")
        return None


def _slots_of(node: Node) -> list[Any]:
    names = [name for kind in type(node).__mro__ for name in getattr(kind, "__slots__", ())]
    return [*(getattr(node, name) for name in names if hasattr(node, name)), *getattr(node, "__dict__", {}).values()]


def begun(ground: Ground, seed: int, steps: list[Step]) -> Watched:
    """At time zero, with everybody looking on, and every supply about to be switched on."""
    boat, plan = ground.boat, ground.plan
    world = build_world(boat, plan, ground.kinds, seed)
    world.kinds = ground.kinds
    situation = Situation(plan)
    context = Context(plan, ground.limits, situation, boat.boat.ride_through_ms, boat.boat.rearm_max_s)
    losses = LossBook(situation, world.plant.hull.values)
    watched = Watched(world, situation, [kind(context) for kind in REQUIREMENTS], losses, Acceptance(boat.accepted_weaknesses))
    watched.attach()
    world.plan_steps([*power_up(world), *steps])
    return watched


def restored(saved: bytes, ground: Ground) -> Watched:
    """As it was saved, in this process."""
    unpickler = pickle.Unpickler(BytesIO(saved))
    unpickler.persistent_load = ground.fixed.__getitem__  # type: ignore[method-assign]
    watched = Watched.__new__(Watched)
    collects = gc.isenabled()
    gc.disable()  # nothing of what is made here is garbage: looking for some takes as long again
    try:
        world, watched.situation, watched.requirements, watched.losses, watched.acceptance, watched.witness = unpickler.load()
    finally:
        if collects:
            gc.enable()
    watched.world = world
    world.connect()
    watched.attach()
    return watched
