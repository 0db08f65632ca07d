"""Lengths at the reference temperature: work and gauge expand, each in its own way."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from reading.problem import Problem

REFERENCE_C = Decimal(20)  # °C, ISO 1
# Linear expansion, 1/K. Steel: ISO 3650 (gauge blocks, 11.5 ± 1.0); the others: common practice.
EXPANSION_PER_K: dict[str, Decimal] = {
    "steel": Decimal("11.5e-6"),
    "copper": Decimal("16.5e-6"),
    "brass": Decimal("18.5e-6"),
    "aluminium": Decimal("23e-6"),
}
GAUGE_PER_K = EXPANSION_PER_K["steel"]
HALF_WIDTH_PER_K = 1e-6  # any of these may be so far off (ISO 3650 for steel; else common practice)
COLDEST_C, HOTTEST_C = Decimal(-50), Decimal(100)  # beyond these nobody measures (common practice)
_TEMPERATURE = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*(?:°\s*C|C|℃)?", re.IGNORECASE)


@dataclass(frozen=True)
class Warmth:
    """How warm work and gauge were, and what the work is of.

    Parameters
    ----------
    celsius : Decimal
        Temperature of both.
    work_per_k : Decimal
        Linear expansion of the work, 1/K.
    half_width_k : float
        The temperature is known within ± this, in K.
    apart_k : float
        Work and gauge may differ by ± this, in K.
    """

    celsius: Decimal
    work_per_k: Decimal
    half_width_k: float = 1.0
    apart_k: float = 1.0

    @property
    def above_reference_k(self) -> Decimal:
        """Temperature above 20 °C, in K."""
        return self.celsius - REFERENCE_C


def parse_celsius(text: str) -> Decimal:
    """Read a temperature such as ``23.5 °C``; Problem names what is not understood."""
    match = _TEMPERATURE.fullmatch(text.translate(str.maketrans("−–", "--")).strip())
    if match is None:
        raise Problem(f"temperature {text!r}: write it in degrees Celsius, like 23.5 °C")
    value = Decimal(match[1].replace(",", "."))
    if not COLDEST_C <= value <= HOTTEST_C:
        raise Problem(f"temperature {text!r}: {COLDEST_C} to {HOTTEST_C} °C can be taken")
    return value


def parse_expansion(text: str) -> Decimal:
    """Find a material's expansion in 1/K, or read it as a number such as ``16.5e-6``."""
    if text in EXPANSION_PER_K:
        return EXPANSION_PER_K[text]
    try:
        value = Decimal(text)
    except ArithmeticError:
        value = Decimal("NaN")
    if not (value.is_finite() and abs(value) < Decimal("1e-3")):
        known = ", ".join(EXPANSION_PER_K)
        raise Problem(f"material {text!r}: one of {known}, or its expansion like 16.5e-6 (1/K)")
    return value


def at_reference(shown: Decimal, warmth: Warmth) -> Decimal:
    """Give the work's length at 20 °C of a length shown while both were warm.

    Notes
    -----
    L20 = shown (1 + α_gauge ΔT) / (1 + α_work ΔT): the gauge's screw has grown as well, so steel
    on steel needs no correction. (Definition of linear expansion.)
    """
    above = warmth.above_reference_k
    return shown * (1 + GAUGE_PER_K * above) / (1 + warmth.work_per_k * above)


def temperature_uncertainty(length: float, warmth: Warmth) -> float:
    """Give the standard uncertainty that temperatures and expansions leave, in the length's unit.

    Notes
    -----
    Partial derivatives of `at_reference`, each input rectangular (GUM 4.3.7, 5.1.2): temperature,
    the two expansions, and a difference in temperature between work and gauge.
    """
    above, apart = float(warmth.above_reference_k), float(GAUGE_PER_K - warmth.work_per_k)
    shares = (
        apart * warmth.half_width_k,
        above * HALF_WIDTH_PER_K,  # the work's expansion
        above * HALF_WIDTH_PER_K,  # the gauge's
        float(warmth.work_per_k) * warmth.apart_k,
    )
    return abs(length) * math.hypot(*shares) / math.sqrt(3)
