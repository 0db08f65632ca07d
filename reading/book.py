"""The book: the SQLite register of gauges and what is known of them. It alone speaks SQL."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from types import TracebackType

from reading.gauge import Gauge, ZeroCheck, ZeroPhoto
from reading.migrations import MIGRATIONS
from reading.problem import Problem
from reading.record import Event, KeptReading, Record
from vision.scale import Scale

APPLICATION_ID = int.from_bytes(b"dtml")  # marks a SQLite file as a book
SCHEMA_VERSION = len(MIGRATIONS)
BUSY_SECONDS = 30.0  # how long one writer waits for another
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

    def add_gauge(self, gauge: Gauge) -> None:
        """Enter a new gauge; BookError if its identifier is taken."""
        scale = gauge.scale
        row = (
            gauge.identifier,
            str(scale.pitch),
            scale.divisions,
            scale.unit,
            str(scale.start),
            None if gauge.end is None else str(gauge.end),
            scale.vernier,
            int(scale.reversed),
            gauge.notes,
            _written(datetime.now()),
        )
        with self._change() as change:
            known = change.execute("SELECT 1 FROM gauge WHERE identifier = ?", row[:1]).fetchone()
            if known:
                raise BookError(
                    f"gauge {gauge.identifier} is in the book already: use another name"
                )
            change.execute("INSERT INTO gauge VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", row)

    def gauges(self) -> tuple[Gauge, ...]:
        """Give all gauges, by identifier."""
        with self._plain_errors():
            rows = self._connection.execute(f"{_GAUGE} ORDER BY identifier").fetchall()
        return tuple(_gauge(row) for row in rows)

    def gauge(self, identifier: str) -> Gauge:
        """Give one gauge; BookError, naming the known ones, if it is not in the book."""
        with self._plain_errors():
            row = self._connection.execute(
                f"{_GAUGE} WHERE identifier = ?", (identifier,)
            ).fetchone()
        if row is None:
            known = ", ".join(gauge.identifier for gauge in self.gauges()) or "none yet"
            raise BookError(f"gauge {identifier} is not in the book {self.path} (known: {known})")
        return _gauge(row)

    def record_zero(self, check: ZeroCheck, readings: Sequence[KeptReading] = ()) -> int:
        """Enter a zero check beside the earlier ones, with its readings, and give its number."""
        row = (
            check.gauge,
            _written(check.at),
            str(check.zero_error),
            check.u,
            check.source,
            check.spread,
            None if check.rod is None else str(check.rod),
            check.who,
            check.note,
            _written(datetime.now()),
        )
        with self._change() as change:
            number = change.execute(
                "INSERT INTO zero_check (gauge, at, zero_error, u, source, spread, rod, who, note,"
                " recorded) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING number",
                row,
            ).fetchone()[0]
            change.executemany(
                "INSERT INTO zero_photo VALUES (?, ?, ?, ?, ?)",
                [
                    (number, place, photo.name, photo.sha256, str(photo.zero_error))
                    for place, photo in enumerate(check.photos)
                ],
            )
            _insert_readings(change, readings, None)
        return int(number)

    def keep(self, record: Record | None, readings: Sequence[KeptReading] = ()) -> int | None:
        """Enter a record with the readings behind it, or readings alone; give its number."""
        number = None
        with self._change() as change:
            if record is not None:
                number = change.execute(
                    "INSERT INTO record (gauge, kind, at, body, who, note, recorded)"
                    " VALUES (?, ?, ?, ?, ?, ?, ?) RETURNING number",
                    (
                        record.gauge,
                        record.kind,
                        _written(record.at),
                        json.dumps(record.body, ensure_ascii=False, allow_nan=False),
                        record.who,
                        record.note,
                        _written(datetime.now()),
                    ),
                ).fetchone()[0]
            _insert_readings(change, readings, number)
        return number

    def record_in_force(self, identifier: str, kind: str, at: datetime) -> Record | None:
        """Give the newest record of a kind not later than `at`; of two at one time the later."""
        with self._plain_errors():
            row = self._connection.execute(
                f"{_RECORD} WHERE gauge = ? AND kind = ? AND at <= ?"
                " ORDER BY at DESC, number DESC LIMIT 1",
                (identifier, kind, _written(at)),
            ).fetchone()
        return None if row is None else _record(row)

    def records(self, identifier: str, kind: str) -> tuple[Record, ...]:
        """Give all records of a kind, oldest first."""
        with self._plain_errors():
            rows = self._connection.execute(
                f"{_RECORD} WHERE gauge = ? AND kind = ? ORDER BY at, number", (identifier, kind)
            ).fetchall()
        return tuple(_record(row) for row in rows)

    def edge_sets(self, identifier: str, most: int) -> tuple[float, ...]:
        """Give the edge's set in the newest accepted photos of a gauge, newest first."""
        with self._plain_errors():
            rows = self._connection.execute(
                "SELECT edge_set_pitches FROM reading WHERE gauge = ? AND edge_set_pitches NOTNULL"
                " ORDER BY number DESC LIMIT ?",
                (identifier, most),
            ).fetchall()
        return tuple(row[0] for row in rows)

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
            rows = self._connection.execute(
                f"SELECT * FROM ({_HISTORY} {where} ORDER BY number DESC LIMIT ?) ORDER BY number",
                (*given, most),
            ).fetchall()
        return tuple(_event(row) for row in rows)

    def zero_checks(self, identifier: str, newest: int | None = None) -> tuple[ZeroCheck, ...]:
        """Give a gauge's zero checks, oldest first: all, or only so many of the newest."""
        limit = -1 if newest is None else newest
        with self._plain_errors():
            rows = self._connection.execute(
                f"{_ZERO_CHECK} WHERE gauge = ? ORDER BY at DESC, number DESC LIMIT ?",
                (identifier, limit),
            ).fetchall()[::-1]
            return self._with_photos(rows)

    def zero_check_in_force(self, identifier: str, at: datetime) -> ZeroCheck | None:
        """Give the newest check not later than `at`; of two at one time the one recorded last."""
        with self._plain_errors():
            rows = self._connection.execute(
                f"{_ZERO_CHECK} WHERE gauge = ? AND at <= ? ORDER BY at DESC, number DESC LIMIT 1",
                (identifier, _written(at)),
            ).fetchall()
            return next(iter(self._with_photos(rows)), None)

    def _with_photos(self, rows: list[tuple]) -> tuple[ZeroCheck, ...]:
        """Make zero checks of their rows, with their photos."""
        photos: dict[int, list[ZeroPhoto]] = {}
        numbers = [row[0] for row in rows]
        for number, name, sha256, zero_error in self._connection.execute(
            "SELECT zero_check, name, sha256, zero_error FROM zero_photo"
            " WHERE zero_check IN (SELECT value FROM json_each (?)) ORDER BY zero_check, place",
            (json.dumps(numbers),),
        ):
            photos.setdefault(number, []).append(ZeroPhoto(name, sha256, Decimal(zero_error)))
        return tuple(_zero_check(row, tuple(photos.get(row[0], ()))) for row in rows)

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
        if self._pragma("journal_mode") != "wal":
            self._connection.execute("PRAGMA journal_mode = WAL")

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


_GAUGE = (
    "SELECT identifier, pitch, divisions, unit, range_start, range_end, vernier, reversed, notes"
    " FROM gauge"
)


_ZERO_CHECK = (
    "SELECT number, gauge, at, zero_error, u, source, spread, rod, who, note FROM zero_check"
)
_RECORD = "SELECT gauge, kind, at, body, who, note, number FROM record"
_HISTORY = """
    SELECT number, recorded, who, what, gauge, subject, note, CASE what
        WHEN 'zero check' THEN
            (SELECT json_group_array (sha256) FROM zero_photo WHERE zero_check = subject)
        WHEN 'reading' THEN
            (SELECT json_group_array (sha256) FROM reading
             WHERE reading.number = subject AND sha256 NOTNULL)
        ELSE
            (SELECT json_group_array (sha256) FROM reading
             WHERE record = subject AND sha256 NOTNULL)
        END
    FROM history
"""


def _zero_check(row: tuple, photos: tuple[ZeroPhoto, ...]) -> ZeroCheck:
    """Make a zero check of its row and its photos."""
    number, gauge, at, zero_error, u, source, spread, rod, who, note = row
    return ZeroCheck(
        gauge,
        datetime.fromisoformat(at),
        Decimal(zero_error),
        u,
        source=source,
        photos=photos,
        spread=spread,
        rod=None if rod is None else Decimal(rod),
        who=who,
        note=note,
        number=number,
    )


def _record(row: tuple) -> Record:
    """Make a record of its row."""
    gauge, kind, at, body, who, note, number = row
    return Record(gauge, kind, datetime.fromisoformat(at), json.loads(body), who, note, number)


def _event(row: tuple) -> Event:
    """Make a line of the history of its row."""
    number, recorded, who, what, gauge, subject, note, photos = row
    return Event(number, recorded, who, what, gauge, subject, note, tuple(json.loads(photos)))


def _insert_readings(
    change: sqlite3.Connection, readings: Sequence[KeptReading], record: int | None
) -> None:
    """Insert readings; one photo gives the edge's set of a gauge once."""
    now = _written(datetime.now())
    for one in readings:
        known = change.execute(
            "SELECT 1 FROM reading WHERE gauge = ? AND sha256 = ? AND edge_set_pitches NOTNULL",
            (one.gauge, one.sha256),
        ).fetchone()
        change.execute(
            "INSERT INTO reading (gauge, at, source, sha256, shown, u, confidence,"
            " edge_set_pitches, zero_check, record, who, recorded)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                one.gauge,
                _written(one.at),
                one.source,
                one.sha256,
                str(one.shown),
                one.u,
                one.confidence,
                None if known else one.edge_set_pitches,
                one.zero_check,
                record,
                one.who,
                now,
            ),
        )


def _gauge(row: tuple) -> Gauge:
    """Make a gauge of its row."""
    identifier, pitch, divisions, unit, start, end, vernier, backwards, notes = row
    scale = Scale(Decimal(pitch), divisions, unit, Decimal(start), vernier, bool(backwards))
    return Gauge(identifier, scale, None if end is None else Decimal(end), notes)


def _written(moment: datetime) -> str:
    """Write a time so that its text sorts as time does."""
    return moment.isoformat(timespec="microseconds")
