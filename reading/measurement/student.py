"""Quantiles of Student's t, for whole degrees of freedom as the GUM asks for them."""

from __future__ import annotations

import math
from statistics import NormalDist

HALVINGS = 60  # of a quarter turn: less than a double tells apart
MOST_DEGREES = 20_000  # beyond this t and the normal quantile agree to 1 in 10 000


def t_quantile(probability: float, degrees: int) -> float:
    """Give t with P(T <= t) = `probability`.

    Parameters
    ----------
    probability : float
        More than 0 and less than 1.
    degrees : int
        Degrees of freedom, 1 or more.

    Raises
    ------
    ValueError
        If a parameter is out of its range.

    Notes
    -----
    The two-sided probability of t = sqrt(degrees) tan(theta) is a finite sum of powers of
    cos(theta) [1]_; theta is found by bisection.

    References
    ----------
    .. [1] Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
    """
    if not 0 < probability < 1:
        raise ValueError(f"probability {probability}: more than 0 and less than 1")
    if degrees < 1:
        raise ValueError(f"{degrees} degrees of freedom: 1 or more")
    if degrees > MOST_DEGREES:
        return NormalDist().inv_cdf(probability)
    inside = abs(2 * probability - 1)
    low, high = 0.0, math.pi / 2
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if _two_sided(middle, degrees) < inside:
            low = middle
        else:
            high = middle
    return math.copysign(math.sqrt(degrees) * math.tan(low), probability - 0.5)


def coverage_factor(level: float, degrees: float) -> float:
    """Give k for a two-sided level of confidence (GUM G.3.4).

    Parameters
    ----------
    level : float
        Such as 0.95.
    degrees : float
        Effective degrees of freedom, 1 or more; infinity for the normal distribution.

    Notes
    -----
    Degrees are cut to the next lower whole number (GUM G.4.1), after rounding to one decimal as
    the example there does (18.9987 counts as 19.0).
    """
    probability = (1 + level) / 2
    if math.isinf(degrees):
        return NormalDist().inv_cdf(probability)
    return t_quantile(probability, whole_degrees(degrees))


def whole_degrees(degrees: float) -> int:
    """Cut effective degrees of freedom to a whole number, 1 or more; see `coverage_factor`."""
    return max(1, math.floor(round(degrees, 1)))


def _two_sided(theta: float, degrees: int) -> float:
    """Give P(|T| <= sqrt(degrees) tan theta)."""
    cos2 = math.cos(theta) ** 2
    odd = degrees % 2
    term = math.cos(theta) if odd else 1.0
    total = term if degrees > 1 else 0.0
    for k in range(3 if odd else 2, degrees - 1, 2):
        term *= cos2 * (k - 1) / k
        total += term
    product = math.sin(theta) * total
    return 2 / math.pi * (theta + product) if odd else product
