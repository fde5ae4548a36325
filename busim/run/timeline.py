"""What happened, in words. Reads events and the situation, adds nothing of its own."""

from dataclasses import dataclass

from busim import labels
from busim.boat.model import BoatFile
from busim.events.journal import Event, Journal
from busim.events.situation import Situation
from busim.protocol.tables import DRIVE_TABLE, TABLES
from busim.protocol.values import CAUSE_LEVER_LOST, CAUSES

_TABLES = {table.name: table for table in TABLES}


@dataclass(frozen=True)
class Line:
    at_ns: int
    words: str


class Timeline:
    def __init__(self, boat: BoatFile, situation: Situation) -> None:
        self.situation = situation
        self.lines: list[Line] = []
        self.stations = {station.node: name for name, station in boat.stations.items()}
        self.station_at = {boat.nodes[station.node].address: name for name, station in boat.stations.items()}
        self.drives = {drive.node: name for name, drive in boat.drives.items()}
        self.panels = {panel.node: name for name, panel in boat.panels.items()}
        self.controls = {
            (panel.node, str(control.number)): name
            for panel in boat.panels.values()
            for page in panel.pages.values()
            for name, control in page.items()
        }
        self.timeout_ms = boat.timing.control_timeout_ms

    def attach(self, journal: Journal) -> None:
        for kind in (
            "power", "start", "key", "lever", "row", "output", "gear", "throttle_stop", "engine", "lamp", "fault", "controller",
        ):  # fmt: skip
            journal.watch_events(kind, getattr(self, f"_{kind}"))

    def _say(self, event: Event, words: str) -> None:
        self.lines.append(Line(event[0], words))

    def _power(self, event: Event) -> None:
        at_ns, _, _, node, on = event
        if at_ns == 0 and on:
            if not self.lines:
                self._say(event, labels.ALL_SUPPLIES_ON)
            return
        self._say(event, (labels.SUPPLY_ON if on else labels.SUPPLY_GONE).format(node=node))

    def _start(self, event: Event) -> None:
        self._say(event, labels.PROGRAM_STARTS.format(node=event[3], cause=labels.RESET_CAUSES[event[4]]))

    def _key(self, event: Event) -> None:
        _, _, _, node, key, down = event
        if not down:
            return
        if node in self.stations:
            self._say(event, labels.KEY_PRESSED.format(station=self.stations[node], key=labels.KEYS.get(key, key)))
        else:
            control = self.controls.get((node, key.partition(".")[2]), key)
            self._say(event, labels.TOUCHED.format(panel=self.panels.get(node, node), control=control))

    def _lever(self, event: Event) -> None:
        _, _, _, station, drive, permille, _ = event
        where = labels.GEARS[0] if not permille else f"{labels.GEARS[1 if permille > 0 else 2]} {abs(permille) / 10:g} %"
        self._say(event, labels.LEVER_MOVED.format(station=station, drive=drive, where=where))

    def _row(self, event: Event) -> None:
        _, _, _, node, machine, number, cause = event
        table = _TABLES.get(machine)
        row = table.by_number.get(number) if table is not None else None
        # A builder's own node may have a table of its own, or rows that ours has not.
        words = row.words if row is not None else labels.OTHER_ROW.format(row=number, machine=machine)
        who = self.stations.get(node, node)
        if machine == DRIVE_TABLE.name:
            who = f"{self.drives.get(node, node)} drive"
            if row is not None and row.event in ("lost", "stuck", "idle_wait_over") and cause:
                words = self._why(self.drives.get(node, ""), cause, words)
        self._say(event, labels.ROW.format(who=who, words=words))

    def _why(self, drive: str, cause: int, words: str) -> str:
        if cause == CAUSE_LEVER_LOST and drive in self.situation.drives:
            station = self.station_at.get(self.situation.drives[drive].station)
            if station is not None:
                return labels.LOST_LEVER.format(station=station, timeout=self.timeout_ms, words=words)
        return labels.LOST.format(cause=dict(CAUSES).get(cause, f"cause {cause}"), words=words)

    def _output(self, event: Event) -> None:
        _, _, _, node, channel, value = event
        if channel == "shows":
            shows = labels.SHOWS.get(value, value)
            self._say(event, labels.STATION_SHOWS.format(station=self.stations.get(node, node), shows=shows))
        elif channel == "alarm" and value:
            self._say(event, labels.ALARM_ON.format(station=self.stations.get(node, node)))
        elif channel == "engine_stop" and value:
            self._say(event, labels.STOP_ASKED.format(drive=self.drives.get(node, node)))
        elif channel.startswith("field.") and value > 1:
            control = self.controls.get((node, channel.partition(".")[2]), channel)
            field = labels.FIELDS.get(value, value)
            self._say(event, labels.FIELD_SHOWS.format(panel=self.panels.get(node, node), control=control, field=field))

    def _gear(self, event: Event) -> None:
        _, _, _, drive, gear, _, _ = event
        self._say(event, (labels.GEAR_IN if gear else labels.GEAR_OUT).format(drive=drive, gear=labels.GEARS[gear]))

    def _throttle_stop(self, event: Event) -> None:
        self._say(event, (labels.AT_STOP if event[4] else labels.OFF_STOP).format(drive=event[3]))

    def _engine(self, event: Event) -> None:
        self._say(event, (labels.ENGINE_RUNS if event[4] else labels.ENGINE_STOPPED).format(drive=event[3]))

    def _lamp(self, event: Event) -> None:
        self._say(event, (labels.LAMP_LIT if event[4] else labels.LAMP_DARK).format(zone=event[3]))

    def _fault(self, event: Event) -> None:
        _, _, _, fault, place, begins = event
        self._say(event, (labels.FAULT_BEGINS if begins else labels.FAULT_ENDS).format(fault=fault, place=place))

    def _controller(self, event: Event) -> None:
        _, _, _, node, bus, state, _, _ = event
        self._say(event, labels.CONTROLLER.format(node=node, bus=bus, state=labels.CONTROLLER_STATES[state]))
