"""A bench session over python-can and an slcan adapter with every trouble there is: each ends with one line, and in order."""

from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from busim import bench_labels as labels
from busim.bench import link as link_module
from busim.bench import session as session_module
from busim.bench.order import ADAPTER, DONE, REFUSED, RIG, Ending, Order
from busim.bench.probe import ACKNOWLEDGED, UNACKNOWLEDGED, UNTOLD, WAIT_NS, has_a_wire, probe, rate_words
from busim.bench.session import Session
from busim.bench.wire_trouble import NO_ACKNOWLEDGEMENT, WireTrouble
from busim.bench.worker import open_way
from busim.protocol.catalogue import HEARTBEAT, IDENTITY
from busim.requirements.verdict import INCONCLUSIVE
from busim.units import MS

from .bench_rig import BOAT, KINDS, Talk
from .slcan_device import BELL, Answer, SlcanDevice, without_waits

NODE = "lamp_driver"
ADDRESS = BOAT.boat.nodes[NODE].address
SILENT: dict[bytes, Answer] = dict.fromkeys((b"", b"C", b"S", b"L", b"O", b"V", b"F", b"t"), b"")


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    without_waits(monkeypatch)
    monkeypatch.setattr(link_module, "PROBE_S", 0.05)
    monkeypatch.setattr(session_module, "SETTLING_NS", 100 * MS)


def beats() -> Iterator[bytes]:
    """A node that lives: its heartbeat, every ten calls or so."""
    can_id, counter = HEARTBEAT.can_id(ADDRESS), 0
    own = (1, 0, BOAT.plan.helm_fingerprint, BOAT.plan.lighting_fingerprint, 0)
    identity = IDENTITY.pack(1, 0, 1, 2, 3)
    while True:
        counter = (counter + 1) % 256
        yield f"t{can_id:03X}8{HEARTBEAT.pack(can_id, counter, *own).hex()}\r".upper().replace("T", "t").encode()
        yield f"t{IDENTITY.can_id(ADDRESS):03X}5{identity.hex()}\r".encode()
        yield from [b""] * 5


def session(device: SlcanDevice, *only: str) -> tuple[Ending, Talk]:
    """A whole one, in real time, as its process would play it."""
    order = Order(BOAT.boat, BOAT.plan, NODE, "main", machinery=RIG, only=only or ("heartbeats",))
    talk = Talk({})
    ending = Session(order, KINDS, talk, open_way(("adapter", "slcan", device.channel, 250_000), 250_000)).run()
    return ending, talk


@pytest.mark.parametrize(
    ("options", "why", "said"),
    [
        ({"replies": SILENT}, REFUSED, "three heartbeats are wanted"),
        ({"replies": {b"F": b"FA0\r"}}, REFUSED, "(the adapter says: the adapter sees error upon error"),
        ({"replies": {b"F": b"F08\r"}}, REFUSED, "lost frames"),
        ({"beats": lambda: b"$GPRMC,225446,A,4916.45,N\r\n"}, ADAPTER, "were no frames"),
        ({"beats": lambda: b"\xff\xfe\x80\r"}, ADAPTER, "were no frames"),
        ({"beats": lambda: b"t2818AB\r"}, ADAPTER, "were no frames"),
        ({"replies": {b"S": BELL}}, ADAPTER, "refuses a bit rate of 250000 bit/s"),
        ({"replies": {b"O": BELL}}, ADAPTER, "refuses to go on the bus"),
        ({"beats": lambda: b"t7E00\r"}, REFUSED, "This may be a boat"),
    ],
)
def test_a_trouble_ends_it_with_one_line(options: dict[str, Any], why: str, said: str) -> None:
    with SlcanDevice(**options) as device:
        ending, _ = session(device)
    assert (ending.why, ending.spoke, ending.neutral) == (why, False, None)
    assert said in ending.words
    assert ending.words.isprintable()
    assert not any(command.startswith(b"t") for command in device.told), "nothing was sent"


def test_an_adapter_that_is_unplugged_while_it_listens() -> None:
    device = SlcanDevice(opened=b"t1230\r")

    def unplugged() -> bytes:
        device.over.set()
        return b""

    device.beats = unplugged
    with device:
        ending, _ = session(device)
    assert (ending.why, ending.spoke) == (ADAPTER, False)
    assert "gone" in ending.words


def test_nobody_acknowledges() -> None:
    """The device is heard, and hears nothing: its controller only listens. The adapter tries one frame for ever."""
    living = beats()
    with SlcanDevice(beats=lambda: next(living), replies={b"F": b"F20\r"}) as device:
        ending, talk = session(device)
    assert (ending.why, ending.words) == (REFUSED, labels.NOBODY_ACKNOWLEDGES)
    assert labels.ACKNOWLEDGED[UNACKNOWLEDGED] in talk.said


@pytest.mark.slow
@pytest.mark.parametrize(
    ("replies", "told", "rate"),
    [
        ({}, ACKNOWLEDGED, labels.RATE_TAKEN),
        (SILENT, UNTOLD, labels.RATE_UNANSWERED),
    ],
)
def test_a_whole_session_says_what_is_known_of_its_adapter(replies: dict[bytes, Answer], told: str, rate: str) -> None:
    living = beats()
    with SlcanDevice(beats=lambda: next(living), replies=replies) as device:
        ending, talk = session(device)
    assert (ending.why, ending.words) == (DONE, "")
    for line in (labels.ACKNOWLEDGED[told], rate.format(bit_rate=250_000)):
        assert line in talk.said
        assert line in ending.notes
    assert any("stamps" in note for note in ending.notes)
    assert any("answers within" in note or "version" in note for note in ending.notes)
    assert {result.verdict for result in talk.came} == {"pass", "pass (self-reported)"}


@pytest.mark.slow
def test_an_adapter_that_takes_no_more_leaves_it_open() -> None:
    living = beats()
    with SlcanDevice(beats=lambda: next(living), replies={b"t": lambda command: BELL}) as device:
        ending, talk = session(device)
    assert ending.why == DONE
    assert {result.verdict for result in talk.came} == {INCONCLUSIVE}
    assert all("the adapter refused" in result.words for result in talk.came)


# ------------------------------------------------------------------------------------------------ the probe by itself


class LinkAdapter:
    """A CAN link, as far as the probe asks it."""

    def __init__(self, *, comes_back: bool, trouble: str = "", channel: str = "can0") -> None:
        self.wanted = SimpleNamespace(interface="socketcan", channel=channel, bit_rate=250_000)
        self.bus = object()
        self.echoes = 0
        self.trouble = WireTrouble()
        self.stamps = SimpleNamespace(words=lambda: "stamps")
        self.comes_back = comes_back
        self.told = trouble

    def look(self) -> None:
        """A link is asked nothing."""

    def send(self, can_id: int, data: bytes) -> None:
        self.echoes += self.comes_back
        if self.told:
            self.trouble.error_frame(0x20, bytes(8))


@pytest.mark.parametrize(
    ("comes_back", "trouble", "device", "told"),
    [
        (True, "", True, ACKNOWLEDGED),
        (False, "", True, UNACKNOWLEDGED),
        (False, NO_ACKNOWLEDGEMENT, True, UNACKNOWLEDGED),
        (True, "", False, UNTOLD),
    ],
)
def test_a_link_gives_back_what_went_out(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, comes_back: bool, trouble: str, device: bool, told: str
) -> None:
    """One without a device behind it (vcan) gives everything back at once, whoever hears it."""
    (tmp_path / "can0").mkdir()
    if device:
        (tmp_path / "can0" / "device").mkdir()
    monkeypatch.setattr("busim.bench.probe.has_a_wire", lambda adapter: has_a_wire(adapter, tmp_path))
    adapter = LinkAdapter(comes_back=comes_back, trouble=trouble)
    course = probe(adapter, adapter.send)
    waited = []
    try:
        while True:
            waited.append(next(course))
    except StopIteration as ended:
        known = ended.value
    assert known.acknowledged == told
    assert sum(waited) == 2 * WAIT_NS
    assert known.lines[0] == rate_words(adapter) == labels.RATE_OF_LINK.format(bit_rate=250_000)
