"""Arguments of `datumline archive`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from typer.core import TyperGroup

from reading.archive.looks_cli import (
    ResultsArgument,
    archive_audit,
    archive_page,
    archive_sample,
    archive_sheet,
)
from reading.dates import parse_when
from reading.problem import Problem
from reading.terminal import (
    BookOption,
    DivisionsOption,
    OnOption,
    PitchOption,
    StartOption,
    one_line_errors,
    say,
)


class _ReadByDefault(TyperGroup):
    """Takes ``archive DIR`` for ``archive read DIR``."""

    def parse_args(self, ctx, args):  # type: ignore[no-untyped-def]
        """Put ``read`` first where no command is named."""
        if args and args[0] not in self.commands and args[0] != "--help":
            args = ["read", *args]
        return super().parse_args(ctx, args)


archive_app = typer.Typer(
    cls=_ReadByDefault,
    help="Archives of photos: read them all, and look after what was read.",
    no_args_is_help=True,
    rich_markup_mode=None,
    subcommand_metavar="DIR --results FILE | COMMAND ...",
)


@archive_app.command("read")
@one_line_errors
def archive_read(
    root: Annotated[
        str, typer.Argument(metavar="DIR", help="The folder or ZIP; with --cluster also a URL.")
    ],
    results: Annotated[
        Path,
        typer.Option(metavar="FILE", help="Results: .sqlite, .db, .parquet, .csv or .xlsx."),
    ],
    manifest: Annotated[
        Path | None, typer.Option(help="CSV with photo, gauge and, if you like, part and on.")
    ] = None,
    pattern: Annotated[
        str | None, typer.Option(help='Folder names, like "{gauge}/{part}/*".')
    ] = None,
    gauge: Annotated[
        str | None, typer.Option(help="The gauge of photos without one, from the book.")
    ] = None,
    pitch: PitchOption = None,
    divisions: DivisionsOption = None,
    start: StartOption = None,
    on: OnOption = None,
    again: Annotated[
        bool,
        typer.Option("--again", help="Read anew what another version read, or could not use."),
    ] = False,
    trust_times: Annotated[
        bool,
        typer.Option("--trust-times", help="Take files of the same size and time as unchanged."),
    ] = False,
    workers: Annotated[int | None, typer.Option(min=1, help="Processes; else one a core.")] = None,
    patience: Annotated[float, typer.Option(min=1, help="Seconds for one photo.")] = 120.0,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Read on a Dask cluster.")
    ] = None,
    partition: Annotated[int, typer.Option(min=1, help="Photos of one job on a cluster.")] = 64,
    parts: Annotated[
        str | None, typer.Option(help="Folder or URL that a cluster's workers write into.")
    ] = None,
    book: BookOption = None,
) -> None:
    """Read an archive; stopped at any point, the same command goes on."""
    from reading.archive import command
    from reading.archive.asked import Options

    when = parse_when(on, end_of_day=True) if on is not None else None
    options = Options(
        manifest, pattern, gauge, pitch, divisions, start, when, book, again, trust_times
    )
    wanted = command.ArchiveRequest(root, results, workers, patience, cluster, partition, parts)
    try:
        code = command.read_archive(wanted, options, say)
    except KeyboardInterrupt:
        raise Problem("stopped: the same command goes on from here") from None
    raise typer.Exit(code)


@archive_app.command("export")
@one_line_errors
def archive_export(
    results: ResultsArgument,
    target: Annotated[
        Path, typer.Argument(metavar="TARGET", help="A file: .csv, .xlsx or .parquet.")
    ],
) -> None:
    """Write the results, and the decisions beside them, for other programs."""
    from reading.archive import export
    from reading.archive.store import Store

    export.check_ending(target)
    with Store(results) as store:
        say(f"{target}: {export.export(store, target)} rows")


@archive_app.command("changes")
@one_line_errors
def archive_changes(
    results: ResultsArgument,
    run: Annotated[int | None, typer.Option(help="Of this run; else of the newest.")] = None,
    output: Annotated[str, typer.Option("--format", help="text or json.")] = "text",
) -> None:
    """List what a run read otherwise than before, and why."""
    from reading.archive import changes
    from reading.archive.store import Store

    if output not in ("text", "json"):
        raise Problem(f"--format {output}: text or json")
    with Store(results) as store:
        numbers = [int(one["number"] or 0) for one in store.runs()]
        if run is not None and run not in numbers:
            raise Problem(f"--run {run}: there are runs {', '.join(map(str, numbers)) or 'none'}")
        write = changes.to_json if output == "json" else changes.line_of
        found = False
        for one in changes.changes_of(store, run if run is not None else max(numbers, default=0)):
            found = True
            say(write(one))
        if not found and output == "text":
            say("nothing was read otherwise than before")


archive_app.command("sheet")(archive_sheet)
archive_app.command("page")(archive_page)
archive_app.command("sample")(archive_sample)
archive_app.command("audit")(archive_audit)
