"""An SQLite file of ours: opened safely, changed wholly or not at all, its errors in one line."""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import ClassVar, Self

from reading.problem import Problem

Cell = str | int | float | bytes | None
BUSY_SECONDS = 30.0  # how long one that reads or writes waits for another
LOCK_PAUSE_SECONDS = 0.02  # between tries where SQLite does not wait by itself


class Database:
    """An open file; use it in a `with` statement.

    Every change is one transaction: it is in the file wholly or not at all, whatever interrupts it.
    Those derived from it say what the file holds: the number that marks it, its schema step by
    step, and what its errors mean.

    Parameters
    ----------
    path : Path
        The file.
    looked_at : bool
        Open it as a file that nobody can change, and that gets no log beside it.

    Raises
    ------
    Problem
        If it is something else, a newer program wrote it, or it can't be opened.
    """

    application_id: ClassVar[int]
    steps: ClassVar[Sequence[Sequence[str]]]  # statements that make each version out of the last
    called: ClassVar[str]  # before the number of a version

    def __init__(self, path: Path, *, looked_at: bool = False) -> None:
        self.path = path
        address = path.absolute().as_uri() + ("?mode=ro&immutable=1" if looked_at else "")
        with self._plain_errors():
            self._connection = sqlite3.connect(
                address, timeout=BUSY_SECONDS, isolation_level=None, uri=True
            )
            self._connection.row_factory = sqlite3.Row
        try:
            with self._plain_errors():
                self._prepare()
                if not looked_at:
                    self._keep_a_log()
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

    @contextlib.contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """Run one change: all of it, or on any failure nothing; within another, as part of it."""
        if self._connection.in_transaction:
            yield self._connection
            return
        with self._plain_errors():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")

    def ask(self, question: str, *given: Cell) -> list[sqlite3.Row]:
        """Give all rows that answer a question in SQL."""
        return list(self.answers(question, *given))

    def answers(self, question: str, *given: Cell) -> Iterator[sqlite3.Row]:
        """Give the rows that answer a question in SQL, one by one."""
        with self._plain_errors():
            yield from self._connection.execute(question, given)

    def _prepare(self) -> None:
        """Check that this is a file of this version or older, and bring it up to this version."""
        self._connection.execute("PRAGMA foreign_keys = ON")
        tables = self._connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
        if tables and self._pragma("application_id") != self.application_id:
            raise self._foreign()
        version, known = self._version(), len(self.steps)
        if version > known:
            raise self._error(
                f"{self.path}: written by a newer datumline ({self.called} version {version}, "
                f"this one knows {known}): upgrade datumline"
            )
        if version < known:
            self._bring_up()

    def _bring_up(self) -> None:
        """Take the missing steps in one change, unless another process just has."""
        with self.change() as change:
            for statements in self.steps[self._version() :]:
                for statement in statements:
                    change.execute(statement)
            change.execute(f"PRAGMA user_version = {len(self.steps)}")
            change.execute(f"PRAGMA application_id = {self.application_id}")

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

    def _version(self) -> int:
        return int(str(self._pragma("user_version")))

    def _pragma(self, name: str) -> object:
        return self._connection.execute(f"PRAGMA {name}").fetchone()[0]

    @contextlib.contextmanager
    def _plain_errors(self) -> Iterator[None]:
        """Turn what SQLite says of the file into one line."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            raise self._error(f"{self.path}: {self._explained(error)}") from error

    def _error(self, words: str) -> Problem:
        """Make the error of this kind of file."""
        return Problem(words)

    def _foreign(self) -> Problem:
        """Say that the file is something else."""
        raise NotImplementedError

    def _explained(self, error: sqlite3.DatabaseError) -> str:
        """Say what went wrong, and what to do."""
        raise NotImplementedError
