"""Arguments of `datumline mark`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reading.terminal import (
    BookOption,
    DivisionsOption,
    PitchOption,
    StartOption,
    one_line_errors,
    say,
)


@one_line_errors
def mark(
    given: Annotated[
        Path,
        typer.Argument(
            metavar="LIST",
            help="CSV or XLSX, a row an observation; or a folder or ZIP with a folder a student, "
            "each with a list of its own.",
        ),
    ],
    photos: Annotated[
        Path | None,
        typer.Argument(metavar="[PHOTOS]", help="Folder or ZIP of the photos; else beside LIST."),
    ] = None,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Where marks and pages go.")] = Path(
        "marks"
    ),
    scheme: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Scheme of marks, TOML.")
    ] = None,
    gauge: Annotated[str | None, typer.Option(help="The gauge, where the list names none.")] = None,
    pitch: PitchOption = None,
    divisions: DivisionsOption = None,
    start: StartOption = None,
    hours: Annotated[
        str | None,
        typer.Option(metavar="FROM..TO", help="When the lab was open, like 09:00..12:30."),
    ] = None,
    decisions: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Your decisions; else in the --out folder.")
    ] = None,
    learn: Annotated[
        bool, typer.Option("--learn", help="Learn the order of suspicion from this class's marks.")
    ] = False,
    names: Annotated[
        bool, typer.Option("--names", help="Put students' names into the names of their pages.")
    ] = False,
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Write the marks as XLSX, too.")] = False,
    book: BookOption = None,
) -> None:
    """Mark what a class read, by their photos, and name the slips. Nothing is uploaded anywhere."""
    from reading.commands import asked_scale
    from reading.marking import command
    from reading.marking.eyes import parse_hours
    from reading.marking.scheme import load_scheme

    request = command.MarkRequest(
        given,
        photos,
        out,
        load_scheme(scheme),
        book,
        gauge,
        asked_scale(None, pitch, divisions, start),
        parse_hours(hours) if hours is not None else None,
        decisions,
        learn,
        names,
        xlsx,
    )
    raise typer.Exit(command.run(request, say))
