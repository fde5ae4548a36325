"""The C station's list of alarms against the Python one: raised, acknowledged, silenced, doubted, gone, grouped, and far too many.

What the Python list has to do is held against the page in `test_alarm_list.py`, `test_alarm_lines.py` and `test_roll_call.py`.
"""

import random
from collections.abc import Iterator

import pytest

from busim.protocol.alarms import ACKNOWLEDGE, ALARMS, BY_NAME, GONE, LISTENER, MOST_SHOWN, RAISED, SILENCE, SILENCED, line_of
from busim.protocol.catalogue import ALARM, ALARM_ANSWER, DRIVE_OBEYS, HEARTBEAT, NEUTRAL_NOW, NOTICE, RUDDER_STATE
from busim.protocol.ids import HELM_ADDRESSES
from busim.protocol.values import CAUSE_NEUTRAL_NOW, NODE_WORKING
from busim.units import MS, SECOND

from .firmware_helm import Helm
from .firmware_rig import Firmware, Step, Told, answers_of, outputs_in
from .test_two_buses import DOUBLED

STATIONS = (("marsh_tern", "wheelhouse"), ("marsh_tern", "pendant"), ("doubled", "wheelhouse"))
TICK = 100 * MS
LAMP = BY_NAME["lamp_or_fuse_failed"].number
SENT = [kind.number for kind in ALARMS if kind.raised_by != LISTENER]


class Harbour(Told):
    """A station among helm and navigation nodes that beat every 100 ms by the buses they are heard by, and repeat their alarms."""

    def __init__(self, firmware: Firmware, boat: str, node: str) -> None:
        super().__init__(firmware.boat(boat), node)
        called = {address for bus in self.plan.buses_of(self.address) for address in self.plan.roll_of(bus)}
        others = sorted(called - {self.address})
        self.heard_by = {address: set(self.shared_with(address)) for address in others if self.shared_with(address)}
        self.helm = [address for address in self.heard_by if address in HELM_ADDRESSES]
        self.fingerprints = dict.fromkeys(self.heard_by, self.plan.helm_fingerprint)
        self.obeys = {drive.address: (0, 0, 0) for drive in self.plan.drives}
        """Drive -> (station, number, cause)."""
        self.raised: dict[tuple[int, int, int], list[int]] = {}
        """(raiser, which, about) -> [state, number, frames still to follow at once]."""
        self.lights = [light for light in self.plan.navigation_lights if self.shared_with(light.driver)]
        self.failed: dict[int, list[int]] = {}
        """Navigation light -> [state, priority, number]: its node says it every second."""
        self.ticks = 0

    def tick(self, late_ns: int = 0) -> None:
        self.until(self.now_ns + TICK + late_ns)
        self.ticks += 1
        for address, buses in self.heard_by.items():
            self.hear(HEARTBEAT, address, NODE_WORKING, 0, self.fingerprints[address], 0, 1, buses=sorted(buses))
        for drive, (station, number, cause) in self.obeys.items():
            instance = self.plan.drive_at(drive).instance
            echo = (station, number, self.node.lever_counter, 1, 1, cause, instance)
            self.hear(DRIVE_OBEYS, drive, *echo, buses=sorted(self.heard_by[drive]))
        for (raiser, which, about), entry in list(self.raised.items()):
            if entry[2] > 0 or (self.ticks % 10 == 0 and entry[0] != GONE):
                entry[2] -= 1
                priority = next((kind.priority for kind in ALARMS if kind.number == which), 0)
                self.hear(ALARM, raiser, which, about, entry[0], priority, entry[1], buses=sorted(self.heard_by[raiser]))
            if entry[0] == GONE and entry[2] <= 0:
                del self.raised[raiser, which, about]

        if self.ticks % 10 == 0:
            for light in self.lights:
                if light.number in self.failed:
                    self.notice(light.number, *self.failed[light.number])

    def notice(self, light: int, state: int = RAISED, priority: int = 1, number: int = 1, which: int = LAMP) -> None:
        """By the node that feeds the first of the lights."""
        self.hear(NOTICE, self.lights[0].driver, which, light, state, priority, number)

    def pass_s(self, seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            self.tick()

    def tell(self, raiser: int, name: str, state: int = RAISED, number: int = 1) -> None:
        self.raised[raiser, BY_NAME[name].number, raiser] = [state, number, 3]

    def lines(self) -> list[dict[str, int]]:
        """As the last outputs left them."""
        told = dict(outputs_in(answer for _, answer in self.life))
        shown = [told.get(f"alarm.{number}", 0) for number in range(1, 147)]
        return [line_of(value) for value in shown if value]


def boat_named(name: str, firmware: Firmware) -> str:
    return firmware.edited("first_boat", *DOUBLED) if name == "doubled" else name


# ------------------------------------------------------------------------------------------------ drawn


def drawn_change(harbour: Harbour, draw: random.Random) -> None:
    """What may happen to a helm between two heartbeats; mostly nothing."""
    others = list(harbour.heard_by)
    other, raiser, what = draw.choice(others), draw.choice(harbour.helm), draw.randrange(160)
    bus = draw.choice(harbour.plan.buses_of(harbour.address))
    trunk = harbour.plan.buses[bus][2]
    if what < 4:  # a cut: nobody beyond it
        place = draw.randrange(len(trunk))
        for address in trunk[place:] if place > trunk.index(harbour.address) else trunk[:place]:
            harbour.heard_by.get(address, set()).discard(bus)
    elif what == 4:
        harbour.heard_by[other].clear()
    elif what == 5 and not draw.randrange(3):
        for buses in harbour.heard_by.values():
            buses.clear()
    elif what < 12:
        for address in others if draw.randrange(2) else [other]:
            harbour.heard_by[address] = set(harbour.shared_with(address))
    elif what == 12:
        harbour.fingerprints[other] ^= draw.choice((0, 1))
    elif what < 24:
        about = raiser if draw.randrange(8) else draw.randrange(64)
        which = draw.choice((*SENT, *SENT, 0, draw.randrange(20)))
        harbour.raised[raiser, which, about] = [draw.choice((0, 1, 1, 1, 2, 3)), draw.choice((1, 1, 2, 3)), draw.randrange(1, 4)]
    elif what < 29:
        harbour.put(draw.choice(("acknowledge", "acknowledge", "silence")), draw.choice((1, 1, 0)))
    elif what < 33:
        told_by, which, number = drawn_alarm(harbour, draw)
        for _ in range(2):
            harbour.hear(ALARM_ANSWER, raiser, which, told_by, draw.choice((ACKNOWLEDGE, SILENCE, 2)), number)
    elif what < 37 and harbour.obeys:
        station = draw.choice((0, 0, *(station.address for station in harbour.plan.stations)))
        cause = draw.choice((1, CAUSE_NEUTRAL_NOW))
        for drive in draw.choice(([draw.choice(list(harbour.obeys))], list(harbour.obeys))):
            harbour.obeys[drive] = (station, draw.choice((harbour.node.number, 7)), cause)
    elif what < 39:
        harbour.put("lever.1", draw.choice((500, 2)))
    elif what < 41:
        harbour.put("take", 1)
    elif what == 41:
        harbour.put("lock_out", draw.randrange(2))
    elif what == 42:
        harbour.hear(HEARTBEAT, harbour.address, NODE_WORKING, 0, 1, 2, 3, buses=[bus])
    elif what < 47 and harbour.plan.rudder is not None:
        harbour.hear(RUDDER_STATE, harbour.plan.rudder.address, draw.choice((0, harbour.address)), harbour.node.number, 0, 0, 0)


    elif what < 53 and harbour.lights:
        light = draw.choice(harbour.lights).number
        values = [draw.choice((RAISED, RAISED, GONE, 2, 3)), draw.choice((1, 1, 0, 2, 3)), draw.randrange(1, 4)]
        if draw.randrange(3):
            harbour.failed[light] = values
        else:
            harbour.failed.pop(light, None)
            harbour.notice(light if draw.randrange(8) else draw.randrange(256), *values, draw.choice((LAMP, LAMP, LAMP, 12)))


def drawn_alarm(harbour: Harbour, draw: random.Random) -> tuple[int, int, int]:
    """(raiser, which, number): one that is there, or of the station's own."""
    there = [(raiser, which, entry[1]) for (raiser, which, _), entry in harbour.raised.items()]
    there += [(harbour.lights[0].driver, LAMP, entry[2]) for entry in harbour.failed.values()]
    own = [(harbour.address, which, entry.number) for which, entry in harbour.node.alarms.raiser.entries.items()]
    return draw.choice([*there, *own, *own, (harbour.address, draw.choice((8, 9)), draw.randrange(1, 4))])


def drawn_life(firmware: Firmware, boat: str, node: str, seed: int, seconds: int) -> list[Step]:
    draw = random.Random(f"{seed} {boat} {node}")
    harbour = Harbour(firmware, boat, node)
    harbour.put_levers()
    keys = {station.address: 0 for station in harbour.plan.stations if station.address in harbour.heard_by}
    for _ in range(seconds * 10):
        for _ in range(draw.choice((1, 1, 1, 3))):
            drawn_change(harbour, draw)
        for station, pressed in keys.items():  # mostly as it was: a key that is stuck is one for ten seconds
            keys[station] = pressed if draw.randrange(300) else draw.choice((0, 1, 2))
            if keys[station] and harbour.heard_by[station]:
                harbour.hear(NEUTRAL_NOW, station, keys[station] & 1, draw.choice((0, 0, 0, 2, 8)) if keys[station] == 2 else 0)
        harbour.tick(draw.randrange(-30, 31) * MS)
    return harbour.life


def test_a_drawn_harbour(firmware: Firmware) -> None:
    life = drawn_life(firmware, "marsh_tern", "wheelhouse", 1, 10)
    assert len(outputs_in(answer for _, answer in life)) > 100
    assert firmware.differences(life, "marsh_tern", "wheelhouse") == []


@pytest.mark.slow
@pytest.mark.parametrize(("name", "node"), STATIONS)
def test_drawn_harbours(name: str, node: str, firmware: Firmware) -> None:
    boat = boat_named(name, firmware)
    trace = [step for seed in range(10, 13) for step in drawn_life(firmware, boat, node, seed, 90)]
    seen = {value & 0xFF for channel, value in outputs_in(answer for _, answer in trace) if channel.startswith("alarm.")}
    assert len(seen) >= 14, seen
    assert firmware.differences(trace, boat, node) == []


# ------------------------------------------------------------------------------------------------ by hand


def awake(firmware: Firmware, boat: str = "marsh_tern") -> Harbour:
    harbour = Harbour(firmware, boat, "wheelhouse")
    harbour.put_levers()
    harbour.obeys = dict.fromkeys(harbour.obeys, (3, 5, 0))
    harbour.pass_s(1)
    assert harbour.lines() == []
    return harbour


def raised_and_acknowledged(harbour: Harbour) -> Iterator[list[dict[str, int]]]:
    harbour.tell(2, "shift_fault")
    harbour.pass_s(1)
    yield harbour.lines()
    harbour.put("acknowledge", 1)
    harbour.pass_s(0.5)
    harbour.tell(2, "shift_fault", 2)
    harbour.pass_s(2)
    yield harbour.lines()
    harbour.tell(2, "shift_fault", GONE)
    harbour.pass_s(1)
    yield harbour.lines()


def test_raised_acknowledged_and_gone(firmware: Firmware) -> None:
    harbour = awake(firmware)
    stages = [[line["state"] for line in lines] for lines in raised_and_acknowledged(harbour)]
    assert stages == [[1], [2], []]
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def test_silenced_it_sounds_again_after_30_s(firmware: Firmware) -> None:
    """MSC.302(87) and MSC.252(83), as `busim.protocol.alarms` has it."""
    harbour = awake(firmware)
    harbour.tell(7, "rudder_fault")
    harbour.pass_s(1)
    harbour.put("silence", 1)
    harbour.pass_s(0.2)
    assert [line["state"] for line in harbour.lines()] == [3]
    harbour.tell(7, "rudder_fault", 3)
    harbour.pass_s(29)
    assert [line["state"] for line in harbour.lines()] == [3]
    harbour.raised.clear()  # its raiser's silence ends with it, and its next word is a second off
    harbour.pass_s(1)
    assert [line["state"] for line in harbour.lines()] == [1]
    sounded = [value for channel, value in outputs_in(answer for _, answer in harbour.life) if channel == "sounder"]
    assert sounded == [1, 0, 1]
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def test_a_raiser_whose_clock_is_behind_keeps_it_silent_no_longer_than_a_second(firmware: Firmware) -> None:
    """It says "silenced" at 30 and 31 s: the first is of a silence that is over here, the second of a new one."""
    harbour = awake(firmware)
    harbour.tell(7, "rudder_fault")
    harbour.pass_s(1)
    harbour.put("silence", 1)
    harbour.raised[7, BY_NAME["rudder_fault"].number, 7][0] = SILENCED
    harbour.pass_s(30.5)
    assert [line["state"] for line in harbour.lines()] == [1]
    harbour.pass_s(0.7)
    assert [line["state"] for line in harbour.lines()] == [3]
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def test_a_raiser_that_forgot_it(firmware: Firmware) -> None:
    """Not repeated for 3.5 s while its raiser is heard: over, and flashing until somebody has seen it."""
    harbour = awake(firmware)
    harbour.tell(2, "shift_fault")
    harbour.pass_s(1)
    harbour.raised.clear()
    harbour.pass_s(5)
    assert [line["state"] for line in harbour.lines()] == [4]
    harbour.put("acknowledge", 1)
    harbour.pass_s(1)
    assert harbour.lines() == []
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def test_everybody_beyond_a_cut_is_one_line(firmware: Firmware) -> None:
    harbour = awake(firmware)
    trunk = harbour.plan.buses[0][2]
    beyond = [address for address in trunk[trunk.index(harbour.address) + 3 :] if address in harbour.heard_by]
    assert len(beyond) > 2
    for address in beyond:
        harbour.heard_by[address].clear()
    harbour.pass_s(3)
    assert (BY_NAME["bus_lost_beyond"].number, beyond[0]) in [(line["which"], line["about"]) for line in harbour.lines()]
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def test_a_flood_is_capped_but_for_emergencies(firmware: Firmware) -> None:
    harbour = awake(firmware)
    for raiser in harbour.helm:
        harbour.tell(raiser, "lever_fault")
        harbour.tell(raiser, "sensor_fault")
    harbour.pass_s(2)
    assert len(harbour.lines()) == MOST_SHOWN
    for raiser in harbour.helm:
        harbour.tell(raiser, "shift_fault")
        harbour.tell(raiser, "throttle_fault")
    harbour.pass_s(2)
    assert len(harbour.lines()) == 2 * len(harbour.helm) > MOST_SHOWN
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def test_a_node_that_babbles_alarms_takes_no_emergency_its_room(firmware: Firmware) -> None:
    """C has room for 128, more than sound nodes can have (`list_alarms.c` counts). Here one raises warnings about every address."""
    harbour = awake(firmware)
    for which in ("lever_fault", "sensor_fault"):
        for about in range(64):
            harbour.raised[2, BY_NAME[which].number, about] = [RAISED, 1, 3]
    harbour.pass_s(2)
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []
    for about in range(64):  # one after the other, more than there is room for
        harbour.raised[4, BY_NAME["sensor_fault"].number, about] = [RAISED, 1, 3]
    harbour.tell(2, "shift_fault")
    harbour.heard_by[7].clear()
    harbour.pass_s(2)
    by_python = [(line["which"], line["about"]) for line in harbour.lines() if line["priority"] == 2]
    told = dict(outputs_in(answers_of(firmware.program("marsh_tern", "wheelhouse"), [call for call, _ in harbour.life])))
    by_c = [line_of(value) for channel, value in told.items() if channel.startswith("alarm.") and value]
    assert [(line["which"], line["about"]) for line in by_c if line["priority"] == 2] == by_python
    assert (BY_NAME["shift_fault"].number, 2) in by_python
    assert len(by_c) == MOST_SHOWN


def test_the_one_whose_cause_is_there_takes_what_follows_from_it(firmware: Firmware) -> None:
    """Two raisers of one alarm: the older is over, and nobody has seen it."""
    harbour = awake(firmware)
    fault = BY_NAME["lever_fault"].number
    harbour.raised[4, fault, 3] = [RAISED, 1, 3]
    harbour.pass_s(1)
    harbour.raised[4, fault, 3] = [GONE, 1, 3]
    harbour.tell(3, "lever_fault")
    harbour.tell(2, "control_lost")  # its drive obeyed 3
    harbour.pass_s(1)
    assert (fault, 3, 1, 1) in [(line["which"], line["about"], line["state"], line["under"]) for line in harbour.lines()]
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


def light_states(harbour: Harbour) -> list[tuple[int, int]]:
    """(light, state) of every line about one."""
    return sorted((line["about"], line["state"]) for line in harbour.lines() if line["which"] == LAMP)


def test_failed_lights_are_listed_answered_and_gone(firmware: Firmware) -> None:
    harbour = awake(firmware)
    harbour.notice(3, number=1)
    harbour.notice(1, priority=2, number=2)
    harbour.failed = {3: [RAISED, 1, 1], 1: [RAISED, 2, 2]}
    harbour.pass_s(0.2)
    assert light_states(harbour) == [(1, 1), (3, 1)]
    assert [(line["about"], line["priority"]) for line in harbour.lines()] == [(1, 2), (3, 1)]
    harbour.put("acknowledge", 1)
    harbour.pass_s(0.2)
    harbour.put("silence", 1)
    harbour.pass_s(2)
    assert light_states(harbour) == [(1, 2), (3, 3)]
    harbour.failed[1] = [GONE, 2, 2]
    harbour.pass_s(1)
    assert light_states(harbour) == [(1, 2), (3, 3)], "said once"
    harbour.pass_s(1)
    assert light_states(harbour) == [(3, 3)]
    harbour.pass_s(28)
    assert light_states(harbour) == [(3, 1)], "silent for 30 s"
    harbour.failed.clear()
    harbour.pass_s(4)
    assert light_states(harbour) == [(3, 4)], "unheard for 3.5 s"
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


MAST_ON_BOTH = (
    "taps: {lights: {at_m: 19, drop_m: 0.5}}, supply: masts",
    "taps: {lights: {at_m: 19, drop_m: 0.5}, helm: {at_m: 16.5, drop_m: 0.5}}, supply: masts",
)


def test_the_end_by_one_bus_and_the_other_is_one_end(firmware: Firmware) -> None:
    boat = firmware.edited("marsh_tern", MAST_ON_BOTH)
    harbour = awake(firmware, boat)
    driver = harbour.lights[0].driver
    one, other = harbour.shared_with(driver)
    harbour.notice(3)
    for bus, state in ((one, 1), (other, 1), (one, 4)):
        harbour.hear(NOTICE, driver, LAMP, 3, GONE, 1, 1, buses=[bus])
        harbour.pass_s(0.2)
        assert light_states(harbour) == [(3, state)]
    assert firmware.differences(harbour.life, boat, "wheelhouse") == []


def test_every_light_of_a_boat_has_room_beside_the_helm(firmware: Firmware) -> None:
    harbour = awake(firmware)
    for about in range(64):
        for raiser in (2, 4):
            harbour.raised[raiser, BY_NAME["lever_fault"].number, about] = [RAISED, 1, 3]
    harbour.pass_s(1)
    harbour.failed = {light.number: [RAISED, 2, light.number] for light in harbour.lights}
    harbour.pass_s(2)
    assert len(light_states(harbour)) == 5
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


# ------------------------------------------------------------------------------------------------ limits


def first_seen(told: Told, which: str, after_ns: int = 0) -> int:
    """When a line of this alarm was first told after a moment, in ns; of its own lines, the state is not looked at."""
    number = BY_NAME[which].number
    for call, answer in told.life:
        now_ns = int(call.split()[1])
        lines = [value for channel, value in outputs_in([answer]) if channel.startswith("alarm.")]
        if now_ns >= after_ns and any(line_of(value)["which"] == number for value in lines):
            return now_ns
    return -1


def test_a_node_is_lost_at_350_ms(firmware: Firmware) -> None:
    """`heartbeat_missing_ms` of the shipped boats, met at exactly that: looked at every 100 ms, last heard 350 before a look."""
    harbour = Harbour(firmware, "marsh_tern", "wheelhouse")
    harbour.put_levers()
    harbour.until(50 * MS)
    harbour.pass_s(1)
    harbour.heard_by[8].clear()
    harbour.pass_s(1)
    assert first_seen(harbour, "node_lost") == 1400 * MS
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


@pytest.mark.parametrize(("which", "lasts_ms"), [("neutral_key_stuck", 1000), ("key_locked_out", 3500)])
def test_a_key_is_forgotten_at_its_limit(which: str, lasts_ms: int, firmware: Firmware) -> None:
    """The page: a break of 1 s ends a press; a lock not repeated for 3.5 s (`nodes.helm_watch`) is not shown any more."""
    harbour = awake(firmware)
    pressed, locks = (1, 0) if which == "neutral_key_stuck" else (0, 2)
    for _ in range(110):
        harbour.tick()
        harbour.hear(NEUTRAL_NOW, 3, pressed, locks)
    last_ns = harbour.now_ns
    harbour.pass_s(5)
    seen = first_seen(harbour, which)
    assert 0 < seen < last_ns
    states = [
        (int(call.split()[1]), line_of(value)["state"])
        for call, answer in harbour.life
        for channel, value in outputs_in([answer])
        if channel.startswith("alarm.") and line_of(value)["which"] == BY_NAME[which].number
    ]
    assert states[-1] == (last_ns + lasts_ms * MS, 4)
    assert firmware.differences(harbour.life, "marsh_tern", "wheelhouse") == []


# ------------------------------------------------------------------------------------------------ what was let go of


def let_go_of(helm: Helm) -> list[int]:
    """What the Python list has of it: nobody acknowledged it, so what was told is there still."""
    return [about for raiser, which, about in helm.node.alarms.entries if which == BY_NAME["let_go"].number]


def test_what_another_station_took_was_not_let_go_of(firmware: Firmware) -> None:
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    helm.goes_on(3 * SECOND, 3)
    helm.goes_on(4 * SECOND, 0)
    assert let_go_of(helm) == []
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


def test_what_fell_silent_was_let_go_of(firmware: Firmware) -> None:
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    helm.held(2 * SECOND)
    helm.goes_on(3 * SECOND, 0)
    assert let_go_of(helm) == [helm.plan.drives[0].address]
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


def test_a_rudder_lost_is_told_once(firmware: Firmware) -> None:
    """Holding, with the levers in gear: a take is refused then, and takes back nothing of what was told of the rudder."""
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    rudder = helm.plan.rudder.address
    helm.held(2 * SECOND)
    helm.held(3 * SECOND, silent=(rudder,))
    assert helm.node.alarm == rudder
    helm.put_levers(800)
    helm.put("take", 1)
    helm.held(4 * SECOND, silent=(rudder,))
    assert helm.node.alarm == rudder
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []


def test_a_rudder_it_goes_on_steering_is_let_go_of_too(firmware: Firmware) -> None:
    helm = Helm(firmware.boat("marsh_tern"), "wheelhouse", SECOND)
    rudder = helm.plan.rudder.address
    drives = tuple(drive.address for drive in helm.plan.drives)
    helm.held(2 * SECOND)
    helm.held(3 * SECOND, silent=drives)
    helm.put_levers(800)
    helm.put("take", 1)  # refused
    helm.held(4 * SECOND, silent=drives)
    helm.held(5 * SECOND, silent=(rudder, *drives))
    assert helm.node.alarm == drives[0], "what it lost first"
    assert firmware.differences(helm.life, "marsh_tern", "wheelhouse") == []
