"""The results of an archive: one SQLite file, in which every photo stands once. Speaks SQL."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reading.archive.columns import NAMES, Cell, Row
from reading.archive.moves import Move, paired
from reading.archive.names import exact, shown
from reading.archive.place import Found, Source
from reading.archive.schema import STEPS
from reading.database import Database
from reading.problem import Problem

MOST_OF_ONE_SIZE = 100  # contents that a file of their size is compared with
_INSERT = (
    f"INSERT INTO reading (run, {', '.join(NAMES)}) "
    f"VALUES (:run, {', '.join(f':{name}' for name in NAMES)}) ON CONFLICT (photo, run) "
    f"DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in NAMES)} RETURNING number"
)
_PLACE = ("reading", "run", "size_bytes", "stamp", "path", "member", "remote")
_SEEN = (
    f"INSERT INTO photo (photo, since, {', '.join(_PLACE)}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) "
    f"ON CONFLICT DO UPDATE SET {', '.join(f'{name} = excluded.{name}' for name in _PLACE)}"
)
# Photos that the newest finished run (or the one that is under way) still found.
_PRESENT = "photo.run >= coalesce((SELECT max(number) FROM run WHERE finished NOT NULL), 0)"
_CURRENT = (
    "SELECT reading.*, photo.path, photo.member, photo.remote, decision.verdict, "
    "decision.shown AS decided_shown, decision.unit AS decided_unit, decision.note, "
    "decision.who, decision.at "
    "FROM photo JOIN reading ON reading.number = photo.reading "
    "LEFT JOIN decided ON decided.sha256 = reading.sha256 "
    "AND coalesce(decided.named, photo.photo) = photo.photo "
    "LEFT JOIN decision ON decision.number = decided.number"
)
_SETTLED = (
    "SELECT photo.run, photo.size_bytes, stamp, reading, codes, sha256, scale_asked, "
    "gauge_state, program, weights FROM photo JOIN reading ON number = reading"
)
# Photos that were not met any more, and names that were first met since with their content.
_MOVED = (
    "SELECT was.sha256, old.photo, old.reading, new.photo "
    "FROM photo AS old JOIN reading AS was ON was.number = old.reading "
    "JOIN reading AS now ON now.sha256 = was.sha256 "
    "JOIN photo AS new ON new.reading = now.number "
    "WHERE was.sha256 != '' AND old.run < :run AND new.run = :run AND new.since > old.run"
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


class Store(Database):
    """An open results file; use it in a `with` statement.

    Every row is on disk when the call returns: a process that is killed loses only the photos that
    it had in hand.

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

    application_id = int.from_bytes(b"dtma")  # marks a SQLite file as results of an archive
    steps = STEPS
    called = "results"

    def __init__(self, path: Path, *, create: bool = False) -> None:
        if not create and not path.exists():
            raise StoreError(f"{path}: there are no results here yet: datumline archive DIR first")
        super().__init__(path)
        # With a write-ahead log this loses nothing to a killed process, and to a power cut at most
        # the newest rows, which are read again (SQLite manual, "PRAGMA synchronous").
        self.ask("PRAGMA synchronous = NORMAL")

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
        """Record that a run went through the whole archive, and what it found to be moved."""
        with self.change() as change:
            for move in paired(map(tuple, change.execute(_MOVED, {"run": run}))):
                cells = (run, move.photo, move.reading)
                change.execute("INSERT OR REPLACE INTO move VALUES (?, ?, ?)", cells)
                change.execute("DELETE FROM photo WHERE photo = ?", (move.was,))
            now = datetime.now().isoformat(timespec="seconds")
            change.execute("UPDATE run SET finished = ? WHERE number = ?", (now, run))

    def moves(self, run: int) -> list[Move]:
        """Give the photos that a run found under another name, by name."""
        query = (
            "SELECT move.photo, reading.photo, move.reading FROM move "
            "JOIN reading ON reading.number = move.reading WHERE move.run = ? ORDER BY move.photo"
        )
        return [Move(*row) for row in self.ask(query, run)]

    def settled(self, photo: str) -> Settled | None:
        """Say what is on record of a photo."""
        row = self._one(f"{_SETTLED} WHERE photo.photo = ?", photo)
        return None if row is None else Settled(*row)

    def of_size(self, size_bytes: int, name: str) -> list[Settled]:
        """Give what is on record of contents of a size; first under a file's own name elsewhere."""
        last = name.rpartition("/")[2]
        query = (
            f"{_SETTLED} WHERE reading.size_bytes = ? AND sha256 != '' "
            "ORDER BY substr(photo.photo, -length(?)) = ? DESC, photo.run, photo.photo LIMIT ?"
        )
        rows = self.ask(query, size_bytes, last, last, MOST_OF_ONE_SIZE)
        return [Settled(*row) for row in rows]

    def of_content(self, sha256: str) -> list[Settled]:
        """Give what is on record of a content, in the order of names."""
        query = f"{_SETTLED} WHERE reading.sha256 = ? ORDER BY photo.photo"
        return [Settled(*row) for row in self.ask(query, sha256)]

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
        yield from map(dict, self.answers(query, *given, most))

    def read_in(self, run: int) -> Iterator[Row]:
        """Give the rows that a run entered, by name."""
        query = "SELECT * FROM reading WHERE run = ? ORDER BY photo"
        yield from map(dict, self.answers(query, run))

    def counts(self) -> dict[str, int]:
        """Count the photos that are still there by reason for eyes, and those that were read."""
        query = (
            "SELECT coalesce(eyes, status), count(*) FROM photo JOIN reading ON number = reading "
            f"WHERE {_PRESENT} GROUP BY 1"
        )
        return {str(what): int(n) for what, n in self.ask(query)}

    def gone(self) -> int:
        """Count the photos on record that the newest finished run did not find any more."""
        row = self._one(f"SELECT count(*) FROM photo WHERE NOT ({_PRESENT})")
        return int(row[0]) if row else 0

    def runs(self) -> list[Row]:
        """Give all runs, oldest first."""
        return self.select("SELECT * FROM run ORDER BY number")

    def faults(self) -> list[str]:
        """Look for damage: the file, and what points where."""
        told = [str(row[0]) for row in self.ask("PRAGMA integrity_check")]
        lost = [str(tuple(row)) for row in self.ask("PRAGMA foreign_key_check")]
        return [one for one in told if one != "ok"] + lost

    def select(self, query: str, *given: Cell) -> list[Row]:
        """Run a query of another module of results; rows as dictionaries."""
        return list(map(dict, self.answers(query, *given)))

    def _one(self, query: str, *given: Cell) -> sqlite3.Row | None:
        return next(iter(self.ask(query, *given)), None)

    def _error(self, words: str) -> StoreError:
        return StoreError(words)

    def _foreign(self) -> StoreError:
        return StoreError(f"{self.path}: not results of datumline archive, name another file")

    def _explained(self, error: sqlite3.DatabaseError) -> str:
        if not isinstance(error, sqlite3.OperationalError):
            return f"{error}: name another file, or restore a copy"
        if "locked" in str(error):
            return f"{error}: another program is writing there, try again"
        return f"{error}: look at the folder's space and permissions"


_ASKED = ("root", "program", "weights", "libraries", "asked")


def _see(
    change: sqlite3.Connection, run: int, photo: str, found: Found | None, reading: int
) -> None:
    """Record where a photo was found, and the reading that holds."""
    place: tuple[Cell, ...] = (None, None, None, None, 0)
    if found is not None:
        source = found.source
        place = (found.size_bytes, found.stamp, shown(source.path), source.member, source.remote)
    change.execute(_SEEN, (photo, run, reading, run, *place))


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
