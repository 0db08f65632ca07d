"""What was found out about a gauge, as one page to print and sign."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reading.correct import program_version
from reading.gauge import Gauge
from reading.gauges.lines import gauge_line
from reading.looking import Picture
from reading.notices import CAUTION
from reading.pages import html


@dataclass(frozen=True)
class Telling:
    """How much is to be told: with the working or not, and on which page; None for no page."""

    explain: bool = False
    page: Path | None = None

    def __post_init__(self) -> None:
        if self.page is not None:
            html.check_place(self.page)


@dataclass(frozen=True)
class Told:
    """What is told of one thing: its name, the result line by line, and the working."""

    title: str
    lines: Sequence[str]
    working: Sequence[str]


def study_report(
    gauge: Gauge, told: Told, at: datetime, who: str, pictures: Sequence[Picture] = ()
) -> str:
    """Lay a result about a gauge out as an HTML page."""
    result, *rest = (line.strip() for line in told.lines)
    done = f"Done {at:%Y-%m-%d %H:%M}" + (f" by {who}." if who else ".")
    parts = [
        html.paragraph(result, "result"),
        html.items(rest),
        html.paragraph(f"Gauge {gauge_line(gauge)}. {done}"),
        html.heading("Working"),
        html.working(told.working),
        html.signature(who),
        html.gallery(pictures),
    ]
    footer = f"{CAUTION} Made by datumline {program_version()}."
    return html.page(f"{told.title} of gauge {gauge.identifier}", parts, footer)
