"""A frame with a wrong CRC, a counter that does not count or an old number moves nothing.

Judged by the drive's outputs: a throttle or a gear it commands must be what its last valid lever frames asked for.
"""

from itertools import pairwise

from busim.events import bits
from busim.events.journal import Event, Journal
from busim.events.situation import DriveView
from busim.events.table import MEASURED
from busim.requirements.in_a_log import NotInALog
from busim.requirements.requirement import Context, Requirement, Spoilt
from busim.requirements.verdict import Tally, Verdict


class RefuseBadFrame(Requirement):
    id = "drive.refuse_bad_frame"
    words = "A lever frame that is corrupt, stale or out of date is not acted on."
    hazards = ("unintended engagement", "throttle rise", "wrong direction")
    in_a_log = NotInALog("what a drive tells its actuators from one frame to the next, nor which frames it received")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, 0, "times", MEASURED)
        self.bad = 0
        self.cap = context.plan.rudder.no_steer_permille if context.plan.rudder is not None else None
        """While nobody steers a lever that asks for more gets so much (see rudder.no_steer)."""
        self.commanded: dict[tuple[str, str], int] = {}
        """(drive's node, output) -> what it was told last."""

        self.untrue = Spoilt(self.situation.by_node)
        """Whom such a drive obeys is not known."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("fault", self.untrue.note)
        for station in sorted({station for drive in self.situation.drives.values() for station in drive.plan.stations}):
            journal.watch_frames(bits.CODE_LEVER << 6 | station, self._lever)
        journal.watch_events("output", self._output)

    def _lever(self, now_ns: int, bus: int, can_id: int, data: bytes, mask: int) -> None:
        for drive in self.situation.followers.get(can_id & 0x3F, ()):
            if drive.control_ns == now_ns or not mask & self.situation.host_bit[drive.address]:
                continue  # just counted as valid, or not received
            if not bits.sound(can_id, data):
                self.bad += 1
                self.tally.measure(0, now_ns, f"{drive.name}: corrupt lever frames received, none acted on")
            elif drive.recent and data[1] != drive.counter_rule.last:
                self.bad += 1
                self.tally.measure(0, now_ns, f"{drive.name}: lever frames out of order received, none acted on")

    def _output(self, event: Event) -> None:
        at_ns, _, _, node, channel, value = event
        drive = self.situation.by_node.get(node)
        if drive is None or channel not in ("throttle", "shift"):
            return
        before = self.commanded.get((node, channel), 0)
        self.commanded[node, channel] = value
        if not drive.station or value <= 0 or node in self.untrue:
            return
        if channel == "throttle" and value == self._of_last_two(drive):  # nearly always
            return
        # What is commanded may still follow the pair before the last frame, as outputs come after a processing delay.
        pairs = list(pairwise(drive.recent))[-3:]
        # One frame is enough to reduce (also the first of a station that has taken over in gear).
        reduced = value < before and any(value == frame[2] for frame in drive.recent[-2:])
        lowest = [min(one[2], other[2]) for one, other in pairs]
        capped = value == self.cap and value < max([before, *lowest])
        if channel == "throttle" and not reduced and not capped and value not in lowest:
            self.tally.fail(at_ns, f"{drive.name}: throttle {value} permille was asked for by no two valid lever frames", 1)
        elif channel == "shift" and not any(value == one[1] == other[1] for one, other in pairs):
            self.tally.fail(at_ns, f"{drive.name}: a gear was asked for by no two valid lever frames", 1)

    def _of_last_two(self, drive: DriveView) -> int:
        """The throttle that the last two valid lever frames agree on, -1 where there are no two."""
        if len(drive.recent) < 2:
            return -1
        one, other = drive.recent[-2][2], drive.recent[-1][2]
        return one if one < other else other

    def finish(self, now_ns: int) -> Verdict:
        if self.tally.failure is None and self.bad:
            self.tally.worst = (0, now_ns, f"{self.bad} bad lever frames received, none acted on")
        return self.tally.verdict("no bad lever frame was received")
