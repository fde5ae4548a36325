"""One zone as its driver keeps it: where its light is, where it goes, in which colour, and the outputs that make it.

Lightness moves in a straight line, in steps of 10 ms: more than a hundred a second are not seen. The part of a zone driver
that knows nothing of frames.
"""

from typing import Final

from busim.protocol.lightness import FULL_PERMILLE, duty_for
from busim.protocol.plan import ZonePlan
from busim.seam import OUTPUT, Action
from busim.units import MS, NEVER
from nodes.lamp_colour import FULL_SHARE, kelvin_shares, rgb_shares

FADE_STEP_NS: Final = 10 * MS
DIM_NS: Final = 4000 * MS
"""From dark to full with a finger on it."""
DIMMEST_PERMILLE: Final = 10
COLOUR_OUT_OF_REACH: Final = 5
WHITE: Final = 0xFFFFFF


class ZoneLight:
    __slots__ = (
        "began_ns", "colour", "dims", "ends_ns", "fault", "lamp", "level", "origin", "owed", "panel", "plan", "press", "seen",
        "shares", "step_ns", "touched", "used",
    )  # fmt: skip

    def __init__(self, plan: ZonePlan) -> None:
        self.plan = plan
        self.level = 0
        """Where its lightness goes, in permille."""
        self.origin = 0
        """Where it went from, at `began_ns`; it arrives at `ends_ns`."""
        self.began_ns = 0
        self.ends_ns = 0
        self.step_ns = NEVER
        """When its outputs move next."""
        self.seen = 0
        """Its lightness as the outputs were last set."""
        self.used = FULL_PERMILLE
        """The level it was last lit at: what "on" comes back to."""
        self.dims = False
        """It moves, or came to the end, because a hand dims it: what stop dimming stops."""
        self.colour = WHITE if plan.kind == "colour" else plan.warm_k if plan.kind == "tunable_white" else 0
        """8 bits each of red, green and blue; or kelvin."""
        self.shares: tuple[int, ...] = (FULL_SHARE,)
        self.fault = 0
        self.lamp = 0
        """What is sensed of its lamps: 0 sound, 1 open, 2 short."""
        self.owed: tuple[int, int] | None = None
        """(panel, number) of a press whose answer waits for the first step of its change."""
        self.panel = 0
        self.press = 0
        """The press that it says it did last."""
        self.touched = False
        """By a hand, since its driver started: what is lit after a reset by itself is not then."""
        self._mix()

    @property
    def moving(self) -> bool:
        return self.step_ns != NEVER

    def settle(self) -> bool:
        """Let what it says answer the press it owes an answer, if it owes one."""
        if self.owed is None:
            return False
        self.panel, self.press = self.owed
        self.owed = None
        return True

    def now(self, now_ns: int) -> int:
        """Its lightness at this moment."""
        if now_ns >= self.ends_ns:
            return self.level
        return self.origin + (self.level - self.origin) * (now_ns - self.began_ns) // (self.ends_ns - self.began_ns)

    def go(self, now_ns: int, level: int, fade_ns: int) -> list[Action]:
        """Change to a level in this time. A switched zone is on or off, and changes at once."""
        if self.plan.kind == "switched":
            level, fade_ns = (FULL_PERMILLE if level else 0), 0
        self.origin = self.now(now_ns)
        if self.dims and self.origin:
            self.used = self.origin  # how far the hand had come
        self.dims = False
        self.level = level
        if level:
            self.used = level
        self.began_ns, self.ends_ns = now_ns, now_ns + fade_ns
        self.step_ns = now_ns
        return self.step(now_ns)

    def dim(self, now_ns: int, *, up: bool) -> list[Action]:
        """Begin to move, slowly, until it is told to stop or arrives at the end."""
        end = FULL_PERMILLE if up else DIMMEST_PERMILLE
        now, used = self.now(now_ns), self.used
        if self.dims and now:
            used = now
        actions = self.go(now_ns, end, abs(end - now) * DIM_NS // FULL_PERMILLE)
        self.used = used
        self.dims = True
        return actions

    def stop(self, now_ns: int) -> list[Action]:
        """A hand that dims lets go. What moves for another reason by now goes on: a scene or a press came meanwhile."""
        return self.go(now_ns, self.now(now_ns), 0) if self.dims else self._outputs()

    def paint(self, colour: int, kelvin: int) -> bool:
        """Take a colour (-1: none given) or a colour temperature (0: none). False where its lamps can make neither kind."""
        kind = self.plan.kind
        if kind == "tunable_white" and kelvin:
            self.colour = kelvin
        elif kind == "colour" and colour >= 0:
            self.colour = colour
        else:
            return colour < 0 and not kelvin
        self._mix()
        return True

    def _mix(self) -> None:
        out_of_reach = False
        if self.plan.kind == "tunable_white":
            self.shares, out_of_reach = kelvin_shares(self.colour, self.plan.warm_k, self.plan.cool_k)
        elif self.plan.kind == "colour":
            self.shares, out_of_reach = rgb_shares(self.colour, len(self.plan.channels))
        self.fault = COLOUR_OUT_OF_REACH if out_of_reach else 0

    def step(self, now_ns: int) -> list[Action]:
        """Set the outputs to where the light is now, and say when they move next."""
        self.seen = self.now(now_ns)
        self.step_ns = NEVER if now_ns >= self.ends_ns else min(now_ns + FADE_STEP_NS, self.ends_ns)
        return self._outputs()

    def _outputs(self) -> list[Action]:
        lightness = self.seen
        steps = (1 << self.plan.pwm_bits) - 1
        duty = duty_for(lightness, steps) if self.plan.kind != "switched" else (steps if lightness else 0)
        # An output is in parts of 65,535 of full, whatever the steps that its hardware has.
        return [
            (OUTPUT, f"channel.{channel}", ((duty * share + FULL_SHARE // 2) // FULL_SHARE * FULL_SHARE + steps // 2) // steps)
            for channel, share in zip(self.plan.channels, self.shares, strict=True)
        ]
