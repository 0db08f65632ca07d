"""The command line: arguments in, lines and an exit code out. Heavy imports stay inside."""

from __future__ import annotations

import sys
from dataclasses import replace
from io import TextIOWrapper
from pathlib import Path
from typing import Annotated

import typer

from reading import commands
from reading.archive.cli import archive_app
from reading.book import Book, book_path
from reading.correct import program_version
from reading.dates import check_done, parse_done
from reading.desk.cli import desk
from reading.exchange.cli import book_app
from reading.gauges.cli import gauge_app
from reading.gauges.curve import no_curve
from reading.gauges.report import Telling
from reading.known import known_of
from reading.marking.cli import mark
from reading.measurement.cli import measure
from reading.measurement.taking import kept_reading, known_edge_set
from reading.problem import Problem
from reading.qualify.cli import qualify
from reading.record import CALIBRATION
from reading.result import Reading
from reading.terminal import (
    USER_ERROR,
    BookOption,
    CurveOption,
    DivisionsOption,
    ExplainOption,
    OnOption,
    PitchOption,
    ReportOption,
    StartOption,
    UsageError,
    WhoOption,
    complain,
    one_line_errors,
    say,
    usage_line,
    user,
)
from vision.scale import Scale

app = typer.Typer(
    name="datumline",
    help="Read micrometer screw gauges from photos, and correct for zero error.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.add_typer(gauge_app, name="gauge")
app.add_typer(book_app, name="book")
app.add_typer(archive_app, name="archive")
app.command()(desk)
app.command()(mark)
app.command()(measure)
app.command()(qualify)


def _show_version(wanted: bool) -> None:
    if wanted:
        say(f"datumline {program_version()}")
        raise typer.Exit


@app.callback()
def _datumline(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Say which.")
    ] = False,
) -> None:
    """Read micrometer screw gauges from photos, and correct for zero error."""


def _read_request(
    book: Path | None,
    gauge: str | None,
    scale: Scale | None,
    curve: bool,
) -> commands.ReadRequest:
    """Find the scale, the zero checks and the calibrations that photos are read with."""
    if gauge is not None:
        with Book(book_path(book)) as opened:
            record = opened.gauge(gauge)
            calibrations = opened.records(gauge, CALIBRATION) if curve else None
            if calibrations == ():
                raise no_curve(record)
            known = known_of(opened, record)
            return commands.ReadRequest(**vars(known), calibrations=calibrations)
    if curve:
        raise Problem("--curve: name the gauge whose calibration it is (--gauge)")
    return commands.ReadRequest(scale)


@app.command()
@one_line_errors
def read(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos of gauges.")],
    gauge: Annotated[str | None, typer.Option(help="The gauge, by its name in the book.")] = None,
    pitch: PitchOption = None,
    divisions: DivisionsOption = None,
    start: StartOption = None,
    hand: Annotated[
        str | None, typer.Option(help='A hand reading to compare with, like "7.78 mm".')
    ] = None,
    on: OnOption = None,
    curve: CurveOption = False,
    explain: ExplainOption = False,
    overlay: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Save pictures of what was seen here.")
    ] = None,
    output: Annotated[str, typer.Option("--format", help="text, json or csv.")] = "text",
    keep: Annotated[
        bool, typer.Option("--keep", help="Enter the readings in the book, looked at and accepted.")
    ] = False,
    who: WhoOption = "",
    book: BookOption = None,
) -> None:
    """Read photos, and correct the readings for the gauge's zero error."""
    request = replace(
        _read_request(book, gauge, commands.asked_scale(gauge, pitch, divisions, start), curve),
        hand=hand,
        on=parse_done(on, end_of_day=True) if on is not None else None,
        explain=explain,
        overlay=overlay,
        format=output,
    )
    if keep and gauge is None:
        raise Problem("--keep: name the gauge that the readings belong to (--gauge)")
    accepted: list[Reading] = []
    code = commands.read(photos, request, say, complain, accepted.append)
    if keep:
        for one in accepted:
            check_done(f"{one.photo.name}, of {one.when.at:%Y-%m-%d},", one.when.at, request.now)
        with Book(book_path(book)) as opened:
            opened.keep(None, [kept_reading(one, user(who)) for one in accepted])
    raise typer.Exit(code)


@app.command()
@one_line_errors
def zero(
    gauge: Annotated[str, typer.Argument(metavar="GAUGE", help="Its name in the book.")],
    photos: Annotated[
        list[Path] | None, typer.Argument(metavar="[PHOTO...]", help="Photos of closed faces.")
    ] = None,
    reading: Annotated[
        str | None, typer.Option(help='What the closed gauge shows, like "+0.02 mm".')
    ] = None,
    rod: Annotated[
        str | None, typer.Option(help='Setting rod between the faces, like "25 mm".')
    ] = None,
    on: OnOption = None,
    who: Annotated[str, typer.Option(help="Who made the check.")] = "",
    note: Annotated[str, typer.Option(help="Anything worth remembering.")] = "",
    explain: ExplainOption = False,
    report: ReportOption = None,
    book: BookOption = None,
) -> None:
    """Record a gauge's zero error, from photos of its closed faces or as read by hand."""
    when = parse_done(on) if on is not None else None
    with Book(book_path(book)) as opened:
        record = opened.gauge(gauge)
        request = commands.ZeroRequest(
            record,
            tuple(photos or ()),
            reading,
            rod,
            when,
            user(who),
            note,
            known_edge_set(opened, record),
            Telling(explain, report),
        )
        code = commands.zero(request, opened, say, complain)
    raise typer.Exit(code)


def main() -> None:
    """Run the command line; file names of any bytes can be printed."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    command = typer.main.get_command(app)
    try:
        code = command(prog_name="datumline", standalone_mode=False)
    except UsageError as error:
        complain(usage_line(error, command, sys.argv[1:]))
        code = USER_ERROR
    except typer.Abort:  # the input ended while something was asked
        complain("datumline: stopped, as no more was typed")
        code = USER_ERROR
    sys.exit(code)
