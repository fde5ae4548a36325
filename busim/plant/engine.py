"""An engine and its starter: off, cranked, running, or running down.

*Model assumptions*: speed follows what is asked of it as a first-order lag of 0.4 s, clutch load neglected; a starter turns
it at 200 rpm and it fires after 1.2 s of that with the fuel on, whereupon the starter lets go; below 100 rpm it counts as
stopped; fuel that comes back above 300 rpm lets it catch again, as a diesel does; below that it must be started anew.
"""

from typing import Final

from busim.units import MS, NEVER

STEP_S: Final = 0.02
LAG_S: Final = 0.4
_LAG: Final = STEP_S / LAG_S
FIRES_NS: Final = 1200 * MS
CRANKING_RPM: Final = 200
STOPPED_RPM: Final = 100.0
CATCHES_RPM: Final = 300.0

OFF: Final = 0
CRANKING: Final = 1
RUNNING: Final = 2
STOPPING: Final = 3

# What cuts its fuel: each can, and all must have let go.
ENGINE_STOP: Final = 1
FUEL_CUT: Final = 2
STALLED: Final = 4

# What a starter does, as said in the event of that name.
LETS_GO: Final = 0
TURNS: Final = 1
NOT_PERMITTED: Final = 2


class Engine:
    __slots__ = ("changes_ns", "crank_end_ns", "cuts", "fires_ns", "permits", "rpm", "state", "will_not_stop")

    def __init__(self, idle_rpm: int) -> None:
        self.rpm = float(idle_rpm)
        self.state = RUNNING
        self.cuts = 0
        """Bits of what cuts the fuel."""
        self.will_not_stop = False
        """It has fuel whatever cuts it (a stuck rack, lubricating oil past the seals)."""
        self.permits: dict[str, int] = {}
        """Who ever gave or refused start permission by wire, and what each says. Nobody: the starter is not interlocked."""
        self.fires_ns = NEVER
        self.crank_end_ns = NEVER
        self.changes_ns = NEVER
        """When the starter lets go or the engine fires, whichever is first."""

    @property
    def running(self) -> bool:
        """It turns by itself: fired, and not yet run down."""
        return self.state >= RUNNING

    @property
    def cranking(self) -> bool:
        return self.state == CRANKING

    @property
    def fuel(self) -> bool:
        return self.will_not_stop or not self.cuts

    @property
    def may_crank(self) -> bool:
        return all(self.permits.values())

    def put(self, idle_rpm: int, running: bool) -> None:
        """It has been running for long, or is off and cold: how a run begins."""
        self.state, self.rpm = (RUNNING, float(idle_rpm)) if running else (OFF, 0.0)
        self._turns_until(NEVER, NEVER)

    def cut(self, now_ns: int, cause: int, on: bool) -> None:
        """Something cuts the fuel, or lets it flow again."""
        self.cuts = self.cuts | cause if on else self.cuts & ~cause
        self.fuel_changed(now_ns)

    def fuel_changed(self, now_ns: int) -> None:
        fuel = self.fuel
        if self.state == RUNNING and not fuel:
            self.state = STOPPING
        elif self.state == STOPPING and fuel and self.rpm >= CATCHES_RPM:
            self.state = RUNNING
        elif self.state == CRANKING and fuel != (self.fires_ns != NEVER):
            self._turns_until(self.crank_end_ns, now_ns + FIRES_NS if fuel else NEVER)

    def _turns_until(self, crank_end_ns: int, fires_ns: int) -> None:
        self.crank_end_ns, self.fires_ns = crank_end_ns, fires_ns
        self.changes_ns = min(crank_end_ns, fires_ns)

    def refuse_to_stop(self, now_ns: int, wrong: bool) -> None:
        """Nothing that cuts its fuel stops it; or it obeys again."""
        self.will_not_stop = wrong
        self.fuel_changed(now_ns)

    def stall(self) -> None:
        """It dies by itself, and can be started again."""
        if self.state == RUNNING:
            self.cuts |= STALLED
            self.state = STOPPING

    def crank(self, now_ns: int, for_ns: int) -> int | None:
        """Somebody turns the start key for so long. What the starter does: TURNS, NOT_PERMITTED, None where the engine runs
        already or is being cranked (a starter is kept from a turning ring gear)."""
        if self.state != OFF:
            return None
        if not self.may_crank:
            return NOT_PERMITTED
        self.state = CRANKING
        self._turns_until(now_ns + for_ns, now_ns + FIRES_NS if self.fuel else NEVER)
        return TURNS

    def stop_cranking(self) -> None:
        """The key is let go, or permission is withdrawn."""
        self.state = OFF
        self._turns_until(NEVER, NEVER)

    def pass_moment(self, now_ns: int) -> bool:
        """Do what is due at `changes_ns`: did the starter let go? A moment that fires and ends the key's turn fires."""
        if self.state != CRANKING or now_ns < self.changes_ns:
            return False
        fired = now_ns >= self.fires_ns
        self.stop_cranking()
        if fired:
            self.state = RUNNING
        return True

    def step(self, wanted_rpm: float) -> None:
        """Carry it on by one step of the grid. `wanted_rpm` is what the throttle asks of it while it runs."""
        if self.state != RUNNING:
            wanted_rpm = CRANKING_RPM if self.state == CRANKING else 0.0
        self.rpm += (wanted_rpm - self.rpm) * _LAG
        if self.state == STOPPING and self.rpm < STOPPED_RPM:
            self.state = OFF
            self.cuts &= ~STALLED
