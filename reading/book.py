"""The book: the register of gauges and what is known of them, over its SQLite file."""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from reading import rows
from reading.book_file import BookError, BookFile, insert
from reading.gauge import Gauge, ZeroCheck, ZeroPhoto
from reading.intake import Intake, insert_reading
from reading.record import Event, KeptReading, Record
from reading.rows import Row, written

BOOK_VARIABLE = "DATUMLINE_BOOK"


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


class Book(BookFile):
    """An open book; see `BookFile` for how it is opened and what a change is."""

    def add_gauge(self, gauge: Gauge, who: str = "") -> None:
        """Enter a new gauge; BookError if its identifier is taken."""
        with self.change() as change:
            known = change.execute(
                "SELECT 1 FROM gauge WHERE identifier = ?", (gauge.identifier,)
            ).fetchone()
            if known:
                raise BookError(
                    f"gauge {gauge.identifier} is in the book already: use another name"
                )
            insert(change, "gauge", rows.gauge_row(gauge, who, datetime.now()))

    def gauges(self) -> tuple[Gauge, ...]:
        """Give all gauges, by identifier."""
        return tuple(rows.gauge_of(row) for row in self.pick("gauge", "ORDER BY identifier"))

    def gauge(self, identifier: str) -> Gauge:
        """Give one gauge; BookError, naming the known ones, if it is not in the book."""
        found = self.pick("gauge", "WHERE identifier = ?", identifier)
        if not found:
            known = ", ".join(gauge.identifier for gauge in self.gauges()) or "none yet"
            raise BookError(f"gauge {identifier} is not in the book {self.path} (known: {known})")
        return rows.gauge_of(found[0])

    def record_zero(self, check: ZeroCheck, readings: Sequence[KeptReading] = ()) -> int:
        """Enter a zero check beside the earlier ones, with its readings, and give its number."""
        now = datetime.now()
        with self.change() as change:
            number = insert(change, "zero_check", rows.zero_row(check, now))
            for place, photo in enumerate(check.photos):
                insert(change, "zero_photo", rows.photo_row(number, place, photo))
            for one in readings:
                insert_reading(change, rows.reading_row(one, None, now))
        return number

    def keep(self, record: Record | None, readings: Sequence[KeptReading] = ()) -> int | None:
        """Enter a record with the readings behind it, or readings alone; give its number."""
        now = datetime.now()
        with self.change() as change:
            number = None
            if record is not None:
                number = insert(change, "record", rows.record_row(record, now))
            for one in readings:
                insert_reading(change, rows.reading_row(one, number, now))
        return number

    def zero_checks(self, identifier: str, newest: int | None = None) -> tuple[ZeroCheck, ...]:
        """Give a gauge's zero checks, oldest first: all, or only so many of the newest."""
        limit = -1 if newest is None else newest
        where = "WHERE gauge = ? ORDER BY at DESC, number DESC LIMIT ?"
        return self._with_photos(self.pick("zero_check", where, identifier, limit)[::-1])

    def zero_check_in_force(self, identifier: str, at: datetime) -> ZeroCheck | None:
        """Give the newest check not later than `at`; of two at one time the one recorded last."""
        where = "WHERE gauge = ? AND at <= ? ORDER BY at DESC, number DESC LIMIT 1"
        found = self._with_photos(self.pick("zero_check", where, identifier, written(at)))
        return next(iter(found), None)

    def _with_photos(self, checks: list[sqlite3.Row]) -> tuple[ZeroCheck, ...]:
        """Make zero checks of their rows, with their photos."""
        photos: dict[int, list[ZeroPhoto]] = {}
        where = "WHERE zero_check IN (SELECT value FROM json_each (?)) ORDER BY zero_check, place"
        for row in self.pick("zero_photo", where, json.dumps([row["number"] for row in checks])):
            photos.setdefault(row["zero_check"], []).append(rows.photo_of(row))
        return tuple(rows.zero_of(row, tuple(photos.get(row["number"], ()))) for row in checks)

    def record_in_force(self, identifier: str, kind: str, at: datetime) -> Record | None:
        """Give the newest record of a kind not later than `at`; of two at one time the later."""
        where = "WHERE gauge = ? AND kind = ? AND at <= ? ORDER BY at DESC, number DESC LIMIT 1"
        found = self.pick("record", where, identifier, kind, written(at))
        return rows.record_of(found[0]) if found else None

    def records(self, identifier: str, kind: str) -> tuple[Record, ...]:
        """Give all records of a kind, oldest first."""
        where = "WHERE gauge = ? AND kind = ? ORDER BY at, number"
        return tuple(rows.record_of(row) for row in self.pick("record", where, identifier, kind))

    def edge_sets(self, identifier: str, most: int) -> tuple[float, ...]:
        """Give the edge's set in the newest accepted photos of a gauge, newest first."""
        where = "WHERE gauge = ? AND edge_set_pitches NOTNULL ORDER BY number DESC LIMIT ?"
        return tuple(
            row["edge_set_pitches"] for row in self.pick("reading", where, identifier, most)
        )

    def count(self, table: str, identifier: str) -> int:
        """Count a gauge's rows in ``zero_check``, ``record`` or ``reading``."""
        if table not in ("zero_check", "record", "reading"):
            raise ValueError(f"table {table!r}: zero_check, record or reading")
        found = self.ask(f"SELECT count(*) FROM {table} WHERE gauge = ?", identifier)
        return int(found[0][0])

    def history(self, identifier: str | None = None, most: int = -1) -> tuple[Event, ...]:
        """Give the newest changes, of one gauge or of all, oldest first; all for `most` -1."""
        where = "" if identifier is None else "WHERE gauge = ?"
        given = () if identifier is None else (identifier,)
        found = self.ask(f"{_HISTORY} {where} ORDER BY number DESC LIMIT ?", *given, most)
        return tuple(rows.event_of(row) for row in found[::-1])

    @contextlib.contextmanager
    def taking_in(self, who: str, source: str) -> Iterator[Intake]:
        """Take rows of another book in: all of them, or on any failure none."""
        with self.change() as change:
            yield Intake(change)
            event: Row = {
                "recorded": written(datetime.now()),
                "who": who,
                "what": "import",
                "note": source,
            }
            insert(change, "history", event)


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
