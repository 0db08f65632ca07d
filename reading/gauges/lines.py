"""Gauges, their zero checks and what is known of them, as lines for people."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from reading.gauge import Gauge, ZeroCheck, in_force
from reading.length import Length, plain, round_uncertainty, trimmed


def check_lines(check: ZeroCheck, unit: str) -> list[str]:
    """Write a zero check for people."""
    u = plain(round_uncertainty(Decimal(repr(check.u))))
    lines = [
        f"{check.gauge}: zero error {plain(check.zero_error, signed=True)} {unit}, standard "
        f"uncertainty {u} {unit}, in force from {check.at:%Y-%m-%d %H:%M}"
    ]
    lines += [
        f"  {photo.name}: {plain(photo.zero_error, signed=True)} {unit}" for photo in check.photos
    ]
    if check.spread is not None:
        lines.append(f"  spread (standard deviation): {check.spread:.2g} {unit}")
    return lines


def gauge_line(gauge: Gauge) -> str:
    """Write a gauge in one line."""
    scale = gauge.scale
    least = Length(scale.least_count / (scale.vernier or 1), scale.unit)
    parts = [
        f"pitch {scale.pitch} {scale.unit}",
        f"{scale.divisions} divisions",
        f"least count {trimmed(least.value)} {least.unit}",
    ]
    if scale.vernier:
        parts.append(f"vernier of {scale.vernier}")
    end = "" if gauge.end is None else f" to {gauge.end}"
    parts.append(f"range from {scale.start}{end} {scale.unit}")
    if scale.reversed:
        parts.append("numbers reversed")
    return f"{gauge.identifier}: {', '.join(parts)}" + (f"; {gauge.notes}" if gauge.notes else "")


def gauge_history(gauge: Gauge, checks: Sequence[ZeroCheck], now: datetime) -> list[str]:
    """Write a gauge's zero checks, oldest first, marking the one in force."""
    if not checks:
        return ["  no zero check on record"]
    current = in_force(checks, now)
    return [
        f"  {'*' if check is current else ' '} {check.at:%Y-%m-%d %H:%M}"
        f"  {plain(check.zero_error, signed=True)} {gauge.scale.unit}  {check.source}"
        + (f"  {check.note}" if check.note else "")
        for check in checks
    ]
