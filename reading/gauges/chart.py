"""The zero's control chart: individuals, moving ranges, run rules, and drift."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from reading.gauge import ZeroCheck
from reading.uncertainty import rectangular, resolution
from vision.scale import Scale

# Factors for individuals with moving ranges of two (ISO 7870-2; d2 for n = 2).
D2 = 2 / math.sqrt(math.pi)  # mean range of two normal values, in standard deviations
LIMIT_FACTOR = 3 / D2  # 2.66: limits at three standard deviations, from the mean moving range
FEWEST_FOR_FIRM_LIMITS = 20  # with fewer points limits are provisional (common practice)
FEWEST_FOR_CHART, FEWEST_FOR_DRIFT = 2, 3
DAYS_A_MONTH = 365.25 / 12
SECONDS_A_DAY = 86_400
# Run rules on either side of the centre (NIST/SEMATECH e-Handbook 6.3.2): of so many points in a
# row, so many beyond so many standard deviations.
RUN_RULES = (
    (1, 1, 3.0, "outside the limits"),
    (3, 2, 2.0, "two of three beyond two standard deviations"),
    (5, 4, 1.0, "four of five beyond one standard deviation"),
    (8, 8, 0.0, "eight in a row on one side"),
)


@dataclass(frozen=True)
class Signal:
    """A point at which a rule finds the chart out of control."""

    place: int  # index of the point
    rule: str


@dataclass(frozen=True)
class Drift:
    """Straight line through the points by least squares, in the unit of the values."""

    per_month: float
    u_per_month: float  # standard uncertainty, from the residuals

    @property
    def shown(self) -> bool:
        """Whether it exceeds twice its uncertainty."""
        return abs(self.per_month) > 2 * self.u_per_month


@dataclass(frozen=True)
class ZeroChart:
    """Individuals chart of a gauge's zero error, in the gauge's unit, points by time."""

    times: tuple[datetime, ...]
    values: tuple[float, ...]
    centre: float
    mean_moving_range: float
    signals: tuple[Signal, ...]
    drift: Drift | None

    @property
    def upper(self) -> float:
        """Upper limit, centre + 2.66 mean moving ranges."""
        return self.centre + LIMIT_FACTOR * self.mean_moving_range

    @property
    def lower(self) -> float:
        """Lower limit."""
        return self.centre - LIMIT_FACTOR * self.mean_moving_range

    @property
    def provisional(self) -> bool:
        """Whether the points are too few for firm limits."""
        return len(self.values) < FEWEST_FOR_FIRM_LIMITS


def zero_chart(checks: Sequence[ZeroCheck], scale: Scale) -> ZeroChart | None:
    """Make the chart of a gauge's zero checks; None for fewer than two.

    Notes
    -----
    Checks that all fall on one division have no moving range, and the next division would look like
    an alarm; so the mean moving range is at least what the scale's resolution alone gives, d2 width
    / √12 (common practice).
    """
    if len(checks) < FEWEST_FOR_CHART:
        return None
    in_time = sorted(checks, key=lambda one: (one.at, one.number or 0))
    floor = D2 * rectangular(resolution(scale))
    return individuals(
        [one.at for one in in_time], [float(one.zero_error) for one in in_time], floor
    )


def individuals(
    times: Sequence[datetime], values: Sequence[float], least_range: float = 0.0
) -> ZeroChart:
    """Make an individuals chart of two or more values, in the order of their times."""
    centre = math.fsum(values) / len(values)
    ranges = [abs(after - before) for before, after in pairwise(values)]
    moving = max(math.fsum(ranges) / len(ranges), least_range)
    signals = _signals([(value - centre) / (moving / D2) for value in values]) if moving else ()
    return ZeroChart(tuple(times), tuple(values), centre, moving, signals, _drift(times, values))


def _signals(deviations: Sequence[float]) -> tuple[Signal, ...]:
    """Apply the run rules to values in standard deviations from the centre."""
    found = []
    for place in range(len(deviations)):
        for length, needed, beyond, words in RUN_RULES:
            window = deviations[max(0, place - length + 1) : place + 1]
            for side in (1, -1):
                out = [side * one > beyond for one in window]
                if out[-1] and len(window) == length and sum(out) >= needed:
                    found.append(Signal(place, words))
    return tuple(found)


def _drift(times: Sequence[datetime], values: Sequence[float]) -> Drift | None:
    """Fit a straight line over time; None for too few points, or all at one time."""
    n = len(values)
    months = [(time - times[0]).total_seconds() / SECONDS_A_DAY / DAYS_A_MONTH for time in times]
    centre, middle = math.fsum(months) / n, math.fsum(values) / n
    wide = math.fsum((x - centre) ** 2 for x in months)
    if n < FEWEST_FOR_DRIFT or wide == 0:
        return None
    slope = (
        math.fsum((x - centre) * (y - middle) for x, y in zip(months, values, strict=True)) / wide
    )
    left = math.fsum(
        (y - middle - slope * (x - centre)) ** 2 for x, y in zip(months, values, strict=True)
    )
    return Drift(slope, math.sqrt(left / (n - 2) / wide))
