"""A measurement -> lines for people, the working, and JSON. Only units and rounding."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from reading.formats import curve_error, json_text
from reading.length import (
    convert,
    how_many,
    plain,
    round_result,
    round_uncertainty,
    trimmed,
    unit_sign,
)
from reading.measurement.conformity import OPEN, Conformity
from reading.measurement.result import Measurement
from reading.measurement.student import whole_degrees
from reading.measurement.temperature import GAUGE_PER_K
from reading.measurement.wire import FULL_NAMES, WireMatch, WireNumber, area_mm2
from reading.result import Correction, NoCorrection
from reading.uncertainty import Budget

MOST_CERTAIN = 0.999  # a model is not trusted further than this
MOST_LISTED = 40  # readings that are written out in the working
SIZE_PLACES = 4  # of a wire gauge size in mm, as tables print them
MEAN_PLACES = 6  # of a mean in mm: a nanometre
THOUSAND = 1000
COUNTLESS = 1e4  # degrees of freedom beyond this are written as no end of them


def figure(u: float) -> str:
    """Write an uncertainty with two figures."""
    return plain(round_uncertainty(Decimal(repr(u))))


def stated(result: Measurement, unit: str) -> tuple[str, str]:
    """Give the result and its expanded uncertainty in a unit, rounded by GUM 7.2.6."""
    value = convert(result.value, result.unit, unit)
    expanded = convert(Decimal(repr(result.budget.expanded)), result.unit, unit)
    rounded, u = round_result(value, expanded)
    return plain(rounded), plain(u)


def headline(result: Measurement, unit: str) -> str:
    """Say the result in one line."""
    value, expanded = stated(result, unit)
    return f"{result.gauge.identifier}: {value} ± {expanded} {unit_sign(unit)} {known(result)}"


def known(result: Measurement) -> str:
    """Say what the expanded uncertainty rests on, and if something was not taken off."""
    name = "" if isinstance(result.correction, Correction) else ", zero error not taken off"
    return f"(k = {result.budget.k:.2f}, {_degrees(result.budget)}){name}"


def to_text(result: Measurement, unit: str) -> str:
    """Write a measurement for people: result, how it came about, budget, and what is wanting."""
    lines = [
        headline(result, unit),
        *_indented(_steps(result)),
        *_indented(roundness_lines(result)),
        *_indented(budget_table(result.budget)),
        *_indented(conformity_lines(result)),
        *_indented(wire_lines(result)),
        *_indented([f"warning: {one.message}" for one in result.notices]),
    ]
    return "\n".join(lines)


def _indented(lines: Sequence[str]) -> list[str]:
    return [f"  {line}" for line in lines]


def _degrees(budget: Budget) -> str:
    """Say how many degrees of freedom k rests on."""
    degrees = budget.degrees_of_freedom
    if degrees > COUNTLESS:
        return "degrees of freedom ∞"
    whole = whole_degrees(degrees)
    return f"{whole} degree{'s' if whole != 1 else ''} of freedom"


def _short(value: Decimal, result: Measurement) -> str:
    """Write a mean with two places more than a division has."""
    places = int(result.gauge.scale.least_count.normalize().as_tuple().exponent) - 2
    return trimmed(round(value, max(0, -places)))


def _steps(result: Measurement) -> list[str]:
    """Say what the readings were and what was taken off, one line each."""
    unit, count = result.unit, len(result.readings)
    mean = _short(result.mean_shown, result)
    start = f"{count} reading{'s' if count > 1 else ''}, mean {mean} {unit}"
    if result.repeats.spread is not None:
        of = f" of {result.repeats.count} places" if result.layout.places > 1 else ""
        start += f", standard deviation{of} {figure(result.repeats.spread)} {unit}"
    lines = [f"{start} as shown"]
    match result.correction:
        case Correction(check, age_days):
            lines.append(
                f"{_short(result.mean_shown, result)} − ({plain(check.zero_error, signed=True)}) "
                f"zero error = {_short(result.after_zero, result)} {unit} (zero check of "
                f"{check.at:%Y-%m-%d}, {age_days} days old)"
            )
        case NoCorrection():
            pass
    if result.calibration is not None and result.calibration.error:
        error = curve_error(result.calibration)
        lines.append(
            f"{_short(result.after_zero, result)} − ({error}) error of the screw here = "
            f"{_short(result.after_calibration, result)} {unit} ({result.calibration.origin})"
        )
    if result.warmth is not None:
        change = round(convert(result.value - result.after_calibration, unit, "um"), 2)
        lines.append(
            f"{result.warmth.celsius} °C: brought to 20 °C, {plain(change, signed=True)} µm"
        )
    return lines


def roundness_lines(result: Measurement) -> list[str]:
    """Say how far the work is from round, where it was measured in several directions."""
    if result.roundness is None:
        return []
    difference, expanded = (
        plain(one)
        for one in round_result(
            result.roundness.difference, Decimal(repr(result.roundness.expanded))
        )
    )
    return [
        f"out of round by {difference} ± {expanded} {result.unit} (diameters at one place, k = 2)"
    ]


def budget_rows(budget: Budget) -> list[tuple[str, str, str, str, str]]:
    """Give the budget as rows: component, standard uncertainty, ν, share of the variance, how."""
    total = budget.combined**2
    rows = [
        (
            part.name,
            figure(part.u),
            _nu(part.degrees_of_freedom),
            f"{100 * part.u**2 / total:.0f} %",
            part.origin,
        )
        for part in budget.components
    ]
    return [
        ("component", f"u/{budget.unit}", "ν", "share", "how"),
        *rows,
        (
            "combined",
            figure(budget.combined),
            _nu(budget.degrees_of_freedom),
            "",
            "root of the sum of squares",
        ),
        ("expanded", figure(budget.expanded), "", "", f"k = {budget.k:.3f}"),
    ]


def budget_table(budget: Budget) -> list[str]:
    """Write the budget as a table of plain text."""
    rows = budget_rows(budget)
    widths = [max(len(row[i]) for row in rows) for i in range(4)]
    return [
        f"{row[0]:<{widths[0]}}  {row[1]:<{widths[1]}}  {row[2]:>{widths[2]}}"
        f"  {row[3]:>{widths[3]}}  {row[4]}"
        for row in rows
    ]


def _nu(degrees: float) -> str:
    if degrees > COUNTLESS:
        return "∞"
    return f"{degrees:.0f}" if degrees >= THOUSAND else f"{degrees:.3g}"


def conformity_lines(result: Measurement) -> list[str]:
    """Say pass, fail or can't tell, and by which rule."""
    if result.conformity is None:
        return []
    judged = result.conformity
    why = " (within U of a limit: measure better, or ask who set the limit)"
    return [
        f"limits {_limits(judged, result.unit)}: {judged.verdict}"
        f"{why if judged.verdict == OPEN else ''}; guard band U, ISO 14253-1; "
        f"probability of lying within them {_probability(judged.probability)}"
    ]


def _probability(probability: float) -> str:
    """Write a probability with three places, never as certain."""
    if probability > MOST_CERTAIN:
        return f"over {MOST_CERTAIN}"
    return (
        f"under {1 - MOST_CERTAIN:.3f}" if probability < 1 - MOST_CERTAIN else f"{probability:.3f}"
    )


def _limits(judged: Conformity, unit: str) -> str:
    """Write limits that may be one-sided."""
    lower, upper = judged.limits.lower, judged.limits.upper
    if lower is None:
        return f"up to {upper} {unit}"
    if upper is None:
        return f"from {lower} {unit}"
    return f"{lower} to {upper} {unit}"


def wire_lines(result: Measurement) -> list[str]:
    """Say which wire gauge numbers fit, and the cross-section."""
    if not result.wires:
        return []
    scale = result.gauge.scale
    diameter = float(scale.to_mm(result.value))
    expanded = 2 * float(scale.to_mm(Decimal(repr(result.budget.expanded)))) / diameter
    area = area_mm2(diameter)
    value, u = round_result(Decimal(repr(area)), Decimal(repr(area * expanded)))
    return [
        *(wire_line(one, gauge) for one, gauge in zip(result.wires, FULL_NAMES, strict=True)),
        f"cross-section {plain(value)} ± {plain(u)} mm² (round and bare)",
        "the numbers are for round wire; for sheet none is given: it is named by its thickness",
    ]


def wire_line(found: WireMatch, gauge: str) -> str:
    """Say what one wire gauge makes of a diameter."""
    name = FULL_NAMES[gauge]
    if found.nearest is None:
        return f"{name}: outside its table"
    best = f"{name}: nearest in ratio No. {_number(found.nearest)}"
    if found.singled_out:
        told = f"{best}, and no other within the uncertainty"
    else:
        others = ", ".join(_number(one) for one in found.possible)
        told = f"{best}; within the uncertainty it may be No. {others}"
    if found.has_the_size:
        return told
    off = plain(round(Decimal(repr(found.off_mm)), SIZE_PLACES - 1), signed=True)
    return f"{told}; but {off} mm off that size, more than the uncertainty"


def _number(one: WireNumber) -> str:
    return f"{one.number} ({trimmed(round(Decimal(repr(one.diameter_mm)), SIZE_PLACES))} mm)"


def explanation(result: Measurement, unit: str) -> list[str]:
    """Write out the working, step by step."""
    lines = [f"Readings as shown: {_listed(result)}"]
    if result.layout.places * result.layout.directions > 1:
        lines.append(
            f"They were taken at {how_many(result.layout.places, 'place')} in "
            f"{how_many(result.layout.directions, 'direction')}"
            + ("; each place counts by its mean." if result.layout.places > 1 else ".")
        )
    lines += [f"Mean = sum ÷ {len(result.readings)} = {_short(result.mean_shown, result)}"]
    sample, off = result.repeats, result.outlier
    if sample.spread is not None:
        lines.append(
            f"s = √(Σ(x − mean)² ÷ (n − 1)) = {figure(sample.spread)}, "
            f"u = s ÷ √{sample.count} = {figure(sample.u)}, ν = {sample.count - 1}"
        )
    if off is not None:
        lines.append(
            f"Grubbs: G = {off.g:.3f}, critical {off.critical:.3f} at 5 %: "
            + ("an outlier" if off.found else "no outlier")
        )
    else:
        lines.append("Grubbs: not tested (fewer than 4 readings, or all on neighbouring divisions)")
    lines += _steps(result)[1:]
    if result.warmth is not None:
        warmth = result.warmth
        lines.append(
            f"L20 = L (1 + α_gauge ΔT) ÷ (1 + α_work ΔT), α_gauge = {GAUGE_PER_K} 1/K, "
            f"α_work = {warmth.work_per_k} 1/K, ΔT = {warmth.above_reference_k} K"
        )
    return lines + _budget_explanation(result, unit)


def _listed(result: Measurement) -> str:
    """List readings, or the first of very many."""
    first = ", ".join(plain(one.shown) for one in result.readings[:MOST_LISTED])
    more = len(result.readings) - MOST_LISTED
    return f"{first} {result.unit}" + (f" and {more} more" if more > 0 else "")


def _budget_explanation(result: Measurement, unit: str) -> list[str]:
    """Write out combination, degrees of freedom, k and rounding."""
    budget = result.budget
    squares = " + ".join(f"{figure(part.u)}²" for part in budget.components)
    value, expanded = stated(result, unit)
    degrees = budget.degrees_of_freedom
    nu = "∞" if degrees > COUNTLESS else f"{degrees:.2f}"
    return [
        f"u = √({squares}) = {figure(budget.combined)} {result.unit}",
        f"ν = u⁴ ÷ Σ(uᵢ⁴ ÷ νᵢ) = {nu}, k = {budget.k:.3f}",
        f"U = k u = {figure(budget.expanded)} {result.unit}; rounded to two figures, the value to "
        f"the same place (GUM 7.2.6): {value} ± {expanded} {unit_sign(unit)}",
    ]


def to_json(result: Measurement, working: Sequence[str] | None = None) -> str:
    """Write a measurement as one line of JSON; lengths in mm."""
    values = record(result)
    if working is not None:
        values["working"] = list(working)
    return json_text(values)


def record(result: Measurement) -> dict[str, object]:
    """Give a measurement as a record; lengths are Decimals in mm."""
    scale, budget = result.gauge.scale, result.budget
    degrees = budget.degrees_of_freedom
    value, expanded = round_result(
        scale.to_mm(result.value), scale.to_mm(Decimal(repr(budget.expanded)))
    )
    roundness, judged = result.roundness, result.conformity
    corrected = isinstance(result.correction, Correction)
    return {
        "gauge": result.gauge.identifier,
        "dated": result.at.isoformat(timespec="seconds"),
        "readings": [
            {"source": one.source, "shown_mm": round(scale.to_mm(one.shown), MEAN_PLACES)}
            for one in result.readings
        ],
        "places": result.layout.places,
        "directions": result.layout.directions,
        "mean_shown_mm": round(scale.to_mm(result.mean_shown), MEAN_PLACES),
        "standard_deviation_mm": _mm(result, result.repeats.spread),
        "zero_error_mm": scale.to_mm(result.zero_error) if corrected else None,
        "calibration_error_mm": scale.to_mm(result.calibration.error)
        if result.calibration
        else None,
        "temperature_c": result.warmth.celsius if result.warmth else None,
        "value_mm": value,
        "expanded_uncertainty_mm": expanded,
        "k": round(Decimal(repr(budget.k)), 3),
        "degrees_of_freedom": None if math.isinf(degrees) else whole_degrees(degrees),
        "budget": [
            {"name": part.name, "u_mm": _mm(result, part.u), "how": part.origin}
            for part in budget.components
        ],
        "out_of_round_mm": scale.to_mm(roundness.difference) if roundness else None,
        "verdict": judged.verdict if judged else None,
        "wire": [_wire_values(one) for one in result.wires if one.nearest is not None],
        "warnings": [{"code": one.code, "message": one.message} for one in result.notices],
        "sha256": [one.photo.sha256 for one in result.readings if one.photo],
        "program": result.program,
    }


def _mm(result: Measurement, u: float | None) -> Decimal | None:
    """Turn an uncertainty into mm, rounded to two figures."""
    if u is None:
        return None
    return round_uncertainty(result.gauge.scale.to_mm(Decimal(repr(u))))


def _wire_values(found: WireMatch) -> dict[str, object]:
    assert found.nearest is not None
    return {
        "gauge": found.nearest.gauge,
        "nearest": found.nearest.number,
        "diameter_mm": round(Decimal(repr(found.nearest.diameter_mm)), 6),
        "possible": [one.number for one in found.possible],
        "has_the_size": found.has_the_size,
    }
