"""Results with their budgets, against hand calculations, the GUM and another package."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.gauge import PHOTOS, Gauge, ZeroCheck, ZeroPhoto
from reading.measurement.conformity import PASS, Limits
from reading.measurement.measure import About, measure
from reading.measurement.result import CalibrationShare, Layout, OneReading
from reading.measurement.student import coverage_factor
from reading.measurement.temperature import Warmth, parse_expansion
from reading.problem import Problem
from reading.result import FROM_USER, PhotoRecord, When
from reading.uncertainty import Budget, Component, rectangular
from vision.scale import Scale

FINE = Gauge("G1", Scale(Decimal("0.5"), 50), Decimal(25))
NOON = datetime(2026, 11, 25, 12, 0)
WHEN = When(NOON, FROM_USER)
ZERO = ZeroCheck("G1", NOON - timedelta(days=5), Decimal("0.02"), rectangular(0.01))


def photographed(text, u=0.0):
    """Readings from photos: no eye, so no parallax of the eye."""
    return [
        OneReading(Decimal(word), f"{n}.jpg", PhotoRecord(f"{n}.jpg", f"{n:064x}"), u)
        for n, word in enumerate(text.split())
    ]


def typed(text):
    return [OneReading(Decimal(word), word) for word in text.split()]


def parts(result):
    return {part.name: part.u for part in result.budget.components}


def test_five_readings_worked_by_hand():
    # s = √(28e-5 / 4), u_A = s / √5, least count and zero 0.01 / √12 each;
    # ν = 4 (u / u_A)⁴ = 19.19, cut to 19, t95 = 2.0930 (GUM 4.2, F.2.2.1, G.4.1, table G.2).
    result = measure(FINE, photographed("1.22 1.23 1.22 1.24 1.23"), About(WHEN, checks=(ZERO,)))
    assert result.value == Decimal("1.208")
    assert result.repeats.spread == pytest.approx(0.008366600265340763, rel=1e-12)
    assert result.budget.combined == pytest.approx(0.005537749241945385, rel=1e-12)
    assert result.budget.degrees_of_freedom == pytest.approx(19.192743764172295, rel=1e-9)
    assert result.budget.k == pytest.approx(2.0930240544083087, rel=1e-9)
    assert result.budget.expanded == pytest.approx(0.011590642370673069, rel=1e-9)


def test_equal_readings_are_not_certain():
    # s = 0, yet two rectangles of 0.01 mm are left: k · 0.01 / √6.
    result = measure(FINE, photographed("1.22 1.22 1.22 1.22 1.22"), About(WHEN, checks=(ZERO,)))
    assert math.isinf(result.budget.degrees_of_freedom)
    assert result.budget.expanded == pytest.approx(1.959963984540054 * 0.01 / math.sqrt(6))
    fixed = measure(FINE, photographed("1.22"), About(WHEN, checks=(ZERO,), fixed_k=2.0))
    assert fixed.budget.expanded == pytest.approx(0.008164965809277262, rel=1e-12)


def test_end_gauge_of_the_gum():
    # GUM H.1: shares in nm with their degrees of freedom; published u 32 nm, ν 16, U99 93 nm.
    shares = (
        (25, 18),
        (5.8, 24),
        (3.9, 5),
        (6.7, 8),
        (2.8867873, 50),
        (16.5990271, 2),
    )
    budget = Budget("nm", tuple(Component("share", u, "", nu) for u, nu in shares))
    assert budget.combined == pytest.approx(31.663879111008633, rel=1e-7)
    assert budget.degrees_of_freedom == pytest.approx(16.751855737627245, rel=1e-6)
    k = coverage_factor(0.99, budget.degrees_of_freedom)
    assert round(k, 2) == 2.92
    assert round(k * 31.8) == 93
    assert budget.combined * k == pytest.approx(92.5, abs=0.1)


def test_three_factors_of_the_gum():
    # GUM G.4.1, example: relative u in percent and n - 1; ν_eff 19.0, U95 2.2 %.
    shares = ((0.25, 9), (0.57, 4), (0.82, 14))
    budget = Budget("%", tuple(Component("share", u, "", nu) for u, nu in shares))
    assert budget.combined == pytest.approx(1.03, abs=0.005)
    assert budget.degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert round(coverage_factor(0.95, budget.degrees_of_freedom) * budget.combined, 1) == 2.2


def test_degrees_of_freedom_agree_with_another_package():
    gtc = pytest.importorskip("GTC")
    shares = ((0.0037, 4), (0.0029, math.inf), (0.004, 2), (0.001, 7))
    total = sum(gtc.ureal(0, u, nu) for u, nu in shares)
    budget = Budget("mm", tuple(Component("share", u, "", nu) for u, nu in shares))
    assert budget.combined == pytest.approx(total.u, rel=1e-12)
    assert budget.degrees_of_freedom == pytest.approx(total.df, rel=1e-12)


def test_what_pictures_claim_counts_beyond_the_scatter_only():
    loose = measure(FINE, photographed("1.22 1.22", u=0.004), About(WHEN))
    assert parts(loose)["picture"] == pytest.approx(0.004 / math.sqrt(2))
    scattered = measure(FINE, photographed("1.22 1.26", u=0.004), About(WHEN))
    assert parts(scattered)["picture"] == 0
    assert parts(scattered)["repeats"] == pytest.approx(0.02)
    between = measure(FINE, photographed("1.22 1.224", u=0.004), About(WHEN))
    both = math.hypot(parts(between)["picture"], parts(between)["repeats"])
    assert both == pytest.approx(0.004 / math.sqrt(2))


def test_a_reading_by_eye_has_the_eye_s_parallax():
    # asin(0.95 sin 15°) is 0.747° short of 15°: 0.104 of 50 divisions, rectangular.
    off = (math.radians(15) - math.asin(0.95 * math.sin(math.radians(15)))) * 50 / (2 * math.pi)
    result = measure(FINE, typed("1.22 1.23"), About(WHEN))
    assert parts(result)["parallax"] == pytest.approx(off * 0.01 / math.sqrt(3))
    assert "parallax" not in parts(measure(FINE, photographed("1.22"), About(WHEN)))


def test_a_stated_doubt_takes_the_least_count_s_place_where_it_is_larger():
    one = OneReading(Decimal("1.31"), "typed", half_width=Decimal("0.02"))
    assert parts(measure(FINE, [one], About(WHEN)))["least count"] == pytest.approx(
        0.02 / math.sqrt(3)
    )
    one = replace(one, half_width=Decimal("0.001"))
    assert parts(measure(FINE, [one], About(WHEN)))["least count"] == pytest.approx(
        0.01 / math.sqrt(12)
    )


def test_a_zero_check_from_photos_brings_its_degrees_of_freedom():
    photos = tuple(ZeroPhoto(f"{n}.jpg", f"{n:064x}", Decimal(0)) for n in range(4))
    check = replace(ZERO, source=PHOTOS, photos=photos, spread=0.006, u=0.0042)
    result = measure(FINE, photographed("1.22"), About(WHEN, checks=(check,)))
    (part,) = (one for one in result.budget.components if one.name == "zero check")
    # Only the scatter, 0.006 / √4, has n - 1 = 3 degrees; the rest has no end (GUM G.4.1).
    assert part.degrees_of_freedom == pytest.approx(3 * (0.0042 / 0.003) ** 4)


def test_a_wire_in_two_directions_at_three_places():
    # Place means 1.225, 1.235, 1.230: mean 1.230, s 0.005, u = s / √3 with 2 degrees.
    readings = photographed("1.22 1.23 1.22 1.25 1.23 1.23")
    result = measure(FINE, readings, About(WHEN, layout=Layout(3, 2)))
    assert result.mean_shown == Decimal("1.23")
    assert result.repeats.count == 3
    assert result.repeats.u == pytest.approx(0.005 / math.sqrt(3))
    assert result.repeats.degrees_of_freedom == 2
    assert result.roundness.difference == Decimal("0.03")
    # No repeats: the difference of two readings, 2 √2 · 0.01 / √12.
    assert result.roundness.expanded == pytest.approx(2 * math.sqrt(2) * 0.01 / math.sqrt(12))
    with_repeats = photographed("1.22 1.24 1.23 1.25")
    pooled = measure(FINE, with_repeats, About(WHEN, layout=Layout(1, 2))).roundness
    assert pooled.difference == Decimal("0.01")
    s = math.sqrt(2) * 0.01
    assert pooled.expanded == pytest.approx(
        2 * math.sqrt(2) * math.hypot(s / math.sqrt(2), 0.01 / math.sqrt(12))
    )


def test_calibration_and_warmth_are_taken_off_in_turn():
    share = CalibrationShare(Decimal("0.003"), 0.001, "curve")
    warmth = Warmth(Decimal(30), parse_expansion("aluminium"))
    about = About(WHEN, checks=(ZERO,), calibration=share, warmth=warmth)
    result = measure(FINE, photographed("20.023"), about)
    # 20.023 - 0.02 - 0.003 = 20.000; aluminium, 10 K: - 20 · 11.5e-5 = - 0.0023 mm.
    assert result.after_calibration == 20
    assert float(result.value) == pytest.approx(20 - 0.0023, abs=1e-6)
    assert parts(result)["calibration"] == 0.001
    assert [one.code for one in result.notices] == ["warm"]


def test_what_is_wanting_is_said():
    result = measure(FINE, typed("1.22 1.22 1.23 1.24 1.45"), About(WHEN))
    assert [one.code for one in result.notices] == [
        "outlier",
        "no_zero_check",
        "no_calibration",
        "no_temperature",
    ]
    assert "Reading 5 (1.45 mm)" in result.notices[0].message
    assert len(result.readings) == 5
    assert result.mean_shown == Decimal("1.272")  # it is still in
    beyond = measure(FINE, typed("25.3"), About(WHEN, checks=(ZERO,)))
    assert "beyond_range" in [one.code for one in beyond.notices]


def test_an_unsure_photo_and_a_turn_apart_are_named():
    readings = photographed("1.22 1.72 1.23")
    readings[2] = replace(readings[2], confidence=0.94)
    readings[0] = replace(readings[0], confidence=0.96)
    found = measure(FINE, readings, About(WHEN, checks=(ZERO,))).notices
    assert [one.code for one in found][:2] == ["photo_unsure", "turn_apart"]
    assert found[0].message.startswith("2.jpg: confidence 0.94")
    assert "1.22 mm and 1.72 mm" in found[1].message
    half = measure(FINE, photographed("1.22 1.47"), About(WHEN)).notices
    assert "turn_apart" in [one.code for one in half]
    near = measure(FINE, photographed("1.22 1.46"), About(WHEN)).notices
    assert "turn_apart" not in [one.code for one in near]


def test_warmth_that_tells_is_named():
    warmth = Warmth(Decimal(35), parse_expansion("aluminium"))
    far = measure(FINE, photographed("24.0"), About(WHEN, checks=(ZERO,), warmth=warmth))
    assert "warm" in [one.code for one in far.notices]
    wire = measure(FINE, photographed("1.0"), About(WHEN, checks=(ZERO,), warmth=warmth))
    assert "warm" not in [one.code for one in wire.notices]


def test_limits_and_wire():
    about = About(WHEN, checks=(ZERO,), limits=Limits(Decimal("1.19"), None), wire=True)
    result = measure(FINE, photographed("1.22 1.23 1.22 1.24 1.23"), about)
    assert result.conformity.verdict == PASS
    assert [one.nearest.number for one in result.wires] == ["18", "17", "18"]
    inch = Gauge("G2", Scale(Decimal("0.025"), 25, "in"))
    about = About(WHEN, wire=True)
    assert measure(inch, photographed("0.048"), about).wires[0].nearest.number == "18"


@pytest.mark.parametrize("count", [1, 5, 7])
def test_readings_must_fit_the_layout(count):
    with pytest.raises(Problem, match="whole multiple of 6"):
        measure(FINE, typed(" ".join(["1.22"] * count)), About(WHEN, layout=Layout(3, 2)))


def test_one_photo_counts_once():
    one = photographed("1.22")
    with pytest.raises(Problem, match="same photo"):
        measure(FINE, one + one, About(WHEN))
    with pytest.raises(Problem, match="no readings"):
        measure(FINE, [], About(WHEN))


@given(tenths=st.lists(st.integers(0, 24_990), min_size=1, max_size=8), zero=st.integers(-240, 240))
def test_taking_the_zero_error_off_is_undone_by_putting_it_on(tenths, zero):
    check = replace(ZERO, zero_error=Decimal(zero) / 1000)
    readings = [OneReading(Decimal(one) / 1000, "typed") for one in tenths]
    result = measure(FINE, readings, About(WHEN, checks=(check,)))
    assert abs(result.value + check.zero_error - result.mean_shown) < Decimal("1e-20")


def test_the_stated_uncertainty_is_what_happens():
    """Whole divisions read from a scale set anywhere, with a zero read once: error against U."""
    rng = np.random.default_rng(11)
    errors, stated, inside = [], [], 0
    for _ in range(1500):
        length, zero = rng.uniform(1, 24), rng.uniform(-0.05, 0.05)
        readings = np.round((length + zero + rng.normal(0, 0.012, 5)) / 0.01) * 0.01
        check = replace(ZERO, zero_error=Decimal(repr(round(zero / 0.01) / 100)))
        text = " ".join(f"{one:.2f}" for one in readings)
        result = measure(FINE, photographed(text), About(WHEN, checks=(check,)))
        errors.append(float(result.value) - length)
        stated.append(result.budget.combined)
        inside += abs(errors[-1]) <= result.budget.expanded
    ratio = np.std(np.array(errors) / np.array(stated))
    assert 0.8 < ratio < 1.2
    assert 0.93 < inside / 1500 < 0.99
