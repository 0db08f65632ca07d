"""Arguments of `datumline measure`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reading.book import Book, book_path
from reading.dates import parse_done
from reading.terminal import (
    BookOption,
    CurveOption,
    NoteOption,
    OnOption,
    WhoOption,
    complain,
    one_line_errors,
    say,
    user,
)


@one_line_errors
def measure(
    photos: Annotated[
        list[Path] | None, typer.Argument(metavar="[PHOTO...]", help="Photos of the work gauged.")
    ] = None,
    gauge: Annotated[str, typer.Option(help="The gauge, by its name in the book.")] = ...,  # type: ignore[assignment]
    readings: Annotated[
        str | None, typer.Option(help='Readings by hand, like "1.31 1.32 1.30 mm".')
    ] = None,
    places: Annotated[int, typer.Option(help="Places along the work; readings go by place.")] = 1,
    directions: Annotated[int, typer.Option(help="Directions at each place.")] = 1,
    wire: Annotated[bool, typer.Option("--wire", help="Find its wire gauge numbers.")] = False,
    lower: Annotated[str | None, typer.Option(help='Lower limit, like "1.20 mm".')] = None,
    upper: Annotated[str | None, typer.Option(help='Upper limit, like "1.25 mm".')] = None,
    temperature: Annotated[
        str | None, typer.Option(help='Of work and gauge, like "23.5 °C"; with --work.')
    ] = None,
    work: Annotated[
        str | None, typer.Option(help="steel, copper, brass, aluminium, or 1/K like 16.5e-6.")
    ] = None,
    curve: CurveOption = False,
    level: Annotated[float, typer.Option(help="Level of confidence in percent.")] = 95.0,
    k: Annotated[float | None, typer.Option("--k", help="Coverage factor, in its place.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the result.")] = None,
    explain: Annotated[bool, typer.Option("--explain", help="Write out the working.")] = False,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Save one HTML page to print and sign.")
    ] = None,
    output: Annotated[str, typer.Option("--format", help="text or json.")] = "text",
    on: OnOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    keep: Annotated[
        bool, typer.Option("--record/--no-record", help="Enter it in the book, or not.")
    ] = True,
    book: BookOption = None,
) -> None:
    """Turn several readings of one thing into a result with its uncertainty."""
    from reading.measurement import command
    from reading.measurement.result import Layout
    from reading.measurement.taking import Wanted

    with Book(book_path(book)) as opened:
        request = command.MeasureRequest(
            opened.gauge(gauge),
            Wanted(
                tuple(photos or ()),
                readings,
                parse_done(on, end_of_day=True) if on is not None else None,
            ),
            Layout(places, directions),
            lower,
            upper,
            wire,
            temperature,
            work,
            curve,
            level,
            k,
            unit,
            explain,
            report,
            output,
            user(who),
            note,
            keep,
        )
        code = command.run(request, opened, say, complain)
    raise typer.Exit(code)
