"""Pitch, backlash, zero and calibration written out step by step, as on a board."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from reading.gauge import PHOTOS, Gauge, ZeroCheck
from reading.gauges.backlash import EXPANDED, MEAN_PLACES, Backlash
from reading.gauges.calibration import Calibration
from reading.gauges.certificate import um, um_figure
from reading.gauges.turns import PITCH_PLACES, PitchCheck, u_distance
from reading.length import plain, trimmed
from reading.measurement.lines import budget_table, figure
from reading.measurement.repeats import mean, spread
from reading.uncertainty import rectangular, resolution
from vision.scale import Scale


def _short(value: Decimal, places: int = MEAN_PLACES) -> str:
    return trimmed(round(value, places))


def _width(scale: Scale) -> str:
    """Write the width of one division, or vernier part."""
    return f"{resolution(scale):g} {scale.unit}"


def pitch_working(check: PitchCheck) -> list[str]:
    """Write out how the pitch was found and compared."""
    scale, unit, n = check.gauge.scale, check.gauge.scale.unit, len(check.pairs)
    lines = [
        f"Pitch = distance ÷ turns = ({plain(pair.after)} − {plain(pair.before)}) ÷ "
        f"{pair.turns} = {_short(pair.pitch, PITCH_PLACES)} {unit}"
        for pair in check.pairs
    ]
    one = u_distance(check.gauge)
    lines.append(
        f"Two readings to {_width(scale)} each: u of a distance = √2 × width ÷ √12 = {figure(one)} "
        f"{unit}; over the turns, of a pitch: "
        + ", ".join(figure(one / abs(pair.turns)) for pair in check.pairs)
    )
    if check.spread is not None:
        lines += [
            f"Mean of {n} = {_short(check.pitch, PITCH_PLACES)} {unit}",
            f"s = √(Σ(x − mean)² ÷ (n − 1)) = {figure(check.spread)}, s ÷ √n = "
            f"{figure(check.spread / math.sqrt(n))}; u = the larger of that and √Σu² ÷ n",
        ]
    off = abs(check.pitch - scale.pitch)
    lines += [
        f"u = {figure(check.u)}, U = {EXPANDED} u = {figure(EXPANDED * check.u)} {unit}",
        f"Least count = pitch ÷ divisions = {_short(check.pitch, PITCH_PLACES)} ÷ "
        f"{scale.divisions} = {_short(check.least_count, PITCH_PLACES)} {unit}",
        f"Recorded pitch {scale.pitch} {unit}: off by {_short(off, PITCH_PLACES)}, "
        + ("within U: agrees" if check.agrees else "more than U: disagrees"),
    ]
    return lines


def backlash_working(found: Backlash) -> list[str]:
    """Write out how the backlash was found."""
    scale, unit = found.gauge.scale, found.gauge.scale.unit
    lines = []
    for name, side in (("closing", found.closing), ("opening", found.opening)):
        text = f"Mean {name} = sum ÷ {len(side)} = {_short(mean(side))} {unit}"
        if len(side) > 1:
            s = spread(side)
            text += f", s = {figure(s)}, s ÷ √{len(side)} = {figure(s / math.sqrt(len(side)))}"
        lines.append(text)
    scale_u = math.sqrt(2) * rectangular(resolution(scale))
    lines += [
        f"Backlash = closing − opening = {_short(found.value)} {unit} = "
        f"{_short(found.divisions, 2)} divisions of {_width(scale)}",
        f"u of the repeats = √(s₁² ÷ n₁ + s₂² ÷ n₂) = {figure(found.u_repeats)}; of the scale = "
        f"√2 × width ÷ √12 = {figure(scale_u)}",
        f"u = {figure(found.u)}, U = {EXPANDED} u = {figure(EXPANDED * found.u)} {unit}",
        found.verdict,
    ]
    return lines


def zero_working(gauge: Gauge, check: ZeroCheck) -> list[str]:
    """Write out how a zero error came about, and what it does to a reading."""
    scale, unit = gauge.scale, gauge.scale.unit
    stands = check.rod if check.rod is not None else scale.start
    on = "the setting rod" if check.rod is not None else "closed faces"
    lines = [f"With {on} it should show {plain(stands)} {unit}; zero error = shown − that"]
    lines += [
        f"{photo.name}: {plain(stands + photo.zero_error)} − {plain(stands)} = "
        f"{plain(photo.zero_error, signed=True)} {unit}"
        for photo in check.photos
    ]
    whole = rectangular(resolution(scale))
    n = len(check.photos)
    if n > 1:
        lines.append(
            f"Mean of {n}, to the printed step = {plain(check.zero_error, signed=True)} {unit}"
        )
    if check.spread is not None:
        lines.append(
            f"s = √(Σ(x − mean)² ÷ (n − 1)) = {figure(check.spread)}, s ÷ √{n} = "
            f"{figure(check.spread / math.sqrt(n))} {unit}"
        )
    if check.source == PHOTOS:
        seen = math.sqrt(max(0.0, check.u**2 - whole**2))
        lines.append(
            f"u of the mean = the larger of that scatter and what the pictures claim = "
            f"{figure(seen)}; least count {_width(scale)} ÷ √12 = {figure(whole)}; together "
            f"{figure(check.u)} {unit}"
        )
    else:
        lines.append(f"u = {_width(scale)} ÷ √12 = {figure(check.u)} {unit}")
    zero_error = plain(check.zero_error, signed=True)
    return [*lines, f"From now on: corrected = shown − ({zero_error}) {unit}"]


def calibration_working(done: Calibration) -> list[str]:
    """Write out every error, and the budget of the one that is known worst."""
    unit = done.gauge.scale.unit
    zero = plain(done.zero_error, signed=True)
    lines = ["Error = mean shown − zero error − (block + its deviation), brought to 20 °C"]
    lines += [
        f"{plain(point.block.length)} {unit}: {_short(mean(point.shown))} − ({zero}) − "
        f"{_short(point.block.actual)} = {um(done, point.error, signed=True)} µm"
        for point in done.points
    ]
    worst = max(range(len(done.points)), key=lambda i: done.points[i].u)
    point = done.points[worst]
    lines.append(f"How well the error at {plain(point.block.length)} {unit} is known:")
    lines += [f"  {line}" for line in budget_table(done.budgets[worst])]
    lines.append(
        f"Without the zero check, which all points share: {um_figure(done, point.u_own)} µm"
    )
    if done.fit is not None:
        lines.append(
            "Progressive and periodic: least squares of error = a + b L + c cos(2π L ÷ pitch) + "
            "d sin(2π L ÷ pitch)"
            if done.fit.amplitude is not None
            else "Progressive: least squares of error = a + b L"
        )
    return lines


def indented(lines: Sequence[str]) -> list[str]:
    """Set a working apart from the result above it."""
    return [f"    {line}" for line in lines]
