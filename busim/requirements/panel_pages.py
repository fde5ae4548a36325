"""Which page each panel shows, and what a field of it speaks of.

A field shows what came of a press while its page is open; once that was turned away from, the fields that turn the page do.
"""

from busim.protocol.plan import ControlPlan, WirePlan


class PanelPages:
    __slots__ = ("page_of", "turning")

    def __init__(self, plan: WirePlan, node_of: dict[int, str]) -> None:
        self.page_of: dict[str, int] = {}
        """Panel's node -> the page it shows; the first where nothing was said."""
        self.turning = {
            (node_of[panel.address], control.page, f"field.{control.number}")
            for panel in plan.panels
            for control in panel.controls
            if control.action == "page"
        }

    def shown(self, node: str) -> int:
        return self.page_of.get(node, 0)

    def speaks_of(self, node: str, channel: str, control: ControlPlan) -> bool:
        """Whether this field, as it is now, is where a panel shows what came of a press of that one."""
        page = self.shown(node)
        return channel == f"field.{control.number}" if control.page == page else (node, page, channel) in self.turning
