"""What a panel knows of the scene the lights are in, and whether it is the one that tells drivers that come back.

Of the panels heard, the one with the lowest address tells: one voice is enough, and which one needs no election. A panel
that starts anew learns the scene from the drivers' own reports; so does one that was cut off while another asked for a scene.
Where both sides of a cut asked, neither is the later one, and panels may differ until somebody asks for a scene again.
"""

from busim.protocol.plan import WirePlan
from busim.units import MS, NEVER


class SceneKeeper:
    __slots__ = ("asked", "current", "heard_ns", "missing_ns", "panels", "repeated_ns", "tables_differ")

    def __init__(self, plan: WirePlan, address: int) -> None:
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.panels = tuple(sorted(panel.address for panel in plan.panels if panel.address < address))
        """Those that would tell before this one."""
        self.heard_ns = dict.fromkeys(self.panels, -NEVER)
        # The last repeat leaves before the press has failed, and may wait one repeat long in the panel's queue.
        self.repeated_ns = (plan.timing.press_failed_ms + plan.timing.press_repeat_ms) * MS
        self.asked: dict[int, tuple[int, int]] = {}
        """Panel, this one too -> number of the last scene it asked for, and when that was first heard."""
        self.current = 0
        self.tables_differ: dict[int, bool] = {}
        """Driver -> it holds another scene table than this panel."""

    def tells(self, now_ns: int) -> bool:
        return all(now_ns - heard_ns >= self.missing_ns for heard_ns in self.heard_ns.values())

    def note(self, now_ns: int, panel: int, number: int) -> bool:
        """A panel asks for a scene; False where it only repeats what it asked before: another may have asked for one since."""
        before, at_ns = self.asked.get(panel, (-1, 0))
        if before == number and now_ns - at_ns <= self.repeated_ns:
            return False
        self.asked[panel] = number, now_ns
        return True

    def learn(self, now_ns: int, scene: int, panel: int, number: int) -> None:
        """A driver is in a scene that a panel asked for: it is the current one if that press was never heard here."""
        if panel not in self.asked or 0 < (number - self.asked[panel][0] & 0xFF) < 0x80:
            self.asked[panel] = number, now_ns
            self.current = scene
