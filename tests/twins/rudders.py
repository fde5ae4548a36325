"""Rudders, and a drive that does not care for them, with one planted defect each."""

from busim.seam import Action
from busim.units import NEVER
from nodes.drive import Drive
from nodes.rudder import Rudder


class FollowsAtOnce(Rudder):
    """It goes where the new wheel stands as soon as control is taken."""

    __slots__ = ()

    def _matched(self, wanted: int, kind: int) -> bool:
        return True


class StaysWhereItIs(Rudder):
    """It takes wheel and station over, and never turns."""

    __slots__ = ()

    def _steer(self, now_ns: int, wanted: int, kind: int) -> list[Action]:
        return []


class GoesTooFar(Rudder):
    """Its scale is wrong, and it knows no end."""

    __slots__ = ()

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.motion.hard_over = 9000

    def _steer(self, now_ns: int, wanted: int, kind: int) -> list[Action]:
        return super()._steer(now_ns, wanted * 5 // 4, kind)


class SeesNothingWrong(Rudder):
    """It never compares what it asked for with what came of it."""

    __slots__ = ()

    def _look(self, now_ns: int) -> list[Action]:
        self.motion.astray, self.motion.astray_since_ns = False, NEVER
        return super()._look(now_ns)

    def fault(self, now_ns: int) -> int:
        return 0


class NeverSlows(Drive):
    """It listens to no rudder."""

    __slots__ = ()

    def __init__(self, *arguments: object) -> None:
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.steering = None
