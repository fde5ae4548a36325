"""What is asked of a bench session, how it may end, and the way to whoever shows and judges: the terms between two processes."""

from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from busim.bench.stage import Ask, Result
from busim.boat.model import BoatFile
from busim.protocol.plan import WirePlan

MOVING_KINDS: Final = ("drive", "rudder", "cutout")
SIMULATED: Final = "simulated"
BAND: Final = "band"
RIG: Final = "rig"


@dataclass(frozen=True)
class Order:
    """What is wanted. `machinery` is SIMULATED, BAND or RIG: how machinery reaches the device."""

    boat: BoatFile
    plan: WirePlan
    node: str
    bus: str
    seed: int = 1
    cap_permille: int = 0
    machinery: str = SIMULATED
    only: tuple[str, ...] = ()
    witness: str = ""
    """A second real node on the bench's bus: a cutout of the same drive, whose own gear switch is independent of the device."""
    hands: bool = True
    """Somebody is there to switch the device's supply."""


@dataclass
class Ending:
    """How it ended. `neutral`: reported so, or not; None where there was no machinery to see to or nothing was ever sent."""

    why: str
    words: str = ""
    neutral: bool | None = None
    spoke: bool = False
    """Something was sent to the device."""
    notes: list[str] = field(default_factory=list)
    version: str = ""
    fingerprints: tuple[int, int] | None = None
    answers: list[tuple[str, str]] = field(default_factory=list)
    machinery: str = ""
    digest: str = ""
    seconds: float = 0.0


DONE: Final = "done"
REFUSED: Final = "refused"
ADAPTER: Final = "adapter"
INTERRUPTED: Final = "interrupted"
SCREEN_GONE: Final = "screen gone"
WENT_WRONG: Final = "went wrong"


class RefusedError(Exception):
    """Nothing, or nothing more, may be done; the message says why."""


class EndedError(Exception):
    """Somebody wants it to end, or nobody is there any more to show and judge; the argument is the reason."""


class Talk(Protocol):
    """To whoever shows and judges. None of these waits."""

    def say(self, words: str) -> None: ...

    def ask(self, ask: Ask) -> None: ...

    def results(self, results: list[Result]) -> None: ...

    def block(self, frames: list[Any], events: list[Any], digest: str) -> None: ...

    def answer(self) -> str | None:
        """What was answered, once; None while nothing was."""
        ...

    def ended(self) -> str:
        """INTERRUPTED or SCREEN_GONE where it is to end, else ""."""
        ...
