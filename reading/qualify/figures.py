"""All figures of a set of photos with known readings: shares with bounds, errors, calibration."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from reading.qualify.bounds import Share, quantile_bound
from reading.qualify.calibration import (
    Bin,
    Normalised,
    RiskCoverage,
    expected_calibration_error,
    normalised_errors,
    reliability,
    risk_coverage,
)
from reading.qualify.known import HARD
from reading.qualify.outcome import Outcome

LEAST_PX = 6.0  # px per division from which the goals count a photo
PX_CLASSES = ((20.0, math.inf), (10.0, 20.0), (6.0, 10.0), (4.0, 6.0), (0.0, 4.0))
NEAR_ROLL_DEG, PARALLAX_ROLL_DEG = 20.0, 15.0
MOST_NAMES = 12  # groups by a column; numbers of more values than that are put in bands
BANDS = 4


@dataclass(frozen=True)
class Quantile:
    """A quantile of absolute values in divisions, of how many, and what that proves."""

    value: float
    upper: float
    n: int


@dataclass(frozen=True)
class Group:
    """Figures of photos of one group; wrong is more than one division off."""

    name: str
    photos: int
    accepted: Share
    median: Quantile
    p95: Quantile
    wrong: Share  # of the accepted
    turns_wrong: Share
    sure_wrong: Share  # of the sure
    sure_turns_wrong: Share


@dataclass(frozen=True)
class RefusalCount:
    """How many photos were not accepted for a reason; in how many the truth led all the same."""

    reason: str
    photos: int
    truth_first: int


@dataclass(frozen=True)
class Figures:
    """Everything that is stated of a set of photos, read in one way."""

    photos: int
    readable: Group
    large: Group  # readable with `LEAST_PX` or more
    hard: Group
    by_size: tuple[Group, ...]  # readable, line within `NEAR_ROLL_DEG` of facing
    by_column: tuple[tuple[str, tuple[Group, ...]], ...]
    negatives: tuple[tuple[str, Share], ...]  # accepted, all first
    bins: tuple[Bin, ...]
    calibration_error: float
    risk: RiskCoverage
    normalised: Normalised
    parallax: Quantile  # median of what is left, within `PARALLAX_ROLL_DEG`
    parallax_uncorrected: Quantile  # of what there was
    refusals: tuple[RefusalCount, ...]


def quantile(values: Sequence[float], share: float) -> Quantile:
    """Take a quantile with its upper bound; NaN of none."""
    if not values:
        return Quantile(math.nan, math.inf, 0)
    value = float(np.percentile(values, 100 * share))
    return Quantile(value, quantile_bound(values, share), len(values))


def group(name: str, outcomes: Sequence[Outcome]) -> Group:
    """Work out the figures of one group."""
    accepted = [one for one in outcomes if one.accepted]
    sure = [one for one in outcomes if one.sure]
    errors = [abs(one.error_divisions) for one in accepted if one.error_divisions is not None]

    def count(held: Sequence[Outcome], is_so: Callable[[Outcome], bool]) -> Share:
        return Share(sum(is_so(one) for one in held), len(held))

    return Group(
        name,
        len(outcomes),
        Share(len(accepted), len(outcomes)),
        quantile(errors, 0.5),
        quantile(errors, 0.95),
        count(accepted, lambda one: one.wrong),
        count(accepted, lambda one: one.turns_off != 0),
        count(sure, lambda one: one.wrong),
        count(sure, lambda one: one.turns_off != 0),
    )


def figures(outcomes: Sequence[Outcome], columns: Sequence[str] = ()) -> Figures:
    """Work out everything.

    Parameters
    ----------
    outcomes : sequence of Outcome
    columns : sequence of str
        Of the truth file, to group the readable photos by, besides the kind of gauge.
    """
    readable = [one for one in outcomes if one.readable]
    real = [one for one in outcomes if not one.negative]
    bins = reliability(real)
    straight = [
        one
        for one in readable
        if one.accepted
        and abs(one.roll_deg) <= PARALLAX_ROLL_DEG
        and not math.isnan(one.parallax_left)
    ]
    return Figures(
        len(outcomes),
        group("readable", readable),
        group(f"readable, {LEAST_PX:g} px and more", [one for one in readable if large(one)]),
        group("hard", [one for one in outcomes if one.status == HARD]),
        _by_size(readable),
        _by_column(readable, columns),
        _negatives([one for one in outcomes if one.negative]),
        bins,
        expected_calibration_error(bins),
        risk_coverage(readable),
        normalised_errors(real),
        quantile([abs(one.parallax_left) for one in straight], 0.5),
        quantile([abs(float(one.row["parallax_divisions"])) for one in straight], 0.5),
        _refusals(readable),
    )


def large(outcome: Outcome) -> bool:
    """Whether the goals count it; a photo refused before its size was known counts."""
    return not outcome.px_per_division < LEAST_PX


def _by_size(readable: Sequence[Outcome]) -> tuple[Group, ...]:
    facing = [one for one in readable if not abs(one.roll_deg) > NEAR_ROLL_DEG]
    groups = []
    for low, high in PX_CLASSES:
        held = [one for one in facing if low <= one.px_per_division < high]
        name = f"{low:g} px and more" if high == math.inf else f"{low:g} to {high:g} px"
        groups.append(group(name, held))
    unknown = [one for one in facing if math.isnan(one.px_per_division)]
    return (*groups, group("size not known", unknown)) if unknown else tuple(groups)


def _by_column(
    readable: Sequence[Outcome], columns: Sequence[str]
) -> tuple[tuple[str, tuple[Group, ...]], ...]:
    found = [("kind of gauge", _groups(readable, lambda one: one.kind))]
    for column in columns:
        found.append((column.replace("_", " "), _groups(readable, _namer(readable, column))))
    return tuple(found)


def _namer(outcomes: Sequence[Outcome], column: str) -> Callable[[Outcome], str]:
    """Name the group of a photo by a column: its text, or the band that its number lies in."""
    texts = {one.row.get(column) or "" for one in outcomes}
    try:
        numbers = [float(one.row[column]) for one in outcomes if one.row.get(column)]
    except ValueError:
        numbers = []
    if len(texts) <= MOST_NAMES or not numbers:
        return lambda one: one.row.get(column) or "not known"
    edges = np.quantile(numbers, np.arange(1, BANDS) / BANDS)

    def band(one: Outcome) -> str:
        text = one.row.get(column)
        if not text:
            return "not known"
        place = int(np.searchsorted(edges, float(text), side="right"))
        if place == 0:
            return f"1: under {edges[0]:.3g}"
        if place == len(edges):
            return f"{place + 1}: {edges[-1]:.3g} and more"
        return f"{place + 1}: {edges[place - 1]:.3g} to {edges[place]:.3g}"

    return band


def _groups(outcomes: Iterable[Outcome], name: Callable[[Outcome], str]) -> tuple[Group, ...]:
    held: dict[str, list[Outcome]] = {}
    for one in outcomes:
        held.setdefault(name(one), []).append(one)
    return tuple(group(key, held[key]) for key in sorted(held))


def _negatives(negatives: Sequence[Outcome]) -> tuple[tuple[str, Share], ...]:
    def count(held: Sequence[Outcome]) -> Share:
        return Share(sum(one.accepted for one in held), len(held))

    kinds = sorted({one.negative_kind for one in negatives} - {""})
    by_kind = [(kind, [one for one in negatives if one.negative_kind == kind]) for kind in kinds]
    return (("all", count(negatives)), *((kind, count(held)) for kind, held in by_kind))


def _refusals(readable: Sequence[Outcome]) -> tuple[RefusalCount, ...]:
    refused = [one for one in readable if not one.accepted]
    counts = Counter(one.why_not for one in refused)
    first = Counter(one.why_not for one in refused if one.rank == 1)
    return tuple(RefusalCount(code, n, first[code]) for code, n in counts.most_common())
