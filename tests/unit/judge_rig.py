"""A requirement and the situation it reads, fed with events and frames that a test makes by hand; no simulator."""

from busim.boat.derive import DriveLimits
from busim.events.journal import Journal
from busim.events.situation import DriveView, Situation
from busim.protocol.plan import WirePlan
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import NOT_EXERCISED, Verdict
from busim.units import MS, SECOND

from . import hand_made_frames as hand
from .small_boat import PORT, SHIFT_MS, STARBOARD, WHEELHOUSE, small_boat

IDLE_LIMIT_MS, NEUTRAL_LIMIT_MS = 1700, 2592
"""Of both drives."""
EVERYBODY = -1
INSTANCE = {PORT: 1, STARBOARD: 2}


def limits() -> DriveLimits:
    return DriveLimits(
        distance_ms=NEUTRAL_LIMIT_MS,
        loss_to_neutral_ms=NEUTRAL_LIMIT_MS,
        loss_to_idle_ms=IDLE_LIMIT_MS,
        idle_wait_ms=1447,
        derived_idle_wait_ms=1447,
        half_shift_ms=SHIFT_MS,
        full_throttle_ms=1400,
    )


class JudgeRig:
    """Its clock stands at `now_ns` until a test moves it. Nodes are called node_1 and so on, drives port and starboard."""

    def __init__(self, kind: type[Requirement] | None = None, plan: WirePlan | None = None) -> None:
        self.plan = plan if plan is not None else small_boat()
        self.journal = Journal()
        self.situation = Situation(self.plan)
        self.situation.attach(self.journal)
        self.now_ns = SECOND
        self.counters: dict[int, int] = {}
        self.number = 0
        self.station = WHEELHOUSE
        if kind is not None:
            self.requirement = kind(Context(self.plan, {drive.name: limits() for drive in self.plan.drives}, self.situation))
            self.requirement.attach(self.journal)

    def bit(self, *addresses: int) -> int:
        """The mask of a frame that these accepted."""
        nodes = [address for address, _, _ in self.plan.nodes]
        return sum(1 << nodes.index(address) for address in addresses)

    def all_but(self, *addresses: int) -> int:
        return self.bit(*(address for address, _, _ in self.plan.nodes if address not in addresses))

    @property
    def port(self) -> DriveView:
        return self.situation.drives["port"]

    # ------------------------------------------------------------------------------------------------ what happens

    def after(self, ms: float) -> None:
        self.now_ns += round(ms * MS)

    def event(self, kind: str, *fields: int | str) -> None:
        self.journal.event(self.now_ns, kind, *fields)

    def frame(self, code: int, address: int, data: bytes, mask: int = EVERYBODY) -> None:
        self.journal.frame(self.now_ns, 0, hand.id_of(code, address), data, mask)

    def counter(self, code: int, address: int, ahead: int = 1) -> int:
        can_id = hand.id_of(code, address)
        self.counters[can_id] = counter = (self.counters.get(can_id, 0) + ahead) % 256
        return counter

    def lever(
        self,
        gear: int = 0,
        throttle: int = 0,
        *,
        ahead: int = 1,
        mask: int = EVERYBODY,
        number: int | None = None,
        station: int | None = None,
        spoil: bool = False,
    ) -> None:
        """The same for both drives, from the station in control where none is named."""
        station = self.station if station is None else station
        counter = self.counter(hand.LEVER, station, ahead)
        data = hand.lever(station, counter, self.number if number is None else number, gear, throttle, other=(gear, throttle))
        self.frame(hand.LEVER, station, hand.spoiled(data) if spoil else data, mask)

    def claim(
        self, number: int, *, station: int = WHEELHOUSE, mask: int = EVERYBODY, ahead: int = 1, spoil: bool = False, **more: int
    ) -> None:
        more.setdefault("wanted", 3)
        data = hand.claim(station, self.counter(hand.CLAIM, station, ahead), number, **more)
        self.frame(hand.CLAIM, station, hand.spoiled(data) if spoil else data, mask)

    def obeys(
        self, station: int, number: int, *, drive: int = PORT, mask: int = EVERYBODY, spoil: bool = False, **more: int
    ) -> None:
        data = hand.obeys(drive, self.counter(hand.OBEYS, drive), station, number, instance=INSTANCE[drive], **more)
        self.frame(hand.OBEYS, drive, hand.spoiled(data) if spoil else data, mask)

    def take(self, number: int, station: int = WHEELHOUSE, drives: tuple[int, ...] = (PORT, STARBOARD)) -> None:
        """Two claims, the drives say so, and the first lever frames that count."""
        self.station, self.number = station, number
        self.claim(number, station=station)
        self.claim(number, station=station)
        for drive in drives:
            self.obeys(station, number, drive=drive)
        self.lever()
        self.lever()

    def lose_by_gap(self) -> int:
        """The last lever frame counts now, and then nothing for 260 ms: the moment of that frame."""
        self.lever(1, 500)
        base_ns = self.now_ns
        self.after(260)
        return base_ns

    def verdict(self) -> Verdict:
        """As if the run ended now."""
        verdict = self.requirement.finish(self.now_ns)
        assert verdict.id == self.requirement.id
        assert verdict.evidence
        assert "None" not in verdict.evidence, "who reads it is to know what was seen, and of whom"
        assert (verdict.at_ns is None) == (verdict.verdict == NOT_EXERCISED)
        assert verdict.at_ns is None or 0 <= verdict.at_ns <= self.now_ns + 1
        assert all(number is None or type(number) is int for number in (verdict.measured, verdict.limit))
        return verdict

    def says(self) -> str:
        return self.verdict().verdict
