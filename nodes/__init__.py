"""The kinds of node that busim ships. A new kind is one file here and one line in `KINDS`.

Nodes import the node seam, the protocol and the units of time from busim, and nothing else: the same state machine runs in
virtual time, under the dashboard and beside real hardware. A kind is a subclass of `busim.seam.Node` made with
`Kind(plan, address, build)`: the boat as its nodes know it, the node's address, its software build.
"""

from typing import Final

BUSIM_NODES: Final = 1
"""The marker by which busim's loader knows this package from another of the same name; the number of the seam's version."""

KINDS: Final = {
    "station": "nodes.station:Station",
    "drive": "nodes.drive:Drive",
    "cutout": "nodes.cutout:Cutout",
    "rudder": "nodes.rudder:Rudder",
    "alarm": "nodes.alarm:AlarmNode",
    "panel": "nodes.panel:Panel",
    "zone_driver": "nodes.zone_driver:ZoneDriver",
    "navigation": "nodes.navigation:Navigation",
}
