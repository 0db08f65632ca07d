"""Arguments of `datumline gauge`: the register, and looking after what is in it."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from reading import commands
from reading.book import Book, book_path
from reading.dates import parse_done, parse_when
from reading.gauge import Gauge
from reading.gauges import care, study_cli
from reading.gauges.facts import Facts
from reading.gauges.lines import gauge_line
from reading.length import as_entered, parse_length
from reading.record import Signed
from reading.terminal import (
    BookOption,
    GaugeArgument,
    NoteOption,
    OnOption,
    StartOption,
    WhoOption,
    one_line_errors,
    say,
    user,
)

gauge_app = typer.Typer(help="The register of gauges.", no_args_is_help=True, rich_markup_mode=None)


def _at(on: str | None) -> datetime:
    """Take the end of a day that was typed, else now."""
    return datetime.now() if on is None else parse_when(on, end_of_day=True)


@gauge_app.command("add")
@one_line_errors
def gauge_add(
    identifier: Annotated[str, typer.Argument(metavar="ID", help="What is written on the gauge.")],
    pitch: Annotated[str, typer.Option(help='Travel in one turn, like "0.5 mm".')],
    divisions: Annotated[int, typer.Option(help="Divisions on the thimble.")],
    start: StartOption = None,
    end: Annotated[str | None, typer.Option(help='End of the range, like "25 mm".')] = None,
    vernier: Annotated[int | None, typer.Option(help="Parts of the vernier, if any.")] = None,
    reverse: Annotated[
        bool, typer.Option("--reversed", help="Depth and groove gauges: numbers run backwards.")
    ] = False,
    notes: Annotated[str, typer.Option(help="Anything worth remembering.")] = "",
    who: WhoOption = "",
    book: BookOption = None,
) -> None:
    """Enter a gauge in the book."""
    scale = commands.parse_scale(pitch, divisions, start, vernier=vernier, backwards=reverse)
    unit = scale.unit
    last = as_entered(parse_length(end, unit), unit) if end is not None else None
    gauge = Gauge(identifier, scale, last, notes)
    with Book(book_path(book), create=True) as opened:
        opened.add_gauge(gauge, user(who))
    say(gauge_line(gauge))


@gauge_app.command("list")
@one_line_errors
def gauge_list(on: OnOption = None, book: BookOption = None) -> None:
    """List the gauges in the book, each with its state."""
    with Book(book_path(book)) as opened:
        care.list_gauges(opened, _at(on), say)


@gauge_app.command("show")
@one_line_errors
def gauge_show(identifier: GaugeArgument, on: OnOption = None, book: BookOption = None) -> None:
    """Show a gauge and its zero checks; a star marks the one in force."""
    with Book(book_path(book)) as opened:
        care.show(opened, opened.gauge(identifier), _at(on), say)


@gauge_app.command("set")
@one_line_errors
def gauge_set(
    identifier: GaugeArgument,
    zero_days: Annotated[int | None, typer.Option(help="Days between zero checks.")] = None,
    calibration_days: Annotated[int | None, typer.Option(help="Days between calibrations.")] = None,
    limit: Annotated[str | None, typer.Option(help='Error limit, like "4 um".')] = None,
    on: OnOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    book: BookOption = None,
) -> None:
    """Say how often to check a gauge, and the error that its class allows."""
    with Book(book_path(book)) as opened:
        gauge = opened.gauge(identifier)
        unit = gauge.scale.unit
        most = None if limit is None else as_entered(parse_length(limit, "um"), unit)
        facts = Facts(zero_days, calibration_days, most)
        at = datetime.now() if on is None else parse_done(on)
        care.set_facts(opened, gauge, facts, at, Signed(user(who), note), say)


@gauge_app.command("due")
@one_line_errors
def gauge_due(
    on: OnOption = None,
    days: Annotated[int, typer.Option(min=0, help="Look so many days ahead.")] = 30,
    book: BookOption = None,
) -> None:
    """List what is overdue, and what falls due soon."""
    with Book(book_path(book)) as opened:
        care.list_due(opened, _at(on), days, say)


@gauge_app.command("chart")
@one_line_errors
def gauge_chart(
    identifier: GaugeArgument,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Save the chart as .svg or .png.")
    ] = None,
    page: Annotated[Path | None, typer.Option(metavar="FILE", help="Save an HTML page.")] = None,
    on: OnOption = None,
    book: BookOption = None,
) -> None:
    """Chart a gauge's zero error over time: limits, run rules, drift."""
    files = care.ChartFiles(picture, page)
    with Book(book_path(book)) as opened:
        code = care.chart(opened, opened.gauge(identifier), _at(on), files, say)
    raise typer.Exit(code)


for _name, _command in study_cli.COMMANDS.items():
    gauge_app.command(_name)(_command)
