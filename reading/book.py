"""The book: the SQLite register of gauges and what is known of them. It alone speaks SQL."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from types import TracebackType

from reading import rows
from reading.gauge import Gauge, ZeroCheck, ZeroPhoto
from reading.migrations import MIGRATIONS
from reading.problem import Problem
from reading.record import Event, KeptReading, Record
from reading.rows import Row, written

APPLICATION_ID = int.from_bytes(b"dtml")  # marks a SQLite file as a book
SCHEMA_VERSION = len(MIGRATIONS)
BUSY_SECONDS = 30.0  # how long one writer waits for another
LOCK_PAUSE_SECONDS = 0.02  # between tries where SQLite does not wait by itself
BOOK_VARIABLE = "DATUMLINE_BOOK"


class BookError(Problem):
    """A book that can't be opened or written, or a record that isn't in it."""


def book_path(given: Path | None) -> Path:
    """Say where the book is: as given, else `DATUMLINE_BOOK`, else in the user's data folder."""
    if given is not None:
        return given
    if named := os.environ.get(BOOK_VARIABLE):
        return Path(named)
    data = os.environ.get("XDG_DATA_HOME", "")
    folder = Path(data) if Path(data).is_absolute() else Path.home() / ".local" / "share"
    folder = folder / "datumline"
    with contextlib.suppress(OSError):  # opening the book says so if it can't be made
        folder.mkdir(parents=True, exist_ok=True)
    return folder / "book.sqlite"


class Book:
    """An open book; use it in a `with` statement.

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
        with self._plain_errors():
            self._connection = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
            self._connection.row_factory = sqlite3.Row
        try:
            with self._plain_errors():
                self._prepare()
        except BaseException:
            self._connection.close()
            raise

    def __enter__(self) -> Book:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._connection.close()

    def add_gauge(self, gauge: Gauge, who: str = "") -> None:
        """Enter a new gauge; BookError if its identifier is taken."""
        with self._change() as change:
            known = change.execute(
                "SELECT 1 FROM gauge WHERE identifier = ?", (gauge.identifier,)
            ).fetchone()
            if known:
                raise BookError(
                    f"gauge {gauge.identifier} is in the book already: use another name"
                )
            _insert(change, "gauge", rows.gauge_row(gauge, who, datetime.now()))

    def gauges(self) -> tuple[Gauge, ...]:
        """Give all gauges, by identifier."""
        return tuple(rows.gauge_of(row) for row in self._all("gauge", "ORDER BY identifier"))

    def gauge(self, identifier: str) -> Gauge:
        """Give one gauge; BookError, naming the known ones, if it is not in the book."""
        found = self._all("gauge", "WHERE identifier = ?", identifier)
        if not found:
            known = ", ".join(gauge.identifier for gauge in self.gauges()) or "none yet"
            raise BookError(f"gauge {identifier} is not in the book {self.path} (known: {known})")
        return rows.gauge_of(found[0])

    def record_zero(self, check: ZeroCheck, readings: Sequence[KeptReading] = ()) -> int:
        """Enter a zero check beside the earlier ones, with its readings, and give its number."""
        now = datetime.now()
        with self._change() as change:
            number = _insert(change, "zero_check", rows.zero_row(check, now))
            for place, photo in enumerate(check.photos):
                _insert(change, "zero_photo", rows.photo_row(number, place, photo))
            for one in readings:
                _insert_reading(change, rows.reading_row(one, None, now))
        return number

    def keep(self, record: Record | None, readings: Sequence[KeptReading] = ()) -> int | None:
        """Enter a record with the readings behind it, or readings alone; give its number."""
        now = datetime.now()
        with self._change() as change:
            number = None
            if record is not None:
                number = _insert(change, "record", rows.record_row(record, now))
            for one in readings:
                _insert_reading(change, rows.reading_row(one, number, now))
        return number

    def zero_checks(self, identifier: str, newest: int | None = None) -> tuple[ZeroCheck, ...]:
        """Give a gauge's zero checks, oldest first: all, or only so many of the newest."""
        limit = -1 if newest is None else newest
        where = "WHERE gauge = ? ORDER BY at DESC, number DESC LIMIT ?"
        return self._with_photos(self._all("zero_check", where, identifier, limit)[::-1])

    def zero_check_in_force(self, identifier: str, at: datetime) -> ZeroCheck | None:
        """Give the newest check not later than `at`; of two at one time the one recorded last."""
        where = "WHERE gauge = ? AND at <= ? ORDER BY at DESC, number DESC LIMIT 1"
        found = self._with_photos(self._all("zero_check", where, identifier, written(at)))
        return next(iter(found), None)

    def _with_photos(self, checks: list[sqlite3.Row]) -> tuple[ZeroCheck, ...]:
        """Make zero checks of their rows, with their photos."""
        photos: dict[int, list[ZeroPhoto]] = {}
        where = "WHERE zero_check IN (SELECT value FROM json_each (?)) ORDER BY zero_check, place"
        for row in self._all("zero_photo", where, json.dumps([row["number"] for row in checks])):
            photos.setdefault(row["zero_check"], []).append(rows.photo_of(row))
        return tuple(rows.zero_of(row, tuple(photos.get(row["number"], ()))) for row in checks)

    def record_in_force(self, identifier: str, kind: str, at: datetime) -> Record | None:
        """Give the newest record of a kind not later than `at`; of two at one time the later."""
        where = "WHERE gauge = ? AND kind = ? AND at <= ? ORDER BY at DESC, number DESC LIMIT 1"
        found = self._all("record", where, identifier, kind, written(at))
        return rows.record_of(found[0]) if found else None

    def records(self, identifier: str, kind: str) -> tuple[Record, ...]:
        """Give all records of a kind, oldest first."""
        where = "WHERE gauge = ? AND kind = ? ORDER BY at, number"
        return tuple(rows.record_of(row) for row in self._all("record", where, identifier, kind))

    def edge_sets(self, identifier: str, most: int) -> tuple[float, ...]:
        """Give the edge's set in the newest accepted photos of a gauge, newest first."""
        where = "WHERE gauge = ? AND edge_set_pitches NOTNULL ORDER BY number DESC LIMIT ?"
        return tuple(
            row["edge_set_pitches"] for row in self._all("reading", where, identifier, most)
        )

    def count(self, table: str, identifier: str) -> int:
        """Count a gauge's rows in ``zero_check``, ``record`` or ``reading``."""
        if table not in ("zero_check", "record", "reading"):
            raise ValueError(f"table {table!r}: zero_check, record or reading")
        with self._plain_errors():
            row = self._connection.execute(
                f"SELECT count(*) FROM {table} WHERE gauge = ?", (identifier,)
            ).fetchone()
        return int(row[0])

    def history(self, identifier: str | None = None, most: int = -1) -> tuple[Event, ...]:
        """Give the newest changes, of one gauge or of all, oldest first; all for `most` -1."""
        where = "" if identifier is None else "WHERE gauge = ?"
        given = () if identifier is None else (identifier,)
        with self._plain_errors():
            found = self._connection.execute(
                f"{_HISTORY} {where} ORDER BY number DESC LIMIT ?", (*given, most)
            ).fetchall()
        return tuple(rows.event_of(row) for row in found[::-1])

    def all_rows(self, table: str) -> Iterator[Row]:
        """Give every row of a table, as it was entered, in the order of entry."""
        columns = ", ".join(rows.names(table))
        with self._plain_errors():
            for row in self._connection.execute(f"SELECT {columns} FROM {table} ORDER BY rowid"):
                yield dict(row)

    @contextlib.contextmanager
    def taking_in(self, who: str, source: str) -> Iterator[Intake]:
        """Take rows of another book in: all of them, or on any failure none."""
        with self._change() as change:
            yield Intake(change)
            event: Row = {
                "recorded": written(datetime.now()),
                "who": who,
                "what": "import",
                "note": source,
            }
            _insert(change, "history", event)

    def faults(self) -> list[str]:
        """Look for damage: the file, what points where, the history, and every row's meaning."""
        with self._plain_errors():
            found = [
                str(row[0])
                for row in self._connection.execute("PRAGMA integrity_check")
                if row[0] != "ok"
            ]
            for row in self._connection.execute("PRAGMA foreign_key_check"):
                found.append(f"{row[0]}, row {row[1]}: what it points at in {row[2]} is not there")
            for table, what in _UNTOLD.items():
                missing = self._connection.execute(what).fetchone()[0]
                if missing:
                    found.append(f"{table}: {missing} rows are not in the history")
        for table, understand in rows.UNDERSTOOD.items():
            for row in self.all_rows(table):
                try:
                    understand(row)
                except rows.NOT_UNDERSTOOD as error:
                    found.append(f"{table}, {next(iter(row.values()))}: {error}")
        return found

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

    def _all(self, table: str, where: str, *given: rows.Cell) -> list[sqlite3.Row]:
        """Give the rows of a table that a clause picks."""
        columns = ", ".join(rows.names(table))
        with self._plain_errors():
            return self._connection.execute(
                f"SELECT {columns} FROM {table} {where}", given
            ).fetchall()

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
        with self._change() as change:
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
    def _change(self) -> Iterator[sqlite3.Connection]:
        """Run one change: all of it, or on any failure nothing."""
        with self._plain_errors():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")

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
            raise BookError(f"{self.path}: {error}; {hint}") from error
        except sqlite3.DatabaseError as error:
            raise BookError(
                f"{self.path}: not a book of datumline ({error}), name another file (--book)"
            ) from error


class Intake:
    """Rows of another book on their way in, within one change.

    A row that is there already, the same in everything but its number, is not entered again, so
    taking the same rows in twice changes nothing. Rows keep their order, so which check is in force
    when stays as it was. Tables must come in the order of `rows.TABLES`.
    """

    def __init__(self, change: sqlite3.Connection) -> None:
        self._change = change
        self._numbers: dict[tuple[str, int], int] = {}  # (table, number there) -> number here
        self._new: set[int] = set()  # zero checks that came in new
        self.entered = dict.fromkeys(rows.TABLES, 0)

    def take(self, table: str, row: Row) -> None:
        """Take one row in; the history is not taken but told anew, with the rows' own times."""
        match table:
            case "gauge":
                self._take_gauge(row)
            case "zero_photo":
                number = self._numbers["zero_check", int(row["zero_check"] or 0)]
                if number in self._new:
                    self._enter(table, {**row, "zero_check": number})
            case "zero_check" | "record" | "reading":
                self._take_numbered(table, row)
            case _:
                pass

    def _take_gauge(self, row: Row) -> None:
        """Enter a gauge unless it is there; BookError if another of that name is."""
        known = self._change.execute(
            "SELECT * FROM gauge WHERE identifier = ?", (row["identifier"],)
        ).fetchone()
        if known is None:
            self._enter("gauge", row)
        elif rows.gauge_of(known).scale != rows.gauge_of(row).scale:
            raise BookError(
                f"gauge {row['identifier']} is in the book with another scale: rename one of them"
            )

    def _take_numbered(self, table: str, row: Row) -> None:
        """Enter a row that has a number, under a new one, unless the same is there."""
        own = {name: cell for name, cell in row.items() if name != "number"}
        for name in ("zero_check", "record"):
            if own.get(name) is not None:
                own[name] = self._numbers[name, int(own[name] or 0)]
        # A photo teaches the edge's set once a book, so that column is no part of being the same.
        told = {name: cell for name, cell in own.items() if name != "edge_set_pitches"}
        same = " AND ".join(f"{name} IS ?" for name in told)
        known = self._change.execute(
            f"SELECT number FROM {table} WHERE {same} LIMIT 1", tuple(told.values())
        ).fetchone()
        number = known["number"] if known else self._enter(table, own)
        if known is None and table == "zero_check":
            self._new.add(number)
        self._numbers[table, int(row["number"] or 0)] = number

    def _enter(self, table: str, row: Row) -> int:
        self.entered[table] += 1
        if table == "reading":
            return _insert_reading(self._change, row)
        return _insert(self._change, table, row)


def _insert(change: sqlite3.Connection, table: str, row: Row) -> int:
    """Insert a row and give its number."""
    marks = ", ".join("?" * len(row))
    done = change.execute(
        f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", tuple(row.values())
    )
    return int(done.lastrowid or 0)


def _insert_reading(change: sqlite3.Connection, row: Row) -> int:
    """Insert a reading; one photo gives the edge's set of a gauge once."""
    known = change.execute(
        "SELECT 1 FROM reading WHERE gauge = ? AND sha256 = ? AND edge_set_pitches NOTNULL",
        (row["gauge"], row["sha256"]),
    ).fetchone()
    return _insert(change, "reading", {**row, "edge_set_pitches": None} if known else row)


# The history with the content hashes of the photos behind each line.
_HISTORY = """
    SELECT *, CASE what
        WHEN 'zero check' THEN
            (SELECT json_group_array (sha256) FROM zero_photo WHERE zero_check = subject)
        WHEN 'reading' THEN
            (SELECT json_group_array (sha256) FROM reading
             WHERE reading.number = subject AND sha256 NOTNULL)
        ELSE
            (SELECT json_group_array (sha256) FROM reading
             WHERE record = subject AND sha256 NOTNULL)
        END AS photos
    FROM history
"""
# How many rows of a table the history does not tell of.
_UNTOLD = {
    "gauge": "SELECT (SELECT count(*) FROM gauge)"
    " - (SELECT count(DISTINCT gauge) FROM history WHERE what = 'gauge')",
    "zero_check": "SELECT count(*) FROM zero_check WHERE number NOT IN"
    " (SELECT subject FROM history WHERE what = 'zero check')",
    "record": "SELECT count(*) FROM record WHERE number NOT IN"
    " (SELECT subject FROM history WHERE what = kind)",
    "reading": "SELECT count(*) FROM reading WHERE number NOT IN"
    " (SELECT subject FROM history WHERE what = 'reading')",
}
