"""What a level means: CIE 1976 lightness, PWM steps, and the colours that lamps can make; against colour-science."""

import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busim.plant.lamp import FULL_DUTY, Lamp, lightness_permille
from busim.protocol.lightness import duty_for, light_share
from nodes import lamp_colour
from nodes.lamp_colour import FULL_SHARE, kelvin_shares, linear_of, rgb_shares

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    colour = pytest.importorskip("colour", reason="the oracle for lightness and colour is a test dependency")


@pytest.mark.parametrize("permille", range(0, 1001, 7))
def test_lightness_is_cie_1976(permille: int) -> None:
    part, whole = light_share(permille)
    assert part / whole == pytest.approx(float(colour.colorimetry.luminance_CIE1976(permille / 10, 1.0)), rel=1e-9, abs=1e-12)


def test_worked_values() -> None:
    """Reference values: L* 50 is Y 0.1841865, L* 10 is 0.0112603."""
    for permille, share in ((500, 0.1841865), (100, 0.0112603), (1000, 1.0), (0, 0.0)):
        part, whole = light_share(permille)
        assert part / whole == pytest.approx(share, abs=2e-7)


@pytest.mark.parametrize(("bits", "smallest"), [(8, 3.54), (12, 0.221)])
def test_smallest_step_of_pwm(bits: int, smallest: float) -> None:
    """Reference values: the smallest step of 8-bit PWM is L* 3.54, of 12-bit 0.221. Whatever is lit at all is lit by one step."""
    steps = 2**bits - 1
    assert duty_for(1, steps) == 1
    assert duty_for(0, steps) == 0
    assert float(colour.colorimetry.lightness_CIE1976(1 / steps, 1.0)) == pytest.approx(smallest, abs=0.005)
    assert lightness_permille(1, steps) == round(smallest * 10) or bits == 12


@settings(deadline=None)
@given(duty=st.integers(0, FULL_DUTY))
def test_the_plant_sees_lightness_by_itself(duty: int) -> None:
    wanted = float(colour.colorimetry.lightness_CIE1976(duty / FULL_DUTY, 1.0)) * 10
    shown = lightness_permille(duty)
    assert abs(shown - wanted) <= 0.51 or (duty and shown == 1)


@settings(deadline=None)
@given(permille=st.integers(0, 1000), bits=st.integers(8, 16))
def test_duty_there_and_back_is_the_nearest_step(permille: int, bits: int) -> None:
    steps = 2**bits - 1
    duty = duty_for(permille, steps)
    part, whole = light_share(permille)
    assert abs(duty * whole - part * steps) * 2 <= whole or duty == 1
    assert duty_for(min(permille + 1, 1000), steps) >= duty


@pytest.mark.parametrize("byte", range(256))
def test_srgb_is_linear_as_the_standard_has_it(byte: int) -> None:
    """IEC 61966-2-1; the fifth root is by Newton's steps."""
    value = byte / 255
    assert linear_of(byte) == pytest.approx(value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4, rel=1e-12)


def mixed(shares: tuple[int, ...]) -> tuple[float, float]:
    """Chromaticity of three lamps of equal luminance, by colour-science."""
    whole = [0.0, 0.0, 0.0]
    for share, xy in zip(shares, ((0.690, 0.308), (0.170, 0.700), (0.136, 0.040)), strict=False):
        xyz = colour.xy_to_XYZ(xy)
        whole = [so_far + share * float(part) for so_far, part in zip(whole, xyz, strict=True)]
    x, y = (float(part) for part in colour.XYZ_to_xy(whole))
    return x, y


@pytest.mark.parametrize("wanted", [0xFFFFFF, 0xFF8000, 0xFF9040, 0x808080, 0x2040FF, 0xFFD0A0, 0xFF0000])
def test_a_colour_in_reach_comes_out_as_asked(wanted: int) -> None:
    shares, out_of_reach = rgb_shares(wanted, 3)
    assert not out_of_reach
    assert max(shares) == FULL_SHARE
    rgb = [(wanted >> place & 0xFF) / 255 for place in (16, 8, 0)]
    xyz = colour.sRGB_to_XYZ(rgb)
    assert mixed(shares) == pytest.approx(tuple(float(part) for part in colour.XYZ_to_xy(xyz)), abs=0.002)


@pytest.mark.parametrize("channels", [3, 4])
@pytest.mark.parametrize("wanted", [0xFF0000, 0x00FF00, 0x0000FF])
def test_the_primaries_are_in_reach_and_with_them_all_of_srgb(wanted: int, channels: int) -> None:
    assert not rgb_shares(wanted, channels)[1]


@pytest.mark.parametrize(("wanted", "dark"), [(0xFF0000, (1, 2)), (0x00FFFF, (0,)), (0xFF8000, (2,))])
def test_a_colour_out_of_reach_becomes_the_nearest(monkeypatch: pytest.MonkeyPatch, wanted: int, dark: tuple[int, ...]) -> None:
    """Paler lamps than those meant: what would have to be taken away is left out."""
    paler = {"red": (0.55, 0.36), "green": (0.30, 0.55), "blue": (0.18, 0.12), "white": (0.4578, 0.4101)}
    monkeypatch.setattr(lamp_colour, "_CHROMATICITY", paler)
    shares, out_of_reach = rgb_shares(wanted, 3)
    assert out_of_reach
    assert max(shares) == FULL_SHARE
    assert tuple(place for place, share in enumerate(shares) if not share) == dark


def test_black_is_dark() -> None:
    assert rgb_shares(0, 3) == ((0, 0, 0), False)
    assert rgb_shares(0, 4) == ((0, 0, 0, 0), False)


def test_white_lamps_take_the_white_part() -> None:
    shares, out_of_reach = rgb_shares(0xFFFFFF, 4)
    assert not out_of_reach
    assert shares[3] > 0
    assert min(shares[:3]) == 0, "one of the three is not needed"


@pytest.mark.parametrize(
    ("kelvin", "shares", "out"),
    [(2700, (FULL_SHARE, 0), False), (6000, (0, FULL_SHARE), False), (2000, (FULL_SHARE, 0), True), (9000, (0, FULL_SHARE), True)],
)
def test_white_between_warm_and_cool(kelvin: int, shares: tuple[int, int], out: bool) -> None:
    assert kelvin_shares(kelvin, 2700, 6000) == (shares, out)


def test_half_way_in_mired_is_half_of_each() -> None:
    """Mixed by reciprocal temperature: common practice, no source."""
    half_way = round(2e6 / (1e6 / 2700 + 1e6 / 6000))
    shares, _ = kelvin_shares(half_way, 2700, 6000)
    assert shares == pytest.approx((FULL_SHARE, FULL_SHARE), rel=0.002)


def test_a_lamp_shows_its_brightest_channel_and_the_shares() -> None:
    lamp = Lamp(3)
    lamp.duties = [FULL_DUTY, FULL_DUTY // 2, 0]
    assert lamp.look() == (1000, 0xFF7F00)
    lamp.broken = 1
    assert lamp.look() == (0, 0)
    lamp.broken, lamp.duties = 0, [0, 0, 0]
    assert lamp.look() == (0, 0)
    lamp.forced = True
    assert lamp.look()[0] == 1000
