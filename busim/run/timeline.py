"""What happened, in words. Reads events and the situation, adds nothing of its own."""

from dataclasses import dataclass

from busim import labels
from busim.boat.model import BoatFile
from busim.events.journal import Event, Journal
from busim.events.rudder_view import RudderView
from busim.events.situation import DriveView, Situation
from busim.events.table import BY_KIND
from busim.protocol.tables import DRIVE_TABLE, RUDDER_TABLE, TABLES
from busim.protocol.values import CAUSE_LEVER_LOST, CAUSES
from busim.run.alarm_words import AlarmWords
from busim.run.light_words import LightWords

_TABLES = {table.name: table for table in TABLES}


@dataclass(frozen=True)
class Line:
    at_ns: int
    words: str


class Timeline:
    def __init__(self, boat: BoatFile, situation: Situation) -> None:
        self.situation = situation
        self.said: list[Line] = []
        self.lights = LightWords(boat)
        self.alarms = AlarmWords(situation.subject_of)
        self.page_of: dict[str, int] = {}
        """Panel's node -> the page it shows."""
        self.stations = {station.node: name for name, station in boat.stations.items()}
        self.station_at = {boat.nodes[station.node].address: name for name, station in boat.stations.items()}
        self.drives = {drive.node: name for name, drive in boat.drives.items()}
        self.panels = {panel.node: name for name, panel in boat.panels.items()}
        self.controls = {
            (panel.node, page, str(control.number)): name
            for panel in boat.panels.values()
            for page, controls in enumerate(panel.pages.values())
            for name, control in controls.items()
        }
        self.cut: set[str] = set()
        """Nodes of cutouts that have cut the fuel."""
        self.timeout_ms = boat.timing.control_timeout_ms

    def attach(self, journal: Journal) -> None:
        for kind in BY_KIND:
            tells = getattr(self, f"_{kind}", None)
            if tells is not None:
                journal.watch_events(kind, tells)

    @property
    def lines(self) -> list[Line]:
        """Everything said, in order of time; of one moment, in the order it was said."""
        return sorted([*self.said, *(Line(*rest) for rest in self.lights.rest())], key=lambda line: line.at_ns)

    def _say(self, event: Event, words: str) -> None:
        self.said.append(Line(event[0], words))

    def _control(self, node: str, channel: str) -> str:
        """What the field of a panel is called on the page it shows."""
        return self.controls.get((node, self.page_of.get(node, 0), channel.partition(".")[2]), channel)

    def _power(self, event: Event) -> None:
        at_ns, _, _, node, on = event
        self.alarms.begin(node)
        if at_ns == 0 and on:
            if not self.said:
                self._say(event, labels.ALL_SUPPLIES_ON)
            return
        self._say(event, (labels.SUPPLY_ON if on else labels.SUPPLY_GONE).format(node=node))

    def _start(self, event: Event) -> None:
        self.alarms.begin(event[3])
        self._say(event, labels.PROGRAM_STARTS.format(node=event[3], cause=labels.RESET_CAUSES[event[4]]))

    def _key(self, event: Event) -> None:
        _, _, _, node, key, down = event
        if not down:
            return
        if node in self.stations or key in labels.KEYS:
            self._say(event, labels.KEY_PRESSED.format(station=self.stations.get(node, node), key=labels.KEYS.get(key, key)))
        else:
            self._say(event, labels.TOUCHED.format(panel=self.panels.get(node, node), control=self._control(node, key)))

    def _lever(self, event: Event) -> None:
        _, _, _, station, drive, permille, _ = event
        where = labels.GEARS[0] if not permille else f"{labels.GEARS[1 if permille > 0 else 2]} {abs(permille) / 10:g} %"
        self._say(event, labels.LEVER_MOVED.format(station=station, drive=drive, where=where))

    def _wheel(self, event: Event) -> None:
        _, _, _, station, permille, _ = event
        words = labels.WHEEL_TURNED if permille else labels.WHEEL_MIDSHIPS
        self._say(event, words.format(station=station, side=_side(permille), percent=abs(permille) / 10))

    def _crank(self, event: Event) -> None:
        self._say(event, labels.CRANKED.format(drive=event[3], seconds=event[4] / 1000))

    def _starter(self, event: Event) -> None:
        self._say(event, labels.STARTER[event[4]].format(drive=event[3]))

    def _rudder(self, event: Event) -> None:
        _, _, _, angle_cdeg, to_cdeg = event
        if angle_cdeg != to_cdeg:
            return
        words = labels.RUDDER_RESTS if angle_cdeg else labels.RUDDER_MIDSHIPS
        self._say(event, words.format(degrees=abs(angle_cdeg) / 100, side=_side(angle_cdeg)))

    def _stream(self, event: Event) -> None:
        _, _, _, set_deg, mm_s = event
        self._say(event, labels.STREAM.format(set_deg=set_deg, kn=mm_s * 3600 / 1852_000) if mm_s else labels.SLACK)

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
                words = self._why(self.situation.by_node.get(node), cause, words)
        elif machine == RUDDER_TABLE.name:
            who = RUDDER_TABLE.name
            if row is not None and row.event == "lost" and cause:
                words = self._why(self.situation.rudder, cause, words)
        self._say(event, labels.ROW.format(who=who, words=words))

    def _why(self, view: DriveView | RudderView | None, cause: int, words: str) -> str:
        if cause == CAUSE_LEVER_LOST and view is not None:
            station = self.station_at.get(view.station)
            if station is not None:
                return labels.LOST_LEVER.format(station=station, timeout=self.timeout_ms, words=words)
        return labels.LOST.format(cause=dict(CAUSES).get(cause, f"cause {cause}"), words=words)

    def _output(self, event: Event) -> None:
        _, _, _, node, channel, value = event
        if channel == "shows":
            shows = labels.SHOWS.get(value, value)
            self._say(event, labels.STATION_SHOWS.format(station=self.stations.get(node, node), shows=shows))
        elif channel in ("sounder", "alarms", "alarms_hidden") or channel.startswith("alarm."):
            if words := self.alarms.take(node, str(self.stations.get(node, node)), channel, value):
                self._say(event, words)
        elif channel == "fuel_cut" and (value or node in self.cut):
            (self.cut.add if value else self.cut.discard)(node)
            words = labels.FUEL_CUT if value else labels.FUEL_BACK
            self._say(event, words.format(cutout=node, drive=self.situation.engines.drive_of.get(node, node)))
        elif channel == "engine_stop" and value:
            self._say(event, labels.STOP_ASKED.format(drive=self.drives.get(node, node)))
        elif channel == "page":
            self.page_of[node] = value
        elif channel.startswith("field.") and value > 1:
            field = labels.FIELDS.get(value, value)
            words = labels.FIELD_SHOWS.format(panel=self.panels.get(node, node), control=self._control(node, channel), field=field)
            self._say(event, words)

    def _gear(self, event: Event) -> None:
        _, _, _, drive, gear, _, _ = event
        self._say(event, (labels.GEAR_IN if gear else labels.GEAR_OUT).format(drive=drive, gear=labels.GEARS[gear]))

    def _throttle_stop(self, event: Event) -> None:
        self._say(event, (labels.AT_STOP if event[4] else labels.OFF_STOP).format(drive=event[3]))

    def _engine(self, event: Event) -> None:
        self._say(event, (labels.ENGINE_RUNS if event[4] else labels.ENGINE_STOPPED).format(drive=event[3]))

    def _lamp(self, event: Event) -> None:
        self.said += [Line(*rest) for rest in self.lights.take(event)]

    def _fault(self, event: Event) -> None:
        _, _, _, fault, place, begins = event
        self._say(event, (labels.FAULT_BEGINS if begins else labels.FAULT_ENDS).format(fault=fault, place=place))

    def _controller(self, event: Event) -> None:
        _, _, _, node, bus, state, _, _ = event
        self._say(event, labels.CONTROLLER.format(node=node, bus=bus, state=labels.CONTROLLER_STATES[state]))


def _side(value: int) -> str:
    return labels.SIDES[1 if value >= 0 else -1]
