"""Arguments of `datumline book`: looking after the book's file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reading.book import Book, book_path
from reading.problem import Problem
from reading.record import Event
from reading.soundness import faults
from reading.terminal import USER_ERROR, BookOption, complain, one_line_errors, say, user

book_app = typer.Typer(
    help="The book's file: check, copy, hand on.", no_args_is_help=True, rich_markup_mode=None
)
FORMATS = ("json", "csv")
SHOWN_HASH = 12  # characters of a content hash: enough to find the photo


@book_app.command("check")
@one_line_errors
def book_check(book: BookOption = None) -> None:
    """Look for damage; exit code 2 if there is any."""
    with Book(book_path(book)) as opened:
        found = faults(opened)
        gauges = len(opened.gauges())
        changes = sum(1 for _ in opened.all_rows("history"))
    for fault in found:
        complain(fault)
    if found:
        raise typer.Exit(USER_ERROR)
    say(f"clean: {gauges} gauge{'s' if gauges != 1 else ''}, {changes} changes in its history")


@book_app.command("backup")
@one_line_errors
def book_backup(
    target: Annotated[Path, typer.Argument(metavar="FILE", help="A new file.")],
    book: BookOption = None,
) -> None:
    """Copy the book into a new file, also while others write in it."""
    with Book(book_path(book)) as opened:
        opened.back_up(target)
    say(f"{target}: a copy of the book")


@book_app.command("export")
@one_line_errors
def book_export(
    target: Annotated[Path, typer.Argument(help="A new file (json) or folder (csv).")],
    output: Annotated[str, typer.Option("--format", help="json or csv.")] = "json",
    book: BookOption = None,
) -> None:
    """Write the book for other programs, in full."""
    from reading.exchange.files import export_csv, export_json

    if output not in FORMATS:
        raise Problem(f"--format {output}: one of {', '.join(FORMATS)}")
    with Book(book_path(book)) as opened:
        count = (export_json if output == "json" else export_csv)(opened, target)
    say(f"{target}: {count} rows")


@book_app.command("import")
@one_line_errors
def book_import(
    source: Annotated[Path, typer.Argument(help="A file or folder that export wrote.")],
    who: Annotated[str, typer.Option(help="Who does it.")] = "",
    book: BookOption = None,
) -> None:
    """Take in what export wrote; what is there already is not entered twice."""
    from reading.exchange.files import import_from

    with Book(book_path(book), create=True) as opened:
        entered = import_from(opened, source, user(who))
    new = ", ".join(
        f"{count} {table.replace('_', ' ')}" for table, count in entered.items() if count
    )
    say(f"{source}: new rows: {new or 'none'}")


@book_app.command("history")
@one_line_errors
def book_history(
    gauge: Annotated[str | None, typer.Option(help="Only of this gauge.")] = None,
    last: Annotated[int, typer.Option(min=1, help="So many of the newest.")] = 20,
    book: BookOption = None,
) -> None:
    """List the newest changes: when, who, what, and from which photos by content hash."""
    with Book(book_path(book)) as opened:
        if gauge is not None:
            opened.gauge(gauge)  # says so if there is none of that name
        for event in opened.history(gauge, last):
            say(event_line(event))


def event_line(event: Event) -> str:
    """Write one line of the history."""
    what = event.what if event.subject is None else f"{event.what} {event.subject}"
    parts = [event.recorded[:19].replace("T", " "), event.who or "-", what, event.gauge or "-"]
    parts += [event.note] if event.note else []
    parts += [f"sha256 {sha256[:SHOWN_HASH]}" for sha256 in event.photos]
    return "".join(
        letter if letter.isprintable() else repr(letter)[1:-1] for letter in "  ".join(parts)
    )
