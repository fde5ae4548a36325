"""The zone driver in C against the one in Python: the same calls, the same frames, outputs and deadlines."""

import random
import subprocess
from pathlib import Path

import pytest

from busim.protocol.catalogue import HEARTBEAT, PRESS, SCENE
from busim.protocol.values import NODE_WORKING
from nodes.lamp_colour import rgb_shares

from .c_driver import STRICT, compiler
from .firmware_rig import FIRMWARE, Drawn, Firmware, lives_in

DRIVERS = (("marsh_tern", "fore_driver"), ("marsh_tern", "saloon_driver"), ("marsh_tern", "deck_driver"))
LONGEST_NS = 300_000_000


def drawn_event(played: Drawn) -> str:
    """A press, a scene, a heartbeat, an input, or nonsense; of numbers that are often repeated."""
    draw, plan = played.draw, played.boat.plan
    zones = [zone.number for zone in plan.zones_of(played.entry.address)]
    bus, panel = plan.buses_of(played.entry.address)[0], draw.choice(plan.panels).address
    what = draw.randrange(20)
    if what < 10:
        colour = draw.choice((0, draw.randrange(1 << 24), 2700, 4000, 20000))
        number, zone, level = draw.randrange(4), draw.choice([*zones, 200]), draw.choice((0, 10, 500, 1000))
        data = PRESS.pack(number, zone, draw.randrange(10), level, colour, 1)
        return f"F {bus} {PRESS.can_id(panel):x} {data.hex()}"
    if what < 14:
        revision = plan.scene_revision ^ (not draw.randrange(4))
        scene = draw.choice([*(each.number for each in plan.scenes), 255, 0, 77])
        data = SCENE.pack(draw.randrange(4), scene, revision, draw.choice((0, 30, 200)), not draw.randrange(3))
        return f"F {bus} {SCENE.can_id(panel):x} {data.hex()}"
    if what == 14:
        can_id = HEARTBEAT.can_id(panel)
        return f"F {bus} {can_id:x} {HEARTBEAT.pack(can_id, 1, NODE_WORKING, 0, 1, 2, 3).hex()}"
    if what < 17:
        return f"I {draw.choice(('switch', 'lamp'))}.{draw.choice([*zones, 99])} {draw.choice((0, 1, 2, 3, -1, 70000))}"
    if what == 17:
        return f"C {bus} {draw.randrange(3)}"
    garbage = draw.randbytes(draw.randrange(9)).hex() or "-"
    return f"F {bus} {draw.choice((PRESS, SCENE)).can_id(panel):x} {garbage}"


def drawn_lives_differ(firmware: Firmware, boat: str, node: str, lives: int, calls: int, first_seed: int = 0) -> list[str]:
    trace = []
    for seed in range(first_seed, first_seed + lives):
        trace += Drawn(firmware.boat(boat), node, random.Random(f"{seed} {node}")).play(calls, drawn_event, LONGEST_NS)
    return firmware.differences(trace, boat, node)


def test_drawn_calls(firmware: Firmware) -> None:
    assert drawn_lives_differ(firmware, "marsh_tern", "saloon_driver", 20, 60) == []


@pytest.mark.slow
@pytest.mark.parametrize(("boat", "node"), DRIVERS)
def test_many_drawn_calls(boat: str, node: str, firmware: Firmware) -> None:
    assert drawn_lives_differ(firmware, boat, node, 100, 80, 1000) == []


def test_a_scene_and_what_follows(firmware: Firmware) -> None:
    lives = lives_in(firmware.boat("marsh_tern"), "driver_back_at_night", 1, ("zone_driver",))["saloon_driver"]
    assert sum(map(len, lives)) > 100
    assert [firmware.differences(life, "marsh_tern", "saloon_driver") for life in lives] == [[]] * len(lives)


COLOURS_MAIN = """
#include <stdio.h>
#include "zone_colour.h"
int main(void)
{
    unsigned colour, channels;
    while (scanf("%x %u", &colour, &channels) == 2) {
        uint16_t shares[ZONE_MOST_CHANNELS] = {0u, 0u, 0u, 0u};
        const bool out = zone_rgb_shares(colour, (uint16_t)channels, shares);
        printf("%d %u %u %u %u\\n", (int)out, shares[0], shares[1], shares[2], shares[3]);
    }
    return 0;
}
"""


def test_colours_in_whole_numbers(tmp_path: Path) -> None:
    """Where the Python one, with floating point, is within a hair of half a part, C may round the other way: one part, seldom."""
    (tmp_path / "colours.c").write_text(COLOURS_MAIN)
    sources = [tmp_path / "colours.c", FIRMWARE / "zone_colour.c"]
    subprocess.run([compiler(), *STRICT, f"-I{FIRMWARE}", *sources, "-o", tmp_path / "colours"], check=True)
    draw = random.Random(1)
    asked = [(draw.randrange(1 << 24), draw.choice((3, 4))) for _ in range(2000)]
    asked += [(draw.randrange(6) << 16 | draw.randrange(6) << 8 | draw.randrange(6), draw.choice((3, 4))) for _ in range(500)]
    text = "".join(f"{colour:x} {channels}\n" for colour, channels in asked)
    answers = subprocess.run([tmp_path / "colours"], input=text, capture_output=True, text=True, check=True).stdout.splitlines()
    others = 0
    for (colour, channels), answer in zip(asked, answers, strict=True):
        shares, out_of_reach = rgb_shares(colour, channels)
        expected = [int(out_of_reach), *shares, *[0] * (4 - channels)]
        given = [int(word) for word in answer.split()]
        assert max(abs(one - other) for one, other in zip(expected, given, strict=True)) <= 1, hex(colour)
        others += expected != given
    assert others <= 2
