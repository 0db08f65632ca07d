"""Repeated readings: mean, spread, type A uncertainty, and the test for an outlier."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from reading.measurement.student import t_quantile

OUTLIER_LEVEL = 0.05  # either-side Grubbs test at 5 % (the "5 %" column of ISO 5725-2)
FEWEST_FOR_GRUBBS = 4  # with three readings G can't exceed 2/√3: next to useless
NEIGHBOURS = Decimal("1.0000001")  # two neighbouring divisions are one division apart


@dataclass(frozen=True)
class Repeats:
    """What readings of one thing come to, in their unit.

    `spread` is the sample standard deviation, None for one reading. `u` is the standard uncertainty
    of the mean and `degrees_of_freedom` belong to it; 0 and infinity for one reading.
    """

    mean: Decimal
    count: int
    spread: float | None
    u: float
    degrees_of_freedom: float


@dataclass(frozen=True)
class Outlier:
    """The reading farthest from the mean, and whether Grubbs' test finds it too far."""

    place: int  # index among the readings
    g: float
    critical: float

    @property
    def found(self) -> bool:
        """Whether it is farther off than chance explains at 5 %."""
        return self.g > self.critical


def mean(values: Sequence[Decimal]) -> Decimal:
    """Give the mean of exact values; their order does not matter."""
    return sum(sorted(values), Decimal(0)) / len(values)


def spread(values: Sequence[Decimal]) -> float:
    """Give the sample standard deviation (n - 1) of two or more exact values.

    Notes
    -----
    From exact differences to the mean, so that large values with small differences lose nothing.
    """
    middle = mean(values)
    return math.sqrt(
        float(sum(((v - middle) ** 2 for v in values), Decimal(0)) / (len(values) - 1))
    )


def repeats(values: Sequence[Decimal]) -> Repeats:
    """Evaluate readings of one thing by statistics: u = s / √n, ν = n - 1 (GUM 4.2)."""
    n = len(values)
    if n == 1:
        return Repeats(values[0], 1, None, 0.0, math.inf)
    s = spread(values)
    return Repeats(mean(values), n, s, s / math.sqrt(n), n - 1)


def grubbs_critical(n: int, level: float = OUTLIER_LEVEL) -> float:
    """Give the critical value of Grubbs' test for one outlier on either side.

    Notes
    -----
    ((n - 1) / √n) √(t² / (n - 2 + t²)) with t = t(1 - level / 2n) for n - 2 degrees of freedom
    (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1).
    """
    t = t_quantile(1 - level / (2 * n), n - 2)
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def grubbs(values: Sequence[Decimal], division: Decimal) -> Outlier | None:
    """Test the reading farthest from the mean.

    Parameters
    ----------
    values : sequence of Decimal
    division : Decimal
        The least count, in the unit of the values.

    Returns
    -------
    Outlier or None
        None where the test means nothing: fewer than four readings, all alike, or all on two
        neighbouring divisions, where the spread is the scale's own.
    """
    if len(values) < FEWEST_FOR_GRUBBS or max(values) - min(values) <= division * NEIGHBOURS:
        return None
    middle, s = mean(values), spread(values)
    place = max(range(len(values)), key=lambda i: abs(values[i] - middle))
    return Outlier(place, float(abs(values[place] - middle)) / s, grubbs_critical(len(values)))


def pooled_spread(groups: Sequence[Sequence[Decimal]]) -> tuple[float, int] | None:
    """Pool the spread within groups: standard deviation and its degrees of freedom, if any."""
    repeated = [group for group in groups if len(group) > 1]
    degrees = sum(len(group) - 1 for group in repeated)
    if not degrees:
        return None
    squares = sum((len(group) - 1) * spread(group) ** 2 for group in repeated)
    return math.sqrt(squares / degrees), degrees
