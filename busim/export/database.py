"""Databases for CAN programs: a DBC and a KCD for each bus, as those show frames by name and in units.

An id has one sender, so a message sent by several nodes stands once for each of them, as `lever_wheelhouse`, `lever_upper_deck`.
Values are quantities: raw integer times step. CRC and counter are signals too, or the program would show them as nothing.

Both are written by cantools, which is only loaded here.
"""

from collections import OrderedDict
from collections.abc import Iterator
from typing import Final

from cantools.database import can
from cantools.database.can.formats.dbc import DbcSpecifics
from cantools.database.conversion import BaseConversion
from cantools.typechecking import Choices

from busim.boat.load import LoadedBoat
from busim.export.c_text import plain
from busim.export.exchange import Sent, sent_by, watched_by
from busim.export.written import MARK
from busim.protocol.codec import Message, Signal
from busim.protocol.ids import address_of

CRC: Final = "crc"
COUNTER: Final = "counter"
_SEALED: Final = (
    (Signal(CRC, 8, "CRC-8 over the id and bytes 1 to 7: polynomial 2F, start FF, result xor FF"), 56),
    (Signal(COUNTER, 8, "one more each time what it tells was sampled, 0 after 255"), 48),
)
"""What stands before the content of a safety frame, with the position of its lowest bit."""


def database_files(boat: LoadedBoat) -> dict[str, str]:
    """Path in the folder -> text: two files for each bus."""
    texts = {}
    for number, (name, rate, _) in enumerate(boat.plan.buses):
        database = bus_database(boat, number)
        texts[f"{name}.dbc"] = database.as_dbc_string()
        texts[f"{name}.kcd"] = _with_bus(database.as_kcd_string(), name, rate) + "\n"
    return texts


def _with_bus(text: str, name: str, rate: int) -> str:
    """cantools calls every bus of a KCD `Bus` and leaves out its rate. Errors: ValueError where it does so no more."""
    head, bus, rest = text.partition('<Bus name="Bus">')
    if not bus:
        raise ValueError("cantools writes the bus of a KCD otherwise")
    return f'{head}<Bus name="{name}" baudrate="{rate}">{rest}'


def bus_database(boat: LoadedBoat, number: int) -> can.Database:
    """What goes over the bus of this number."""
    name, rate, members = boat.plan.buses[number]
    listeners = _listeners(boat, number)
    nodes = [can.Node(node, _node_words(boat, node, address, kind)) for address, node, kind in _members(boat, members)]
    messages = [
        _message(sent, node, name, listeners.get(sent.can_id, []))
        for address, node, kind in _members(boat, members)
        for sent in sent_by(boat.plan, address, kind)
        if number in sent.buses
    ]
    messages.sort(key=lambda message: message.frame_id)
    return can.Database(messages, nodes, [can.Bus(name, baudrate=rate)], MARK, DbcSpecifics())


def message_name(message: Message, node: str) -> str:
    return f"{message.name}_{node}"


def _members(boat: LoadedBoat, members: tuple[int, ...]) -> Iterator[tuple[int, str, str]]:
    return (node for node in boat.plan.nodes if node[0] in members)


def _listeners(boat: LoadedBoat, number: int) -> dict[int, list[str]]:
    """Id -> names of the nodes that listen to it on this bus."""
    found: dict[int, list[str]] = {}
    for address, name, kind in _members(boat, boat.plan.buses[number][2]):
        for watched in watched_by(boat.plan, address, kind):
            if number in watched.buses and address_of(watched.can_id) != address:
                found.setdefault(watched.can_id, []).append(name)
    return found


def _node_words(boat: LoadedBoat, name: str, address: int, kind: str) -> str:
    buses = ", ".join(boat.plan.buses[bus][0] for bus in boat.plan.buses_of(address))
    return f"{name}: {kind}, address {address}, on {buses}"


def _message(sent: Sent, node: str, bus: str, listeners: list[str]) -> can.Message:
    message = sent.message
    placed = [*(_SEALED if message.is_safety else ()), *message.placed()]
    return can.Message(
        frame_id=sent.can_id,
        name=message_name(message, node),
        length=message.length,
        signals=[_signal(message, signal, position, listeners) for signal, position in placed],
        comment=plain(f"{message.words} When: {message.timing}."),
        senders=[node],
        cycle_time=sent.period_ms if sent.always and sent.period_ms else None,
        bus_name=bus,
    )


def _signal(message: Message, signal: Signal, position: int, listeners: list[str]) -> can.Signal:
    highest = position + signal.bits - 1
    start = (8 * message.length - 1 - highest) // 8 * 8 + highest % 8
    least, most = signal.range
    choices: Choices = OrderedDict((value, plain(words)) for value, words in signal.choices)
    return can.Signal(
        name=signal.name,
        start=start,
        length=signal.bits,
        byte_order="big_endian",
        is_signed=signal.signed,
        conversion=BaseConversion.factory(signal.step, 0, choices or None, is_float=False),
        minimum=least * signal.step,
        maximum=most * signal.step,
        unit=signal.unit or None,
        comment=_signal_words(signal),
        receivers=listeners,
    )


def _signal_words(signal: Signal) -> str:
    if not signal.unit:
        return plain(signal.words)
    return plain(f"{signal.words}; in {signal.unit}" + (f", steps of {signal.step:g}" if signal.step != 1 else ""))
