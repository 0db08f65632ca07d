"""Lengths brought to 20 °C, worked by hand from the definition of linear expansion."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest

from reading.measurement.temperature import (
    Warmth,
    at_reference,
    parse_celsius,
    parse_expansion,
    temperature_uncertainty,
)
from reading.problem import Problem


def test_aluminium_in_a_steel_gauge():
    # 25.000 mm shown at 30 °C: 25 (1 + 11.5e-6 · 10) / (1 + 23e-6 · 10) = 24.99712566 mm.
    found = at_reference(Decimal(25), Warmth(Decimal(30), parse_expansion("aluminium")))
    assert float(found) == pytest.approx(24.99712566109795, abs=1e-12)


def test_steel_in_a_steel_gauge_needs_nothing():
    assert at_reference(Decimal(25), Warmth(Decimal(30), parse_expansion("steel"))) == 25


def test_copper_wire():
    # 1.22 mm, 10 K, (16.5 - 11.5) 1e-6: 0.061 µm less.
    found = at_reference(Decimal("1.22"), Warmth(Decimal(30), parse_expansion("copper")))
    assert float(found - Decimal("1.22")) == pytest.approx(-0.061e-3, abs=0.0005e-3)


def test_the_stated_uncertainty_is_what_happens():
    warmth = Warmth(Decimal(26), parse_expansion("aluminium"), half_width_k=1.5, apart_k=0.5)
    rng = np.random.default_rng(7)

    def box(half_width):
        return rng.uniform(-half_width, half_width, 20_000)

    above, work = 6 + box(1.5), 23e-6 + box(1e-6)
    gauge, apart = 11.5e-6 + box(1e-6), box(0.5)
    lengths = 25 * (1 + gauge * above) / (1 + work * (above + apart))
    assert temperature_uncertainty(25.0, warmth) == pytest.approx(lengths.std(), rel=0.03)


def test_a_metre_per_kelvin():
    # 1 m of steel, work and gauge ± 1 K apart, at 20 °C: 11.5 µm / √3.
    u = temperature_uncertainty(1000.0, Warmth(Decimal(20), parse_expansion("steel"), 0.0, 1.0))
    assert u == pytest.approx(0.0115 / math.sqrt(3), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "celsius"), [("23", "23"), ("23.5 °C", "23.5"), ("23,5C", "23.5"), ("−5 °C", "-5")]
)
def test_temperatures_as_people_write_them(text, celsius):
    assert parse_celsius(text) == Decimal(celsius)


@pytest.mark.parametrize("text", ["warm", "73 F", "200", "", "2 3"])
def test_no_temperatures(text):
    with pytest.raises(Problem, match="temperature"):
        parse_celsius(text)


@pytest.mark.parametrize("text", ["wood", "1", "NaN", ""])
def test_no_materials(text):
    with pytest.raises(Problem, match="aluminium"):
        parse_expansion(text)
    assert parse_expansion("16.5e-6") == Decimal("0.0000165")
