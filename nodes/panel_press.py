"""A press under way at a panel: whom it asks, who has answered, and when it has failed."""

from busim.protocol.plan import ControlPlan


class Pending:
    """`left` are those that have not shown it done: zones by number; drivers by address where a scene was asked for; 0 for
    the navigation light condition."""

    __slots__ = ("action", "control", "failed_ns", "fault", "instead", "left", "number", "repeat_ns", "scene", "sent", "total")

    def __init__(
        self, control: ControlPlan | None, number: int, action: int, scene: int, left: list[int], now_ns: int, failed_ns: int
    ) -> None:
        self.control = control
        """None: no touch asked for it, a driver that came back is told the scene."""
        self.number = number
        self.action = action
        """One of the press actions; not used where a scene is asked for."""
        self.scene = scene
        """The scene asked for, 0 none."""
        self.instead = 0
        """The scene that stands if nobody has joined this one."""
        self.sent = False
        """It has been on the bus: what comes after it is a later word."""
        self.left = left
        self.total = len(left)
        self.fault = False
        """Somebody answered that it could not do all of it."""
        self.repeat_ns = now_ns
        self.failed_ns = failed_ns

    @property
    def unanswered(self) -> bool:
        return len(self.left) == self.total
