"""Backlash: readings of one object approached from both sides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from reading.gauge import Gauge
from reading.length import plain, round_result, trimmed
from reading.measurement.repeats import mean, spread
from reading.problem import Problem
from reading.uncertainty import rectangular, resolution

EXPANDED = 2  # k = 2 (GUM 6.3.3)
GOOD_DIVISIONS, POOR_DIVISIONS = 1, 2  # common practice of workshops; no standard gives a figure
MEAN_PLACES = 6


@dataclass(frozen=True)
class Backlash:
    """Mean reading when closing minus mean reading when opening, in the gauge's unit.

    `u_repeats` is the readings' own share of `u`, the standard uncertainty.
    """

    gauge: Gauge
    closing: tuple[Decimal, ...]
    opening: tuple[Decimal, ...]
    u_repeats: float
    u: float

    @property
    def value(self) -> Decimal:
        """Closing minus opening, signed."""
        return round(mean(self.closing) - mean(self.opening), MEAN_PLACES)

    @property
    def divisions(self) -> Decimal:
        """Its size in divisions."""
        return abs(self.value) / self.gauge.scale.least_count

    @property
    def verdict(self) -> str:
        """What to do about it at this least count."""
        if abs(float(self.value)) <= EXPANDED * self.u:
            return "none shown: within its uncertainty"
        if self.divisions < GOOD_DIVISIONS:
            return "less than a division: always approach by closing, and it does not matter"
        if self.divisions <= POOR_DIVISIONS:
            return "it matters at this least count: always approach by closing"
        return "more than two divisions: have the nut adjusted"


def find_backlash(gauge: Gauge, closing: Sequence[Decimal], opening: Sequence[Decimal]) -> Backlash:
    """Compare the two ways of approaching one object.

    Notes
    -----
    u of the difference of two means: √(s₁² / n₁ + s₂² / n₂) (GUM 5.1.2), and with it the two
    readings' own divisions, √2 width / √12, which repeats do not show.
    """
    if not closing or not opening:
        raise Problem("give readings approached by closing and readings approached by opening")
    if 2 * abs(mean(closing) - mean(opening)) >= gauge.scale.pitch:
        raise Problem("the two sides lie half a turn or more apart: read them again")
    shares = [spread(one) / math.sqrt(len(one)) for one in (closing, opening) if len(one) > 1]
    u_repeats = math.hypot(*shares)
    u = math.hypot(u_repeats, math.sqrt(2) * rectangular(resolution(gauge.scale)))
    return Backlash(gauge, tuple(closing), tuple(opening), u_repeats, u)


def backlash_lines(found: Backlash) -> list[str]:
    """Write a backlash for people."""
    unit = found.gauge.scale.unit
    value, expanded = round_result(found.value, Decimal(repr(EXPANDED * found.u)))
    places = max(0, -int(value.as_tuple().exponent))
    sides = (
        f"{way} {trimmed(round(mean(readings), places + 1))} {unit} ({len(readings)} readings)"
        for way, readings in (("closing", found.closing), ("opening", found.opening))
    )
    return [
        f"{found.gauge.identifier}: backlash {plain(value, signed=True)} ± "
        f"{plain(expanded)} {unit} (k = 2), "
        f"{trimmed(round(found.divisions, 1))} divisions",
        f"  {', '.join(sides)}",
        f"  {found.verdict}",
    ]
