"""Arguments of `datumline gauge pitch`, `backlash` and `calibrate`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from reading.book import Book, book_path
from reading.dates import parse_done
from reading.problem import Problem
from reading.record import Signed
from reading.terminal import (
    BookOption,
    ExplainOption,
    GaugeArgument,
    NoteOption,
    OnOption,
    ReportOption,
    WhoOption,
    complain,
    one_line_errors,
    say,
    user,
)

PhotosArgument = Annotated[
    list[Path] | None, typer.Argument(metavar="[PHOTO...]", help="Photos, in the order named.")
]
ReadingsOption = Annotated[str | None, typer.Option(help='Readings by hand, like "2.00 7.00 mm".')]


@one_line_errors
def pitch(
    identifier: GaugeArgument,
    photos: PhotosArgument = None,
    turns: Annotated[
        str, typer.Option(help="Turns counted in each pair, plus where it opens, like 5.")
    ] = ...,  # type: ignore[assignment]
    readings: ReadingsOption = None,
    explain: ExplainOption = False,
    report: ReportOption = None,
    on: OnOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    book: BookOption = None,
) -> None:
    """Check pitch and least count: readings before and after counted turns, in pairs."""
    from reading.gauges import study
    from reading.measurement.taking import Wanted

    wanted = Wanted(tuple(photos or ()), readings, parse_done(on) if on else None)
    with Book(book_path(book)) as opened:
        telling = study.Telling(explain, report)
        about = study.Study(opened.gauge(identifier), Signed(user(who), note), telling)
        code = study.pitch(about, wanted, turns, opened, say, complain)
    raise typer.Exit(code)


@one_line_errors
def backlash(
    identifier: GaugeArgument,
    photos: PhotosArgument = None,
    closing: Annotated[
        str | None, typer.Option(help='Readings approached by closing, like "5.02 5.03 mm".')
    ] = None,
    opening: Annotated[str | None, typer.Option(help="Readings approached by opening.")] = None,
    explain: ExplainOption = False,
    report: ReportOption = None,
    on: OnOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    book: BookOption = None,
) -> None:
    """Find the backlash: one object approached from both sides; photos closing, opening in turn."""
    from reading.gauges import study
    from reading.measurement.taking import Wanted

    at = parse_done(on) if on else None
    if (closing is None) != (opening is None) or bool(photos) == (closing is not None):
        raise Problem("give --closing and --opening, or photos closing and opening in turn")
    if photos:
        sides = [Wanted(tuple(photos), None, at)]
    else:
        sides = [Wanted((), text, at) for text in (closing, opening)]
    with Book(book_path(book)) as opened:
        telling = study.Telling(explain, report)
        about = study.Study(opened.gauge(identifier), Signed(user(who), note), telling)
        code = study.backlash(about, sides, opened, say, complain)
    raise typer.Exit(code)


@one_line_errors
def calibrate(
    identifier: GaugeArgument,
    photos: PhotosArgument = None,
    readings: ReadingsOption = None,
    blocks: Annotated[
        str | None, typer.Option(help="Lengths of the blocks; else the standard's ten.")
    ] = None,
    deviations: Annotated[
        str | None, typer.Option(help='Deviation of each block, like "+0.1 -0.2 um".')
    ] = None,
    block_u: Annotated[
        str | None, typer.Option(help='Uncertainty of the blocks (k = 2), like "0.1 um".')
    ] = None,
    traceable: Annotated[str, typer.Option(help="Which blocks, and their certificate.")] = "",
    temperature: Annotated[str | None, typer.Option(help='Of all, like "20.5 °C".')] = None,
    flatness: Annotated[str | None, typer.Option(help='Of the faces, like "0.6 um".')] = None,
    parallelism: Annotated[str | None, typer.Option(help='Of the faces, like "2 um".')] = None,
    limit: Annotated[
        str | None, typer.Option(help='Error limit of the class, like "4 um".')
    ] = None,
    place: Annotated[str, typer.Option(help="Where it was done.")] = "",
    customer: Annotated[str, typer.Option("--for", help="For whom it was done.")] = "",
    explain: ExplainOption = False,
    page: Annotated[Path | None, typer.Option(metavar="FILE", help="Save an HTML page.")] = None,
    on: OnOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    book: BookOption = None,
) -> None:
    """Find the error curve on gauge blocks; as many readings for each, block by block."""
    from reading.gauges import study
    from reading.measurement.taking import Wanted
    from reading.measurement.temperature import parse_celsius

    wanted = Wanted(tuple(photos or ()), readings, parse_done(on, end_of_day=True) if on else None)
    entered = study.Entered(
        blocks,
        deviations,
        block_u,
        traceable,
        None if temperature is None else parse_celsius(temperature),
        flatness,
        parallelism,
        limit,
        place,
        customer,
    )
    with Book(book_path(book)) as opened:
        telling = study.Telling(explain, page)
        about = study.Study(opened.gauge(identifier), Signed(user(who), note), telling)
        code = study.calibrate(about, wanted, entered, opened, say, complain)
    raise typer.Exit(code)


COMMANDS: dict[str, Callable[..., None]] = {
    "pitch": pitch,
    "backlash": backlash,
    "calibrate": calibrate,
}
