"""Neutral now from any station takes every gear out, whoever is in control, within the time the boat's distance allows.

A gear that is on its way in when the key goes down counts as in once it is, as long as its drive obeys whom it obeyed then.
"""

from busim.events.journal import Event, Journal
from busim.events.table import FROM_PLANT
from busim.requirements.in_a_log import Reported
from busim.requirements.requirement import Context, Requirement
from busim.requirements.verdict import Tally, Verdict
from busim.units import MS


class NeutralNow(Requirement):
    id = "station.neutral_now"
    words = "Neutral now from any station takes every gear out."
    hazards = ("person at the propeller", "fails to disengage")
    in_a_log = Reported("neutral-now frames for the key, and sensed gear")

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.tally = Tally(self.id, None, "ms", FROM_PLANT)
        self.limits = {name: limit.loss_to_neutral_ms for name, limit in context.limits.items()}
        self.stations = {self.situation.node_of[station.address]: station.name for station in context.plan.stations}
        self.open: dict[str, tuple[int, str]] = {}
        """Drive in gear -> (when the key went down, at which station)."""
        self.out: dict[str, tuple[int, str, int, int]] = {}
        """Drive that was not in gear then -> the same, and whom it obeyed: station and number."""

    def attach(self, journal: Journal) -> None:
        journal.watch_events("key", self._key)
        journal.watch_events("gear", self._gear)

    def _key(self, event: Event) -> None:
        at_ns, _, _, node, key, down = event
        if key != "neutral_now" or not down or node not in self.stations or node not in self.situation.running:
            return
        for drive in self.situation.drives.values():
            if drive.true_gear:
                self.open.setdefault(drive.name, (at_ns, self.stations[node]))
            else:
                self.out[drive.name] = at_ns, self.stations[node], drive.station, drive.number

    def _gear(self, event: Event) -> None:
        at_ns, _, _, name, gear, _, _ = event
        if gear and name in self.out:
            drive = self.situation.drives[name]
            began_ns, station, *pair = self.out.pop(name)
            if drive.station and pair == [drive.station, drive.number]:  # else control was taken anew
                self.open.setdefault(name, (began_ns, station))
        elif not gear and name in self.open:
            began_ns, station = self.open.pop(name)
            took_ms = -(-(at_ns - began_ns) // MS)
            self.tally.measure(took_ms, at_ns, f"{name}: gear out after the key at {station}", self.limits[name])

    def finish(self, now_ns: int) -> Verdict:
        for name, (began_ns, station) in self.open.items():
            waited_ms = (now_ns - began_ns) // MS
            if waited_ms > self.limits[name]:
                self.tally.measure(waited_ms, now_ns, f"{name}: gear still in after the key at {station}", self.limits[name])
            else:
                self.tally.undecided(now_ns, f"{name}: the run ended before the limit")
        return self.tally.verdict("nobody pressed neutral now with a gear in")
