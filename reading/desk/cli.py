"""Arguments of `datumline desk`."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from reading.terminal import WhoOption, complain, one_line_errors, say, user


@one_line_errors
def desk(
    results: Annotated[
        Path, typer.Argument(metavar="FILE", help="The results of an archive, .sqlite or .db.")
    ],
    gauge: Annotated[str | None, typer.Option(help="Only photos of this gauge.")] = None,
    pictures: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Where pictures go; else beside FILE.")
    ] = None,
    show: Annotated[bool, typer.Option("--open", help="Open each picture at once.")] = False,
    who: WhoOption = "",
) -> None:
    """Go through what needs eyes, one by one; ? says what can be typed."""
    from reading.archive.store import Store
    from reading.desk.desk import Desk, Sitting

    folder = pictures or results.with_name(f"{results.name}.pictures")
    watched = sys.stdin.isatty()
    sitting = Sitting(user(who), gauge, folder, _show, show, strict=not watched)
    with Store(results) as store:
        code = Desk(store, sitting, say, complain).run(_typed(watched))
    raise typer.Exit(code)


def _typed(prompted: bool) -> Iterator[str]:
    """Give the lines that are typed, or that come from a file, until there are no more."""
    while True:
        if prompted:
            typer.echo("> ", nl=False)
        try:
            line = sys.stdin.readline()
        except KeyboardInterrupt:
            return
        if not line:
            return
        yield line


def _show(path: Path) -> None:
    """Open a picture with what the system opens pictures with."""
    if typer.launch(str(path)) != 0:
        complain(f"  nothing here opens pictures: look at {path}")
