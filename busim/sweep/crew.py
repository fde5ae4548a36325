"""What the crew sees of a fault and should do, and what remains and acts instead: rules from the record of its worst run."""

from busim import sweep_labels as words
from busim.boat.model import BoatFile
from busim.sweep.rows import Row
from busim.sweep.severity import ADRIFT, RUDDER_UNASKED_CDEG

MOST_SEEN = 3


def sees(row: Row) -> str:
    """What displays and alarms said first in its worst run."""
    found = row.worst.found if row.worst is not None else ()
    shown = [finding for finding in found if not finding.what.startswith("row ")]
    told = dict.fromkeys(words.SEES.format(who=each.who, what=each.what) for each in shown)
    return "; ".join(list(told)[:MOST_SEEN]) or words.SEES_NOTHING


def does(row: Row, boat: BoatFile) -> str:
    run = row.worst
    if run is None:
        return words.DO_NOTHING
    facts = run.severity
    loose = tuple(dict.fromkeys((*facts.in_gear, *facts.off_idle, *facts.wrong_way)))
    if loose:
        return words.DO_STOP.format(how=_stops(loose, boat))
    if abs(facts.rudder_cdeg) > RUDDER_UNASKED_CDEG or "steering" in run.works_not:
        return words.DO_STEER
    if facts.dark:
        return words.DO_LIGHTS
    if row.worst_severity >= ADRIFT or run.thrust_lost_ns is not None:
        return words.DO_RETAKE
    if run.works_not:
        return words.DO_OTHER
    if row.found_ns:
        return words.DO_READ
    return words.DO_TEST if row.latent else words.DO_NOTHING


def remains(row: Row, boat: BoatFile) -> str:
    """The residual hazard, and what acts in the nodes' place."""
    run = row.worst
    if run is None:
        return words.RESIDUAL_NONE
    facts = run.severity
    left: list[str] = []
    loose = tuple(dict.fromkeys((*facts.in_gear, *facts.off_idle)))
    if loose:
        left.append(words.RESIDUAL_IN_GEAR.format(drives=" and ".join(loose), how=_stops(loose, boat)))
    if facts.wrong_way:
        left.append(words.RESIDUAL_WRONG_WAY.format(drives=" and ".join(facts.wrong_way), how=_stops(facts.wrong_way, boat)))
    if abs(facts.rudder_cdeg) > RUDDER_UNASKED_CDEG:
        left.append(words.RESIDUAL_RUDDER.format(deg=abs(facts.rudder_cdeg) / 100))
    if facts.dark:
        left.append(words.RESIDUAL_DARK.format(lights=" and ".join(facts.dark)))
    if row.latent:
        left.append(words.RESIDUAL_LATENT)
    return "; ".join(left) or words.RESIDUAL_NONE


def _stops(drives: tuple[str, ...], boat: BoatFile) -> str:
    """Who can stop these engines without the bus, as the boat file says."""
    return " and ".join(dict.fromkeys(boat.drives[name].stop_without_bus for name in drives if name in boat.drives))


def told_by(row: Row) -> str:
    """Who found it most often, and by what."""
    if not row.found_by:
        return words.NOBODY
    (who, what), _ = min(row.found_by.items(), key=lambda item: (-item[1], item[0]))
    found = words.FOUND.format(who=who, what=what)
    told = len(row.found_ns)
    return found if told == row.runs else f"{found}, {words.FOUND_SOME.format(told=told, runs=row.runs)}"


