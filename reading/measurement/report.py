"""A measurement as one page to print and sign."""

from __future__ import annotations

from collections.abc import Sequence

from reading.length import plain
from reading.measurement.lines import (
    budget_rows,
    conformity_lines,
    explanation,
    headline,
    roundness_lines,
    stated,
    wire_lines,
)
from reading.measurement.result import Measurement
from reading.notices import CAUTION
from reading.pages import html

Picture = tuple[str, bytes]  # caption, JPEG data


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
    parts = [
        html.paragraph(f"{value} ± {expanded} {unit}", "result"),
        html.paragraph(headline(result, unit)),
        html.paragraph(
            f"Gauge {result.gauge.identifier}: pitch {scale.pitch} {scale.unit}, "
            f"{scale.divisions} divisions, least count {least_count}. "
            f"Measured {result.at:%Y-%m-%d}{f' by {who}' if who else ''}."
        ),
        html.items([*roundness_lines(result), *conformity_lines(result), *wire_lines(result)]),
        html.heading("Readings"),
        _readings(result),
        html.heading("Uncertainty"),
        html.table(header, rows),
        html.heading("Working"),
        html.items(explanation(result, unit)),
    ]
    if result.notices:
        parts += [html.heading("Warnings"), html.items([one.message for one in result.notices])]
    parts += [html.jpeg(data, caption) for caption, data in pictures]
    parts.append(html.paragraph("Signed: ______________________   Date: ______________"))
    footer = f"{CAUTION} Made by datumline {result.program}."
    return html.page(f"Measurement with gauge {result.gauge.identifier}", parts, footer)


def _readings(result: Measurement) -> str:
    """List the readings with their sources."""
    each = len(result.readings) // (result.layout.places * result.layout.directions)
    rows = []
    for place, one in enumerate(result.readings):
        cell, _ = divmod(place, each)
        spot, direction = divmod(cell, result.layout.directions)
        sha256 = one.photo.sha256[:16] if one.photo else ""
        rows.append((place + 1, spot + 1, direction + 1, plain(one.shown), one.source, sha256))
    header = ("no.", "place", "direction", f"shown/{result.unit}", "from", "SHA-256 (start)")
    return html.table(header, rows)
