"""How readings of one gauge on one part move over time, and which gauges drift."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from reading.archive.columns import READ, Row, decided_mm
from reading.gauges.chart import DAYS_A_MONTH, SECONDS_A_DAY, Drift, ZeroChart, individuals

FEWEST = 3  # readings of a part on a gauge that make a trend
FEWEST_FREE = 8  # degrees of freedom from which a drift is told: t is near 2 (common practice)


@dataclass(frozen=True)
class Point:
    """One reading: when, how long in mm, and which photo."""

    at: datetime
    value_mm: float
    photo: str


@dataclass(frozen=True)
class Series:
    """Readings of one part on one gauge, by time; `corrected` says whether zero is taken off."""

    gauge: str
    part: str
    corrected: bool
    points: tuple[Point, ...]

    @property
    def chart(self) -> ZeroChart:
        """Give the individuals chart of the readings, in mm."""
        return individuals([one.at for one in self.points], [one.value_mm for one in self.points])


@dataclass(frozen=True)
class GaugeDrift:
    """The common drift of all parts on one gauge, in mm a month, parts' own lengths taken off.

    `alike` counts the parts whose own drift has the same sign.
    """

    gauge: str
    parts: int
    readings: int
    drift: Drift
    free: int
    alike: int

    @property
    def shown(self) -> bool:
        """Whether it exceeds twice its uncertainty, with enough readings to tell."""
        return self.drift.shown and self.free >= FEWEST_FREE


def series_of(rows: Iterable[Row]) -> list[Series]:
    """Sort rows into series: sure readings, and what people decided in place of any reading.

    Where any reading of a series is corrected for the zero error, those that are not are left out.
    """
    groups: dict[tuple[str, str], list[tuple[bool, Point]]] = defaultdict(list)
    for row in rows:
        length = value_mm(row)
        if length is not None and row["gauge"] and row["part"] and row["dated"]:
            corrected, value = length
            at = datetime.fromisoformat(str(row["dated"]))
            point = Point(at, value, str(row["photo"]))
            groups[str(row["gauge"]), str(row["part"])].append((corrected, point))
    found = []
    for (gauge, part), points in sorted(groups.items()):
        corrected = any(flag for flag, _ in points)
        kept = [point for flag, point in points if flag == corrected]
        kept.sort(key=lambda point: (point.at, point.photo))
        if len(kept) >= FEWEST:
            found.append(Series(gauge, part, corrected, tuple(kept)))
    return found


def value_mm(row: Row) -> tuple[bool, float] | None:
    """Give what a photo counts as, and whether that is corrected; None for what nobody is sure of.

    A person's decision counts before the tool's reading; a rejected photo counts as nothing.
    """
    if row["verdict"] == "reject":
        return None
    decided = decided_mm(row)
    if decided is not None:
        shown, corrected = decided
        return (False, shown) if corrected is None else (True, corrected)
    if row["status"] != READ or (row["eyes"] and row["verdict"] != "accept"):
        return None
    if row["corrected_mm"] is not None:
        return True, float(row["corrected_mm"])
    return False, float(row["shown_mm"] or 0)


def gauge_drifts(series: Sequence[Series]) -> list[GaugeDrift]:
    """Fit one drift to all parts of each gauge, each part with a length of its own.

    Notes
    -----
    Least squares with one intercept a part: slope Σ (x − x̄ₚ)(y − ȳₚ) / Σ (x − x̄ₚ)², standard
    uncertainty from the residuals with N − P − 1 degrees of freedom (analysis of covariance; any
    textbook of regression).
    """
    by_gauge: dict[str, list[Series]] = defaultdict(list)
    for one in series:
        by_gauge[one.gauge].append(one)
    found = []
    for gauge, parts in sorted(by_gauge.items()):
        fits = [_sums(one) for one in parts]
        wide, across = math.fsum(f[0] for f in fits), math.fsum(f[1] for f in fits)
        count = sum(len(one.points) for one in parts)
        free = count - len(parts) - 1
        if wide == 0 or free < 1:
            continue
        slope = across / wide
        left = max(0.0, math.fsum(f[2] for f in fits) - slope * across)
        drift = Drift(slope, math.sqrt(left / free / wide))
        alike = sum(f[1] * slope > 0 for f in fits)
        found.append(GaugeDrift(gauge, len(parts), count, drift, free, alike))
    return found


def _sums(series: Series) -> tuple[float, float, float]:
    """Give Σ dx², Σ dx dy and Σ dy² of a series about its means; x in months."""
    first = series.points[0].at
    x = [(p.at - first).total_seconds() / SECONDS_A_DAY / DAYS_A_MONTH for p in series.points]
    y = [p.value_mm for p in series.points]
    x0, y0 = math.fsum(x) / len(x), math.fsum(y) / len(y)
    dx, dy = [one - x0 for one in x], [one - y0 for one in y]
    return (
        math.fsum(a * a for a in dx),
        math.fsum(a * b for a, b in zip(dx, dy, strict=True)),
        math.fsum(b * b for b in dy),
    )
