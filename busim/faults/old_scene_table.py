"""A zone driver holds an older scene table than the boat file."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from typing import Any

from busim.boat.model import BoatFile
from busim.faults.fault import Complaint, Handles, NodeFault


class OldSceneTable(NodeFault):
    name = "old_scene_table"
    words = "a zone driver holds an older scene table"
    effect = "it starts anew with a table in which every level is half of what the boat file says"
    from_start = True
    acts_on = "program"

    def misplaced(self, boat: BoatFile, place: Any) -> Iterator[Complaint]:
        if boat.nodes[place.node].kind != "zone_driver":
            yield "node", f"{place.node} is no zone driver and holds no scenes"

    def begin(self, world: Handles, now_ns: int, place: Any) -> Any:
        host = world.hosts[place.node]
        made: Any = host.make_node
        plan, *rest = made.args
        halved = tuple(
            replace(scene, levels=tuple((zone, level // 2, *colour) for zone, level, *colour in scene.levels))
            for scene in plan.scenes
        )
        host.make_node = partial(made.func, replace(plan, scenes=halved), *rest)
        host.reset(now_ns, 1)
        return None

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        host = world.hosts[place.node]
        made: Any = host.make_node
        host.make_node = partial(made.func, world.plan, *made.args[1:])
        host.reset(now_ns, 1)
