"""How well a set of photos was read, as one page to look at and to print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reading.notices import CAUTION
from reading.pages import html
from reading.pages.drawing import Drawing, svg
from reading.qualify.figures import Figures, Group
from reading.qualify.goals import goals
from reading.qualify.judging import Judged
from reading.qualify.lines import (
    HARD_NOTE,
    INTRODUCTION,
    MODE_WORDS,
    Table,
    bin_table,
    calibration_lines,
    goal_table,
    group_table,
    negative_table,
    refusal_table,
    size_groups,
    summary,
)
from reading.qualify.looking import worth_showing
from reading.qualify.plots import (
    confidence_plot,
    error_plot,
    normalised_plot,
    reliability_plot,
    risk_plot,
)


@dataclass(frozen=True)
class Pass:
    """A set of photos read in one way: its figures and what came of each photo."""

    mode: str
    figures: Figures
    judged: Sequence[Judged]


def page(title: str, readings: Sequence[Pass], notes: Sequence[str], program: str) -> str:
    """Lay everything out as an HTML page.

    Parameters
    ----------
    title : str
    readings : sequence of Pass
    notes : sequence of str
        What else must be known of these photos.
    program : str
        The version that read them.
    """
    parts = [html.paragraph(text) for text in (INTRODUCTION, *notes)]
    for one in readings:
        parts += _section(one)
    footer = f"{CAUTION} Made by datumline {program}."
    return html.page(title, parts, footer)


def _section(one: Pass) -> list[str]:
    found = one.figures
    readable = [judged.outcome for judged in one.judged if judged.outcome.readable]
    kinds, *others = found.by_column
    return [
        html.heading(f"Read with {MODE_WORDS[one.mode]}: {found.photos} photos"),
        html.paragraph(summary(found), "result"),
        _table(goal_table(goals(found, one.mode))),
        html.heading("By size in the picture", 3),
        html.paragraph(
            "Sizes are pixels between neighbouring divisions that face the camera; in the rows by "
            f"size the reference line lies within 20° of facing. {HARD_NOTE}"
        ),
        _table(group_table("", size_groups(found))),
        *_figure(error_plot(readable), "Errors of accepted readings; wrong ones red."),
        *_groups(*kinds),
        html.heading("Confidence", 3),
        *_confidence(one),
        html.heading("Photos that can't be read", 3),
        _table(negative_table(found)),
        html.heading("Not accepted though readable", 3),
        _table(refusal_table(found, sentences=True)),
        *(part for column in others for part in _groups(*column)),
        *_photos(one),
    ]


def _groups(name: str, groups: Sequence[Group]) -> list[str]:
    return [html.heading(f"By {name}", 3), _table(group_table("", groups))]


def _confidence(one: Pass) -> list[str]:
    """Show what the confidence and the stated uncertainty are worth."""
    found = one.figures
    parts = [_table(bin_table(found.bins)), html.items(calibration_lines(found))]
    real = [judged.outcome for judged in one.judged if not judged.outcome.negative]
    if found.bins:
        parts += _figure(
            reliability_plot(found.bins),
            "Reliability: dots on the dashed line mean what they say. Bars are exact bounds, "
            "numbers count readings.",
        )
        parts += _figure(confidence_plot(real), "How sure the readings were.")
    if found.risk.risk:
        parts += _figure(
            risk_plot(found.risk),
            "Risk against coverage; dashed if every wrong reading had the lowest confidence.",
        )
    if len(found.normalised.values) > 1:
        parts += _figure(
            normalised_plot(found.normalised),
            "Errors in units of their stated uncertainty, of accepted readings that are right, and "
            "the normal curve of as many. What lies beyond is counted in the last bar.",
        )
    return parts


def _photos(one: Pass) -> list[str]:
    """Show every photo that went wrong, worst first."""
    shown = sorted((judged for judged in one.judged if worth_showing(judged)), key=_severity)
    parts = [html.heading("Every wrong reading and every refusal", 3)]
    if not shown:
        return [*parts, html.paragraph("None.")]
    rows = [_photo_row(judged) for judged in shown]
    head = ("photo", "known", "read", "off by", "confidence", "why, or what else it may be")
    if any(judged.picture for judged in shown):
        pictures = [judged.picture for judged in shown]
        return [*parts, html.picture_table(("what was seen", *head), rows, pictures)]
    return [*parts, html.table(head, rows)]


def _severity(judged: Judged) -> tuple[bool, float]:
    outcome = judged.outcome
    return not outcome.wrong, -(outcome.confidence or 0.0)


def _photo_row(judged: Judged) -> tuple[str, ...]:
    cells = judged.cells
    off = f"{float(cells['error_divisions']):+.2f}" if cells.get("error_divisions") else ""
    why = [cells.get("reasons", ""), cells.get("alternatives", "")]
    return (
        f"{cells['file']} ({cells['negative_kind'] or cells['status']}, {cells['kind']})",
        *(cells["truth"], cells["shown"], off, cells.get("confidence", "")),
        " – ".join(text for text in why if text),
    )


def _table(table: Table) -> str:
    return html.table(*table, "numbers")


def _figure(drawn: Drawing | None, caption: str) -> list[str]:
    return [] if drawn is None else [html.drawing(svg(drawn), caption)]
