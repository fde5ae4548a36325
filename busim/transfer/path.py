"""A violation told: in words slot by slot, and as a scenario that plays it on the whole simulated boat."""

from typing import Any, Final

from busim.transfer.cell import LEVER_AHEAD_PERMILLE, TAKES, TAKES_MATCHED
from busim.transfer.judge import APART, OBEYED_OLD, STUCK, Judge
from busim.transfer.network import Network
from busim.transfer.search import Violation
from busim.transfer.slots import State
from busim.units import MS, SECOND

PRELUDE_NS: Final = 3 * SECOND
"""When the station takes that is in control at the beginning: by then every program runs and has been heard."""
BEGIN_NS: Final = 6 * SECOND
"""When the path begins."""
BEFORE_NS: Final = 100 * MS
"""So long before a take a lever is moved: it has been sampled by then."""
AFTER_NS: Final = 4 * SECOND
REARM_NS: Final = 15 * SECOND
"""Longer than it may take until thrust is back after a take (`rearm_max_s`, 10 s where the boat file says nothing)."""
MESSAGES: Final = {1: "claim", 2: "lever", 4: "wheel", 5: "drive_obeys", 8: "rudder_state"}


class Path:
    """Times of it are those of the scenario."""

    def __init__(self, network: Network, violation: Violation) -> None:
        self.network = network
        self.violation = violation

    def at_ns(self, slot: int) -> int:
        return BEGIN_NS + slot * self.network.slot_ns

    def name(self, index: int) -> str:
        return self.network.names[self.network.members[index]]

    # ------------------------------------------------------------------------------------------------ words

    def lines(self) -> list[tuple[int, str]]:
        """(at_ns, what happens)."""
        violation = self.violation
        lines = [(0, "every program starts")]
        if violation.prelude >= 0:
            lines.append((PRELUDE_NS, f"{self.name(violation.prelude)} takes control, and puts its levers ahead"))
        told = self._told(violation.states[0])
        for slot, choice in enumerate(violation.path):
            words = self._words(violation.states[slot], *choice)
            if words:
                lines.append((self.at_ns(slot), words))
            now_told = self._told(violation.states[slot + 1])
            for index, pair in now_told.items():
                if pair != told[index]:
                    lines.append((self.at_ns(slot + 1), f"{self.name(index)} reports that it obeys {self._pair(pair)}"))
            told = now_told
        lines.append((self.at_ns(len(violation.path)), self._wrong()))
        return lines

    def _told(self, state: State) -> dict[int, tuple[int, int]]:
        followers = range(len(self.network.stations), len(self.network.members))
        return {index: self.network.cells[index].told[state[0][index]] for index in followers}

    def _pair(self, pair: tuple[int, int]) -> str:
        return f"{self.network.names.get(pair[0], pair[0])} (take {pair[1]})" if pair[0] else "nobody"

    def _words(self, state: State, what: str, where: tuple[int, ...]) -> str:
        if what == "take":
            how = {TAKES: "levers in neutral", TAKES_MATCHED: "levers ahead, to match"}
            pressed = [f"{self.name(index)} ({how[event]})" for index, event in zip(where[::2], where[1::2], strict=True)]
            return f"take control pressed: {' and '.join(pressed)}"
        if what == "reset":
            return f"{self.name(where[0])} resets"
        if what == "cut":
            return f"{self.network.bus_names[where[0]]} is cut at {self.network.cuts_m[where[0]][where[1]]:g} m"
        if what == "heal":
            return f"{self.network.bus_names[where[0]]} is whole again"
        if what == "order":
            return "frames that wait are heard in the opposite order"
        if what in ("lost", "late", "twice"):
            message, sender, bus = self._frame(state, where[0])
            frame = f"a frame {message} of {sender} on {bus}"
            if what == "lost":
                return f"{frame} is not heard by {' and '.join(self.name(each) for each in where[1:])}"
            late = where[1] * self.network.slot_ns // MS
            return f"{frame} comes {late} ms late" if what == "late" else f"{frame} comes once more, {late} ms later"
        return ""

    def _frame(self, state: State, place: int) -> tuple[str, str, str]:
        """(message, sender, bus) of a frame among those that are due."""
        parcels = self.network.parcels
        due = [parcel for number in state[1] if not (parcel := parcels.parcels[number]).wait]
        bus, can_id, _ = parcels.wires[due[place].wire]
        return MESSAGES[can_id >> 6], self.network.names[can_id & 0x3F], self.network.bus_names[bus]

    def _wrong(self) -> str:
        what, words = self.violation.what, self.violation.words
        if what == OBEYED_OLD:
            pairs = [tuple(int(each) for each in pair.split("/")) for pair in words.split()]
            old, new = ((pair[0], pair[1]) for pair in pairs)
            return f"WRONG: a lever frame of {self._pair(old)} moved a drive that had reported to obey {self._pair(new)}"
        if what == STUCK:
            return "WRONG: from here on, with all cuts healed and nothing more happening, no station can take control"
        limit_ms = Judge(self.network, 0).overlap_ms
        if what == APART:
            return f"WRONG: for longer than {limit_ms} ms and the time to hear of it the drives have obeyed different takes"
        return f"WRONG: for longer than {limit_ms} ms and the time to hear of it two stations have shown that they are in control"

    # ------------------------------------------------------------------------------------------------ scenario

    def scenario(self) -> dict[str, Any]:
        """As a scenario file has it, in plain values: what people do, what breaks, what it lasts."""
        violation = self.violation
        actions: list[dict[str, Any]] = []
        faults: list[dict[str, Any]] = []
        levers = [0] * len(self.network.stations)
        if violation.prelude >= 0:
            actions += self._take(PRELUDE_NS, violation.prelude)
            actions += self._levers(PRELUDE_NS + SECOND, violation.prelude, LEVER_AHEAD_PERMILLE)
            levers[violation.prelude] = 1
        open_cuts: dict[int, tuple[int, dict[str, Any]]] = {}
        for slot, (what, where) in enumerate(violation.path):
            at_ns, state = self.at_ns(slot), violation.states[slot]
            for index, lever in enumerate(self._lever_of(violation.states[slot + 1])):
                if lever != levers[index]:
                    before_ns = BEFORE_NS if what == "take" and index in where[::2] else 0
                    actions += self._levers(at_ns - before_ns, index, LEVER_AHEAD_PERMILLE * lever)
                    levers[index] = lever
            if what == "take":
                for index in where[::2]:
                    actions += self._take(at_ns, index)
            elif what == "reset":
                faults.append({"at_s": _s(at_ns), "reset": {"node": self.name(where[0])}})
            elif what == "cut":
                bus = self.network.bus_names[where[0]]
                cut = {"at_s": _s(at_ns), "cut": {"bus": bus, "at_m": self.network.cuts_m[where[0]][where[1]]}}
                open_cuts[where[0]] = (at_ns, cut)
                faults.append(cut)
            elif what == "heal":
                began_ns, cut = open_cuts.pop(where[0])
                cut["for_s"] = _s(at_ns - began_ns)
            elif what == "lost":
                message, sender, bus = self._frame(state, where[0])
                faults += [
                    {"at_s": _s(at_ns - self.network.slot_ns),
                     "frames_lost": {"node": self.name(each), "sender": sender, "message": message, "bus": bus, "frames": 1}}
                    for each in where[1:]
                ]  # fmt: skip
        last_ns = self.at_ns(len(violation.path)) + AFTER_NS
        if violation.what == STUCK:
            for began_ns, cut in open_cuts.values():
                # What it leads to is settled at that step; in a whole run the phases of the nodes decide by when it is.
                cut["for_s"] = _s(self.at_ns(len(violation.path)) + SECOND // 2 - began_ns)
            for index in range(len(self.network.stations)):
                last_ns += SECOND
                actions += [*self._levers(last_ns - BEFORE_NS, index, 0), *self._take(last_ns, index)]
                actions += self._levers(last_ns + SECOND, index, LEVER_AHEAD_PERMILLE)
                last_ns += REARM_NS
                if index < len(self.network.stations) - 1:
                    actions += self._levers(last_ns, index, 0)
        found = {
            "scenario": "found by check --transfer",
            "words": self._wrong().removeprefix("WRONG: "),
            "lasts_s": -(-last_ns // SECOND),
            "actions": sorted(actions, key=lambda each: each["at_s"]),
        }
        return {**found, "faults": sorted(faults, key=lambda each: each["at_s"])} if faults else found

    def unplayed(self) -> list[str]:
        """What of the path a scenario has no words for: single frames that are held up or heard in another order."""
        return sorted({what for what, _ in self.violation.path} & {"late", "twice", "order"})

    def _lever_of(self, state: State) -> list[int]:
        cells = self.network.cells
        return [cells[index].forms[state[0][index]][0][1] for index in range(len(self.network.stations))]

    def _station(self, index: int) -> str:
        address = self.network.stations[index]
        return next(station.name for station in self.network.plan.stations if station.address == address)

    def _take(self, at_ns: int, index: int) -> list[dict[str, Any]]:
        return [{"at_s": _s(at_ns), "key": {"station": self._station(index), "name": "take"}}]

    def _levers(self, at_ns: int, index: int, permille: int) -> list[dict[str, Any]]:
        address = self.network.stations[index]
        drives = [drive.name for drive in self.network.plan.drives if address in drive.stations]
        return [
            {"at_s": _s(at_ns), "lever": {"station": self._station(index), "drive": drive, "to_permille": permille, "over_ms": 0}}
            for drive in drives
        ]


def _s(at_ns: int) -> float:
    return round(at_ns / SECOND, 3)
