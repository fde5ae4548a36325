"""This boat in words, for the help: her stations and drives, her deadlines, and what happens when control is lost."""

from busim import screen_labels as labels
from busim.boat.derive import actuator_of, distance_limit_ms, limits_of
from busim.boat.model import BoatFile, Drive


def facts(boat: BoatFile) -> list[str]:
    """Lines, unwrapped."""
    section = boat.boat
    said = [
        labels.FACT_BOAT.format(
            name=section.name,
            length=section.waterline_m,
            run=section.max_run_m,
            speed=section.docking_speed_kn,
            limit=f"{distance_limit_ms(section):,}",
        ),
        *_stations(boat),
    ]
    for name, drive in boat.drives.items():
        said += _drive(boat, name, drive)
    for name, cutout in boat.cutouts.items():
        said.append(labels.FACT_CUTOUT.format(cutout=name, drive=cutout.drive, ms=cutout.cutout_ms))
    if boat.rudder is not None:
        said.append(labels.FACT_RUDDER.format(percent=boat.rudder.no_steer_permille / 10))
    if len(boat.drives) > 1:
        for policy, words in ((boat.on_one_drive_lost, labels.FACT_ONE_LOST), (boat.partition_policy, labels.FACT_PARTED)):
            if policy is not None:
                said += [words[policy.do], labels.FACT_WHY.format(why=policy.why)]
    if boat.drives and boat.stations:
        said += [labels.FACT_TAKE.format(ms=boat.timing.transfer_ms), labels.FACT_REARM]
    if boat.zones:
        on = [name for name, zone in boat.zones.items() if zone.on_bus_loss == "on"]
        but = labels.FACT_LIGHTS_ON.format(zones=", ".join(on)) if on else ""
        said.append(labels.FACT_LIGHTS.format(zones=len(boat.zones), but=but))
    if boat.navigation_lights:
        said.append(labels.FACT_NAVIGATION)
    return said


def _stations(boat: BoatFile) -> list[str]:
    said = []
    for name, station in boat.stations.items():
        more = labels.FACT_STEERS if station.steers else ""
        more += labels.FACT_MATCHED if station.matched_take else ""
        more += labels.FACT_TRACKS if station.lever_tracks > 1 else ""
        more += labels.FACT_PLUG if any(tap.plug for tap in boat.nodes[station.node].taps.values()) else ""
        said.append(labels.FACT_STATION.format(station=name, drives=", ".join(station.may_take), more=more))
    return said or [labels.FACT_NO_STATION]


def _drive(boat: BoatFile, name: str, drive: Drive) -> list[str]:
    limits = limits_of(boat, drive)
    words = labels.FACT_LOSS_NEUTRAL if drive.on_loss.do == "neutral" else labels.FACT_LOSS_IDLE
    loss = words.format(idle=f"{limits.loss_to_idle_ms:,}", neutral=f"{limits.loss_to_neutral_ms:,}")
    powerless = labels.FACT_POWERLESS.format(
        throttle=labels.FACT_POWERLESS_WORDS[actuator_of(boat, drive.throttle).without_power],
        shift=labels.FACT_POWERLESS_WORDS[actuator_of(boat, drive.shift).without_power],
        permit=labels.FACT_SWITCH if drive.neutral_switch else labels.FACT_NO_SWITCH,
        stop=drive.stop_without_bus,
    )
    return [
        labels.FACT_DRIVE.format(drive=name, timeout=boat.timing.control_timeout_ms, loss=loss),
        labels.FACT_WHY.format(why=drive.on_loss.why),
        powerless,
    ]
