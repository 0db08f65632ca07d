"""Wire gauges against the decree, the formula, and an independent package."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.measurement.wire import WIRE_GAUGES, area_mm2, match, nearest


@pytest.mark.parametrize(
    ("number", "mils", "mm"),
    [  # Order in Council of 23 August 1883 (later BS 3737:1964): diameters defined in mils
        ("7/0", 500, 12.7),
        ("0", 324, 8.2296),
        ("1", 300, 7.62),
        ("8", 160, 4.064),
        ("14", 80, 2.032),
        ("18", 48, 1.2192),
        ("22", 28, 0.7112),
        ("28", 14.8, 0.37592),  # some printed lists have 14.9
        ("33", 10, 0.254),
        ("40", 4.8, 0.12192),
        ("50", 1, 0.0254),
    ],
)
def test_standard_wire_gauge(number, mils, mm):
    assert WIRE_GAUGES["SWG"][number] == pytest.approx(mm, rel=1e-12)
    assert WIRE_GAUGES["SWG"][number] == pytest.approx(mils * 0.0254, rel=1e-12)


def test_the_steps_of_the_standard_wire_gauge():
    # The same order, as steps in mils from 7/0 to 50.
    steps = [36, 32, 32, 28, *5 * [24], *3 * [20], *4 * [16], *4 * [12], *5 * [8], *4 * [4]]
    steps = [*steps, 2, 2, 2, 1.6, 1.6, 1.2, 1.2, *9 * [0.8], *10 * [0.4], 0.2]
    sizes = [mm / 0.0254 for mm in WIRE_GAUGES["SWG"].values()]
    found = [before - after for before, after in pairwise(sizes)]
    assert len(sizes) == 57
    assert found == pytest.approx(steps, abs=1e-9)


@pytest.mark.parametrize(
    ("gauge", "schedule", "numbers", "but"),
    [
        ("SWG", "BSWG", range(1, 51), {28}),  # its No. 28 is a misprint that some lists share
        ("AWG", "AWG", range(1, 31), set()),
        ("BWG", "BWG", range(1, 37), set()),
    ],
)
def test_tables_agree_with_an_independent_package(gauge, schedule, numbers, but):
    piping = pytest.importorskip("fluids.piping")
    for number in set(numbers) - but:
        inches = piping.t_from_gauge(number, SI=False, schedule=schedule)
        # That package prints American sizes to 0.1 mil (No. 30 and thicker).
        off = 0.000051 if gauge == "AWG" else 1e-9
        assert WIRE_GAUGES[gauge][str(number)] / 25.4 == pytest.approx(inches, abs=off)


@pytest.mark.parametrize(
    ("number", "inches"),
    [("4/0", 0.46), ("36", 0.005), ("0", 0.3249), ("10", 0.1019), ("24", 0.0201), ("40", 0.003145)],
)
def test_american_wire_gauge(number, inches):
    # ASTM B258: 0.46 in and 0.005 in exactly, the others rounded as printed there.
    assert WIRE_GAUGES["AWG"][number] / 25.4 == pytest.approx(inches, abs=0.00005)


def test_six_american_numbers_halve_the_diameter():
    # Common practice of the trade; 92^(6/39) = 2.005.
    sizes = WIRE_GAUGES["AWG"]
    assert sizes["12"] / sizes["18"] == pytest.approx(2.005031519501248, rel=1e-12)


@pytest.mark.parametrize(
    ("number", "inches"), [("5/0", 0.5), ("0", 0.34), ("18", 0.049), ("30", 0.012), ("36", 0.004)]
)
def test_birmingham_gauge(number, inches):
    # Engineers' handbooks; tube makers' lists give the same.
    assert WIRE_GAUGES["BWG"][number] == pytest.approx(inches * 25.4, rel=1e-12)


@pytest.mark.parametrize(
    ("mm", "awg", "swg"),
    [
        (0.45, "25", "26"),
        (0.50, "24", "25"),
        (0.56, "23", "24"),
        (1.00, "18", "19"),
        (1.22, "16", "18"),  # in millimetres AWG 17 would be a hair nearer
        (1.31, "16", "18"),
        (1.63, "14", "16"),
        (2.00, "12", "14"),
    ],
)
def test_the_nearest_in_ratio(mm, awg, swg):
    # From ASTM B258's formula, n = 36 - 39 ln(d / 0.127 mm) / ln 92, rounded; SWG by hand.
    assert round(36 - 39 * math.log(mm / 0.127) / math.log(92)) == int(awg)
    assert nearest("AWG", mm).number == awg
    assert nearest("SWG", mm).number == swg


@given(gauge=st.sampled_from(sorted(WIRE_GAUGES)), place=st.integers(0, 40))
def test_every_size_is_its_own_nearest(gauge, place):
    name = list(WIRE_GAUGES[gauge])[place]
    assert nearest(gauge, WIRE_GAUGES[gauge][name]).number == name
    assert match(gauge, WIRE_GAUGES[gauge][name], 1e-6).singled_out


def test_an_interval_singles_out_or_spans():
    assert match("SWG", 1.228, 0.012).singled_out
    spans = match("AWG", 1.21, 0.012)
    assert [one.number for one in spans.possible] == ["16", "17"]
    assert not spans.singled_out


def test_a_wire_between_two_sizes_has_neither():
    # 1.763 mm: No. 15 is 1.8288 mm, No. 16 1.6256 mm; their geometric mean is 1.7242 mm.
    found = match("SWG", 1.763, 0.008)
    assert found.singled_out
    assert found.off_mm == pytest.approx(-0.0658)
    assert not found.has_the_size
    assert match("SWG", 1.763, 0.066).has_the_size
    assert match("SWG", 20.0, 0.01).off_mm == 0


def test_from_number_39_on_one_division_is_a_number():
    # Steps of 0.4 mil = 10.16 µm: with U = 0.012 mm no number can be told for sure.
    found = match("SWG", 0.1219, 0.012)
    assert found.nearest.number == "40"
    assert [one.number for one in found.possible] == ["39", "40", "41"]


@pytest.mark.parametrize(
    ("mm", "inside"), [(13.1, True), (14.0, False), (0.0235, True), (0.023, False)]
)
def test_beyond_the_table_there_is_no_number(mm, inside):
    assert (nearest("SWG", mm) is not None) == inside
    assert nearest("SWG", -0.01) is None


def test_an_uncertain_end_of_the_table_leaves_the_last_number_open():
    assert [one.number for one in match("SWG", 0.0254, 0.02).possible][-1] == "50"
    assert match("SWG", 20.0, 0.01).possible == ()


def test_cross_section():
    # A 1.128 mm wire has 1 mm² (common practice).
    assert area_mm2(1.1283791670955126) == pytest.approx(1.0, rel=1e-12)
