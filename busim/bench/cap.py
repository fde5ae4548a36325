"""The most throttle that may reach a device: looked at in every frame on its way out, whoever made it and whatever its CRC is.

A device that acts on frames it ought to refuse is what a bench is there to find, so a bad frame is held to the cap like a good one.
"""

from typing import Final

from busim.protocol.catalogue import CLAIM, LEVER

_FIELDS: Final = {
    message.code: tuple(message.place(f"throttle_{drive}") for drive in (1, 2)) for message in (LEVER, CLAIM)
}


def within_cap(can_id: int, data: bytes, cap_permille: int) -> bool:
    """Does this frame ask for no more throttle than that, in any drive's field? Only 8 bytes can be read as a lever or a claim."""
    fields = _FIELDS.get(can_id >> 6)
    if fields is None or len(data) != 8:
        return True
    whole = int.from_bytes(data, "big")
    return all(whole >> below & mask <= cap_permille for below, mask in fields)
