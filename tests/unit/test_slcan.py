"""The adapter's end of slcan, held against the command tables of the LAWICEL CANUSB and CAN232 manuals, and against any bytes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busim.bench.slcan import LONGEST_LINE, OPEN, Slcan, frame_line, rate_of


class OpenWire:
    """A wire that takes everything and writes down what it was told."""

    def __init__(self, *, full: bool = False) -> None:
        self.told: list[object] = []
        self.full = full

    def go_on_bus(self, *, listen_only: bool) -> None:
        self.told.append("L" if listen_only else "O")

    def leave_bus(self) -> None:
        self.told.append("C")

    def transmit(self, can_id: int, data: bytes) -> bool:
        if not self.full:
            self.told.append((can_id, data))
        return not self.full

    def flags(self) -> int:
        return 0xA4


@pytest.mark.parametrize(
    ("written", "answered"),
    [
        # Examples of the manuals, as remembered: t10021133 sends id 100 with 11 33; T0000010021133; r1002.
        (b"S5\rO\rt10021133\r", b"\r\rz\r"),
        (b"S5\rO\rT0000010021133\r", b"\r\r\a"),
        (b"S5\rO\rr1002\r", b"\r\r\a"),
        (b"t10021133\r", b"\a"),  # not open
        (b"S5\rL\rt10021133\r", b"\r\r\a"),  # listening only
        (b"O\rF\r", b"\rFA4\r"),
        (b"F\r", b"\a"),  # not open
        (b"V\rN\r", b"V0101\rNBSIM\r"),
        (b"O\rV\r", b"\rV0101\r"),
        (b"O\rO\r", b"\r\a"),  # open already
        (b"O\rS5\r", b"\r\a"),  # only while closed
        (b"C\r", b"\a"),  # closed already
        (b"O\rC\rO\r", b"\r\r\r"),
        (b"Z1\rZ0\rX1\r", b"\r\r\r"),
        (b"Z2\r", b"\a"),
        (b"X0\r", b"\a"),
        (b"M00000000\rmFFFFFFFF\r", b"\r\r"),
        (b"S9\r", b"\a"),
        (b"S4\rO\r", b"\r\a"),  # the bus has another rate
        (b"s011C\rO\r", b"\r\r"),  # BTR0 01, BTR1 1C at 8 MHz: 8 MHz / 2 / 16 = 250 kbit/s
        (b"s031C\rO\r", b"\r\a"),  # 125 kbit/s
        (b"\r\r\r", b"\r\r\r"),
        (b"O\rt8000\r", b"\r\a"),  # no 11-bit id
        (b"O\rt1009112233445566778899\r", b"\r\a"),  # nine bytes
        (b"O\rt10021\r", b"\r\a"),  # cut short
        (b"O\rt1002113344\r", b"\r\a"),  # longer than it says
        (b"O\rt10_21133\r", b"\r\a"),
        (b"O\rt1000\rt7FF8AABBccddeeff0011\r", b"\rz\rz\r"),
        (b"O\r\nt1000\r\n", b"\rz\r"),
        (b"\xff\xfe\x80\rV\r", b"\aV0101\r"),
        (b"x" * 5000 + b"\rV\r", b"\aV0101\r"),
    ],
)
def test_commands_and_answers(written: bytes, answered: bytes) -> None:
    whole = Slcan(OpenWire(), 250_000)
    assert whole.feed(written) == answered
    by_bytes = Slcan(OpenWire(), 250_000)
    assert b"".join(by_bytes.feed(bytes([byte])) for byte in written) == answered
    assert whole.refused == by_bytes.refused == answered.count(b"\a")


def test_a_full_queue_is_a_bell() -> None:
    slcan = Slcan(OpenWire(full=True), 250_000)
    assert slcan.feed(b"O\rt1000\r") == b"\r\a"


def test_leaving_closes_once() -> None:
    wire = OpenWire()
    slcan = Slcan(wire, 250_000)
    slcan.feed(b"O\r")
    slcan.leave()
    slcan.leave()
    assert wire.told == ["O", "C"]


@pytest.mark.parametrize(
    ("command", "rates"),
    # LAWICEL CANUSB manual, command S; the BTR values for each rate stand in its appendix for 16 MHz, as remembered.
    [
        (b"S0", 10_000), (b"S4", 125_000), (b"S6", 500_000), (b"S7", 800_000), (b"S8", 1_000_000), (b"s001C", 500_000),
        (b"s0014", 1_000_000),
    ],
)
def test_rates(command: bytes, rates: int) -> None:
    assert rates in (rate_of(command) or ())


@given(st.binary(max_size=400))
def test_any_bytes_are_borne(written: bytes) -> None:
    wire = OpenWire()
    slcan = Slcan(wire, 250_000)
    slcan.feed(b"O\r")
    answers = slcan.feed(written)
    assert len(slcan._line) <= LONGEST_LINE
    assert answers.count(b"\r") + answers.count(b"\a") == written.count(b"\r")
    if slcan.state == OPEN:
        assert slcan.feed(b"\rV\r").endswith(b"V0101\r")


@given(st.integers(0, 0x7FF), st.binary(max_size=8), st.none() | st.integers(0, 10**9))
def test_a_frame_goes_out_as_it_is_read(can_id: int, data: bytes, stamp_ms: int | None) -> None:
    wire = OpenWire()
    line = frame_line(can_id, data, stamp_ms)
    without_stamp = line if stamp_ms is None else line[:-5] + b"\r"
    Slcan(wire, 250_000).feed(b"O\r" + without_stamp)
    assert wire.told == ["O", (can_id, data)]
    if stamp_ms is not None:
        assert int(line[-5:-1], 16) == stamp_ms % 60_000
