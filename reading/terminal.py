"""What every command line part shares: how to print, how to stop, options that recur."""

from __future__ import annotations

import functools
import getpass
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated, NoReturn, ParamSpec

import typer

from reading.problem import Problem, missing_library

P = ParamSpec("P")
# Of click's exceptions typer names only some, and newer ones have a click of their own; in both the
# parent of this one is what any mistake in the options raises.
UsageError: type[Exception] = typer.BadParameter.__mro__[1]
DONE, USER_ERROR, REFUSED = 0, 2, 3  # exit codes
Say = Callable[[str], None]  # prints one line, or several

BookOption = Annotated[
    Path | None,
    typer.Option("--book", help="The book of gauges; else DATUMLINE_BOOK, else your data folder."),
]
PitchOption = Annotated[str | None, typer.Option(help='Travel in one turn, like "0.5 mm".')]
DivisionsOption = Annotated[int | None, typer.Option(help="Divisions on the thimble.")]
StartOption = Annotated[str | None, typer.Option(help='Start of the range, like "25 mm".')]
OnOption = Annotated[
    str | None, typer.Option("--on", help="Date, like 2026-11-25 or 2026-11-25 08:12.")
]
WhoOption = Annotated[str, typer.Option(help="Who did it.")]
NoteOption = Annotated[str, typer.Option(help="Anything worth remembering.")]
ExplainOption = Annotated[bool, typer.Option("--explain", help="Write out the working.")]
ReportOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Save one HTML page to print and sign.")
]
CurveOption = Annotated[
    bool, typer.Option("--curve", help="Take off the calibration's error at this length.")
]
GaugeArgument = Annotated[str, typer.Argument(metavar="ID", help="Its name in the book.")]


def say(text: str) -> None:
    """Print for the user."""
    typer.echo(text)


def complain(text: str) -> None:
    """Print what went wrong."""
    typer.echo(text, err=True)


def stop(problem: Problem) -> NoReturn:
    """End with the one line that says what to put right."""
    complain(f"datumline: {problem}")
    raise typer.Exit(USER_ERROR)


def usage_line(error: Exception, root: object, arguments: Sequence[str]) -> str:
    """Make one line of a mistake in the options; where help is what was asked for, the help.

    Parameters
    ----------
    error : Exception
        A `UsageError`.
    root : object
        The outermost command.
    arguments : sequence of str
        What was typed after its name.
    """
    message = error.format_message()  # type: ignore[attr-defined]
    context = error.ctx  # type: ignore[attr-defined]
    command = _command_named(root, arguments)
    if context is not None:
        if message == context.get_help():
            return str(message)
        command = max(context.command_path, command, key=len)
    said = " ".join(message.split()).rstrip(".")
    return f"datumline: {said[:1].lower()}{said[1:]} (see {command} --help)"


def _command_named(root: object, arguments: Sequence[str]) -> str:
    """Say which command the arguments name; an option without its value comes without one."""
    command, path = root, "datumline"
    for word in arguments:
        command = getattr(command, "commands", {}).get(word)
        if command is None:
            break
        path = f"{path} {word}"
    return path


def one_line_errors(command: Callable[P, None]) -> Callable[P, None]:
    """Turn a user's mistake, or a missing system library, into one line and exit code 2."""

    @functools.wraps(command)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except Problem as problem:
            stop(problem)
        except ImportError as error:
            missing = missing_library(error)
            if missing is None:
                raise
            stop(missing)

    return guarded


def user(given: str) -> str:
    """Say who does it: as given, else the name that the system knows the user by."""
    if given:
        return given
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a user without an entry
        return ""
