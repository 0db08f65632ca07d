"""How well the error on one gauge block is known: every doubt once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from decimal import Decimal

from reading.gauge import PHOTOS, ZeroCheck
from reading.measurement.measure import eye_parallax, zero_degrees
from reading.measurement.result import Measurement
from reading.measurement.student import coverage_factor
from reading.measurement.temperature import temperature_uncertainty
from reading.result import Correction
from reading.uncertainty import (
    Budget,
    Component,
    rectangular,
    resolution,
    steps_per_division,
)
from vision.scale import Scale

ZERO_CHECK = "zero check"  # the component that all points share
EYE_STEPS = 2  # an estimate by eye is good to ± a tenth of a division (common practice)


def point_budget(result: Measurement, scale_width: float, blocks_u: float) -> Budget:
    """List what is in doubt about reading - zero error - block, and expand it.

    Parameters
    ----------
    result : Measurement
        The readings on one block, corrected for the zero error.
    scale_width : float
        How finely the scale was read by eye, in its unit; see `width_read`.
    blocks_u : float
        Standard uncertainty of the block.

    Notes
    -----
    A calibration measures the divisions themselves, so a reading counts as finely as it was read
    (GUM F.2.2.1); that divisions are not trusted further than they are cut is no part of it. What
    the scatter of the readings shows already is not counted again (GUM 4.3.10): of the picture's
    doubt about the mean, and of the width read, only what the scatter leaves.
    """
    sample, readings = result.repeats, result.readings
    parts = []
    if sample.spread is not None:
        how = f"s / √n, n = {sample.count}"
        parts.append(Component("repeats", sample.u, how, sample.degrees_of_freedom))
    claims = [one.u_picture for one in readings if one.u_picture is not None]
    if claims:
        beyond = _beyond(math.hypot(*claims) / len(claims), sample.u)
        parts.append(Component("picture", beyond, "division at the line, beyond the scatter"))
    if len(claims) < len(readings):
        beyond = _beyond(rectangular(scale_width), sample.spread or 0.0)
        how = f"read to {scale_width:g}, rectangular, beyond the scatter"
        parts.append(Component("reading", beyond, how))
        scale = result.gauge.scale
        how = "looking within 15° of square, rectangular"
        parts.append(Component("parallax", eye_parallax(scale), how))
    if isinstance(result.correction, Correction):
        check = result.correction.check
        u = zero_as_read(check, result.gauge.scale)
        parts.append(Component(ZERO_CHECK, u, "as finely as it was read", zero_degrees(check, u)))
    if result.warmth is not None:
        u = temperature_uncertainty(float(result.after_calibration), result.warmth)
        parts.append(Component("temperature", u, "temperatures and expansions, rectangular"))
    if blocks_u:
        parts.append(Component("block", blocks_u, "as entered"))
    budget = Budget(result.unit, tuple(parts))
    return replace(budget, k=coverage_factor(result.level, budget.degrees_of_freedom))


def without_zero(budget: Budget) -> float:
    """Give the combined uncertainty of what a point does not share with the others."""
    return math.hypot(*(part.u for part in budget.components if part.name != ZERO_CHECK))


def width_read(scale: Scale, shown: Iterable[Decimal]) -> float:
    """Say how finely readings by eye were read, from how they are written.

    Returns
    -------
    float
        In the scale's unit: one division (or vernier part) where all lie on whole ones, otherwise
        two tenths of a division.
    """
    part = scale.least_count / (scale.vernier or 1)
    if scale.vernier or all((one - scale.start) % part == 0 for one in shown):
        return resolution(scale)
    return EYE_STEPS * float(scale.least_count) / steps_per_division(scale)


def zero_as_read(check: ZeroCheck, scale: Scale) -> float:
    """Give a zero check's standard uncertainty as finely as it was read, in the scale's unit.

    Notes
    -----
    A check's own uncertainty has the least count in it (rectangular), since its divisions are not
    trusted further than they are cut. From photos that is taken off as squares, but not below what
    rounding to the printed step leaves; from a person it is the width read.
    """
    whole = rectangular(resolution(scale))
    if check.source == PHOTOS:
        step = float(scale.least_count) / steps_per_division(scale)
        return max(_beyond(check.u, whole), rectangular(step))
    width = width_read(scale, (check.zero_error + scale.start,))
    return check.u if width == resolution(scale) else min(check.u, rectangular(width))


def shown_of(results: Sequence[Measurement]) -> list[Decimal]:
    """Give all readings of a calibration, as shown."""
    return [one.shown for result in results for one in result.readings]


def _beyond(u: float, seen: float) -> float:
    """Take off, as squares, what is counted elsewhere already."""
    return math.sqrt(max(0.0, u**2 - seen**2))
