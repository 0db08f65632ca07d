"""Looking after gauges: what `gauge list`, `show`, `set`, `due` and `chart` do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reading.book import Book
from reading.correct import ZERO_CHECK_DAYS, date_notices
from reading.gauge import Gauge
from reading.gauges import calibration, edge_set, facts
from reading.gauges.chart import ZeroChart, zero_chart
from reading.gauges.due import State, later, state
from reading.gauges.facts import Facts
from reading.gauges.lines import gauge_history, gauge_line
from reading.length import plain, trimmed
from reading.pages import html
from reading.pages.drawing import Drawing, png, svg
from reading.pages.plot import Axis, Level, plot
from reading.problem import Problem
from reading.record import BACKLASH, CALIBRATION, FACTS, PITCH, Signed
from reading.terminal import DONE, Say

CHART_POINTS = 200  # the newest; older ones no longer say how the gauge is now
SHOWN_CHECKS = 10  # the newest zero checks that `gauge show` lists
DATE_TICKS = 4


def gauge_state(book: Book, gauge: Gauge, now: datetime) -> State:
    """Tell a gauge's state at a time."""
    name = gauge.identifier
    return state(
        facts.from_record(book.record_in_force(name, FACTS, now)),
        book.zero_check_in_force(name, now),
        book.record_in_force(name, CALIBRATION, now),
        chart_of(book, gauge, now),
        now,
    )


def zero_days(book: Book, gauge: Gauge) -> int:
    """Say how old a gauge's zero check may be: the owner's interval, else a year."""
    said = facts.from_record(book.record_in_force(gauge.identifier, FACTS, datetime.now()))
    return said.zero_days or ZERO_CHECK_DAYS


def chart_of(book: Book, gauge: Gauge, now: datetime) -> ZeroChart | None:
    """Make the chart of a gauge's newest zero checks up to a time."""
    checks = book.zero_checks(gauge.identifier, CHART_POINTS)
    return zero_chart([one for one in checks if one.at <= now], gauge.scale)


def list_gauges(book: Book, now: datetime, say: Say) -> None:
    """List gauges, each with its zero error and its state."""
    for gauge in book.gauges():
        check = book.zero_check_in_force(gauge.identifier, now)
        zero = ""
        if check is not None:
            zero = f"zero {plain(check.zero_error, signed=True)} {gauge.scale.unit}, "
        say(f"{gauge_line(gauge)} [{zero}{gauge_state(book, gauge, now).words}]")


def list_due(book: Book, now: datetime, days: int, say: Say) -> None:
    """List what is overdue, and what falls due within some days."""
    found = False
    for gauge in book.gauges():
        current = gauge_state(book, gauge, now)
        for one in (current.zero, current.calibration):
            if one.next is not None and one.next <= later(now.date(), days):
                found = True
                when = "now" if one.last is None else f"{one.next}"
                late = " OVERDUE" if one.overdue(now.date()) else ""
                say(f"{gauge.identifier}: {one.what} due {when}{late}")
    if not found:
        say(f"nothing is due within {days} days")


def show(book: Book, gauge: Gauge, now: datetime, say: Say) -> None:
    """Show a gauge, its newest zero checks (a star: in force), and what else is known."""
    checks = book.zero_checks(gauge.identifier, SHOWN_CHECKS)
    earlier = book.count("zero_check", gauge.identifier) - len(checks)
    lines = [gauge_line(gauge)]
    if earlier:
        lines.append(f"  ({earlier} earlier zero checks)")
    lines += gauge_history(gauge, checks, now)
    lines += [f"  {line}" for line in _known(book, gauge, now)]
    say("\n".join(lines))


def _known(book: Book, gauge: Gauge, now: datetime) -> list[str]:
    """Say what is on record beside zero checks."""
    name, unit, found = gauge.identifier, gauge.scale.unit, []
    if pitch := book.record_in_force(name, PITCH, now):
        verdict = "agrees" if pitch.body["agrees"] else "DISAGREES with the record"
        found.append(f"{pitch.at:%Y-%m-%d}  pitch {pitch.body['pitch']} {unit}, {verdict}")
    if backlash := book.record_in_force(name, BACKLASH, now):
        found.append(f"{backlash.at:%Y-%m-%d}  backlash {backlash.body['backlash']} {unit}")
    if record := book.record_in_force(name, CALIBRATION, now):
        greatest = max(abs(one.error) for one in calibration.points_of(record))
        verdict = str(record.body["verdict"] or "not judged")
        error = f"greatest error {trimmed(greatest)} {unit}"
        found.append(f"{record.at:%Y-%m-%d}  calibration: {error}, {verdict}")
    learned = edge_set.learn(book.edge_sets(name, edge_set.MOST_PHOTOS))
    if learned is not None:
        mean_mm, spread_mm = learned.for_next_mm(gauge.scale)
        found.append(
            f"edge's set {mean_mm:+.3f} mm, spread {spread_mm:.3f} mm, from {learned.photos} photos"
        )
    if count := book.count("reading", name):
        found.append(f"{count} readings on record")
    current = gauge_state(book, gauge, now)
    if current.overdue or current.alarm or found:
        found.append(current.words)
    return found


def set_facts(
    book: Book, gauge: Gauge, newer: Facts, at: datetime, signed: Signed, say: Say
) -> None:
    """Record what the owner says, on top of what was said before."""
    before = facts.from_record(book.record_in_force(gauge.identifier, FACTS, at))
    merged = before.changed(newer)
    if merged == before:
        raise Problem("nothing is new: give --zero-days, --calibration-days or --limit")
    book.keep(facts.to_record(gauge.identifier, merged, at, signed))
    limit = "" if merged.limit is None else f", error limit ± {merged.limit} {gauge.scale.unit}"
    say(
        f"{gauge.identifier}: zero check every {_days(merged.zero_days)}, calibration every "
        f"{_days(merged.calibration_days)}{limit}"
    )
    for one in date_notices(at, datetime.now()):
        say(f"  warning: {one.message}")


def _days(days: int | None) -> str:
    return "time the owner sees fit" if days is None else f"{days} days"


@dataclass(frozen=True)
class ChartFiles:
    """Where the chart is to be saved; None for not at all."""

    picture: Path | None = None  # .svg or .png
    page: Path | None = None

    def __post_init__(self) -> None:
        if self.picture is not None and self.picture.suffix.lower() not in (".svg", ".png"):
            raise Problem(f"{self.picture}: name it .svg or .png")


def chart(book: Book, gauge: Gauge, now: datetime, files: ChartFiles, say: Say) -> int:
    """Say what the zero's control chart shows, and save it where that is asked for."""
    found = chart_of(book, gauge, now)
    if found is None:
        raise Problem(f"gauge {gauge.identifier}: a chart needs two zero checks or more")
    lines = chart_lines(gauge, found)
    say("\n".join(lines))
    drawing = draw_chart(gauge, found)
    if files.picture is not None:
        _save_picture(drawing, files.picture)
    if files.page is not None:
        words = gauge_state(book, gauge, now).words
        html.save(_page(gauge, found, drawing, [*lines, words]), files.page)
    return DONE


def chart_lines(gauge: Gauge, found: ZeroChart) -> list[str]:
    """Write a chart for people."""
    unit, n = gauge.scale.unit, len(found.values)
    few = "; limits provisional, fewer than 20 checks" if found.provisional else ""
    lines = [
        f"{gauge.identifier}: zero error over {n} checks: centre {found.centre:+.4f} {unit}, "
        f"limits {found.lower:+.4f} to {found.upper:+.4f} {unit}{few}"
    ]
    if found.drift is not None:
        says = "drift" if found.drift.shown else "no drift shown:"
        lines.append(
            f"  {says} {found.drift.per_month:+.5f} ± {2 * found.drift.u_per_month:.5f} {unit} a "
            "month (k = 2)"
        )
    for one in found.signals:
        time, value = found.times[one.place], found.values[one.place]
        lines.append(f"  {time:%Y-%m-%d %H:%M}  {value:+.3f} {unit}  {one.rule}")
    return lines if found.signals else [*lines, "  under control"]


def draw_chart(gauge: Gauge, found: ZeroChart) -> Drawing:
    """Draw a chart over time."""
    start, end = found.times[0], found.times[-1]
    long = max((end - start).total_seconds(), 1.0)
    ticks = tuple(
        (share / DATE_TICKS, f"{start + (end - start) * share / DATE_TICKS:%Y-%m-%d}")
        for share in range(DATE_TICKS + 1)
    )
    points = [
        ((time - start).total_seconds() / long, value)
        for time, value in zip(found.times, found.values, strict=True)
    ]
    return plot(
        points,
        Axis(0.0, 1.0, ticks),
        ("date", f"zero error/{gauge.scale.unit}"),
        [
            Level(found.upper, "upper limit"),
            Level(found.centre, "centre"),
            Level(found.lower, "lower limit"),
        ],
        [one.place for one in found.signals],
    )


def _save_picture(drawing: Drawing, target: Path) -> None:
    """Save a drawing in the format that its name says."""
    if target.suffix.lower() == ".svg":
        html.save(svg(drawing), target)
        return
    try:
        target.write_bytes(png(drawing))
    except OSError as error:
        raise Problem(
            f"{target}: can't be written ({error.strerror}), choose another place"
        ) from error


def _page(gauge: Gauge, found: ZeroChart, drawing: Drawing, lines: list[str]) -> str:
    """Lay a chart out as a page."""
    unit = gauge.scale.unit
    rows = [
        (f"{time:%Y-%m-%d %H:%M}", f"{value:+.4f}", "; ".join(_rules(found, place)))
        for place, (time, value) in enumerate(zip(found.times, found.values, strict=True))
    ]
    parts = [
        html.paragraph(gauge_line(gauge)),
        html.drawing(svg(drawing), f"Zero error over time, individuals chart, {unit}"),
        html.items([line.strip() for line in lines]),
        html.table(("date", f"zero error/{unit}", "rule"), rows),
    ]
    rules = (
        "Limits: centre ± 2.66 mean moving ranges; run rules of the NIST/SEMATECH e-Handbook 6.3.2."
    )
    return html.page(f"Zero of gauge {gauge.identifier}", parts, rules)


def _rules(found: ZeroChart, place: int) -> list[str]:
    return [one.rule for one in found.signals if one.place == place]
