"""The page of an archive: what was read and refused, trends by gauge and part, drifts, audits."""

from __future__ import annotations

from collections import Counter
from datetime import datetime

from reading.archive import audit, trends
from reading.archive.columns import READ
from reading.archive.store import Store
from reading.notices import CAUTION
from reading.pages import html
from reading.pages.drawing import Drawing, svg
from reading.pages.plot import Axis, Level, plot
from reading.problem import Problem

MOST_PLOTS = 60  # the series with the most readings; a page of more is not looked through
DATE_TICKS = 4
HOW = (
    "A gauge all of whose parts drift alike is suspect itself; a part that drifts on all its "
    "gauges is changing. Drift: least squares with a length of its own for each part. Charts: "
    "individuals, centre ± 2.66 mean moving ranges; run rules of the NIST/SEMATECH e-Handbook "
    "6.3.2. Unsure readings count once a person has decided on them."
)


def page(store: Store) -> str:
    """Write the page."""
    series = trends.series_of(store.current())
    parts = [*_counts(store), *_drifts(trends.gauge_drifts(series))]
    parts += [*_trends(series), *_audits(store)]
    return html.page(f"Archive {store.path.name}", parts, CAUTION)


def _counts(store: Store) -> list[str]:
    """Say what the archive holds."""
    by_gauge: Counter[tuple[str, str]] = Counter()
    by_code: Counter[str] = Counter()
    for row in store.current():
        what = "sure" if row["status"] == READ and not row["eyes"] else str(row["eyes"] or "other")
        by_gauge[str(row["gauge"] or "-"), what] += 1
        if row["verdict"] is not None:
            by_gauge[str(row["gauge"] or "-"), "decided"] += 1
        by_code.update(str(row["codes"] or "").split())
    kinds = ("sure", "unsure", "refused", "unusable", "other", "decided")
    gauges = sorted({gauge for gauge, _ in by_gauge})
    rows = [(gauge, *(by_gauge[gauge, kind] for kind in kinds)) for gauge in gauges]
    rows.append(("all", *(sum(by_gauge[gauge, kind] for gauge in gauges) for kind in kinds)))
    parts = [
        html.heading("What was read"),
        html.table(
            ("gauge", "read, sure", "read, unsure", "refused", "unusable", "other", "decided"),
            rows,
            "numbers",
        ),
    ]
    if by_code:
        parts.append(html.heading("Why not", 3))
        parts.append(html.table(("reason", "photos"), by_code.most_common(), "numbers"))
    return parts


def _drifts(drifts: list[trends.GaugeDrift]) -> list[str]:
    """List the gauges with their drifts, those that drift first."""
    if not drifts:
        return []
    rows = [
        (
            one.gauge,
            one.parts,
            one.readings,
            f"{1000 * one.drift.per_month:+.2f} ± {2000 * one.drift.u_per_month:.2f}",
            f"{one.alike} of {one.parts}",
            "DRIFTS" if one.shown else "no drift shown",
        )
        for one in sorted(drifts, key=lambda one: (not one.shown, one.gauge))
    ]
    header = ("gauge", "parts", "readings", "µm a month (k = 2)", "parts alike", "verdict")
    return [html.heading("Drift of gauges"), html.table(header, rows), html.paragraph(HOW)]


def _trends(series: list[trends.Series]) -> list[str]:
    """Plot the longest series, those with signals marked."""
    if not series:
        words = "No part has three sure readings on one gauge: name parts (--pattern, --manifest)."
        return [html.heading("Trends by gauge and part"), html.paragraph(words)]
    parts = [html.heading("Trends by gauge and part")]
    longest = sorted(series, key=lambda one: (-len(one.points), one.gauge, one.part))[:MOST_PLOTS]
    for one in sorted(longest, key=lambda one: (one.gauge, one.part)):
        chart = one.chart
        kind = "corrected" if one.corrected else "shown, zero error not taken off"
        words = f"{one.part} on {one.gauge}: {len(one.points)} readings, mm {kind}"
        parts.append(html.drawing(svg(draw(one)), words))
        told = [
            f"{one.points[s.place].at:%Y-%m-%d} {one.points[s.place].photo}: {s.rule}"
            for s in chart.signals
        ]
        parts += [html.items(told)] if told else []
    if len(series) > MOST_PLOTS:
        parts.append(html.paragraph(f"{len(series) - MOST_PLOTS} shorter series are not plotted."))
    return parts


def draw(series: trends.Series) -> Drawing:
    """Draw a series over time with its limits."""
    chart, start = series.chart, series.points[0].at
    long = max((series.points[-1].at - start).total_seconds(), 1.0)
    ticks = tuple(
        (i / DATE_TICKS, f"{_later(start, long * i / DATE_TICKS):%Y-%m-%d}")
        for i in range(DATE_TICKS + 1)
    )
    points = [((p.at - start).total_seconds() / long, p.value_mm) for p in series.points]
    levels = [
        Level(chart.upper, "upper limit"),
        Level(chart.centre, "centre"),
        Level(chart.lower, "lower limit"),
    ]
    marked = [signal.place for signal in chart.signals]
    return plot(points, Axis(0.0, 1.0, ticks), ("date", "length/mm"), levels, marked)


def _later(start: datetime, seconds: float) -> datetime:
    return datetime.fromtimestamp(start.timestamp() + seconds)


def _audits(store: Store) -> list[str]:
    """Say what the newest audit found."""
    try:
        lines = audit.verdict_lines(audit.judge(store, None))
    except Problem as problem:
        lines = [str(problem)]
    return [html.heading("Audit"), html.items([line.strip() for line in lines])]
