"""Whether a confidence means what it says, and whether a stated uncertainty does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reading.qualify.bounds import lower_bound, sd_bounds, upper_bound
from reading.qualify.outcome import Outcome

BINS = 10  # of confidence (C. Guo et al., On Calibration of Modern Neural Networks, 2017)


@dataclass(frozen=True)
class Bin:
    """Readings of like confidence: how many, how confident, how many right and what that proves."""

    low: float
    high: float
    readings: int
    mean_confidence: float
    right: float
    right_lower: float
    right_upper: float


@dataclass(frozen=True)
class RiskCoverage:
    """Share wrong among the most confident readings, as more and more photos are covered.

    `coverage` counts of all photos that can be read, refused ones included; `risk` belongs to it
    place by place. `area` is the mean risk over the readings, and `ideal_area` the same had every
    wrong reading the lowest confidence (Y. Geifman and R. El-Yaniv, Selective Classification for
    Deep Neural Networks, 2017; Bias-Reduced Uncertainty Estimation, 2019).
    """

    coverage: tuple[float, ...]
    risk: tuple[float, ...]
    area: float
    ideal_area: float


@dataclass(frozen=True)
class Normalised:
    """Errors over their stated standard uncertainties, of accepted readings that are right.

    The bounds of the standard deviation are those of as many values of a normal distribution, each
    one-sided at `bounds.LEVEL`.
    """

    values: tuple[float, ...]
    sd: float
    sd_lower: float
    sd_upper: float
    mean: float
    beyond_two: float  # share; 4.6 % of a normal distribution


def reliability(outcomes: Sequence[Outcome]) -> tuple[Bin, ...]:
    """Sort readings into equal bins of confidence; bins that hold none are left out."""
    bins: dict[int, list[Outcome]] = {}
    for one in outcomes:
        if one.confidence is not None:
            bins.setdefault(min(int(one.confidence * BINS), BINS - 1), []).append(one)
    found = []
    for place, held in sorted(bins.items()):
        n, right = len(held), sum(not one.wrong for one in held)
        mean = math.fsum(one.confidence or 0.0 for one in held) / n
        found.append(
            Bin(
                *(place / BINS, (place + 1) / BINS, n, mean, right / n),
                *(lower_bound(right, n), upper_bound(right, n)),
            )
        )
    return tuple(found)


def expected_calibration_error(bins: Sequence[Bin]) -> float:
    """Mean gap between confidence and share right, bins weighted by their readings; NaN of none."""
    n = sum(one.readings for one in bins)
    gaps = (one.readings * abs(one.mean_confidence - one.right) for one in bins)
    return math.fsum(gaps) / n if n else math.nan


def risk_coverage(outcomes: Sequence[Outcome]) -> RiskCoverage:
    """Order readings by confidence; equals share their risk, so that their order does not count.

    Parameters
    ----------
    outcomes : sequence of Outcome
        Of photos that can be read.
    """
    read = [one for one in outcomes if one.confidence is not None]
    if not read:
        return RiskCoverage((), (), math.nan, math.nan)
    confidence = np.array([one.confidence for one in read])
    wrong = np.array([one.wrong for one in read], dtype=float)
    _, place = np.unique(-confidence, return_inverse=True)
    shared = np.bincount(place, wrong) / np.bincount(place)
    wrong = shared[np.sort(place)]
    counts = np.arange(1, len(read) + 1)
    risk = np.cumsum(wrong) / counts
    false = sum(one.wrong for one in read)
    ideal = np.clip(counts - (len(read) - false), 0, None) / counts
    coverage = counts / len(outcomes)
    return RiskCoverage(
        tuple(coverage.tolist()), tuple(risk.tolist()), float(risk.mean()), float(ideal.mean())
    )


def normalised_errors(outcomes: Sequence[Outcome]) -> Normalised:
    """Divide errors by what was stated; standard deviation and mean are NaN of fewer than two."""
    values = tuple(
        one.error_divisions / one.u_division
        for one in outcomes
        if one.accepted and not one.wrong and one.u_division and one.error_divisions is not None
    )
    if len(values) < 2:
        return Normalised(values, *[math.nan] * 5)
    array = np.array(values)
    sd = float(array.std(ddof=1))
    beyond = float(np.mean(np.abs(array) > 2))
    return Normalised(values, sd, *sd_bounds(sd, len(values)), float(array.mean()), beyond)
