"""A lamp is shorted, and its fuse goes."""

from busim.faults.lamp_open import LampOpen


class LampShort(LampOpen):
    name = "lamp_short"
    words = "the lamps of a zone, or a navigation light, are shorted"
    effect = "the fuse goes: no light, and the driver senses that"
    broken = 2
