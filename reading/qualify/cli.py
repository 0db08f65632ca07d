"""Arguments of `datumline qualify`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reading.book import Book, book_path
from reading.commands import asked_scale
from reading.terminal import (
    BookOption,
    DivisionsOption,
    PitchOption,
    StartOption,
    complain,
    one_line_errors,
    say,
)
from vision.scale import Scale


@one_line_errors
def qualify(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Photos with known readings.")],
    truth: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="CSV with columns file and shown; else DIR/truth.csv."),
    ] = None,
    reader_scale: Annotated[
        str, typer.Option("--scale", help="What the reader is told: given, none or both.")
    ] = "given",
    gauge: Annotated[str | None, typer.Option(help="The gauge of all photos, in the book.")] = None,
    pitch: PitchOption = None,
    divisions: DivisionsOption = None,
    start: StartOption = None,
    by: Annotated[
        list[str] | None, typer.Option(metavar="COLUMN", help="Also group by a column of the CSV.")
    ] = None,
    out: Annotated[Path | None, typer.Option(metavar="PAGE.html", help="Save a page.")] = None,
    readings: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Save what was read in each photo, as CSV.")
    ] = None,
    output: Annotated[str, typer.Option("--format", help="text or json.")] = "text",
    pictures: Annotated[
        bool, typer.Option("--pictures/--no-pictures", help="Show photos on the page.")
    ] = True,
    book: BookOption = None,
) -> None:
    """Read photos with known readings, and say how well: a page to lean on.

    The CSV has a row a photo: file, shown (what the gauge shows, like "7.78 mm"; nothing where the
    photo must be refused), and pitch and divisions, or gauge, unless one is named for all.
    """
    from reading.qualify.command import QualifyRequest
    from reading.qualify.command import qualify as run
    from reading.qualify.known import read_truth

    title = f"How well the known readings in {folder.name} are read"
    columns = tuple(by or ())
    request = QualifyRequest(reader_scale, columns, out, readings, output, pictures, title)
    gauges = _Gauges(book)
    scale = asked_scale(gauge, pitch, divisions, start)
    if gauge is not None:
        scale = gauges(gauge)
    known = read_truth(folder, truth, scale, gauges)
    raise typer.Exit(run(known, request, say, complain))


class _Gauges:
    """Looks gauges up in the book, each once."""

    def __init__(self, book: Path | None) -> None:
        self.book = book
        self.known: dict[str, Scale] = {}

    def __call__(self, name: str) -> Scale:
        if name not in self.known:
            with Book(book_path(self.book)) as opened:
                self.known[name] = opened.gauge(name).scale
        return self.known[name]
