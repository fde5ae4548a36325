"""The codec against frames worked out by hand (see `worked_frames`); their CRC is asked of crccheck again here."""

import pytest
from crccheck.crc import Crc8Autosar  # type: ignore[import-untyped]

from busim.protocol.catalogue import BY_NAME, MESSAGES
from busim.protocol.codec import INVALID, check, counter_of, read_plain

from .worked_frames import WORKED, Worked


@pytest.mark.parametrize("worked", WORKED, ids=lambda worked: f"{worked.name}-{worked.address}-{worked.counter}")
def test_worked_frame(worked: Worked) -> None:
    message, data = BY_NAME[worked.name], bytes.fromhex(worked.data)
    assert message.can_id(worked.address) == worked.can_id
    if worked.counter < 0:
        assert message.pack(*worked.raw) == data
        word = read_plain(message, data)
    else:
        assert data[0] == Crc8Autosar.calc(worked.can_id.to_bytes(2, "big") + data[1:])
        assert message.pack(worked.can_id, worked.counter, *worked.raw) == data
        word = check(worked.can_id, data)
        assert counter_of(word) == worked.counter
    assert word != INVALID
    assert message.unpack(word) == worked.raw


def test_every_message_was_worked_out() -> None:
    assert {worked.name for worked in WORKED} == {message.name for message in MESSAGES}
