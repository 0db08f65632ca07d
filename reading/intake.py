"""Rows of another book on their way into this one: each once, in their order."""

from __future__ import annotations

import sqlite3

from reading import rows
from reading.book_file import BookError, insert
from reading.rows import Row

# Which table a column's number is of.
_POINTS = {"zero_check": "zero_check", "record": "record", "calibration": "record"}


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
        for name, table_of in _POINTS.items():
            if own.get(name) is not None:
                own[name] = self._numbers[table_of, int(own[name] or 0)]
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
            return insert_reading(self._change, row)
        return insert(self._change, table, row)


def insert_reading(change: sqlite3.Connection, row: Row) -> int:
    """Insert a reading; one photo gives the edge's set of a gauge once."""
    known = change.execute(
        "SELECT 1 FROM reading WHERE gauge = ? AND sha256 = ? AND edge_set_pitches NOTNULL",
        (row["gauge"], row["sha256"]),
    ).fetchone()
    return insert(change, "reading", {**row, "edge_set_pitches": None} if known else row)
