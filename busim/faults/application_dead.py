"""A node's program is dead, and an interrupt of its own goes on sending heartbeats and feeding the watchdog."""

from typing import Any

from busim.faults.fault import Handles, NodeFault
from busim.protocol.catalogue import HEARTBEAT
from busim.protocol.codec import seal, template_of
from busim.protocol.values import NODE_WORKING
from busim.units import MS


class ApplicationDead(NodeFault):
    name = "application_dead"
    words = "a node's program is dead and its heartbeat lives"
    effect = (
        "nothing is sampled or decided, outputs stay; sound heartbeats go out on time and the watchdog is fed, as where both hang "
        "on a timer interrupt and not on the program; ended, the program goes on where it was"
    )
    assumption = True
    acts_on = "program"

    def begin(self, world: Handles, now_ns: int, place: Any) -> tuple[int, int]:
        """Memory: when the next heartbeat goes out, and its counter."""
        world.hosts[place.node].hang(now_ns, watched=False)
        return now_ns + world.plan.timing.heartbeat_ms * MS, 0

    def due_ns(self, place: Any, memory: Any) -> int:
        return int(memory[0])

    def step(self, world: Handles, now_ns: int, place: Any, memory: Any) -> tuple[int, int]:
        host, plan, node = world.hosts[place.node], world.plan, world.boat.nodes[place.node]
        period_ns = plan.timing.heartbeat_ms * MS
        if host.powered and not host.running and not host.booting:
            can_id = HEARTBEAT.can_id(node.address)
            beat = HEARTBEAT.pack(can_id, 0, NODE_WORKING, 0, plan.helm_fingerprint, plan.lighting_fingerprint, node.build)
            data = seal(template_of(beat), memory[1])
            for controller in host.controllers.values():
                controller.submit(now_ns, can_id, data, period_ns, True)
        return now_ns + period_ns, memory[1] + 1 & 0xFF

    def end(self, world: Handles, now_ns: int, place: Any, memory: Any) -> None:
        world.hosts[place.node].go_on(now_ns)
