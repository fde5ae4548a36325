"""Messages in C: a struct each, its constants, and the functions that pack and unpack it. The arithmetic is the codec's."""

from collections.abc import Iterator
from typing import Final

from busim.export.c_text import Names, c_field, comment, heading, hexadecimal, macro, signed, unsigned
from busim.protocol.catalogue import MESSAGES
from busim.protocol.codec import Message, Signal
from busim.protocol.ids import HELM_ADDRESSES, NODE_ADDRESSES

EVERY_NODE: Final = "every node"


def struct_of(message: Message) -> str:
    """The C type of a message's content."""
    return f"busim_{c_field(message.name)}"


def type_of(signal: Signal) -> str:
    bits = 8 if signal.bits <= 8 else 16 if signal.bits <= 16 else 32
    return f"{'' if signal.signed else 'u'}int{bits}_t"


def highest_sender(message: Message) -> int:
    """Safety messages but the heartbeat are of helm addresses alone: the proof of the CRC starts rests on it."""
    return HELM_ADDRESSES[-1] if message.is_safety and message.senders != EVERY_NODE else NODE_ADDRESSES[-1]


# ------------------------------------------------------------------------------------------------ header


def message_declarations(names: Names) -> Iterator[str]:
    for message in MESSAGES:
        yield heading(f"code {message.code}: {message.name}")
        yield comment(_words(message))
        yield _constants(message, names)
        yield _struct(message)
        yield _prototypes(message)


def _words(message: Message) -> str:
    reserved = f" Reserved for {message.reserved_for}." if message.reserved_for else ""
    sealed = "Safety message: CRC in byte 0, counter in byte 1." if message.is_safety else "No CRC and no counter."
    return f"{message.words}{reserved}\nSent by: {message.senders}. When: {message.timing}. {sealed}"


def _constants(message: Message, names: Names) -> str:
    lines = [
        macro(names.give("code", message.name), unsigned(message.code)),
        macro(names.give("length", message.name), unsigned(message.length), "bytes"),
        macro(names.give("period", message.name, "ms"), unsigned(message.period_ms), "default; 0: on change only"),
    ]
    for place, signal in enumerate(message.signals):
        number = signed if signal.signed else unsigned
        for word, value in zip(("min", "max"), signal.range, strict=True):
            lines.append(macro(names.give(message.name, signal.name, word), number(value)))
        if signal.step != 1:
            lines.append(macro(names.give(message.name, signal.name, "step"), f"{signal.step:g}", f"{signal.unit} a count"))
        lines.append(macro(names.give(message.name, "outside", signal.name), hexadecimal(1 << place)))
    return "\n".join(lines)


def _struct(message: Message) -> str:
    fields = [f"    {type_of(signal)} {c_field(signal.name)}; {comment(_signal_words(signal))}" for signal in message.signals]
    name = struct_of(message)
    return "\n".join([f"typedef struct {name} {{", *fields, f"}} {name};"])


def _signal_words(signal: Signal) -> str:
    least, most = signal.range
    steps = f" Steps of {signal.step:g} {signal.unit}." if signal.step != 1 else f" In {signal.unit}."
    return f"{signal.words}. {least} to {most}.{steps if signal.unit else ''}"


def _prototypes(message: Message) -> str:
    name = struct_of(message)
    return "\n".join(f"{line};" for line in (_outside_head(name), _pack_head(message, name), _unpack_head(name)))


def _outside_head(name: str) -> str:
    return f"uint32_t {name}_outside(const {name} *message)"


def _pack_head(message: Message, name: str) -> str:
    counter = "uint8_t counter, " if message.is_safety else ""
    return f"busim_result {name}_pack(const {name} *message, uint8_t address, {counter}busim_frame *frame)"


def _unpack_head(name: str) -> str:
    return f"busim_result {name}_unpack(const busim_frame *frame, {name} *message)"


# ------------------------------------------------------------------------------------------------ source


def message_functions() -> Iterator[str]:
    for message in MESSAGES:
        yield heading(message.name)
        yield _outside_function(message)
        yield _pack_function(message)
        yield _unpack_function(message)


def _outside_function(message: Message) -> str:
    name = struct_of(message)
    lines = []
    for place, signal in enumerate(message.signals):
        if wrong := _misfit(signal):
            lines.append(f"    if ({wrong}) {{\n        outside |= {hexadecimal(1 << place)};\n    }}")
    unused = [] if lines else ["    (void)message;"]
    return "\n".join([_outside_head(name), "{", "    uint32_t outside = 0u;", *unused, *lines, "    return outside;", "}"])


def _misfit(signal: Signal) -> str:
    """The condition for a field outside its range; "" where its type can't hold such a value (compilers warn of such tests)."""
    bits = int(type_of(signal).strip("uint_"))
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if signal.signed else (0, (1 << bits) - 1)
    least, most = signal.range
    number = signed if signal.signed else unsigned
    field = f"message->{c_field(signal.name)}"
    tests = ([f"{field} < {number(least)}"] if least > low else []) + ([f"{field} > {number(most)}"] if most < high else [])
    return " || ".join(tests)


def _pack_function(message: Message) -> str:
    name = struct_of(message)
    most = highest_sender(message)
    parts = [f"    word |= {_shifted_in(signal, position)};" for signal, position in message.placed()]
    if message.is_safety:
        ending = [f"    busim_put(frame, {_id(message)}, 8u, word);", "    busim_seal(frame, counter);"]
    else:
        ending = [f"    busim_put(frame, {_id(message)}, {message.length}u, word);"]
    return "\n".join(
        [
            _pack_head(message, name),
            "{",
            "    uint64_t word = 0u;",
            f"    if ({name}_outside(message) != 0u || address < {NODE_ADDRESSES[0]}u || address > {most}u) {{",
            "        return BUSIM_OUT_OF_RANGE;",
            "    }",
            *parts,
            *ending,
            "    return BUSIM_OK;",
            "}",
        ]
    )


def _id(message: Message) -> str:
    return f"busim_id({message.code}u, address)"


def _shifted_in(signal: Signal, position: int) -> str:
    field = f"message->{c_field(signal.name)}"
    mask = f"0x{(1 << signal.bits) - 1:X}ull"
    value = f"((uint64_t)(u{type_of(signal)}){field} & {mask})" if signal.signed else f"((uint64_t){field} & {mask})"
    return f"{value} << {position}" if position else value


def _unpack_function(message: Message) -> str:
    name = struct_of(message)
    sound = f"busim_opened(frame, {message.code}u, {message.length}u, {'true' if message.is_safety else 'false'}, &word)"
    parts = [f"    message->{c_field(signal.name)} = {_shifted_out(signal, position)};" for signal, position in message.placed()]
    return "\n".join(
        [
            _unpack_head(name),
            "{",
            "    uint64_t word = 0u;",
            f"    const busim_result result = {sound};",
            "    if (result != BUSIM_OK) {",
            "        return result;",
            "    }",
            *parts,
            f"    return {name}_outside(message) != 0u ? BUSIM_OUT_OF_RANGE : BUSIM_OK;",
            "}",
        ]
    )


def _shifted_out(signal: Signal, position: int) -> str:
    raw = f"((word >> {position}) & 0x{(1 << signal.bits) - 1:X}ull)" if position else f"(word & 0x{(1 << signal.bits) - 1:X}ull)"
    if signal.signed:
        half = 1 << signal.bits - 1
        return f"({type_of(signal)})((int64_t)({raw} ^ 0x{half:X}ull) - {half}ll)"
    return f"({type_of(signal)}){raw}"
