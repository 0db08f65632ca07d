"""The book's SQLite file: where it may not be written, what its errors mean, copies."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from reading import rows
from reading.database import Database
from reading.migrations import MIGRATIONS
from reading.problem import Problem
from reading.rows import Row

SCHEMA_VERSION = len(MIGRATIONS)


class BookError(Problem):
    """A book that can't be opened or written, or a record that isn't in it."""


class BookFile(Database):
    """An open book's file; use it in a `with` statement.

    Parameters
    ----------
    path : Path
        The book's file.
    create : bool
        Make the file when there is none.

    Raises
    ------
    BookError
        If there is no such file, it is no book, it was written by a newer version of this
        program, or the system does not let it be opened.
    """

    application_id = int.from_bytes(b"dtml")  # marks a SQLite file as a book
    steps = MIGRATIONS
    called = "book"

    def __init__(self, path: Path, *, create: bool = False) -> None:
        if not create and not path.exists():
            raise BookError(
                f"{path}: there is no book here yet, begin one with: datumline gauge add"
            )
        if path.is_dir():
            raise BookError(f"{path}: is a folder, name the book's file in it")
        super().__init__(path, looked_at=_is_at_rest(path))

    def all_rows(self, table: str) -> Iterator[Row]:
        """Give every row of a table, as it was entered, in the order of entry."""
        columns = ", ".join(rows.names(table))
        yield from map(dict, self.answers(f"SELECT {columns} FROM {table} ORDER BY rowid"))

    def back_up(self, target: Path) -> None:
        """Copy the book, as it is at one moment, into a new file; BookError if that is there."""
        if target.exists():
            raise BookError(f"{target}: is there already, name a new file")
        if not target.parent.is_dir():
            raise BookError(f"{target}: there is no folder {target.parent}")
        part = target.with_name(target.name + ".part")
        try:
            with self._plain_errors(), contextlib.closing(sqlite3.connect(part)) as copy:
                self._connection.backup(copy)
            part.replace(target)
        except OSError as error:
            raise BookError(f"{target}: can't be written ({error.strerror})") from error
        finally:
            part.unlink(missing_ok=True)

    def pick(self, table: str, where: str, *given: rows.Cell) -> list[sqlite3.Row]:
        """Give the rows of a table that a clause picks."""
        return self.ask(f"SELECT {', '.join(rows.names(table))} FROM {table} {where}", *given)

    def _error(self, words: str) -> BookError:
        return BookError(words)

    def _foreign(self) -> BookError:
        return BookError(f"{self.path}: not a book of datumline, name another file (--book)")

    def _explained(self, error: sqlite3.DatabaseError) -> str:
        if isinstance(error, sqlite3.IntegrityError):
            return str(error)
        if not isinstance(error, sqlite3.OperationalError):
            return f"not a book of datumline ({error}), name another file (--book)"
        hint = "is its folder there, and may you write in it?"
        if "locked" in str(error):
            hint = "another program is writing in it, try again"
        elif "full" in str(error):
            hint = "nothing was changed, make room and try again"
        elif "readonly" in str(error):
            hint = "it can be looked at here, but not written in"
        return f"{error}; {hint}"


def _is_at_rest(path: Path) -> bool:
    """Tell a book in a place that may not be written, such as a locked stick, that nobody has open.

    It has no log beside it, and SQLite would want to make one even for reading; so it is opened as
    a file that can't change.
    """
    log = path.with_name(path.name + "-wal")
    return path.exists() and not log.exists() and not os.access(path.parent, os.W_OK)


def insert(change: sqlite3.Connection, table: str, row: Row) -> int:
    """Insert a row and give its number."""
    marks = ", ".join("?" * len(row))
    done = change.execute(
        f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", tuple(row.values())
    )
    return int(done.lastrowid or 0)
