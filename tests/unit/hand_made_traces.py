"""Short runs of frames, and what the written page says about each: worked out by hand, none of it with busim's code.

What is beside a frame is the page's rule that decides it. All values are those of Marsh Tern, which the tests ask first: max_gap
3, control_timeout_ms 250, heartbeat_missing_ms 350; stations at 1, 3 and 5, the port drive (drive 1) at 2. Bits of lever frames:
number in bytes 2 and 3, then gear (2 bits) and throttle (10 bits) of drive 1, the same of drive 2. Of claims: number, wanted (3
bits: drive 1, drive 2 and rudder are 1, 2 and 4), gear and throttle of both drives, withdrawn (bit 4 of byte 7). Bytes 0 are
crccheck's (see `worked_frames`); a test asks it again for every frame that is not said to be spoiled.

Heartbeats carry the boat's fingerprint, which is no thing to work out by hand: they are named by sender, counter and whether it is
this boat's, and put together by `hand_made_frames`.
"""

from dataclasses import dataclass

COUNTS, DUPLICATE, REFUSED, FAILS = "counts", "duplicate", "refused", "fails"
"""Fails: its CRC or length is wrong, so that its counter is not even looked at."""


@dataclass(frozen=True)
class Wire:
    """A frame as it comes by a bus."""

    can_id: int
    data: str
    bus: int = 0
    spoiled: bool = False


@dataclass(frozen=True)
class Beat:
    """A heartbeat of that station with that counter, of this boat or of another one."""

    station: int
    counter: int
    ours: bool = True


@dataclass(frozen=True)
class Look:
    """Nothing comes; somebody looks, all that is due at this moment being done."""


@dataclass(frozen=True)
class Keep:
    """Up to here the station sends what it should, its lever in neutral: a heartbeat and a lever frame every 20 ms, with counters
    that go on by one each."""

    station: int
    number: int
    first: int


# ------------------------------------------------------------------------------------------------ the counter

COUNTER_TRACES: dict[str, list[tuple[Wire, str]]] = {
    # Lever of station 1, number 7, all in neutral: 00 07 00 00 00 00.
    "order, a duplicate, a gap too wide": [
        (Wire(0x081, "9E 0A 00 07 00 00 00 00"), REFUSED),  # 10: the first frame ever is refused, but remembered
        (Wire(0x081, "6A 0B 00 07 00 00 00 00"), COUNTS),  # 11: exactly 1 ahead of the refused one
        (Wire(0x081, "6A 0B 00 07 00 00 00 00"), DUPLICATE),  # 11 again
        (Wire(0x081, "3F 0E 00 07 00 00 00 00"), COUNTS),  # 14 - 11 = 3: as far as max_gap lets it
        (Wire(0x081, "29 12 00 07 00 00 00 00"), REFUSED),  # 18 - 14 = 4: one too far
        (Wire(0x081, "3F 0E 00 07 00 00 00 00"), DUPLICATE),  # 14: the last that counted; the refused 18 is still remembered
        (Wire(0x081, "DD 13 00 07 00 00 00 00"), COUNTS),  # 19 - 14 = 5, but exactly 1 ahead of the refused 18
        (Wire(0x081, "DD 13 00 07 00 00 00 00"), DUPLICATE),  # 19: the last that counted now
    ],
    "over the end, and back": [
        (Wire(0x081, "55 FE 00 07 00 00 00 00"), REFUSED),  # 254: the first
        (Wire(0x081, "A1 FF 00 07 00 00 00 00"), COUNTS),  # 255: 1 ahead of the refused one
        (Wire(0x081, "34 00 00 07 00 00 00 00"), COUNTS),  # 0 - 255 = -255 = 1 modulo 256
        (Wire(0x081, "07 03 00 07 00 00 00 00"), COUNTS),  # 3 ahead
        (Wire(0x081, "A1 FF 00 07 00 00 00 00"), REFUSED),  # 255 - 3 = 252 ahead: an old one
        (Wire(0x081, "34 00 00 07 00 00 00 00"), COUNTS),  # 0 - 3 = 253 ahead, but exactly 1 ahead of the refused 255
    ],
    "what fails touches no counter": [
        (Wire(0x081, "C2 28 00 07 00 00 00 00"), REFUSED),  # 40: the first
        (Wire(0x081, "36 29 00 07 00 00 00 00"), COUNTS),  # 41
        (Wire(0x081, "04 2A 00 07 00 00 00 00", spoiled=True), FAILS),  # 42 with its CRC, 05, off by a bit
        (Wire(0x083, "05 2A 00 07 00 00 00 00", spoiled=True), FAILS),  # the same data under station 3's id, which is in the CRC
        (Wire(0x081, "05 2A 00 07 00 00 00", spoiled=True), FAILS),  # seven bytes
        (Wire(0x081, "05 2A 00 07 00 00 10 00", spoiled=True), FAILS),  # a bit of the content
        (Wire(0x081, "05 2A 00 07 00 00 00 00"), COUNTS),  # 42: as if nothing had come between
        (Wire(0x081, "F1 2B 00 07 00 00 00 00"), COUNTS),  # 43
    ],
}

PAIR_TRACES: dict[str, list[tuple[int, int, int, str]]] = {
    # (ms, bus, counter): one sender on a pair, the counter kept for each bus; max_gap 3, limit 250 ms as for a lever.
    "a pair, one bus late": [
        (0, 0, 10, REFUSED),  # the first by bus 0
        (1, 1, 10, REFUSED),  # the first by bus 1
        (20, 0, 11, COUNTS),
        (21, 1, 11, DUPLICATE),  # counts on its bus, but equal to the last acted on
        (40, 0, 12, COUNTS),
        (60, 0, 13, COUNTS),
        (70, 1, 12, DUPLICATE),  # in order on bus 1, one behind the last acted on, and bus 0 stands there: a late copy
        (71, 1, 13, DUPLICATE),
        (80, 1, 14, COUNTS),  # the first valid new frame acts, whichever bus brings it
        (81, 0, 14, DUPLICATE),
        (100, 1, 15, COUNTS),  # bus 0 is quiet: bus 1 alone is enough
    ],
    "a pair, what was held back for 252 frames looks 4 ahead": [
        (0, 0, 10, REFUSED),
        (1, 1, 10, REFUSED),
        (20, 0, 11, COUNTS),
        (21, 1, 11, DUPLICATE),
        *((20 + 20 * step, 0, (11 + step) % 256, COUNTS) for step in range(1, 253)),  # to counter 7, at 5060 ms
        # Bus 1 is astray since 280 ms, when 24 was acted on: nothing had counted on it for 259 ms, and not for 239 at 260 ms.
        (5061, 1, 12, DUPLICATE),  # 5 ahead: held back, bus 0 stands at 7
        (5061, 1, 13, DUPLICATE),
        (5080, 0, 8, COUNTS),
        (5081, 1, 14, DUPLICATE),
    ],
    "a pair, what was held back for 255 frames looks 1 ahead": [
        (0, 0, 10, REFUSED),
        (1, 1, 10, REFUSED),
        (20, 0, 11, COUNTS),
        (21, 1, 11, DUPLICATE),
        *((20 + 20 * step, 0, (11 + step) % 256, COUNTS) for step in range(1, 256)),  # to counter 10, at 5120 ms
        (5121, 1, 12, DUPLICATE),  # 2 ahead, near; but it has kept up for no time at all
        (5122, 1, 13, DUPLICATE),  # 3 ahead
        (5123, 1, 14, DUPLICATE),  # 4 ahead: astray again
        (5140, 0, 11, COUNTS),
    ],
    "a pair, bus 0 dead, the sender begun anew": [
        (0, 0, 99, REFUSED),
        (1, 1, 99, REFUSED),
        (20, 0, 100, COUNTS),
        (21, 1, 100, DUPLICATE),
        (40, 0, 101, COUNTS),  # its last word
        (300, 1, 5, REFUSED),
        (320, 1, 6, DUPLICATE),  # 95 behind, and bus 0 stands at 101. Nothing had counted on bus 1 for 299 ms: alone since now
        (340, 1, 7, DUPLICATE),
        (444, 1, 8, DUPLICATE),  # alone for 124 ms
        (445, 1, 9, COUNTS),  # 125, half the limit
        (446, 1, 10, COUNTS),
    ],
    "a pair, a bus that was cut finds back": [
        (0, 0, 10, REFUSED),
        (20, 0, 11, COUNTS),
        *((20 + 20 * step, 0, 11 + step, COUNTS) for step in range(1, 20)),  # to 30, at 400 ms: bus 1 is astray since 280 ms
        (401, 1, 30, REFUSED),  # the first by bus 1
        (420, 0, 31, COUNTS),
        (421, 1, 31, DUPLICATE),  # level: it keeps up since now
        (440, 1, 32, DUPLICATE),  # 1 ahead, for 19 ms: held back, bus 0 stands at 31
        (441, 0, 32, COUNTS),
        *(
            each
            for step in range(1, 6)
            for each in ((440 + 20 * step, 0, 32 + step, COUNTS), (441 + 20 * step, 1, 32 + step, DUPLICATE))
        ),
        (545, 1, 38, DUPLICATE),  # 1 ahead, for 124 ms
        (546, 1, 39, COUNTS),  # 2 ahead, for 125 ms
    ],
}

# ------------------------------------------------------------------------------------------------ heartbeats

GOOD, MISSING, OTHER_BOAT = "good", "missing", "other boat"

HEARTBEAT_TRACES: dict[str, list[tuple[int, Beat | Look, str]]] = {
    "never heard, heard, silent for exactly 350 ms": [
        (0, Look(), MISSING),  # never heard is as missing as fallen silent
        (0, Beat(1, 1), MISSING),  # the first frame does not count, and feeds no timeout
        (100, Beat(1, 2), GOOD),
        (449, Look(), GOOD),  # 349 ms
        (450, Look(), MISSING),  # 350 ms: when that time has passed, it is over
        (460, Beat(1, 3), GOOD),
        (560, Beat(1, 4, ours=False), OTHER_BOAT),  # built from another boat file
        (660, Beat(1, 5), GOOD),
    ],
    "duplicates feed no timeout, nor does what comes after a gap": [
        (0, Beat(1, 9), MISSING),  # the first
        (100, Beat(1, 10), GOOD),
        (200, Beat(1, 10), GOOD),  # nothing new
        (440, Beat(1, 10), GOOD),  # still 340 ms since 100
        (450, Look(), MISSING),  # 350 ms since 100, whatever came at 440
        (470, Beat(1, 20), MISSING),  # 10 ahead: refused
        (570, Beat(1, 21), GOOD),  # 1 ahead of the refused one
    ],
}

# ------------------------------------------------------------------------------------------------ who is in control

NOBODY = (0, 0)

CONTROL_TRACES: dict[str, list[tuple[int, Wire | Beat | Look, tuple[int, int]]]] = {
    # What the port drive obeys after each step: (station, number). Claims for both drives: wanted 011, neutral 00, 000 = 60.
    "two claims in a row that agree": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),  # the second heartbeat counts: from now on it is fresh
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),  # counter 1: the first claim ever does not count
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),  # counts: one claim
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),  # the second that agrees
    ],
    "two claims that differ in the set": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "E6 01 00 01 20 00 00 00"), NOBODY),  # does not count
        (40, Wire(0x041, "D5 02 00 01 20 00 00 00"), NOBODY),  # wants drive 1 alone: 001 00 000 = 20
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), NOBODY),  # wants both: another set, so a first claim
        (60, Wire(0x041, "44 04 00 01 60 00 00 00"), (1, 1)),
    ],
    "the lever in gear, and in neutral in one of two": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "2A 01 00 01 68 00 00 00"), NOBODY),  # ahead 01: 011 01 000 = 68
        (40, Wire(0x041, "19 02 00 01 68 00 00 00"), NOBODY),
        (50, Wire(0x041, "ED 03 00 01 68 00 00 00"), NOBODY),  # two that agree, but not with the lever in neutral
        (60, Wire(0x041, "44 04 00 01 60 00 00 00"), NOBODY),  # in neutral, the one before was not: both have to be
        (70, Wire(0x041, "B0 05 00 01 60 00 00 00"), (1, 1)),
    ],
    "newer numbers, and the lower address of two equal ones": [
        (10, Beat(1, 1), NOBODY),
        (11, Beat(3, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (21, Beat(3, 2), NOBODY),
        (30, Wire(0x043, "33 01 00 05 60 00 00 00"), NOBODY),
        (40, Wire(0x043, "00 02 00 05 60 00 00 00"), NOBODY),
        (50, Wire(0x043, "F4 03 00 05 60 00 00 00"), (3, 5)),
        (60, Wire(0x041, "FB 01 00 05 60 00 00 00"), (3, 5)),
        (70, Wire(0x041, "C8 02 00 05 60 00 00 00"), (3, 5)),
        (80, Wire(0x041, "3C 03 00 05 60 00 00 00"), (1, 5)),  # the same number from a lower address
        (90, Wire(0x043, "66 04 00 05 60 00 00 00"), (1, 5)),  # the same from a higher one
        (100, Wire(0x043, "3F 05 00 04 60 00 00 00"), (1, 5)),  # 4: older
        (110, Wire(0x043, "0C 06 00 04 60 00 00 00"), (1, 5)),
        (120, Wire(0x043, "8D 07 00 06 60 00 00 00"), (1, 5)),  # 6: newer, the first claim
        (130, Wire(0x043, "72 08 00 06 60 00 00 00"), (3, 6)),
    ],
    "numbers over the end": [
        (10, Beat(1, 1), NOBODY),
        (11, Beat(3, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (21, Beat(3, 2), NOBODY),
        (30, Wire(0x041, "6E 01 FF FF 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "5D 02 FF FF 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "A9 03 FF FF 60 00 00 00"), (1, 65535)),  # newer than 0, which is no number
        (60, Wire(0x043, "D9 01 00 01 60 00 00 00"), (1, 65535)),
        (70, Wire(0x043, "EA 02 00 01 60 00 00 00"), (1, 65535)),
        (80, Wire(0x043, "1E 03 00 01 60 00 00 00"), (3, 1)),  # (1 - 65535) modulo 65536 = 2: newer
        (90, Wire(0x041, "3E 04 80 01 60 00 00 00"), (3, 1)),
        (100, Wire(0x041, "CA 05 80 01 60 00 00 00"), (3, 1)),  # 32769 - 1 = 32768: one more than newer reaches
        (110, Wire(0x041, "54 06 80 00 60 00 00 00"), (3, 1)),
        (120, Wire(0x041, "A0 07 80 00 60 00 00 00"), (1, 32768)),  # 32768 - 1 = 32767: newer
    ],
    "a station that was built from another boat file": [
        (10, Beat(1, 1, ours=False), NOBODY),
        (20, Beat(1, 2, ours=False), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), NOBODY),  # two agree, but its heartbeat is not this boat's
        (60, Beat(1, 3), NOBODY),
        (70, Wire(0x041, "44 04 00 01 60 00 00 00"), (1, 1)),  # agrees with the one before
        (80, Beat(1, 4, ours=False), NOBODY),  # lost at once: its heartbeat carries another fingerprint
    ],
    "what feeds the control timeout, and what does not": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),  # as good as a first valid lever frame
        (70, Wire(0x081, "2D 32 00 01 00 00 00 00"), (1, 1)),  # 50: the first of this take's counter does not count
        (90, Wire(0x081, "D9 33 00 01 00 00 00 00"), (1, 1)),  # 51: counts
        (200, Beat(1, 3), (1, 1)),
        (210, Wire(0x081, "D9 33 00 01 00 00 00 00"), (1, 1)),  # a duplicate
        (220, Wire(0x081, "4A 34 00 01 00 00 00 00", spoiled=True), (1, 1)),  # 52 with its CRC, 4B, off by a bit
        (230, Wire(0x081, "93 34 00 02 00 00 00 00"), (1, 1)),  # 52 of number 2: not the pair obeyed
        (339, Look(), (1, 1)),  # 249 ms since 90
        (340, Look(), NOBODY),  # 250 ms: lost
        (350, Wire(0x081, "BF 35 00 01 00 00 00 00"), NOBODY),  # 53: counting again never gives control back
    ],
    "the lever comes at the very moment the time is over": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),
        (70, Wire(0x081, "2D 32 00 01 00 00 00 00"), (1, 1)),
        (200, Beat(1, 3), (1, 1)),
        (300, Wire(0x081, "D9 33 00 01 00 00 00 00"), (1, 1)),  # 250 ms after the take: a frame in that instant comes first
        (400, Beat(1, 4), (1, 1)),
        (549, Look(), (1, 1)),
        (550, Look(), NOBODY),
    ],
    "who is in control claims on, but sends no lever": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),
        (60, Wire(0x041, "44 04 00 01 60 00 00 00"), (1, 1)),  # the number obeyed is not newer than itself: no take anew
        (200, Beat(1, 3), (1, 1)),
        (210, Wire(0x041, "B0 05 00 01 60 00 00 00"), (1, 1)),
        (299, Look(), (1, 1)),
        (300, Look(), NOBODY),  # 250 ms since the take: a claim is no lever frame
    ],
    "lever frames that make no sense for this drive": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),
        (70, Wire(0x081, "2D 32 00 01 00 00 00 00"), (1, 1)),  # 50: the first, does not count
        (90, Wire(0x081, "D9 33 00 01 00 00 00 00"), (1, 1)),  # 51: counts
        (200, Beat(1, 3), (1, 1)),
        (210, Wire(0x081, "7D 34 00 01 C0 00 00 00"), (1, 1)),  # 52: gear 11 is none to ask for (11 000000): fails as a whole
        (220, Wire(0x081, "0B 35 00 01 7E 90 00 00"), (1, 1)),  # 53: ahead, 1001 = 1111101001: 01 111110|1001 00 00: beyond 1000
        (339, Look(), (1, 1)),
        (340, Look(), NOBODY),  # neither has fed the timeout
    ],
    "a lever frame that makes no sense for the other drive": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),
        (70, Wire(0x081, "2D 32 00 01 00 00 00 00"), (1, 1)),  # 50: the first, does not count
        (90, Wire(0x081, "D9 33 00 01 00 00 00 00"), (1, 1)),  # 51: counts
        (200, Beat(1, 3), (1, 1)),
        (210, Wire(0x081, "03 34 00 01 00 0C 00 00"), (1, 1)),  # 52: gear 11 for drive 2 alone (0000 11 00): not this one
        (400, Beat(1, 4), (1, 1)),
        (459, Look(), (1, 1)),  # it has fed the timeout
        (460, Look(), NOBODY),
    ],
    "a take that is withdrawn": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),
        (60, Wire(0x041, "EA 04 00 01 60 00 00 10"), NOBODY),  # withdrawn, bit 4 of byte 7: one valid frame is enough to reduce
    ],
    "neutral now, with any counter": [
        (10, Beat(1, 1), NOBODY),
        (20, Beat(1, 2), NOBODY),
        (30, Wire(0x041, "11 01 00 01 60 00 00 00"), NOBODY),
        (40, Wire(0x041, "22 02 00 01 60 00 00 00"), NOBODY),
        (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (1, 1)),
        (60, Wire(0x003, "0B C8 00 00 00 00 00 00"), (1, 1)),  # of station 3, pressed 0
        (70, Wire(0x003, "70 C8 80 00 00 00 00 00", spoiled=True), (1, 1)),  # pressed 1, but the CRC, 71, is off by a bit
        (80, Wire(0x003, "71 C8 80 00 00 00 00 00"), NOBODY),  # pressed 1: the first one whose CRC is right, whoever is in control
    ],
}

# ------------------------------------------------------------------------------------------------ one to reduce, two to add

NEUTRAL, AHEAD = 0, 1

LEVER_TRACE: list[tuple[int, Wire | Beat | Keep, tuple[int, int]]] = [
    # What the port drive makes of them: (gear, throttle). Between 50 and 1400 ms nothing but neutral: the dwell is long over.
    (10, Beat(1, 1), (NEUTRAL, 0)),
    (20, Beat(1, 2), (NEUTRAL, 0)),
    (30, Wire(0x041, "11 01 00 01 60 00 00 00"), (NEUTRAL, 0)),
    (40, Wire(0x041, "22 02 00 01 60 00 00 00"), (NEUTRAL, 0)),
    (50, Wire(0x041, "D6 03 00 01 60 00 00 00"), (NEUTRAL, 0)),
    (1400, Keep(1, 1, first=1), (NEUTRAL, 0)),  # lever frames with counters 1 to 67: at 70, 90, ... 1390
    (1410, Wire(0x081, "DA 44 00 01 46 40 00 00"), (NEUTRAL, 0)),  # 68: ahead 01, 100 = 0001100100: 01 000110|0100 00 00: alone
    (1430, Wire(0x081, "80 45 00 01 49 60 00 00"), (AHEAD, 100)),  # 69: ahead, 150 = 0010010110: 01 001001|0110 00 00: both ahead
    (1450, Wire(0x081, "B3 46 00 01 49 60 00 00"), (AHEAD, 150)),  # 70: 150 again, twice now
    (1470, Wire(0x081, "AB 47 00 01 4C 80 00 00"), (AHEAD, 150)),  # 71: 200 = 0011001000: 01 001100|1000 00 00: the lower of two
    (1490, Wire(0x081, "9F 48 00 01 47 80 00 00"), (AHEAD, 120)),  # 72: 120 = 0001111000: 01 000111|1000 00 00: less counts at once
    (1510, Wire(0x081, "2B 49 00 01 00 00 00 00"), (NEUTRAL, 0)),  # 73: neutral, one frame is enough
]
