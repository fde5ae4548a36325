"""What a listener sees of the helm as a whole: whether anybody is in control, and neutral-now keys that stay pressed."""

from typing import Final

from busim.protocol.alarms import BY_NAME, KEY_STUCK_MS, LOCK_FORGOTTEN_MS, NOBODY_AFTER_MS
from busim.protocol.catalogue import DRIVE_OBEYS
from busim.protocol.counter import counter_watch
from busim.protocol.plan import WirePlan
from busim.protocol.values import CAUSE_NEUTRAL_NOW
from busim.units import MS, NEVER, SECOND
from nodes.roll_call import Cause

NOBODY_IN_CONTROL: Final = BY_NAME["nobody_in_control"].number
NEUTRAL_KEY_STUCK: Final = BY_NAME["neutral_key_stuck"].number
KEY_LOCKED_OUT: Final = BY_NAME["key_locked_out"].number

LET_GO_OF_NS: Final = SECOND
"""A key not heard pressed for this long was let go, or its station is silent: a press is repeated every 20 ms."""
LOCK_FORGOTTEN_NS: Final = LOCK_FORGOTTEN_MS * MS


class Key:
    """One station's neutral-now key, and the keys that this station has locked out (bit n: the station at address n)."""

    __slots__ = ("heard_ns", "locks", "locks_ns", "pressed_ns")

    def __init__(self) -> None:
        self.pressed_ns = NEVER
        """Since when it is pressed without a break; NEVER while it is not."""
        self.heard_ns = -NEVER
        self.locks = 0
        self.locks_ns = -NEVER


class HelmWatch:
    __slots__ = ("asked", "counters", "heard_ns", "keys", "lost", "masters", "missing_ns", "nobody_ns", "pairs")

    def __init__(self, plan: WirePlan, address: int) -> None:
        mine = set(plan.buses_of(address))
        drives = [drive.address for drive in plan.drives if mine & set(plan.buses_of(drive.address))]
        self.counters = {drive: counter_watch(plan, address, drive, DRIVE_OBEYS) for drive in drives}
        self.missing_ns = plan.timing.heartbeat_missing_ms * MS
        self.heard_ns = dict.fromkeys(drives, -NEVER)
        self.pairs = dict.fromkeys(drives, (0, 0))
        self.masters = dict.fromkeys(drives, 0)
        """Drive -> the station it obeyed last, also once it obeys nobody."""
        heard_stations = [each.address for each in plan.stations if mine & set(plan.buses_of(each.address))]
        self.keys = {station: Key() for station in heard_stations}
        self.nobody_ns = NEVER
        """Since when every drive heard obeys nobody."""
        self.lost = False
        """A station has been in control since this node started."""
        self.asked = dict.fromkeys(drives, False)
        """Drive -> it obeys nobody because a neutral-now key was pressed: that is no loss, it is what somebody wanted."""

    def start(self, now_ns: int) -> None:
        self.nobody_ns = now_ns

    # ------------------------------------------------------------------------------------------------ what it hears

    def obeys(self, now_ns: int, drive: int, station: int, number: int, cause: int) -> None:
        """A drive's report that counted."""
        self.heard_ns[drive] = now_ns
        self.asked[drive] = not station and cause == CAUSE_NEUTRAL_NOW
        if (station, number) == self.pairs[drive]:
            return
        self.pairs[drive] = (station, number)
        if station:
            self.masters[drive] = station

    def key(self, now_ns: int, station: int, pressed: int, locks: int) -> None:
        """A station's neutral-now frame that was sound; of its own node's key, what the contact does."""
        key = self.keys.get(station)
        if key is None:
            return
        if not pressed:
            key.pressed_ns = NEVER
        elif key.pressed_ns == NEVER:
            key.pressed_ns = now_ns
        key.heard_ns = now_ns if pressed else key.heard_ns
        key.locks = locks & ~(1 << station)
        key.locks_ns = now_ns

    # ------------------------------------------------------------------------------------------------ what it sees

    def stuck(self, now_ns: int) -> tuple[int, ...]:
        """Stations whose key has been pressed for too long."""
        found = []
        for station, key in self.keys.items():
            if key.pressed_ns == NEVER:
                continue
            if now_ns - key.heard_ns >= LET_GO_OF_NS:
                key.pressed_ns = NEVER
            elif now_ns - key.pressed_ns >= KEY_STUCK_MS * MS:
                found.append(station)
        return tuple(found)

    def locked_out(self, now_ns: int) -> int:
        """Keys that some station names stuck, as bits."""
        locks = 0
        for key in self.keys.values():
            if now_ns - key.locks_ns < LOCK_FORGOTTEN_NS:
                locks |= key.locks
        return locks

    def causes(self, now_ns: int) -> list[Cause]:
        found: list[Cause] = []
        if self._nobody(now_ns):
            found.append((NOBODY_IN_CONTROL, 0))
        locks = self.locked_out(now_ns)
        for station in self.stuck(now_ns):
            if not locks >> station & 1:
                found.append((NEUTRAL_KEY_STUCK, station))
        found += [(KEY_LOCKED_OUT, station) for station in self.keys if locks >> station & 1]
        return found

    def _nobody(self, now_ns: int) -> bool:
        """Every drive heard obeys nobody: at once after a loss, else once there was time to take control."""
        heard = [drive for drive, heard_ns in self.heard_ns.items() if now_ns - heard_ns < self.missing_ns]
        if not heard:
            self.nobody_ns = NEVER
            return False
        if any(self.pairs[drive][0] for drive in heard):
            self.nobody_ns = NEVER
            self.lost = True
            return False
        if self.nobody_ns == NEVER:
            self.nobody_ns = now_ns
        at_once = self.lost and not all(self.asked[drive] for drive in heard)
        return at_once or now_ns - self.nobody_ns >= NOBODY_AFTER_MS * MS
