"""Figures as drawings: calibration, risk against coverage, errors and their statement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from reading.pages.drawing import Box, Dot, Drawing, Mark, Stroke, Words
from reading.pages.plot import ALARM, INK, LEVEL, Axis, Frame, Level, axis
from reading.qualify.calibration import BINS, Bin, Normalised, RiskCoverage
from reading.qualify.goals import P95_DIVISIONS
from reading.qualify.outcome import WRONG_DIVISIONS, Outcome

PALE = "#b9cfe0"  # bars
TENTHS = Axis(0.0, 1.0, tuple((i / 5, f"{i / 5:.1f}") for i in range(6)))
RATIO_END, RATIO_STEP = 4.0, 0.25  # of the histogram of normalised errors
LEAST_ERROR, MOST_ERROR = 1e-3, 1e3  # divisions; what lies beyond is drawn at the end
LEAST_SHOWN_PX, MOST_SHOWN_PX = 3.0, 100.0
MOST_POINTS = 400  # of a curve
Point = TypeVar("Point")


def reliability_plot(bins: Sequence[Bin]) -> Drawing:
    """Draw the share right over the stated confidence, with exact bounds and counts."""
    frame = Frame(TENTHS, TENTHS, ("stated confidence", "share right"))
    marks: list[Mark] = [frame.curve([(0, 0), (1, 1)], LEVEL, True)]
    for one in bins:
        x = one.mean_confidence
        at = frame.place(x, one.right)
        marks += [
            frame.curve([(x, one.right_lower), (x, one.right_upper)]),
            Dot(at, INK, 4.0),
            Words((at[0] - 8, at[1] + 14), str(one.readings), "end"),
        ]
    return frame.sheet(marks)


def risk_plot(found: RiskCoverage) -> Drawing:
    """Draw the share wrong among the most confident readings over how many photos they are."""
    ideal = _ideal(found)
    frame = Frame(
        TENTHS,
        axis([0.0, max(*found.risk, *(y for _, y in ideal), 0.01)]),
        ("share of the readable photos, the most confident first", "share wrong among them"),
    )
    curve = list(zip(found.coverage, found.risk, strict=True))
    end = frame.place(*curve[-1])
    marks: list[Mark] = [
        frame.curve(_thinned(ideal), LEVEL, True),
        frame.curve(_thinned(curve)),
        Dot(end, INK, 4.0),
        Words((end[0] + 6, end[1] - 6), "all readings"),
    ]
    return frame.sheet(marks)


def _ideal(found: RiskCoverage) -> list[tuple[float, float]]:
    """The same curve had every wrong reading the lowest confidence."""
    n = len(found.risk)
    wrong = round(found.risk[-1] * n)
    return [
        (covered, max(0, place - (n - wrong)) / place)
        for place, covered in enumerate(found.coverage, 1)
    ]


def _thinned(points: Sequence[Point]) -> list[Point]:
    """Leave out points that a curve does not need; the last stays."""
    step = max(1, len(points) // MOST_POINTS)
    return [*points[:-1:step], points[-1]]


def normalised_plot(found: Normalised) -> Drawing:
    """Draw the histogram of normalised errors, with the normal curve that they ought to follow."""
    edges = np.arange(-RATIO_END, RATIO_END + RATIO_STEP / 2, RATIO_STEP)
    inside = np.clip(found.values, -RATIO_END, RATIO_END - 1e-9)
    counts, _ = np.histogram(inside, edges)
    n = len(found.values)
    normal = [
        (float(z), n * RATIO_STEP * math.exp(-z * z / 2) / math.sqrt(2 * math.pi))
        for z in np.linspace(-RATIO_END, RATIO_END, 161)
    ]
    frame = Frame(
        axis([-RATIO_END, RATIO_END]),
        axis([0.0, max(*counts.tolist(), *(y for _, y in normal))]),
        ("error / stated standard uncertainty", "readings"),
    )
    bars = [
        Box((frame.place(low, 0), frame.place(low + RATIO_STEP * 0.94, int(count))), PALE)
        for low, count in zip(edges[:-1].tolist(), counts, strict=True)
        if count
    ]
    return frame.sheet([*bars, frame.curve(normal)])


def error_plot(outcomes: Sequence[Outcome]) -> Drawing | None:
    """Draw each accepted reading's error over its size, with what is aimed at; None for none."""
    shown = [
        one
        for one in outcomes
        if one.accepted and one.error_divisions is not None and one.px_per_division > 0
    ]
    if not shown:
        return None
    frame = Frame(
        _log_axis((3, 4, 6, 10, 20, 50, 100)),
        _log_axis((0.001, 0.01, 0.1, 1, 10, 100, 1000)),
        ("px per division", "error, divisions, either way"),
    )

    def place(px: float, error: float) -> tuple[float, float]:
        return frame.place(
            math.log10(min(max(px, LEAST_SHOWN_PX), MOST_SHOWN_PX)),
            math.log10(min(max(error, LEAST_ERROR), MOST_ERROR)),
        )

    steps = list(zip((4, 6, 10, 20), (6, 10, 20, MOST_SHOWN_PX), P95_DIVISIONS[::-1], strict=True))
    marks: list[Mark] = frame.level(Level(math.log10(WRONG_DIVISIONS), "1 division"))
    marks += [
        Stroke((place(low, goal), place(high, goal)), LEVEL, True) for low, high, goal in steps
    ]
    marks.append(Words((frame.right + 6, place(100, P95_DIVISIONS[0])[1] + 4), "95 % aimed at"))
    for one in shown:
        at = place(one.px_per_division, abs(one.error_divisions or 0.0))
        marks.append(Dot(at, ALARM if one.wrong else INK, 3.5 if one.wrong else 2.0))
    return frame.sheet(marks)


def _log_axis(values: Sequence[float]) -> Axis:
    """Make an axis of decimal logarithms, with the values themselves written."""
    ticks = tuple((math.log10(value), f"{value:g}") for value in values)
    return Axis(ticks[0][0], ticks[-1][0], ticks)


def confidence_plot(outcomes: Sequence[Outcome]) -> Drawing:
    """Draw how many readings have which confidence, those that are wrong apart."""
    read = [one for one in outcomes if one.confidence is not None]
    edges = np.linspace(0, 1, 2 * BINS + 1)
    every, _ = np.histogram([one.confidence or 0.0 for one in read], edges)
    wrong, _ = np.histogram([one.confidence or 0.0 for one in read if one.wrong], edges)
    frame = Frame(
        TENTHS,
        axis([0.0, max(1, int(every.max()))]),
        ("stated confidence", "readings; wrong ones red"),
    )
    marks: list[Mark] = []
    width = 0.94 * float(edges[1] - edges[0])
    for counts, colour in ((every, PALE), (wrong, ALARM)):
        marks += [
            Box((frame.place(low, 0), frame.place(low + width, int(count))), colour)
            for low, count in zip(edges[:-1].tolist(), counts, strict=True)
            if count
        ]
    return frame.sheet(marks)
