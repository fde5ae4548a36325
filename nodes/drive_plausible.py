"""Where a drive's sensors contradict each other, its commands, or what machinery can do: found here, acted on in `nodes.drive`.

* Shift feedback and neutral switch: the one shows neutral and the other not, or the one a gear and the other neutral. A linkage
  that came off shows like this, and so does a clutch that drags behind a switch on the clutch, or a switch that broke.
* The shift leaves the gear it was told to be in, or neutral, with nobody having told it to.
* Throttle feedback out of range, or going away from where it was told to go; or not getting there at half its speed.
* Engine speed far too fast with the gear out and the throttle at its stop, or still there long after a stop was asked for. With
  the gear in it shows nothing: a boat under way drives her engine through the propeller.

Seen at each of the drive's own inputs and reports, so up to `drive_ms` later than the times below.
"""

from typing import TYPE_CHECKING, Final

from busim.protocol import values as v
from busim.units import MS, NEVER, SECOND
from nodes.drive_machine import AT_REST, ENGAGED, FORCED_NEUTRAL
from nodes.drive_sensing import BELOW_STOP_PERMILLE, NEUTRAL_WITHIN_PERMILLE, UNSEEN

if TYPE_CHECKING:
    from nodes.drive_machine import DriveMachine

DISAGREE_NS: Final = 200 * MS
"""Switch and feedback are read at different moments, and a switch has play; an actuator that moves passes between in less."""
CERTAINLY_OUT_OF_NEUTRAL_PERMILLE: Final = 500
STILL_IN_GEAR_PERMILLE: Final = 750
"""Nearer to neutral than this a clutch may let go (common practice)."""
OUT_OF_RANGE_NS: Final = 200 * MS
ABOVE_FULL_PERMILLE: Final = 1030
APART_PERMILLE: Final = 100
"""A throttle further than this from where it was told to be has to be on its way."""
PROGRESS_NS: Final = 500 * MS
"""In which it has to come at least half as far as at its own speed; less is not getting there."""
AWAY_PERMILLE: Final = 30
RACING_NS: Final = 2 * SECOND
"""Five times the lag of an engine that is let go (common practice: 0.4 s)."""
STOPPING_NS: Final = 5 * SECOND
"""An engine whose fuel was cut has run down by then (common practice)."""

SHIFT_ASTRAY, THROTTLE_LATE, SHIFT_DISAGREES, THROTTLE_IMPLAUSIBLE, RPM_UNLIKE = 1, 2, 3, 4, 5
"""As `busim.protocol.values.DRIVE_FAULTS` numbers them."""


class Plausibility:
    """`doubt` is what can't be believed as things stand, 0 nothing. Moments are NEVER while their condition does not hold."""

    __slots__ = (
        "astray_since_ns", "disagree_since_ns", "doubt", "from_ns", "from_permille", "out_since_ns", "racing_since_ns", "side",
        "stopping_since_ns", "throttle",
    )  # fmt: skip

    def __init__(self) -> None:
        self.doubt = 0
        self.astray_since_ns = NEVER
        self.disagree_since_ns = NEVER
        self.out_since_ns = NEVER
        self.racing_since_ns = NEVER
        self.stopping_since_ns = NEVER
        self.throttle = 0
        """What was found of the throttle's way: 0, THROTTLE_LATE or THROTTLE_IMPLAUSIBLE."""
        self.side = 0
        self.from_ns = 0
        self.from_permille = 0

    def look(self, now_ns: int, drive: "DriveMachine") -> int:
        """See what the sensors show now; the same as `doubt`."""
        throttle = drive.sensed_throttle
        disagree = self._disagree(drive)
        astray = self._astray(drive)
        out = throttle != UNSEEN and not -BELOW_STOP_PERMILLE <= throttle <= ABOVE_FULL_PERMILLE
        races = self._races(drive)
        running_on = bool(drive.engine_stop) and drive.rpm > drive.me.shift_rpm // 2
        self._follow_throttle(now_ns, throttle, drive)
        if not (disagree or astray or out or races or running_on):  # nearly always
            self.disagree_since_ns = self.astray_since_ns = self.out_since_ns = NEVER
            self.racing_since_ns = self.stopping_since_ns = NEVER
            self.doubt = self.throttle
            return self.doubt
        self.disagree_since_ns = _since(self.disagree_since_ns, now_ns, disagree)
        self.astray_since_ns = _since(self.astray_since_ns, now_ns, astray)
        self.out_since_ns = _since(self.out_since_ns, now_ns, out)
        self.racing_since_ns = _since(self.racing_since_ns, now_ns, races)
        self.stopping_since_ns = _since(self.stopping_since_ns, now_ns, running_on)
        if now_ns - self.disagree_since_ns >= DISAGREE_NS:
            self.doubt = SHIFT_DISAGREES
        elif now_ns - self.astray_since_ns >= DISAGREE_NS:
            self.doubt = SHIFT_ASTRAY
        elif now_ns - self.out_since_ns >= OUT_OF_RANGE_NS:
            self.doubt = THROTTLE_IMPLAUSIBLE
        elif self.throttle:
            self.doubt = self.throttle
        elif now_ns - self.racing_since_ns >= RACING_NS or now_ns - self.stopping_since_ns >= STOPPING_NS:
            self.doubt = RPM_UNLIKE
        else:
            self.doubt = 0
        return self.doubt

    def asks_stop(self, drive: "DriveMachine") -> bool:
        """Must the engine be stopped, as what was found leaves no other way to be rid of thrust? Asked with the gear coming out,
        or out."""
        if self.doubt == SHIFT_DISAGREES:
            return self._not_out(drive)  # the actuator has been where it was sent, and the gear is not out
        if self.doubt == SHIFT_ASTRAY:
            return drive.state == FORCED_NEUTRAL  # coming out it has its time; it was out, and goes in by itself
        if self.doubt == RPM_UNLIKE:
            return True
        return drive.fault in (THROTTLE_LATE, THROTTLE_IMPLAUSIBLE) and drive.rpm > drive.me.shift_rpm

    def _disagree(self, drive: "DriveMachine") -> bool:
        position = drive.shift_position
        if position == UNSEEN:
            return False
        if drive.switch == v.SWITCH_CLOSED:
            return not -CERTAINLY_OUT_OF_NEUTRAL_PERMILLE < position < CERTAINLY_OUT_OF_NEUTRAL_PERMILLE
        return self._not_out(drive)

    def _astray(self, drive: "DriveMachine") -> bool:
        if drive.state == ENGAGED:
            position = drive.shift_position if drive.asked_gear == v.AHEAD else -drive.shift_position
            return position < STILL_IN_GEAR_PERMILLE
        return drive.state in AT_REST and drive.sensed_gear() != v.NEUTRAL

    def _not_out(self, drive: "DriveMachine") -> bool:
        position = drive.shift_position
        return drive.switch == v.SWITCH_OPEN and -NEUTRAL_WITHIN_PERMILLE <= position <= NEUTRAL_WITHIN_PERMILLE

    def _races(self, drive: "DriveMachine") -> bool:
        fast = drive.rpm > drive.me.shift_rpm * 3 // 2
        return fast and not drive.asked_throttle and drive.throttle_at_stop() and drive.sensed_gear() == v.NEUTRAL

    def _follow_throttle(self, now_ns: int, throttle: int, drive: "DriveMachine") -> None:
        apart = drive.asked_throttle - throttle
        side = 0 if throttle == UNSEEN else (apart > APART_PERMILLE) - (apart < -APART_PERMILLE)
        if side != self.side:
            self.side, self.from_ns, self.from_permille = side, now_ns, throttle
            self.throttle = 0
        if not side or now_ns - self.from_ns < PROGRESS_NS:
            return
        came = (throttle - self.from_permille) * side
        if came * 2 * drive.me.throttle_ms * MS >= 1000 * (now_ns - self.from_ns):
            self.throttle = 0
        elif not self.throttle:
            self.throttle = THROTTLE_IMPLAUSIBLE if came < -AWAY_PERMILLE else THROTTLE_LATE
        self.from_ns, self.from_permille = now_ns, throttle


def _since(since_ns: int, now_ns: int, holds: bool) -> int:
    return min(since_ns, now_ns) if holds else NEVER
