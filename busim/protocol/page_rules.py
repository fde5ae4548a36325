"""The written page's rules in plain words: what the page is for, safety frames, control, loss, lights. Numbers are the boat's.

Nothing here defines a message, a value or a row: those are tables elsewhere.
"""

from collections.abc import Iterator
from typing import Final

from busim.protocol.catalogue import FOR_THE_HELM, MESSAGES, NEUTRAL_NOW, PROTOCOL_VERSION
from busim.protocol.counter import limit_ms
from busim.protocol.crc8 import BYTE_TABLE, FINAL_XOR, POLYNOMIAL, START, crc8
from busim.protocol.page_alarms import alarm_rules
from busim.protocol.page_engine import engine_rules
from busim.protocol.page_lights import lights_section
from busim.protocol.page_steering import steering_rules
from busim.protocol.page_text import bullets, hex_bytes, listed, numbered, paragraph, table
from busim.protocol.plan import WirePlan
from busim.protocol.values import BENCH_ADDRESS, BENCH_CHANNELS, BENCH_OBSERVER_ADDRESS, PRESSED_AGAIN_MS

CHECK_INPUT: Final = b"123456789"
"""Its CRC is the check value by which published lists of CRCs tell one from another."""


def opening(plan: WirePlan) -> Iterator[str]:
    yield paragraph(
        "This page is what a firmware author needs to write a node for this boat: every frame, bit by bit, and the rules by "
        "which frames are sent and obeyed. It is printed from the tables that busim's own nodes run on. Protocol version "
        f"{PROTOCOL_VERSION}, helm fingerprint {plan.helm_fingerprint:04X}, lighting fingerprint {plan.lighting_fingerprint:04X}."
    )
    yield "## Before anything moves"
    yield bullets(
        [
            "busim designs and tests. It is never part of the boat's control system, and nothing simulated is ever connected to "
            "a live boat.",
            "Each engine needs a means to stop it that is independent of this bus, of every node and of every program. "
            "neutral_now is a message and no emergency stop.",
            "While firmware is tried on anything that can move: propeller clear or shaft disconnected, boat secured, a person at "
            "a cut-off of actuator power.",
            "Local rules, class, insurer and a qualified surveyor come first, before this page. Mains work is for a licensed "
            "electrician.",
            "Keeping this page does not make a boat safe. A node is shown to keep it on the bench and aboard, with its wiring "
            "and its version of the firmware.",
        ]
    )
    yield "## How to read it"
    yield paragraph(
        "Ids, data and fingerprints are hexadecimal, all else is decimal. Times are in ms of the node's own clock. A limit is met "
        "at exactly the limit: when that time has passed, it is over. A frame that arrives in that same instant comes first. "
        "What a message, a signal, a state or an event is called here is what busim calls it everywhere."
    )


def rules_section(plan: WirePlan, message_name: str, can_id: int, data: bytes) -> Iterator[str]:
    """`can_id` and `data` are the frame, of the message so named, whose CRC is worked out step by step."""
    yield "## Safety frames"
    yield from _frames_and_crc(message_name, can_id, data)
    yield from _counter(plan)
    yield from _sending_and_receiving()
    yield from _several_buses(plan)
    yield from _two_that_agree()
    yield from _control(plan)
    yield from _loss(plan)
    yield from _neutral_now_and_after(plan)
    yield from steering_rules(plan)
    yield from engine_rules(plan)
    yield from alarm_rules(plan)
    yield from lights_section(plan)
    yield from _bench_builds()


def _frames_and_crc(message_name: str, can_id: int, data: bytes) -> Iterator[str]:
    yield paragraph(
        "A safety frame always has 8 bytes: byte 0 the CRC, byte 1 the counter, bytes 2 to 7 the content, 48 bits, highest first."
    )
    yield "### The CRC"
    yield paragraph(
        f"8 bits, polynomial x^8 + x^5 + x^3 + x^2 + x + 1 ({POLYNOMIAL:02X}), start {START:02X}, bits not reflected, result xor "
        f"{FINAL_XOR:02X}. It runs over nine bytes: the id's high byte (id divided by 256), the id's low byte, then bytes 1 to 7 "
        "of the data. The id is not in the data, but a frame that turns up under another sender's safety id has a wrong CRC. "
        f'To try a routine: over the nine letters "{CHECK_INPUT.decode()}" it gives {crc8(CHECK_INPUT):02X}.'
    )
    yield paragraph(
        "For each byte: register = register xor byte; then eight times: shift left by one, and if a 1 was shifted out, xor "
        f"{POLYNOMIAL:02X}. Worked example, {message_name}, id {can_id:03X}, data {hex_bytes(data)}:"
    )
    covered = bytes((can_id >> 8, can_id & 0xFF)) + data[1:]
    names = ("id, high", "id, low", *(f"byte {place}" for place in range(1, 8)))
    register, rows = START, []
    for name, byte in zip(names, covered, strict=True):
        mixed = register ^ byte
        register = BYTE_TABLE[mixed]
        rows.append((name, f"{byte:02X}", f"{mixed:02X}", f"{register:02X}"))
    yield table(("taken in", "byte", "register xor byte", "after eight shifts"), rows)
    yield paragraph(
        f"The start was {START:02X}. The last register, {register:02X}, xor {FINAL_XOR:02X} is {register ^ FINAL_XOR:02X}: byte 0. "
        "The eight shifts of the first byte:"
    )
    yield table(("shift", "before", "shifted out", "after"), _eight_shifts(START ^ covered[0]))


def _eight_shifts(register: int) -> Iterator[tuple[object, ...]]:
    for shift in range(1, 9):
        out = register >> 7
        after = (register << 1 & 0xFF) ^ (POLYNOMIAL if out else 0)
        yield shift, f"{register:02X}", out, f"{after:02X}"
        register = after


def _counter(plan: WirePlan) -> Iterator[str]:
    gap = plan.timing.max_gap
    yield "### The counter"
    yield paragraph(
        "8 bits, one more each time, 0 after 255. The sender's task that samples the lever (or whatever the message tells) moves "
        "it on, never the routine that sends: if sampling stops, the counter stops, and receivers see that nothing new comes. "
        "Sent on two buses, a frame has the same counter and content on both."
    )
    yield paragraph("A receiver keeps, for every id it listens to (and for each bus of a pair), the last counter that counted:")
    yield bullets(
        [
            "Equal to it: a duplicate. It is ignored and feeds no timeout. A sound receiver also gets duplicates from a sound "
            "bus, where a disturbed end of frame makes the sender repeat what was already taken.",
            f"1 to {gap} ahead (max_gap, counted modulo 256): it counts.",
            "Anything else, and the first frame ever: refused, but remembered. If the next frame that is neither a duplicate nor "
            "in order is exactly 1 ahead of the refused one, that next frame counts, and counting goes on from it.",
            "Counting again never gives control back: what was lost stays lost until control is taken.",
        ]
    )
    yield paragraph(f"With max_gap {gap}, and 250 the last that counted:")
    beyond = (250 + gap + 1) % 256
    yield table(
        ("counter", "verdict"),
        [
            (250, "duplicate"),
            (251, "counts"),
            ((250 + gap) % 256, "counts"),
            (f"{beyond}, then {(beyond + 1) % 256}", "refused, then counts"),
            (f"{beyond}, then {(beyond + gap + 2) % 256}", "refused, then refused"),
        ],
    )


def _sending_and_receiving() -> Iterator[str]:
    yield "### Judging a frame"
    yield paragraph("In this order, leaving at the first that fails. A frame that fails changes nothing and feeds no timeout:")
    yield numbered(
        [
            "It is a data frame with an 11-bit id this node listens to, and has 8 bytes.",
            "Its CRC is right.",
            "Its counter counts. For neutral_now alone any counter will do: it can only reduce.",
            "Where it carries a number of a take, it is the one in question: for lever, the pair (station, number) in control.",
            "Its values make sense. A lever frame that asks this drive for anything but neutral, ahead or astern, or for more "
            "than 1000 permille, fails as a whole.",
        ]
    )
    yield "### Sending a frame"
    yield bullets(
        [
            "A frame that is sent again anyway has a transmit mailbox of its own: a new one overwrites an unsent one, and one that "
            "has waited as long as its period is dropped unsent. An old lever must never be heard late.",
            f"A frame goes out on every bus its sender is on; but codes {listed(FOR_THE_HELM)}, which helm nodes have for each "
            "other alone, only where another helm node is (and where none is at all, on all), so that levers take no time of a bus "
            "for lights.",
            "At bus-off and at reset everything unsent is flushed.",
            "Bus-off counts as the loss of all senders. Rejoin, flushed, after 20 ms, ten times in a row at "
            "the most; then with pauses that double from 100 ms to 10 s, and 20 ms again after 10 s without. Rejoining never gives "
            "control back.",
            "Of several buses by which one sender is heard, the first valid new frame acts, one timeout runs for each sender, and "
            "the loss of one bus is alarmed. Unequal content under one counter: the lower thrust, and an alarm. Nothing is "
            "forwarded from one to the other.",
        ]
    )


def _several_buses(plan: WirePlan) -> Iterator[str]:
    yield "### One sender on several buses"
    yield paragraph(
        "A queue held back on one bus must not bring back an old lever, and 8 bits of counter can't tell: what is more than 128 "
        "frames old looks newer than what was acted on. So a frame that counts on its own bus is held against the last one acted "
        "on, by whatever bus that came, and against times, in whole ms. The limit of each message:"
    )
    limits: dict[int, list[str]] = {}
    for message in MESSAGES:
        if message.is_safety and message is not NEUTRAL_NOW:
            limits.setdefault(limit_ms(plan.timing, message), []).append(message.name)
    yield table(("message", "limit, ms"), [(", ".join(names), limit) for limit, names in limits.items()])
    gap = plan.timing.max_gap
    yield bullets(
        [
            "Equal to the last acted on: a duplicate.",
            "1 to 127 ahead of it, by a bus that is not astray: acted on.",
            "Anything else is acted on where no other bus stands at the counter last acted on, as a sender that begins anew moves "
            "them all; or where for half the limit nothing counted on any bus but this: the others are dead. (That time begins "
            "anew where nothing counted on this one for the limit either.)",
            "All else is held back: a duplicate.",
            "A bus goes astray when a frame by another is acted on and nothing has counted on this one for the limit (on one that "
            "was never heard: since the first frame acted on); and when a frame of it is held back that is more than "
            f"{gap} (max_gap) ahead of the last acted on, or behind it. It has found back once all it brought for half the limit "
            f"was within {gap} of that, or one of it is acted on.",
        ]
    )
    yield paragraph(
        "Half the limit, so that the other half is left to hear a bus in that is all there is: this rule alone loses no sender "
        "whose frames go on by one bus. Whoever is followed anew begins with all of this as if nothing had been heard."
    )


def _two_that_agree() -> Iterator[str]:
    yield "### One to reduce, two to add"
    yield paragraph(
        "One valid frame is enough to reduce thrust, to go idle and to go neutral. Engaging a gear, adding thrust and changing who "
        "is in control need two valid frames that agree, one after the other: a gear only where both ask for it, the lower "
        "throttle of the two, the same number and the same set in two claims. Receivers follow what the last frames say, never "
        "the change from one to the next, so that a lost frame loses nothing."
    )


def _control(plan: WirePlan) -> Iterator[str]:
    timing = plan.timing
    yield "## Control"
    yield bullets(
        [
            "Control belongs to a pair: the station's address and the number of its take. The drives own the truth: each reports "
            "the pair it obeys in drive_obeys, and a display shows that, never a wish. Nobody is station 0.",
            "Numbers have 16 bits. Number a is newer than b if (a - b) modulo 65536 is 1 to 32767. 0 is no "
            "number: it is newer than no other, and every other is newer than it. After 65535 comes 1.",
            "To take control a station needs its take key pressed and its own lever in neutral (or, where the boat allows it, "
            "matched to gear and throttle) and sound. It uses the newest number it has heard, plus one. The lever of the holder "
            "is not asked.",
            f"It sends claim every {timing.claim_ms} ms, with the set it wants and where its levers stand, and lever with the "
            f"new number, until every drive of the set reports the new pair. If {timing.transfer_ms} ms (transfer_ms) pass "
            "first, or a drive of the set reports a newer number, or the same number under a lower address, or any drive the "
            "station may take obeys another station by such a take, it withdraws: claim with withdrawn 1, until no drive "
            f"reports the pair, at most {timing.transfer_ms} ms. A drive that changed over then goes neutral.",
            *_which_drives(plan),
            "A drive changes over on two claims in a row that count, with the same newer number and set, both with the lever for "
            "this drive in neutral, from a station it may obey whose heartbeat is fresh and carries this boat's helm fingerprint. "
            "From then on it follows lever frames of that pair and of no other. It begins with their counter as if none had been "
            "heard, and takes the moment of the change for a first valid lever frame, in neutral.",
            "A station sends lever all the time; while it neither claims nor holds control, with number 0.",
            "acted_on in drive_obeys is the counter of the last lever frame the drive acted on. A station in control whose echo "
            f"is older than {timing.age_max_ms} ms (age_max_ms), or that hears nothing from a drive for so long, or hears that "
            "it obeys another pair, alarms and lets control go. Of a drive that it may take and does not hold, while it holds "
            "another, its lever frames ask neutral and no throttle: such a drive may only be mute. A station that holds but one "
            "of its two drives never shows plainly that it is in control, and alarms.",
            f"A drive that hears its twin obey another pair for longer than {timing.overlap_ms} ms (overlap_ms) after the later of "
            "the two changed goes neutral. Where its station may take both and took this one alone, only a take of another station "
            "counts that is newer, or has the same number and a lower address: of two stations that each took one drive, one gives "
            "way.",
            "A drive or station that resets obeys and holds nothing until a take. After power-up and after a loss nobody is in "
            "control, and every station shows that unmistakably. The lever of an old holder is dead until it is in neutral and "
            "control is taken again.",
        ]
    )


def _which_drives(plan: WirePlan) -> Iterator[str]:
    if any(drive.on_other_lost != "carry_on" for drive in plan.drives):
        yield (
            "The set is all the drives the station may take. As on_other_lost is neutral for a drive of this boat, control is of "
            "all of them or of none."
        )
        return
    missing_ms = plan.timing.heartbeat_missing_ms
    yield (
        "The set is settled when the key is pressed, and stays until that take is over. As on_other_lost is carry_on for every "
        "drive of this boat, a drive that is dead keeps nobody from the other one: the set is those drives the station may take "
        f"from which a report has counted in the last {missing_ms} ms (heartbeat_missing_ms); if there is none, all. A drive of "
        "it that was heard and had not reported the pair when transfer_ms was over, nor reports it later, though another one did, "
        "is left out of the "
        f"next take of this station, if that is begun within {PRESSED_AGAIN_MS} ms and not while it holds control (and unless "
        "none would be left): whoever pressed again means to have what there is. The take after that, and one begun while it "
        "holds, is of all that are heard. A drive left out goes on as it is: it obeys whom it obeys, and can be had by the next "
        "take."
    )


def _loss(plan: WirePlan) -> Iterator[str]:
    timing = plan.timing
    yield "## Loss"
    yield paragraph("By itself, whatever anybody else does, a drive that obeys a station goes idle, then neutral, once:")
    yield bullets(
        [
            f"no valid lever frame of the pair in control has come for {timing.control_timeout_ms} ms (control_timeout_ms); where "
            "its controller is bus-off on its only bus at that moment, that is the cause it gives. Or",
            f"that station's heartbeat has been missing for {timing.heartbeat_missing_ms} ms (heartbeat_missing_ms), or carries "
            "another helm fingerprint, or",
            "a lever frame of that pair says the lever is faulty, or the take is withdrawn, or neutral_now is pressed.",
        ]
    )
    patience_ms = timing.control_timeout_ms - timing.lever_ms
    yield paragraph(
        f"A lever that can't be read (out of its range), or whose two tracks are apart, is faulty after {patience_ms} ms of it "
        "(control_timeout_ms less lever_ms), one that was never read at once. Until then its station sends what it meant last, and "
        "takes no control by it: orders that can't be read are orders lost, and a plug that is knocked costs no thrust. Of two "
        "tracks the one counts that asks for less, also where the other can't be read and asked for more when it could."
    )
    yield paragraph(
        "Idle means: throttle at its stop, and engine speed below shift_rpm or idle_wait_ms over since idle was commanded. After "
        "idle_wait_ms a forced neutral takes the gear out at any speed, and asks for an engine stop if the throttle is not at its "
        "stop. No gear ever goes in above idle. A drive that wakes off neutral may only go to idle, then neutral. An actuator that "
        "has not arrived well after its time (shift_ms for the gear) is stuck; for a gear that is to come out the time runs from "
        "when it was told to, whoever takes or loses control since."
    )
    yield paragraph(
        "Where a drive's on_loss is idle, it stays at idle in gear and alarms when lever frames or heartbeats are lost. "
        "neutral_now and a take withdrawn bring it to neutral all the same."
    )
    yield paragraph(
        f"A heartbeat comes from a supervisor that has seen the sampling, control and sending tasks run since the last one, never "
        f"from a timer alone. A node that was never heard is as missing as one that fell silent {timing.heartbeat_missing_ms} ms "
        "ago. Another lighting fingerprint is shown and never touches the helm."
    )


def _neutral_now_and_after(plan: WirePlan) -> Iterator[str]:
    yield "## Neutral now, and after a forced neutral"
    yield bullets(
        [
            "neutral_now from any station acts on every drive, whoever is in control, on the first frame whose CRC is right. It is "
            "repeated until every drive has echoed it: reports station 0, and not that it may stay in gear (forced_idle by another "
            "cause, or held_idle, where its on_loss is idle); or for 1 s.",
            "A key that is stuck on is named, and can be locked out by a deliberate act at another station.",
            "After a forced neutral no gear goes in until the fault is gone, a lever has been in neutral, and control has been "
            f"taken anew. neutral_now counts as gone after {plan.timing.control_timeout_ms} ms without a pressed key.",
            "Why it was forced stays in the cause of drive_obeys until control is taken.",
        ]
    )


def _bench_builds() -> Iterator[str]:
    yield "## Firmware built for the bench"
    yield paragraph(
        "A build for the bench, and no other, takes its sensors from the message bench instead of its pins and says there what its "
        f"outputs do, so that simulated machinery can stand for the real. Values in come from address {BENCH_ADDRESS}, which no "
        "node has; values out go under the node's own address, on every change, and all of them where values come in after half a "
        "second without: a bench that begins learns what they stand at. Until the first value comes it takes its machinery to be "
        "at rest, gear out, throttle at its stop and engine off: the bench listens before it sends anything, and refuses a "
        "device that reports motion. A channel it does not know is ignored. A build for the bench is never put aboard."
    )
    yield table(("channel", "is", "direction"), [(number, name, "in" if number < 16 else "out") for number, name in BENCH_CHANNELS])
    yield paragraph(
        "A second node may watch a device's own machinery on the bench, by sensors of its own: it sends the message bench from "
        f"address {BENCH_OBSERVER_ADDRESS}, direction in, gear_switch (1 closed: the gear is out), shift_position (permille of "
        "half the stroke, + is ahead) and throttle_position (permille), each that it has on change and at least every 100 ms. "
        "What it says goes before what the device reports. No node of a boat that is put on a bench beside it has this address."
    )
