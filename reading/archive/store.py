"""The results of an archive: one SQLite file, in which every photo stands once. Speaks SQL."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType

from reading.archive.columns import NAMES, Cell, Row
from reading.archive.names import exact, shown
from reading.archive.place import Found, Source
from reading.archive.schema import APPLICATION_ID, SCHEMA, VERSION
from reading.problem import Problem

BUSY_SECONDS = 30.0  # how long a reader or the desk waits for another that writes
_INSERT = (
    f"INSERT INTO reading (run, {', '.join(NAMES)}) "
    f"VALUES (:run, {', '.join(f':{name}' for name in NAMES)}) ON CONFLICT (photo, run) "
    f"DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in NAMES)} RETURNING number"
)
# Photos that the newest finished run (or the one that is under way) still found.
_PRESENT = "photo.run >= coalesce((SELECT max(number) FROM run WHERE finished NOT NULL), 0)"
_CURRENT = (
    "SELECT reading.*, photo.path, photo.member, photo.remote, decision.verdict, "
    "decision.shown AS decided_shown, decision.unit AS decided_unit, decision.note, "
    "decision.who, decision.at "
    "FROM photo JOIN reading ON reading.number = photo.reading "
    "LEFT JOIN decided ON decided.photo = photo.photo AND decided.sha256 = reading.sha256 "
    "LEFT JOIN decision ON decision.number = decided.number"
)


class StoreError(Problem):
    """A results file that can't be opened or written."""


@dataclass(frozen=True)
class Settled:
    """What is on record of a photo: what its content was, and what read it."""

    run: int
    size_bytes: int | None
    stamp: int | None
    reading: int
    codes: str | None
    sha256: str
    scale_asked: str
    gauge_state: str
    program: str
    weights: str


@dataclass(frozen=True)
class Asked:
    """What a run goes through and reads with; two runs of the same are one that goes on."""

    root: str
    program: str
    weights: str
    libraries: str
    asked: str


class Store:
    """An open results file; use it in a `with` statement.

    Every change is one transaction, and every row is on disk when the call returns: a process that
    is killed loses only the photos that it had in hand.

    Parameters
    ----------
    path : Path
        The file.
    create : bool
        Make the file when there is none.

    Raises
    ------
    StoreError
        If there is none, it is something else, a newer program wrote it, or it can't be opened.
    """

    def __init__(self, path: Path, *, create: bool = False) -> None:
        self.path = path
        if not create and not path.exists():
            raise StoreError(f"{path}: there are no results here yet: datumline archive DIR first")
        with self.plain_errors():
            self._connection = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
            self._connection.row_factory = sqlite3.Row
        try:
            with self.plain_errors():
                self._prepare()
        except BaseException:
            self._connection.close()
            raise

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    def begin(self, asked: Asked) -> tuple[int, bool]:
        """Begin a run, or go on with the one that was stopped; its number, and whether it goes on.

        A stopped run of anything else is left as it is: its rows hold, and are looked at again.
        """
        with self.change() as change:
            last = change.execute("SELECT * FROM run ORDER BY number DESC LIMIT 1").fetchone()
            if last and last["finished"] is None and Asked(*[last[n] for n in _ASKED]) == asked:
                return int(last["number"]), True
            now = datetime.now().isoformat(timespec="seconds")
            cells = (*[getattr(asked, name) for name in _ASKED], now)
            done = change.execute(
                f"INSERT INTO run ({', '.join(_ASKED)}, started) VALUES (?, ?, ?, ?, ?, ?)", cells
            )
            return int(done.lastrowid or 0), False

    def finish(self, run: int) -> None:
        """Record that a run went through the whole archive."""
        with self.change() as change:
            now = datetime.now().isoformat(timespec="seconds")
            change.execute("UPDATE run SET finished = ? WHERE number = ?", (now, run))

    def settled(self, photo: str) -> Settled | None:
        """Say what is on record of a photo."""
        row = self._one(
            "SELECT photo.run, photo.size_bytes, stamp, reading, codes, sha256, scale_asked, "
            "gauge_state, program, weights FROM photo JOIN reading ON number = reading "
            "WHERE photo.photo = ?",
            photo,
        )
        return None if row is None else Settled(*row)

    def keep(self, run: int, row: Row, found: Found | None) -> int:
        """Enter a photo's row as what holds now; an earlier row of the same run gives way."""
        with self.change() as change:
            number = int(change.execute(_INSERT, {**row, "run": run}).fetchone()[0])
            _see(change, run, str(row["photo"]), found, number)
        return number

    def touch(self, run: int, photo: str, found: Found | None) -> None:
        """Record that a run found a photo as it was."""
        with self.change() as change:
            row = change.execute("SELECT reading FROM photo WHERE photo = ?", (photo,)).fetchone()
            _see(change, run, photo, found, row["reading"])

    def reading(self, number: int) -> Row:
        """Give one reading, by its number."""
        row = self._one("SELECT * FROM reading WHERE number = ?", number)
        if row is None:
            raise StoreError(f"{self.path}: no reading {number}")
        return dict(row)

    def before(self, photo: str, number: int) -> Row | None:
        """Give the reading of a photo that held before another."""
        row = self._one(
            "SELECT * FROM reading WHERE photo = ? AND number < ? ORDER BY number DESC LIMIT 1",
            photo,
            number,
        )
        return None if row is None else dict(row)

    def current(self, where: str = "1", *given: Cell, most: int = -1) -> Iterator[Row]:
        """Give the rows that hold now, of photos that are still there, by name.

        With each stand where the photo lies and the decision that holds for it, if any.
        """
        query = f"{_CURRENT} WHERE {_PRESENT} AND ({where}) ORDER BY photo.photo LIMIT ?"
        with self.plain_errors():
            for row in self._connection.execute(query, (*given, most)):
                yield dict(row)

    def read_in(self, run: int) -> Iterator[Row]:
        """Give the rows that a run entered, by name."""
        with self.plain_errors():
            yield from map(
                dict,
                self._connection.execute(
                    "SELECT * FROM reading WHERE run = ? ORDER BY photo", (run,)
                ),
            )

    def counts(self) -> dict[str, int]:
        """Count the photos that are still there by reason for eyes, and those that were read."""
        query = (
            "SELECT coalesce(eyes, status), count(*) FROM photo JOIN reading ON number = reading "
            f"WHERE {_PRESENT} GROUP BY 1"
        )
        with self.plain_errors():
            return {str(what): int(n) for what, n in self._connection.execute(query)}

    def gone(self) -> int:
        """Count the photos on record that the newest finished run did not find any more."""
        row = self._one(f"SELECT count(*) FROM photo WHERE NOT ({_PRESENT})")
        return int(row[0]) if row else 0

    def runs(self) -> list[Row]:
        """Give all runs, oldest first."""
        return self.select("SELECT * FROM run ORDER BY number")

    def faults(self) -> list[str]:
        """Look for damage: the file, and what points where."""
        with self.plain_errors():
            told = [str(row[0]) for row in self._connection.execute("PRAGMA integrity_check")]
            lost = [str(tuple(row)) for row in self._connection.execute("PRAGMA foreign_key_check")]
        return [one for one in told if one != "ok"] + lost

    def select(self, query: str, given: Sequence[Cell] | Mapping[str, Cell] = ()) -> list[Row]:
        """Run a query of another module of results; rows as dictionaries."""
        with self.plain_errors():
            return [dict(row) for row in self._connection.execute(query, given)]

    @contextlib.contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """Run one change: all of it, or on any failure nothing; within another, as part of it."""
        if self._connection.in_transaction:
            yield self._connection
            return
        with self.plain_errors():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")

    def _one(self, query: str, *given: Cell) -> sqlite3.Row | None:
        with self.plain_errors():
            row: sqlite3.Row | None = self._connection.execute(query, given).fetchone()
        return row

    def _prepare(self) -> None:
        """Check that this is a results file of this version, or make an empty one into it."""
        self._connection.execute("PRAGMA foreign_keys = ON")
        tables = self._connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
        if tables and self._pragma("application_id") != APPLICATION_ID:
            raise StoreError(f"{self.path}: not results of datumline archive, name another file")
        version = int(str(self._pragma("user_version")))
        if version > VERSION:
            raise StoreError(
                f"{self.path}: written by a newer datumline (results version {version}, this one "
                f"knows {VERSION}): upgrade datumline"
            )
        self._connection.execute("PRAGMA journal_mode = WAL")
        # With a write-ahead log this loses nothing to a killed process, and to a power cut at most
        # the newest rows, which are read again (SQLite manual, "PRAGMA synchronous").
        self._connection.execute("PRAGMA synchronous = NORMAL")
        if not tables:
            with self.change() as change:
                for statement in SCHEMA:
                    change.execute(statement)
                change.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                change.execute(f"PRAGMA user_version = {VERSION}")

    def _pragma(self, name: str) -> object:
        return self._connection.execute(f"PRAGMA {name}").fetchone()[0]

    @contextlib.contextmanager
    def plain_errors(self) -> Iterator[None]:
        """Turn what SQLite says of the file into one line."""
        try:
            yield
        except sqlite3.OperationalError as error:
            raise StoreError(
                f"{self.path}: {error}: look at the folder's space and permissions, and whether "
                "another program writes there"
            ) from error
        except sqlite3.DatabaseError as error:
            raise StoreError(
                f"{self.path}: {error}: name another file, or restore a copy"
            ) from error


_ASKED = ("root", "program", "weights", "libraries", "asked")


def _see(
    change: sqlite3.Connection, run: int, photo: str, found: Found | None, reading: int
) -> None:
    """Record where a photo was found, and the reading that holds."""
    place: tuple[Cell, ...] = (None, None, None, None, 0)
    if found is not None:
        source = found.source
        place = (found.size_bytes, found.stamp, shown(source.path), source.member, source.remote)
    change.execute(
        "INSERT OR REPLACE INTO photo VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (photo, reading, run, *place),
    )


def source_of(row: Row) -> Source | None:
    """Give where a photo of `Store.current` lies; None for what was never a file."""
    if row["path"] is None:
        return None
    member = row["member"]
    return Source(
        exact(str(row["path"])), None if member is None else int(member), bool(row["remote"])
    )


@contextlib.contextmanager
def locked(results: Path) -> Iterator[None]:
    """Keep a second run away from results that are being written; the system frees it at death."""
    path = results.with_name(results.name + ".lock")
    with contextlib.ExitStack() as stack:
        try:
            connection = sqlite3.connect(path, timeout=0, isolation_level=None)
            stack.enter_context(contextlib.closing(connection))
            connection.execute("PRAGMA journal_mode = MEMORY")
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as error:
            busy = "locked" in str(error)
            words = "another run is writing here, wait for it" if busy else f"{error}, name another"
            raise StoreError(f"{results}: {words}") from error
        try:
            yield
        finally:
            connection.close()
            path.unlink(missing_ok=True)
