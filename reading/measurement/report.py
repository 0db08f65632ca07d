"""A measurement as one page to print and sign."""

from __future__ import annotations

from collections.abc import Sequence

from reading.length import plain, unit_sign
from reading.looking import Picture
from reading.measurement.lines import (
    budget_rows,
    conformity_lines,
    explanation,
    known,
    roundness_lines,
    stated,
    wire_lines,
)
from reading.measurement.result import Measurement
from reading.notices import CAUTION
from reading.pages import html

MOST_ROWS = 60  # readings by hand beyond this get no row each


def report(result: Measurement, unit: str, pictures: Sequence[Picture] = (), who: str = "") -> str:
    """Lay a measurement out as an HTML page.

    Parameters
    ----------
    result : Measurement
    unit : str
        Unit of the result.
    pictures : sequence of (str, bytes)
        Overlays as JPEG data, with their captions.
    who : str
        Who measured.
    """
    scale = result.gauge.scale
    value, expanded = stated(result, unit)
    least_count = f"{scale.least_count.normalize():f} {scale.unit}"
    header, *rows = budget_rows(result.budget)
    warnings = []
    if result.notices:
        messages = [one.message for one in result.notices]
        warnings = [html.heading("Warnings"), html.items(messages, "warnings")]
    parts = [
        html.paragraph(f"{value} ± {expanded} {unit_sign(unit)}", "result"),
        html.paragraph(known(result)),
        html.paragraph(
            f"Gauge {result.gauge.identifier}: pitch {scale.pitch} {scale.unit}, "
            f"{scale.divisions} divisions, least count {least_count}. "
            f"Measured {result.at:%Y-%m-%d}{f' by {who}' if who else ''}."
        ),
        html.items([*roundness_lines(result), *conformity_lines(result), *wire_lines(result)]),
        *warnings,
        html.heading("Readings"),
        _readings(result),
        html.heading("Uncertainty"),
        html.table(header, rows, "whole"),
        html.heading("Working"),
        html.working(explanation(result, unit)),
        html.signature(who),
        html.gallery(pictures),
    ]
    footer = f"{CAUTION} Made by datumline {result.program}."
    return html.page(f"Measurement with gauge {result.gauge.identifier}", parts, footer)


def _readings(result: Measurement) -> str:
    """List the readings with their sources; very many that were typed as numbers alone."""
    if len(result.readings) > MOST_ROWS and not any(one.photo for one in result.readings):
        return html.paragraph(
            ", ".join(plain(one.shown) for one in result.readings) + f" {result.unit}, typed"
        )
    each = len(result.readings) // (result.layout.places * result.layout.directions)
    rows = []
    for place, one in enumerate(result.readings):
        cell, _ = divmod(place, each)
        spot, direction = divmod(cell, result.layout.directions)
        sha256 = one.photo.sha256[:16] if one.photo else ""
        rows.append((place + 1, spot + 1, direction + 1, plain(one.shown), one.source, sha256))
    header = ("no.", "place", "direction", f"shown/{result.unit}", "from", "SHA-256 (start)")
    return html.table(header, rows)
