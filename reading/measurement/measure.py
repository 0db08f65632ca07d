"""Readings + gauge + zero check + calibration + warmth -> one result with its full budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from reading.correct import (
    choose_correction,
    correction_notices,
    program_version,
    unsure_readings,
)
from reading.gauge import PHOTOS, Gauge, ZeroCheck
from reading.length import convert, plain
from reading.measurement.conformity import Limits, conformity
from reading.measurement.repeats import (
    grubbs,
    mean,
    pooled_spread,
    repeats,
)
from reading.measurement.result import (
    Layout,
    Measurement,
    OneReading,
    Roundness,
)
from reading.measurement.student import coverage_factor
from reading.measurement.temperature import Warmth, at_reference, temperature_uncertainty
from reading.measurement.wire import WIRE_GAUGES, WireMatch, match
from reading.notices import Notice, notice
from reading.problem import Problem
from reading.result import CalibrationShare, Correction, When
from reading.uncertainty import Budget, Component, rectangular, resolution
from vision.parallax import parallax_divisions
from vision.scale import Scale

LEVEL = 0.95  # the usual level of confidence (GUM 6.3.3)
LOOK_RAD = math.radians(15)  # a person looks so nearly square at the line (common practice)
SLEEVE_TO_THIMBLE = 0.95  # radius of the sleeve over that of the edge (common practice)
EVER_DAYS = 10**6  # longer than any gauge lives
WARM_SHARE = 0.1  # a correction under a tenth of U is below notice (common practice)


@dataclass(frozen=True)
class About:
    """What is known beside the readings, and what is asked of them."""

    when: When
    layout: Layout = field(default_factory=Layout)
    checks: tuple[ZeroCheck, ...] = ()
    calibration: CalibrationShare | None = None
    warmth: Warmth | None = None
    limits: Limits | None = None  # in the gauge's unit
    wire: bool = False
    level: float = LEVEL
    fixed_k: float | None = None
    gauge_alarm: str = ""  # what is overdue or out of control about the gauge, in words
    warned: tuple[Notice, ...] = ()  # what is wanting about how the readings were taken


def measure(gauge: Gauge, readings: Sequence[OneReading], about: About) -> Measurement:
    """Turn readings of one piece of work into a result.

    Parameters
    ----------
    gauge : Gauge
    readings : sequence of OneReading
        As shown, in the gauge's unit, in the order that `about.layout` says; at least one.
    about : About

    Raises
    ------
    Problem
        If there is no reading, they do not fit the layout, or a photo is given twice.

    Notes
    -----
    Type A: with several places their means are the sample, so that the work's own variation counts;
    with one place all readings are. The other components are independent of it and of each other.
    """
    if not readings:
        raise Problem("no readings: give photos, or --readings")
    _check_distinct(readings)
    shown = [one.shown for one in readings]
    cells = about.layout.split(shown)
    sample = [mean(sum(place, ())) for place in cells] if about.layout.places > 1 else shown
    scale = gauge.scale
    result = Measurement(
        gauge=gauge,
        readings=tuple(readings),
        layout=about.layout,
        when=about.when,
        repeats=repeats(sample),
        correction=choose_correction(gauge, about.checks, about.when.at),
        budget=Budget(scale.unit, ()),
        level=about.level,
        calibration=about.calibration,
        warmth=about.warmth,
        outlier=grubbs(shown, scale.least_count),
        roundness=_roundness(cells, scale),
        program=program_version(),
    )
    result = replace(result, budget=_budget(result, about.fixed_k))
    return _judged(result, about)


def _judged(result: Measurement, about: About) -> Measurement:
    """Add what follows from the value and its uncertainty."""
    value, budget = float(result.value), result.budget
    verdict = None
    if about.limits is not None:
        verdict = conformity(value, budget.combined, budget.expanded, about.limits)
    wires: tuple[WireMatch, ...] = ()
    if about.wire:
        if value <= 0:
            raise Problem(f"--wire: a wire's diameter is more than 0, this is {value:g}")
        scale = result.gauge.scale
        diameter, off = (float(scale.to_mm(Decimal(repr(x)))) for x in (value, budget.expanded))
        wires = tuple(match(gauge, diameter, off) for gauge in WIRE_GAUGES)
    return replace(result, conformity=verdict, wires=wires, notices=_notices(result, about))


def _budget(result: Measurement, fixed_k: float | None) -> Budget:
    """List every component that is known, and expand their combination."""
    scale = result.gauge.scale
    parts = [*_reading_components(result), *_scale_components(result)]
    if isinstance(result.correction, Correction) and not _zero_cancels(result):
        check = result.correction.check
        parts.append(
            Component("zero check", check.u, "the zero check's own", zero_degrees(check, check.u))
        )
    if result.calibration is not None:
        parts.append(result.calibration.component)
    if result.warmth is not None:
        u = temperature_uncertainty(float(result.after_calibration), result.warmth)
        parts.append(Component("temperature", u, "temperatures and expansions, rectangular"))
    budget = Budget(scale.unit, tuple(parts))
    k = fixed_k or coverage_factor(result.level, budget.degrees_of_freedom)
    return replace(budget, k=k)


def _zero_cancels(result: Measurement) -> bool:
    """Tell whether the calibration was made with the zero check that is taken off here."""
    return result.calibration is not None and result.calibration.zero_cancels


def _reading_components(result: Measurement) -> list[Component]:
    """Scatter of the readings, and what pictures claim beyond it.

    The scatter has the pictures' own doubt in it, so only the part that it does not show is added
    (as squares): together they are the larger of the two.
    """
    found, sample = [], result.repeats
    if sample.spread is not None:
        how = f"s / √n, n = {sample.count}" + (" places" if result.layout.places > 1 else "")
        found.append(Component("repeats", sample.u, how, sample.degrees_of_freedom))
    claims = [one.u_picture for one in result.readings if one.u_picture is not None]
    if claims:
        claimed = math.hypot(*claims) / len(claims)
        beyond = math.sqrt(max(0.0, claimed**2 - sample.u**2))
        how = "division at the line and its parallax, as far as the repeats don't show it"
        found.append(Component("picture", beyond, how))
    return found


def _scale_components(result: Measurement) -> list[Component]:
    """What the scale is not told apart by, and where the eye stood for readings by hand."""
    scale = result.gauge.scale
    width, how = resolution(scale), "rectangular, width / √12"
    stated = max((one.half_width for one in result.readings if one.half_width), default=None)
    if stated is not None and 2 * float(stated) > width:
        width, how = 2 * float(stated), f"stated ± {plain(stated)}, rectangular"
    found = [Component("least count", rectangular(width), how)]
    if any(one.photo is None for one in result.readings):
        found.append(
            Component("parallax", eye_parallax(scale), "looking within 15° of square, rectangular")
        )
    return found


def eye_parallax(scale: Scale) -> float:
    """Give the standard uncertainty of a reading by eye from where the eye may stand."""
    most = abs(parallax_divisions(LOOK_RAD, SLEEVE_TO_THIMBLE, 1.0, scale.divisions))
    return rectangular(2 * most * float(scale.least_count))


def zero_degrees(check: ZeroCheck, u: float) -> float:
    """Give the degrees of freedom of a zero check's `u`: its photos' scatter's (GUM G.4.1)."""
    if check.source != PHOTOS or not check.spread:
        return math.inf
    n = len(check.photos)
    return (n - 1) * (u / (check.spread / math.sqrt(n))) ** 4


def _roundness(cells: Sequence[Sequence[Sequence[Decimal]]], scale: Scale) -> Roundness | None:
    """Give the greatest difference between directions at one place.

    Zero error and calibration are alike in both and cancel; the scale and the repeats are not.
    """
    if len(cells[0]) < 2:
        return None
    means = [[mean(direction) for direction in place] for place in cells]
    difference = max(max(place) - min(place) for place in means)
    within = pooled_spread([direction for place in cells for direction in place])
    u_repeat = within[0] / math.sqrt(len(cells[0][0])) if within else 0.0
    one = math.hypot(u_repeat, rectangular(resolution(scale)))
    return Roundness(difference, 2 * math.sqrt(2) * one)


def _notices(result: Measurement, about: About) -> tuple[Notice, ...]:
    """Say what is wanting, most important first."""
    scale = result.gauge.scale
    found = []
    if result.outlier is not None and result.outlier.found:
        off = result.outlier
        value = f"{plain(result.readings[off.place].shown)} {scale.unit}"
        found.append(
            notice("outlier", place=off.place + 1, value=value, g=off.g, critical=off.critical)
        )
    found += [*unsure_readings(result.readings), *_turn_notices(result.readings, scale)]
    found += about.warned
    # How old the zero check may be is the gauge's own affair, and part of its state.
    found += correction_notices(result.correction, about.when, EVER_DAYS)
    if about.gauge_alarm:
        found.append(notice("gauge_state", words=about.gauge_alarm))
    end = result.gauge.end
    if any(one.shown < scale.start for one in result.readings):
        found.append(notice("below_range"))
    if end is not None and any(one.shown > end for one in result.readings):
        found.append(notice("beyond_range"))
    if result.calibration is None:
        found.append(notice("no_calibration"))
    if result.warmth is None:
        found.append(notice("no_temperature"))
    else:
        change = at_reference(result.after_calibration, result.warmth) - result.after_calibration
        if abs(float(change)) > WARM_SHARE * result.budget.expanded:
            um = round(convert(change, scale.unit, "um"), 2)
            found.append(notice("warm", change=f"{plain(um, signed=True)} µm"))
    return tuple(found)


def _turn_notices(readings: Sequence[OneReading], scale: Scale) -> list[Notice]:
    """Name readings of one thing that may differ by a whole turn."""
    shown = [one.shown for one in readings]
    if 2 * (max(shown) - min(shown)) < scale.pitch:
        return []
    low, high = (f"{plain(one)} {scale.unit}" for one in (min(shown), max(shown)))
    return [notice("turn_apart", low=low, high=high)]


def _check_distinct(readings: Sequence[OneReading]) -> None:
    """Refuse one photo given twice: it would make the mean look surer than it is."""
    seen: dict[str, str] = {}
    for one in readings:
        if one.photo is not None:
            if one.photo.sha256 in seen:
                other = seen[one.photo.sha256]
                raise Problem(f"{one.source}: the same photo as {other}, give it once")
            seen[one.photo.sha256] = one.source
