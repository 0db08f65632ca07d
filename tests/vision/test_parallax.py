"""The cylinder's formulas against numbers worked by hand and against rays cast at a cylinder."""

from __future__ import annotations

import math

import pytest

from vision.parallax import FARTHEST, angle_at, parallax_divisions

RS, RT = 7.75, 8.15  # mm: a common sleeve, and a bevel's edge 0.4 mm proud of it
ROLL = math.radians(20)


def by_rays(roll_rad: float, rs: float, rt: float, divisions: int) -> float:
    """Meet a level ray through the line with the thimble's circle, by coordinates alone."""
    height = rs * math.sin(roll_rad)
    seen = math.atan2(height, math.sqrt(rt**2 - height**2))
    return (seen - roll_rad) / (2 * math.pi / divisions)


@pytest.mark.parametrize(
    ("divisions", "size"), [(50, 0.14170207607098909), (100, 0.28340415214197817)]
)
def test_a_worked_example(divisions: int, size: float) -> None:
    # asin(7.75 sin 20 deg / 8.15) = 0.331259 rad, 0.017807 rad short of 20 deg; N / 2 pi of that.
    # The larger circle is met at the smaller angle: turned up, the line points at too little.
    assert parallax_divisions(ROLL, RS, RT, divisions) == pytest.approx(-size, rel=1e-12)
    assert parallax_divisions(-ROLL, RS, RT, divisions) == pytest.approx(size, rel=1e-12)


@pytest.mark.parametrize("degrees", [-35, -20, -3.7, 0.4, 12, 35])
@pytest.mark.parametrize(("rs", "rt"), [(RS, RT), (4.6, 4.72), (9.5, 9.95)])
def test_rays_that_meet_a_cylinder_agree(degrees: float, rs: float, rt: float) -> None:
    roll = math.radians(degrees)
    seen = parallax_divisions(roll, rs, rt, 50)
    assert seen == pytest.approx(by_rays(roll, rs, rt, 50), abs=1e-12)
    assert seen * roll < 0
    assert seen != pytest.approx(by_rays(roll, rt, rs + 2 * (rt - rs), 50), abs=1e-6)


def test_it_is_odd_and_nothing_on_a_straight_look_or_without_a_step() -> None:
    assert parallax_divisions(0.0, RS, RT, 50) == 0
    for degrees in range(1, 40):
        roll = math.radians(degrees)
        there = parallax_divisions(roll, RS, RT, 50)
        assert there < parallax_divisions(roll - 0.01, RS, RT, 50)  # it grows with the roll
        assert there == -parallax_divisions(-roll, RS, RT, 50)
        assert parallax_divisions(roll, RS, RS, 50) == pytest.approx(0, abs=1e-12)


def test_the_angle_follows_from_the_height() -> None:
    # sin 30 deg = 1/2
    assert angle_at(3.875, RS) == pytest.approx(math.pi / 6, rel=1e-12)
    assert angle_at(-3.875, RS) == pytest.approx(-math.pi / 6, rel=1e-12)
    assert angle_at(0.0, RS) == 0
    for degrees in range(-60, 61, 7):
        height = RS * math.sin(math.radians(degrees))
        assert angle_at(height, RS) == pytest.approx(math.radians(degrees), abs=1e-12)
    # sin 71.805 deg = 0.95
    for height in (0.96 * RS, 1.01 * RS, 2 * RS):
        assert math.degrees(angle_at(height, RS)) == pytest.approx(71.805, abs=0.001)
        assert angle_at(-height, RS) == -angle_at(height, RS)
    assert FARTHEST == 0.95


@pytest.mark.parametrize(
    ("rs", "rt"), [(0.0, 8.0), (-7.75, 8.15), (8.15, 7.75), (math.nan, 8.0), (7.0, math.nan)]
)
def test_radii_that_no_gauge_has_are_refused(rs: float, rt: float) -> None:
    with pytest.raises(ValueError, match="0 < sleeve <= thimble"):
        parallax_divisions(ROLL, rs, rt, 50)
