"""Every word about adapters, and about listening to a live bus, so that they can be read together."""

from typing import Final

ADAPTER_NO_WIRE: Final = "no wire behind it: nothing is acknowledged, and nothing can be disturbed"
ADAPTER_SILENT: Final = (
    "the adapter is told to listen only: it does not even acknowledge. A single node on the bus with it is left without "
    "acknowledgement, sends again for ever and reports an error; two nodes or more are not disturbed"
)
ADAPTER_ACKNOWLEDGES: Final = (
    "this adapter can't be told to listen only: busim sends nothing, but the adapter acknowledges what others send, and at a wrong "
    "bit rate it may disturb them (the boat file says {bit_rate} bit/s)"
)
ADAPTER_AS_ASKED: Final = (
    "busim sends nothing, but the adapter acknowledges what it hears, as was asked: at a wrong bit rate it disturbs the others"
)
ADAPTER_BY_LINK: Final = (
    "busim sends nothing; whether the adapter listens only is set where its link is: "
    "sudo ip link set {channel} down; sudo ip link set {channel} up type can bitrate {bit_rate} listen-only on"
)
ADAPTER_GONE: Final = "{interface} {channel}: the adapter is gone or gives nothing any more ({why}); {hint}"
ADAPTER_NOT_OPEN: Final = "{interface} {channel}: can't be opened ({why}); {hint}"
ADAPTER_REFUSES: Final = "{interface} {channel}: {words}"
ADAPTER_NO_SUCH_RATE: Final = "a serial adapter knows no such bit rate as {{bit_rate}}: it knows {rates} bit/s"
ADAPTER_REFUSES_RATE: Final = (
    "the adapter refuses a bit rate of {bit_rate} bit/s: it may not know it, or may be no slcan adapter; try another adapter, or "
    "another --channel"
)
ADAPTER_REFUSES_TO_OPEN: Final = (
    "the adapter refuses to go on the bus at {bit_rate} bit/s: plug it in anew, see that no other program has it, and that this is "
    "the bus's bit rate"
)
ADAPTER_REFUSES_TO_LISTEN: Final = (
    "the adapter refuses to listen only at {bit_rate} bit/s: see that this is the bus's bit rate; if it just can't listen only, "
    "--acknowledge opens it as one that acknowledges what it hears"
)
ADAPTER_NEVER_SENDS: Final = "the adapter was opened to listen only: nothing is sent by it"
ADAPTER_UNKNOWN: Final = "{interface}: no kind of adapter has this name; {meant}"
ADAPTER_MEANT: Final = "did you mean {name}?"
ADAPTER_KNOWN: Final = "known are {names}"
FOUND_LINK: Final = "a CAN link of this computer"
FOUND_SERIAL: Final = "a serial port, if an slcan adapter is behind it"
FOUND_DRIVER: Final = "found by its driver"
TRY_NONE: Final = "is it plugged in, and is this its name? --list shows what is there"
TRY_PERMISSION: Final = "you may not use it: join the group that may (often dialout), log in anew, and try again"
TRY_BUSY: Final = "another program has it: close that, or wait for it to end"
TRY_DOWN: Final = "the link is down: sudo ip link set {channel} up type can bitrate {bit_rate} listen-only on"
TRY_PLUG: Final = "look at its plug and cable, plug it in anew, and try again"
TRY_LINUX: Final = "this kernel has no CAN: another kind of adapter may do, such as slcan"
TRY_DRIVER: Final = "its driver, or the Python package for it, is not installed here"
TRY_NOBODY: Final = "nobody is at that port: start what is to be there first (busim plug tells its own)"
TRY_RATE: Final = "it may not take {bit_rate} bit/s, or not listen only: look what it can do"
TRY_ALONE: Final = (
    "nothing it is handed goes out: is another node on the bus, with power, at {bit_rate} bit/s, and 120 ohm at both ends?"
)
RATE_ELSEWHERE: Final = "RATE"
TRY_VALUES: Final = "look at --interface, --channel and the bit rate"
WIRE_LOST: Final = "the adapter lost frames: it, or this computer, was too slow for what is on the bus"
WIRE_PASSIVE: Final = (
    "the adapter sees error upon error: most often another bit rate, a terminator that is missing (60 ohm between the wires with "
    "the power off), swapped wires, or nobody else on the bus"
)
WIRE_BUS_OFF: Final = (
    "the adapter went off the bus for too many errors (bus-off): look at bit rate, terminators and wires, then plug it in anew"
)
WIRE_ERRORS: Final = "the adapter sees errors on the bus: look at bit rate, terminators and wires"
WIRE_UNACKNOWLEDGED: Final = "nobody acknowledges: is another node on the bus, with power, at the same bit rate?"
STAMPS_NONE: Final = "its frames bear no stamps of its own: they are stamped by this computer's clock as they are read"
STAMPS_KERNEL: Final = "its frames are stamped by this computer's kernel as they come in"
STAMPS_FEW: Final = "how fine its stamps are is not known: too few frames came"
STAMPS_FINE: Final = "its frames bear stamps of its own, in steps of {us} us"
NO_ADAPTERS: Final = "no adapter found: is it plugged in? A serial one shows up as a port, others need their driver"
ADAPTERS_HEAD: Final = ("--interface", "--channel", "what it is")

# ------------------------------------------------------------------------------------------------ listening to a live bus

LISTEN_WITHOUT_BOAT: Final = "no boat file is named: frames are told by the protocol alone, and nothing is judged"
LISTEN_HEAD: Final = "listening: {interface} {channel}, called {bus}; busim sends nothing"
LISTEN_ENDS: Final = "Ctrl-C ends it"
LISTEN_KEPT: Final = "every frame is kept in {path}"
RECORD_SUFFIX: Final = "a log as candump writes it is kept: end its name in .log, so that other programs know it"
RECORD_IS_THERE: Final = "is there already: a log is never written over"
RECORD_NOT_WRITTEN: Final = "can't be written ({why}): what was heard before that is kept"
RATE_IS_WRITTEN: Final = (
    "the boat file says {bit_rate} bit/s for the bus {bus}, and a node at another rate disturbs it: leave --bit-rate out"
)
RATE_WANTED: Final = "at which bit rate? Name the boat, whose file says so, or --bit-rate"
BUS_OF_NO_BOAT: Final = "a bus of which boat? Name the boat file"
ADAPTER_WANTED: Final = "which adapter? {there}"
ADAPTERS_ARE: Final = "There may be: {names}"
NOTHING_HEARD: Final = (
    "nothing is heard: is the bus powered, is {bit_rate} bit/s its bit rate, is the adapter on the right bus, its wires the right "
    "way round, and 120 ohm at both ends (60 ohm between the wires with the power off)? A node alone on a bus needs somebody who "
    "acknowledges: --acknowledge makes that the adapter"
)
HEARD_FIRST: Final = "{node} is heard"
NOTHING_NOW: Final = "nothing is heard any more"
ADAPTER_GARBAGE: Final = (
    "{interface} {channel}: {count} lines from it were no frames: is it an slcan adapter, at this speed of its port "
    "(--channel PORT@SPEED), and does no other program use it?"
)
GARBAGE_LEFT_OUT: Final = "lines from the adapter that were no frames, and are left out: {count:,}"
TROUBLE_NOT_TOLD: Final = "the adapter told nothing of errors on the bus, or of frames it lost: it may not be able to"
HEARD_FRAMES: Final = "{frames:,} frames were heard"
IDS_HEAD: Final = ("id", "frames", "what it said last")
AGAIN_FROM: Final = "busim judge {path} {boat}"
