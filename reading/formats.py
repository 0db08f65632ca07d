"""Reading, refused photo or unusable file -> text, JSON, CSV. Only units and rounding."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from decimal import Decimal
from typing import assert_never

from reading.length import convert, plain, round_result, round_uncertainty, trimmed
from reading.result import (
    UNUSABLE_CODE,
    CalibrationShare,
    Correction,
    HandComparison,
    LengthAlternative,
    NoCorrection,
    Reading,
    Refused,
    Result,
    Unusable,
)
from reading.uncertainty import Budget
from vision.scale import Scale
from vision.sighting import Reason

# What every JSON object and every CSV row holds, in this order; absent values are null or empty.
COLUMNS = (
    "photo",
    "status",
    "reasons",
    "gauge",
    "pitch_mm",
    "divisions",
    "unit",
    "sleeve_mm",
    "thimble_division",
    "shown_mm",
    "shown_uncertainty_mm",
    "zero_error_mm",
    "zero_check_date",
    "zero_check_age_days",
    "calibration_error_mm",
    "calibration_date",
    "corrected_mm",
    "expanded_uncertainty_mm",
    "confidence",
    "parallax_divisions",
    "px_per_division",
    "alternatives",
    "warnings",
    "hand_mm",
    "hand_against",
    "hand_difference_divisions",
    "hand_agrees",
    "slips",
    "dated",
    "dated_by",
    "sha256",
    "program",
)
PROBABILITY_PLACES, PARALLAX_PLACES, PX_PLACES, DIVISION_PLACES = 4, 3, 2, 2
FEWEST_SHOWN = 0.005  # alternatives less likely than this would print as 0.00


def to_json(result: Result, working: Sequence[str] | None = None) -> str:
    """Write a result as one line of JSON, numbers from their exact decimals."""
    values = record(result)
    if working is not None:
        values["working"] = list(working)
    return json_text(values)


def csv_header() -> str:
    """Write the names of the columns as one line of CSV."""
    return _csv_line(COLUMNS)


def to_csv(result: Result) -> str:
    """Write a result as one line of CSV; lists are joined within their cell."""
    return _csv_line([_cell(value) for value in record(result).values()])


def record(result: Result) -> dict[str, object]:
    """Give a result as a flat record with the keys `COLUMNS`; lengths are Decimals in mm."""
    values: dict[str, object] = dict.fromkeys(COLUMNS)
    values.update(status="refused", reasons=[], alternatives=[], warnings=[])
    match result:
        case Reading():
            values.update(_reading_values(result))
        case Refused():
            values.update(_refused_values(result))
        case Unusable(name, message):
            values["photo"] = name
            values["reasons"] = [{"code": UNUSABLE_CODE, "message": message}]
        case _:
            assert_never(result)
    return values


def _reading_values(reading: Reading) -> dict[str, object]:
    """Give the values of a reading."""
    scale, sighting = reading.scale, reading.sighting
    values: dict[str, object] = {
        "photo": reading.photo.name,
        "status": "read",
        "gauge": reading.gauge.identifier if reading.gauge else None,
        "sleeve_mm": scale.to_mm(reading.sleeve),
        "thimble_division": reading.division,
        "shown_mm": scale.to_mm(reading.shown),
        "shown_uncertainty_mm": _rounded_mm(scale, reading.shown_uncertainty.combined),
        "confidence": _places(sighting.confidence, PROBABILITY_PLACES),
        "parallax_divisions": _places(sighting.parallax_divisions, PARALLAX_PLACES),
        "px_per_division": _places(sighting.px_per_division, PX_PLACES),
        "alternatives": _alternative_values(scale, reading.alternatives),
        "warnings": [{"code": one.code, "message": one.message} for one in reading.notices],
        "dated": reading.when.at.isoformat(timespec="seconds"),
        "dated_by": reading.when.source,
        "sha256": reading.photo.sha256,
        "program": reading.program,
    }
    if isinstance(reading.correction, Correction) and reading.corrected is not None:
        check = reading.correction.check
        values |= {
            "zero_error_mm": scale.to_mm(check.zero_error),
            "zero_check_date": check.at.date().isoformat(),
            "zero_check_age_days": reading.correction.age_days,
            "corrected_mm": scale.to_mm(reading.corrected),
            "expanded_uncertainty_mm": _rounded_mm(scale, reading.uncertainty.expanded),
        }
    if reading.calibration is not None:
        curve = reading.calibration
        values["calibration_error_mm"] = scale.to_mm(curve.error)
        values["calibration_date"] = curve.at.date().isoformat() if curve.at else None
    if reading.hand is not None:
        values |= _hand_values(scale, reading.hand)
    return values | _scale_values(scale)


def _refused_values(result: Refused) -> dict[str, object]:
    """Give the values of a refused photo."""
    refusal = result.refusal
    px = refusal.px_per_division
    values: dict[str, object] = {
        "photo": result.photo.name,
        "reasons": [_reason_values(reason) for reason in refusal.reasons],
        "gauge": result.gauge.identifier if result.gauge else None,
        "px_per_division": None if px is None else _places(px, PX_PLACES),
        "sha256": result.photo.sha256,
    }
    if refusal.scale is None:
        return values
    values["alternatives"] = _alternative_values(refusal.scale, result.alternatives)
    return values | _scale_values(refusal.scale)


def _scale_values(scale: Scale) -> dict[str, object]:
    return {"pitch_mm": scale.pitch_mm, "divisions": scale.divisions, "unit": scale.unit}


def _reason_values(reason: Reason) -> dict[str, object]:
    return {"code": reason.code, "message": f"{reason.message} {reason.remedy}"}


def _hand_values(scale: Scale, hand: HandComparison) -> dict[str, object]:
    return {
        "hand_mm": scale.to_mm(hand.value),
        "hand_against": hand.against,
        "hand_difference_divisions": round(hand.difference_divisions, DIVISION_PLACES),
        "hand_agrees": hand.agrees,
        "slips": [{"code": fit.code, "message": fit.sentence} for fit in hand.slips],
    }


def _alternative_values(
    scale: Scale, alternatives: Sequence[LengthAlternative]
) -> list[dict[str, object]]:
    return [
        {
            "shown_mm": scale.to_mm(one.shown),
            "probability": _places(one.probability, PROBABILITY_PLACES),
        }
        for one in alternatives
    ]


def _places(value: float, places: int) -> Decimal:
    """Give a float with so many decimal places."""
    return round(Decimal(repr(float(value))), places)


def _rounded_mm(scale: Scale, u: float) -> Decimal:
    """Turn an uncertainty into mm, rounded to two figures."""
    return round_uncertainty(scale.to_mm(Decimal(repr(u))))


def json_text(value: object) -> str:
    """Write JSON with decimals as they are, so that no binary fraction comes between."""
    match value:
        case Decimal():
            return trimmed(value)
        case dict():
            return (
                "{" + ", ".join(f"{json.dumps(k)}: {json_text(v)}" for k, v in value.items()) + "}"
            )
        case list():
            return "[" + ", ".join(json_text(item) for item in value) + "]"
        case _:
            return json.dumps(value, allow_nan=False)


def _cell(value: object) -> str:
    """Write one value into a cell of CSV."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case Decimal():
            return trimmed(value)
        case list():
            return " | ".join(_cell(item) for item in value)
        case dict():
            return ": ".join(_cell(item) for item in value.values())
        case _:
            return str(value)


def _csv_line(cells: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(cells)
    return out.getvalue()


def to_text(result: Result) -> str:
    """Write a result for people, a first line and indented ones below it."""
    match result:
        case Reading():
            return "\n".join([_headline(result), *(f"  {line}" for line in _reading_lines(result))])
        case Refused():
            return "\n".join(
                [
                    f"{_name(result.photo.name)}: refused",
                    *(f"  {_reason_line(reason)}" for reason in result.refusal.reasons),
                    *(f"  {line}" for line in _refused_alternatives(result)),
                ]
            )
        case Unusable(_, message):
            return message
        case _:
            assert_never(result)


def caption(result: Reading | Refused) -> tuple[str, ...]:
    """Give the lines to print on an overlay: short, and in ASCII, which is all its font has.

    A refusal's reasons are drawn without being told; only what it may show is added to them.
    """
    if isinstance(result, Refused):
        return tuple(_refused_alternatives(result))
    unit = result.scale.unit
    lines = [f"{_sum_text(result, 'x')} = {plain(result.shown)} {unit} shown"]
    if result.corrected is not None and result.zero_error is not None:
        zero = plain(result.zero_error, signed=True)
        curve = f", {curve_error(result.calibration)} of the screw" if result.calibration else ""
        lines.append(f"less zero error {zero}{curve} = {plain(result.corrected)} {unit} corrected")
    lines.append(f"confidence {result.sighting.confidence:.2f}")
    return tuple(line.encode("ascii", "replace").decode() for line in lines)


def _name(name: str) -> str:
    """Write a file's name on one line, whatever it holds."""
    return name if name.isprintable() else ascii(name)


def _headline(reading: Reading) -> str:
    """Say the result in one line."""
    unit = reading.scale.unit
    if reading.corrected is None:
        u = Decimal(repr(reading.shown_uncertainty.combined))
        rounded = plain(round_uncertainty(u))
        return (
            f"{_name(reading.photo.name)}: {plain(reading.shown)} {unit} shown, not corrected"
            f" (standard uncertainty {rounded} {unit})"
        )
    value, expanded = _stated(reading.corrected, reading.uncertainty, reading.step)
    return f"{_name(reading.photo.name)}: {value} ± {expanded} {unit} corrected (k = 2)"


def _reading_lines(reading: Reading) -> list[str]:
    """Say how the result came about, and what is wanting."""
    unit = reading.scale.unit
    lines = [f"{_sum_text(reading)} = {plain(reading.shown)} {unit} shown"]
    match reading.correction:
        case Correction(check, age_days):
            zero = plain(check.zero_error, signed=True)
            after_zero = f"{plain(reading.after_zero or Decimal(0))} {unit}"
            lines.append(
                f"{plain(reading.shown)} − ({zero}) zero error = {after_zero}"
                f"{'' if reading.calibration else ' corrected'}"
                f" (zero check of {check.at:%Y-%m-%d}, {_age(age_days)})"
            )
            if reading.calibration is not None:
                lines.append(f"{curve_step(reading)} corrected ({reading.calibration.origin})")
            lines.append(_other_units(reading))
        case NoCorrection():
            pass
        case _:
            assert_never(reading.correction)
    lines.append(_confidence_line(reading))
    if reading.hand is not None:
        lines += hand_lines(reading.hand, unit)
    return lines + [f"warning: {one.message}" for one in reading.notices]


def curve_error(curve: CalibrationShare) -> str:
    """Write the error of the screw that is taken off, with its sign."""
    return plain(curve.error, signed=True)


def curve_step(reading: Reading) -> str:
    """Write what is left of a reading when the error of its gauge's screw is taken off too."""
    assert reading.calibration is not None
    before, after = (plain(one or Decimal(0)) for one in (reading.after_zero, reading.corrected))
    error = curve_error(reading.calibration)
    return f"{before} − ({error}) error of the screw here = {after} {reading.scale.unit}"


def _sum_text(reading: Reading, times: str = "×") -> str:
    """Write sleeve + n x least count."""
    scale = reading.scale
    return (
        f"{plain(reading.sleeve)} + {plain(reading.division)} {times} {trimmed(scale.least_count)}"
    )


def _stated(value: Decimal, budget: Budget, finest: Decimal | None) -> tuple[str, str]:
    """Round a value and its expanded uncertainty by GUM 7.2.6."""
    rounded, expanded = round_result(value, Decimal(repr(budget.expanded)), finest)
    return plain(rounded), plain(expanded)


def _other_units(reading: Reading) -> str:
    """Write the corrected reading in the units that the gauge does not show."""
    unit = reading.scale.unit
    corrected, expanded = reading.corrected or Decimal(0), reading.uncertainty.expanded
    parts = []
    for other in ("mm", "cm", "in"):
        if other != unit:
            u = convert(Decimal(repr(expanded)), unit, other)
            step = convert(reading.step, unit, other) if "in" not in (unit, other) else None
            value, _ = round_result(convert(corrected, unit, other), u, step)
            parts.append(f"{plain(value)} {other}")
    return f"= {', '.join(parts)}"


def _confidence_line(reading: Reading) -> str:
    """Say how sure the picture is, and what else it may show."""
    others = [
        f"{plain(one.shown)} {reading.scale.unit} ({one.probability:.2f})"
        for one in reading.alternatives
        if one.shown != reading.shown and one.probability >= FEWEST_SHOWN
    ]
    line = f"confidence {reading.sighting.confidence:.2f}"
    return f"{line}; it may also be {', '.join(others)}" if others else line


def hand_lines(hand: HandComparison, unit: str) -> list[str]:
    """Say how a hand reading agrees, and which slips would explain it where it does not."""
    off = plain(round(hand.difference_divisions, 1), signed=True)
    said = f"hand reading {plain(hand.value)} {unit}"
    if hand.agrees:
        return [f"{said} agrees with the {hand.against} reading ({off} divisions)"]
    lines = [f"{said} disagrees with the {hand.against} reading ({off} divisions)"]
    if not hand.slips:
        return [*lines, "no usual slip leads to it"]
    for place, fit in enumerate(hand.slips):
        start = "likeliest slip" if place == 0 else "or"
        lines.append(f"{start}: {fit.sentence} (gives {trimmed(round(fit.gives, 5))} {unit})")
    return lines


def _age(days: int) -> str:
    """Say how old a zero check is."""
    return "the same day" if days == 0 else "1 day old" if days == 1 else f"{days} days old"


def _reason_line(reason: Reason) -> str:
    return f"{reason.message} {reason.remedy} [{reason.code}]"


def _refused_alternatives(result: Refused) -> list[str]:
    """Name what the picture may show all the same."""
    scale = result.refusal.scale
    if scale is None or not result.alternatives:
        return []
    named = ", ".join(
        f"{plain(one.shown)} {scale.unit} ({one.probability:.2f})" for one in result.alternatives
    )
    return [f"it may show {named}: look for yourself"]
