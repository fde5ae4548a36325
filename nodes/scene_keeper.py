"""What a panel knows of the scene the lights are in, and whether it is the one that tells drivers that come back.

Of the panels heard, the one with the lowest address tells: one voice is enough, and which one needs no election. A panel
that starts anew learns the scene from the drivers' own reports.
"""

from busim.protocol.plan import WirePlan
from busim.units import MS, NEVER


class SceneKeeper:
    __slots__ = ("current", "heard_ns", "missing_ns", "panels", "tables_differ")

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.panels = tuple(sorted(panel.address for panel in plan.panels if panel.address < address))
        """Those that would tell before this one."""
        self.heard_ns = dict.fromkeys(self.panels, -NEVER)
        self.current = 0
        self.tables_differ: dict[int, bool] = {}
        """Driver -> it holds another scene table than this panel."""

    def tells(self, now_ns: int) -> bool:
        return all(now_ns - heard_ns >= self.missing_ns for heard_ns in self.heard_ns.values())
