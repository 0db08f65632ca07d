"""A reading as worked lines, as an instructor writes them on the board. It computes nothing new."""

from __future__ import annotations

from decimal import Decimal

from reading.formats import curve_error, curve_step, hand_lines
from reading.length import plain, round_result, round_uncertainty, trimmed
from reading.result import Correction, NoCorrection, Reading, Refused

SMALLEST_PARALLAX_DIVISIONS = 0.05  # half the printed step: less does not show


def working(reading: Reading) -> tuple[str, ...]:
    """Write out how a reading comes about, line by line."""
    return (
        *_scale_lines(reading),
        *_correction_lines(reading),
        *_uncertainty_lines(reading),
        *(hand_lines(reading.hand, reading.scale.unit) if reading.hand is not None else ()),
    )


def working_of_refusal(result: Refused) -> tuple[str, ...]:
    """Write out what stopped a reading, and what to do."""
    lines = []
    for number, reason in enumerate(result.refusal.reasons, start=1):
        lines += [f"{number}. {reason.message}", f"   What to do: {reason.remedy}"]
    return tuple(lines)


def _scale_lines(reading: Reading) -> list[str]:
    """Least count, sleeve, thimble and their sum."""
    scale, unit = reading.scale, reading.scale.unit
    least_count = trimmed(scale.least_count)
    thimble = reading.division * scale.least_count
    from_start = f"{plain(scale.start)} + " if scale.start else ""
    lines = [
        f"Least count = pitch ÷ divisions = {scale.pitch} {unit} ÷ {scale.divisions}"
        f" = {least_count} {unit}",
        f"Sleeve = {from_start}{reading.turns} × {scale.pitch} = {plain(reading.sleeve)} {unit}",
        f"Thimble = {plain(reading.division)} divisions × {least_count} = {plain(thimble)} {unit}",
        f"Shown = sleeve + thimble = {plain(reading.sleeve)} + {plain(thimble)}"
        f" = {plain(reading.shown)} {unit}",
    ]
    parallax = reading.sighting.parallax_divisions
    if abs(parallax) >= SMALLEST_PARALLAX_DIVISIONS:
        lines.insert(
            2, f"(Parallax of {parallax:+.2f} divisions is taken off the thimble as seen.)"
        )
    return lines


def _correction_lines(reading: Reading) -> list[str]:
    """The zero error and what is left when it is taken off, or why it is not."""
    unit = reading.scale.unit
    match reading.correction:
        case NoCorrection():
            return [f"Not corrected. {reading.notices[0].message}"]
        case Correction(check, age_days):
            zero = plain(check.zero_error, signed=True)
            how = f"from {len(check.photos)} photos" if check.photos else "read by hand"
            after_zero = (
                f"shown − zero error = {plain(reading.shown)} − ({zero})"
                f" = {plain(reading.after_zero or Decimal(0))} {unit}"
            )
            lines = [
                f"Zero error = {zero} {unit} (check of {check.at:%Y-%m-%d %H:%M}, {how},"
                f" {age_days} days before the reading)",
            ]
            curve = reading.calibration
            if curve is None:
                return [*lines, f"Corrected = {after_zero}"]
            return [
                *lines,
                f"Without its zero error = {after_zero}",
                f"Error of the screw here = {curve_error(curve)} {unit} ({curve.origin})",
                f"Corrected = {curve_step(reading)}",
            ]


def _uncertainty_lines(reading: Reading) -> list[str]:
    """The components, their combination, and the result with its expanded uncertainty."""
    unit, budget = reading.scale.unit, reading.uncertainty
    lines = [
        f"Standard uncertainty, {part.name}: {_figure(part.u)} {unit} ({part.origin})"
        for part in budget.components
    ]
    lines.append(f"Combined: root of the sum of squares = {_figure(budget.combined)} {unit}")
    if reading.corrected is None:
        return [*lines, "The zero error, being unknown, is not in it."]
    value, expanded = round_result(reading.corrected, Decimal(repr(budget.expanded)), reading.step)
    return [
        *lines,
        f"Expanded, k = {budget.k:g}: {_figure(budget.expanded)} {unit}",
        f"Result = {plain(value)} ± {plain(expanded)} {unit}",
    ]


def _figure(u: float) -> str:
    """Write an uncertainty with two figures."""
    return plain(round_uncertainty(Decimal(repr(u))))
