"""The boat at one moment, as plain values: what a screen draws, and nothing else. How it is made: `busim.rehearsal.snapshot`."""

from dataclasses import dataclass

from busim.requirements.verdict import Verdict

RawFrame = tuple[int, int, int, bytes]
"""(at_ns, bus, can_id, data)"""


@dataclass(frozen=True, slots=True)
class DriveShown:
    """`station` who it obeys, empty nobody. Gears 0 neutral, 1 ahead, 2 astern, 3 between. `sensed` and `asked` None: not heard.

    `cause` is the latched one, 0 none; `cut_by` the nodes that cut its engine's fuel. `unheard_ms` since its last report, where
    that is too long ago to go by: then state and cause are what its own node did, which nobody else on board can know. None: heard.
    """

    name: str
    station: str
    state: str
    state_words: str
    forced: bool
    cause: int
    cause_words: str
    asked: int | None
    sensed: int | None
    true: int | None
    rpm: int
    throttle: int
    running: bool
    cut_by: tuple[str, ...]
    unheard_ms: int | None


@dataclass(frozen=True, slots=True)
class AlarmShown:
    """A line of a station's list. `state` is one of those in `busim.events.alarm_view`, `under` how many stand under it."""

    priority: int
    words: str
    state: int
    under: int


@dataclass(frozen=True, slots=True)
class StationShown:
    """`shows` what its display says; `plugged` None where it has no plug."""

    name: str
    node: str
    running: bool
    shows: int
    levers: tuple[tuple[str, int], ...]
    wheel: int | None
    alarms: tuple[AlarmShown, ...]
    sounds: bool
    plugged: bool | None


@dataclass(frozen=True, slots=True)
class LightShown:
    """`number` as on the bus; `on_board` is (metres from the bow, to starboard), None where the boat file does not say."""

    name: str
    kind: str
    permille: int
    rgb: tuple[int, int, int]
    on_board: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class FieldShown:
    number: int
    name: str
    does: str
    state: int


@dataclass(frozen=True, slots=True)
class PanelShown:
    name: str
    node: str
    running: bool
    page: str
    pages: int
    fields: tuple[FieldShown, ...]


@dataclass(frozen=True, slots=True)
class NodeShown:
    """`age_ms` since its last heartbeat, None never heard; `counts` (bus, state, TEC, REC) of each of its controllers."""

    name: str
    address: int
    kind: str
    running: bool
    age_ms: int | None
    counts: tuple[tuple[str, int, int, int], ...]


@dataclass(frozen=True, slots=True)
class RudderShown:
    """Angles in hundredths of a degree, + is starboard. `station` who steers, empty nobody; `fault` 0 none."""

    station: str
    asked: int
    true: int
    fault: int


@dataclass(frozen=True, slots=True)
class Snapshot:
    """`load` is (bus, frames a second, load in permille), `faults` (number, name, place), `lines` how many the timeline has."""

    at_ns: int
    drives: tuple[DriveShown, ...]
    stations: tuple[StationShown, ...]
    rudder: RudderShown | None
    knots: float
    run_m: float
    lights: tuple[LightShown, ...]
    panels: tuple[PanelShown, ...]
    nodes: tuple[NodeShown, ...]
    missing_ms: int
    """When a heartbeat is missing."""
    load: tuple[tuple[str, int, int], ...]
    frames: tuple[RawFrame, ...]
    faults: tuple[tuple[int, str, str], ...]
    verdicts: tuple[Verdict, ...]
    lines: int

    @property
    def in_control(self) -> str:
        """The station in control of the drives; empty: nobody, or not one."""
        stations = {drive.station for drive in self.drives}
        return stations.pop() if len(stations) == 1 else ""

    @property
    def divided(self) -> bool:
        return len({drive.station for drive in self.drives}) > 1

    @property
    def forced(self) -> tuple[DriveShown, ...]:
        return tuple(drive for drive in self.drives if drive.forced)
