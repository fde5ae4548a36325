"""What a station's display can say, and what it has to say as things stand. Decides nothing else."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from nodes.wheel import Wheel

if TYPE_CHECKING:
    from nodes.drive_echo import DriveEcho

SHOWS_NOBODY: Final = 1
SHOWS_HERE: Final = 2
SHOWS_ANOTHER: Final = 3
SHOWS_NOTHING_HEARD: Final = 4
SHOWS_ASKING: Final = 5
SHOWS_DIVIDED: Final = 6
SHOWS_LOST: Final = 7
"""It let control go, and the drive has not said yet that it noticed."""
SHOWS_NOT_STEERING: Final = 8
"""Its drives obey here, and the rudder nobody, as far as it is heard."""


def to_show(
    address: int, claiming: bool, holding: bool, part: bool, heard: "Iterable[DriveEcho]", wheel: Wheel | None, now_ns: int
) -> int:
    """What the station at `address` has to show, by the last reports of the drives it may take, as far as they are `heard`.

    It never says "in control here" where the rudder obeys another station, or nobody; nor where it holds but a `part` of its
    drives, whether the rest is heard or not.
    """
    masters = {echo.station for echo in heard}
    steered_by = wheel.steered_by(now_ns) if wheel is not None else 0
    if not masters and wheel is not None and not wheel.drives and wheel.heard(now_ns):
        masters = {steered_by}
    if not masters:
        return SHOWS_NOTHING_HEARD
    if claiming:
        return SHOWS_ASKING
    if len(masters) > 1:
        return SHOWS_DIVIDED
    master = masters.pop()
    if not master:
        return SHOWS_NOBODY
    if part or steered_by not in (0, master):
        return SHOWS_DIVIDED
    if master != address:
        return SHOWS_ANOTHER
    if not holding:
        return SHOWS_LOST
    return SHOWS_NOT_STEERING if wheel is not None and not steered_by else SHOWS_HERE
