"""The book's SQLite file: opening it safely, whole changes, plain errors, copies."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from reading import rows
from reading.migrations import MIGRATIONS
from reading.problem import Problem
from reading.rows import Row

APPLICATION_ID = int.from_bytes(b"dtml")  # marks a SQLite file as a book
SCHEMA_VERSION = len(MIGRATIONS)
BUSY_SECONDS = 30.0  # how long one writer waits for another
LOCK_PAUSE_SECONDS = 0.02  # between tries where SQLite does not wait by itself


class BookError(Problem):
    """A book that can't be opened or written, or a record that isn't in it."""


class BookFile:
    """An open book's file; use it in a `with` statement.

    Every change is one transaction: it is in the book wholly or not at all, whatever interrupts it.

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

    def __init__(self, path: Path, *, create: bool = False) -> None:
        self.path = path
        if not create and not path.exists():
            raise BookError(
                f"{path}: there is no book here yet, begin one with: datumline gauge add"
            )
        if path.is_dir():
            raise BookError(f"{path}: is a folder, name the book's file in it")
        self._at_rest = _is_at_rest(path)
        address = path.absolute().as_uri() + ("?mode=ro&immutable=1" if self._at_rest else "")
        with self._plain_errors():
            self._connection = sqlite3.connect(
                address, timeout=BUSY_SECONDS, isolation_level=None, uri=True
            )
            self._connection.row_factory = sqlite3.Row
        try:
            with self._plain_errors():
                self._prepare()
        except BaseException:
            self._connection.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    def all_rows(self, table: str) -> Iterator[Row]:
        """Give every row of a table, as it was entered, in the order of entry."""
        columns = ", ".join(rows.names(table))
        with self._plain_errors():
            for row in self._connection.execute(f"SELECT {columns} FROM {table} ORDER BY rowid"):
                yield dict(row)

    @contextlib.contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """Run one change: all of it, or on any failure nothing."""
        with self._plain_errors():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")

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

    def ask(self, question: str, *given: rows.Cell) -> list[sqlite3.Row]:
        """Give all rows that answer a question in SQL."""
        with self._plain_errors():
            return self._connection.execute(question, given).fetchall()

    def pick(self, table: str, where: str, *given: rows.Cell) -> list[sqlite3.Row]:
        """Give the rows of a table that a clause picks."""
        return self.ask(f"SELECT {', '.join(rows.names(table))} FROM {table} {where}", *given)

    def _prepare(self) -> None:
        """Check that this is a book of this version or older, and bring it up to this version."""
        self._connection.execute("PRAGMA foreign_keys = ON")
        if self._is_foreign():
            raise BookError(f"{self.path}: not a book of datumline, name another file (--book)")
        version = self._version()
        if version > SCHEMA_VERSION:
            raise BookError(
                f"{self.path}: written by a newer datumline (book version {version}, this one "
                f"knows {SCHEMA_VERSION}): upgrade datumline"
            )
        if version < SCHEMA_VERSION:
            self._migrate()
        if not self._at_rest:
            self._keep_a_log()

    def _keep_a_log(self) -> None:
        """Switch to a write-ahead log, so that readers never wait for a writer.

        The switch wants the file for itself and, unlike a change, SQLite may report a lock at once
        instead of waiting for as long as the connection allows; so it is tried again here.
        """
        until = time.monotonic() + BUSY_SECONDS
        while self._pragma("journal_mode") != "wal":
            try:
                self._connection.execute("PRAGMA journal_mode = WAL")
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > until:
                    raise
                time.sleep(LOCK_PAUSE_SECONDS)

    def _migrate(self) -> None:
        """Apply the missing migrations in one transaction, unless another process just has."""
        with self.change() as change:
            for statements in MIGRATIONS[self._version() :]:
                for statement in statements:
                    change.execute(statement)
            change.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
            change.execute(f"PRAGMA application_id = {APPLICATION_ID}")

    def _is_foreign(self) -> bool:
        """Tell a SQLite file of something else from a book, or from an empty file."""
        tables = self._connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
        return bool(tables) and self._pragma("application_id") != APPLICATION_ID

    def _version(self) -> int:
        return int(str(self._pragma("user_version")))

    def _pragma(self, name: str) -> object:
        return self._connection.execute(f"PRAGMA {name}").fetchone()[0]

    @contextlib.contextmanager
    def _plain_errors(self) -> Iterator[None]:
        """Turn what SQLite says of the file into one line."""
        try:
            yield
        except sqlite3.IntegrityError as error:
            raise BookError(f"{self.path}: {error}") from error
        except sqlite3.OperationalError as error:
            hint = "is its folder there, and may you write in it?"
            if "locked" in str(error):
                hint = "another program is writing in it, try again"
            elif "full" in str(error):
                hint = "nothing was changed, make room and try again"
            elif "readonly" in str(error):
                hint = "it can be looked at here, but not written in"
            raise BookError(f"{self.path}: {error}; {hint}") from error
        except sqlite3.DatabaseError as error:
            raise BookError(
                f"{self.path}: not a book of datumline ({error}), name another file (--book)"
            ) from error


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
