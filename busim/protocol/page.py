"""The written protocol: one plain page for whoever writes firmware and has nothing else.

Every message, signal, value, state and row on it is read from the tables the nodes run on. Only the rules in plain words
(`page_rules`) and what the boat's values mean (`page_boat`) are written as text. It carries no date, so that the page of an
unchanged boat is unchanged.
"""

import re
from collections.abc import Iterator
from dataclasses import fields
from typing import Final

from busim.protocol import values as v
from busim.protocol.alarms import ALARM_TABLE
from busim.protocol.catalogue import LEVER, MESSAGES, PROTOCOL_VERSION
from busim.protocol.codec import Message, Signal
from busim.protocol.ids import ADDRESS_BITS, HELM_ADDRESSES, NODE_ADDRESSES
from busim.protocol.page_boat import boat_section, ids_section, senders_of
from busim.protocol.page_rules import opening, rules_section
from busim.protocol.page_text import bullets, hex_bytes, one_line, paragraph, table
from busim.protocol.plan import Timing, WirePlan
from busim.protocol.tables import DRIVE_TABLE, TABLES, StateTable

EXAMPLE_COUNTER: Final = 42
EXAMPLE_NUMBER: Final = 7


def protocol_page(plan: WirePlan, title: str) -> str:
    """The page for the boat of this plan, as Markdown that also reads as plain text. `title` is text, never markup."""
    blocks = [
        f"# {one_line(title)}",
        *opening(plan),
        *ids_section(plan),
        *rules_section(plan, LEVER.name, *example_frame(LEVER, plan)),
        *_messages_section(plan),
        *_tables_section(),
        *boat_section(plan),
        *_lists_section(),
    ]
    return "\n\n".join(blocks) + "\n"


# ------------------------------------------------------------------------------------------------ messages


def _messages_section(plan: WirePlan) -> Iterator[str]:
    yield "## Messages"
    yield paragraph(
        "First and last are byte.bit: byte 0 is the first of the data, bit 7 the highest of its byte. A signal's highest bit is "
        "its first, its lowest is its last, and it runs on from bit 0 of a byte to bit 7 of the next. Signed signals are two's "
        "complement. The quantity is the raw integer times the step, in the unit. Bits that no signal uses are sent as 0 and not "
        "looked at. A frame of another length is refused."
    )
    for message in MESSAGES:
        yield from _message(message, plan)


def _message(message: Message, plan: WirePlan) -> Iterator[str]:
    reserved = f" (reserved for {message.reserved_for})" if message.reserved_for else ""
    yield f"### Code {message.code}: {message.name}{reserved}"
    yield paragraph(message.words)
    if message.reserved_for:
        yield paragraph(
            f"Reserved for {message.reserved_for}: laid out now so that its id and its bits are settled. No node of busim's own "
            "sends it or acts on it yet."
        )
    frame = "CRC in byte 0, counter in byte 1" if message.is_safety else "no CRC and no counter"
    senders = [f"{message.can_id(address):03X} from {name}" for address, name in senders_of(message, plan)]
    yield bullets(
        [
            f"Sender: {message.senders}.",
            f"Id: {message.code} x {1 << ADDRESS_BITS} + address, in hexadecimal {message.can_id(0):03X} + address. "
            f"On this boat: {', '.join(senders) or 'nobody sends it'}.",
            f"Length: {message.length} bytes, {frame}.",
            f"Timing: {_with_values(message.timing, plan.timing)}.",
        ]
    )
    yield table(
        ("signal", "first", "last", "bits", "signed", "unit", "step", "meaning"),
        [_signal_row(message, signal, position) for signal, position in message.placed()],
    )
    notes = [f"{signal.name}: {_choices(signal)}." for signal in message.signals if signal.choices]
    limits = [(signal.name, *signal.range) for signal in message.signals if signal.range != (signal.low, signal.high)]
    if limits:
        words = ", ".join(f"{name} {least} to {most}" for name, least, most in limits)
        notes.append(f"Raw values that make sense (the exported C sends no others): {words}.")
    lowest = message.placed()[-1][1]
    if lowest:
        notes.append(f"Unused: {byte_bit(message, lowest - 1)} to {byte_bit(message, 0)}.")
    if notes:
        yield bullets(notes)
    yield from _example(message, plan)


def _signal_row(message: Message, signal: Signal, position: int) -> tuple[object, ...]:
    first, last = byte_bit(message, position + signal.bits - 1), byte_bit(message, position)
    signed = "yes" if signal.signed else "no"
    step = f"{signal.step:g}" if signal.unit else ""
    return (signal.name, first, last, signal.bits, signed, signal.unit, step, signal.words)


def byte_bit(message: Message, position: int) -> str:
    """A bit, counted from the last bit of the frame's last byte, as byte.bit."""
    return f"{(8 * message.length - 1 - position) // 8}.{position % 8}"


def _choices(signal: Signal) -> str:
    return ", ".join(f"{value} {words}" for value, words in signal.choices)


def _with_values(timing_words: str, timing: Timing) -> str:
    """The words with this boat's value behind every timing value they name."""
    names = "|".join(field.name for field in fields(Timing) if field.name.endswith("_ms"))
    return re.sub(rf"\b({names})\b", lambda found: f"{found[0]} ({getattr(timing, found[0])} ms)", timing_words)


# ------------------------------------------------------------------------------------------------ example frames


def example_frame(message: Message, plan: WirePlan) -> tuple[int, bytes]:
    """(id, data) of a frame of this message, from one of the boat's own senders where it has one."""
    address, _ = _example_sender(message, plan)
    can_id = message.can_id(address)
    raw = _example_values(message, plan)
    return can_id, message.pack(can_id, EXAMPLE_COUNTER, *raw) if message.is_safety else message.pack(*raw)


def _example_sender(message: Message, plan: WirePlan) -> tuple[int, str]:
    senders = senders_of(message, plan)
    if senders:
        return senders[0]
    addresses = HELM_ADDRESSES if message.is_safety else range(HELM_ADDRESSES[-1] + 1, NODE_ADDRESSES[-1] + 1)
    taken = {address for address, _, _ in plan.nodes}
    address = next((address for address in addresses if address not in taken), addresses[0])
    return address, f"a node at address {address}"


def _example_values(message: Message, plan: WirePlan) -> list[int]:
    """Values a frame could well have: some by name, so that a reader knows them again, the rest by the signal's range."""
    station = plan.stations[0].address if plan.stations else HELM_ADDRESSES[0]
    panel = plan.panels[0].address if plan.panels else HELM_ADDRESSES[-1] + 1
    states = DRIVE_TABLE.state_values
    known = {
        "acted_on": EXAMPLE_COUNTER - 1,
        "action": v.PRESS_ON,
        "asked_gear": v.AHEAD,
        "asked_throttle": 100,
        "build": 1,
        "cause": v.CAUSE_NONE,
        "claim.gear_1": v.NEUTRAL,
        "claim.throttle_1": 0,
        "colour": 0,
        "control": 1,
        "drive_obeys.row": DRIVE_TABLE.moves[states["engaging"], "gear_in"][1],
        "drive_obeys.state": states["engaged"],
        "fault": 0,
        "gear_1": v.AHEAD,
        "gear_2": v.NEUTRAL,
        "helm_fingerprint": plan.helm_fingerprint,
        "instance": 1,
        "level": 1000,
        "lever_fault": 0,
        "lighting_fingerprint": plan.lighting_fingerprint,
        "lit": 1,
        "major": 1,
        "minor": 0,
        "locked_out": 0,
        "moving": 0,
        "neutral_switch": v.SWITCH_OPEN,
        "number": EXAMPLE_NUMBER,
        "panel": panel,
        "patch": 0,
        "press": EXAMPLE_NUMBER,
        "pressed": 1,
        "protocol": PROTOCOL_VERSION,
        "reset_cause": v.RESET_CAUSES[0][0],
        "rpm": 200,
        "sensed_gear": v.AHEAD,
        "sensed_throttle": 100,
        "shift_position": 100,
        "station": station,
        "throttle_1": 400,
        "throttle_2": 0,
        "wanted": v.TAKES_DRIVE_1,
        "warm_up": 0,
        "withdrawn": 0,
        "zone": plan.zones[0].number if plan.zones else 1,
    }
    names = [(f"{message.name}.{signal.name}", signal) for signal in message.signals]
    return [known.get(name, known.get(signal.name, _example_value(signal))) for name, signal in names]


def _example_value(signal: Signal) -> int:
    if signal.choices:
        return signal.choices[min(1, len(signal.choices) - 1)][0]
    if signal.signed:
        return signal.low // 3
    return (signal.high + 1) // 2 if signal.bits < 8 else signal.high // 5 * 2


def _example(message: Message, plan: WirePlan) -> Iterator[str]:
    can_id, data = example_frame(message, plan)
    yield f"Example: id `{can_id:03X}`, data `{hex_bytes(data)}`"
    _, sender = _example_sender(message, plan)
    parts = [f"counter {EXAMPLE_COUNTER}"] if message.is_safety else []
    for signal, raw in zip(message.signals, _example_values(message, plan), strict=True):
        choice = dict(signal.choices).get(raw)
        quantity = f"{raw * signal.step:g} {signal.unit}" if signal.unit else choice
        if signal.name.endswith("fingerprint"):
            quantity = f"{raw:04X}"
        parts.append(f"{signal.name} {raw}" + (f" ({quantity})" if quantity else ""))
    yield paragraph(f"From {sender}: {', '.join(parts)}.")


# ------------------------------------------------------------------------------------------------ state tables and lists


def _tables_section() -> Iterator[str]:
    yield "## State tables"
    yield paragraph(
        "An event that has no row in a state changes nothing there. A row's number never changes its meaning. The drive sends "
        "its state and the row it took last in drive_obeys, at once after the row; of rows taken in one instant the last is seen."
    )
    for state_table in (*TABLES, ALARM_TABLE):
        yield from _state_table(state_table)


def _state_table(state_table: StateTable) -> Iterator[str]:
    value = state_table.state_values
    yield f"### The {state_table.name}"
    yield f"States of the {state_table.name}, with the value on the wire; the first is the state after power-up and reset:"
    yield table(("value", "state", "what it is"), [(value[name], name, words) for name, words in state_table.states])
    yield f"Events of the {state_table.name}:"
    yield table(("event", "when"), state_table.events)
    yield f"Rows of the {state_table.name}:"
    yield table(
        ("row", "state", "event", "next state", "in words"),
        [(row.number, row.state, row.event, row.next_state, row.words) for row in state_table.rows],
    )
    yield f"The {state_table.name} at a glance: for each event, the row it takes in the state of that value (. is none):"
    moves = state_table.moves
    yield table(
        ("event", *map(str, value.values())),
        [
            (event, *(moves[state, event][1] if (state, event) in moves else "." for state in value.values()))
            for event, _ in state_table.events
        ],
    )


def _lists_section() -> Iterator[str]:
    yield "## Lists of values"
    users: dict[tuple[tuple[int, str], ...], list[str]] = {}
    for message in MESSAGES:
        for signal in message.signals:
            if signal.choices:
                users.setdefault(signal.choices, []).append(f"{message.name}.{signal.name}")
    for choices, names in users.items():
        yield paragraph(f"{', '.join(names)}:")
        yield table(("value", "means"), choices)
