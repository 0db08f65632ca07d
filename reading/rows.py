"""The book's tables as columns, and how a row and a value turn into each other. No SQL."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Protocol

from reading.gauge import Gauge, ZeroCheck, ZeroPhoto
from reading.problem import Problem
from reading.record import Event, KeptReading, Record
from vision.scale import Scale

Cell = str | int | float | None
Row = dict[str, Cell]


class ReadRow(Protocol):
    """A row as it is read: cells by column name."""

    def __getitem__(self, name: str, /) -> Any:
        """Give a cell."""

    def keys(self) -> Iterable[str]:
        """Give the columns' names."""


@dataclass(frozen=True)
class Column:
    """A column: its name, what it holds, whether it may be empty, and since which book version.

    One that came later stands last in its table, and is optional.
    """

    name: str
    kind: type[str] | type[int] | type[float] = str
    optional: bool = False
    since: int = 1


_NUMBER, _GAUGE, _AT = Column("number", int), Column("gauge"), Column("at")
_WHO, _NOTE, _RECORDED = Column("who"), Column("note"), Column("recorded")

# Every table in the order in which rows can be entered: what is pointed at comes first.
TABLES: dict[str, tuple[Column, ...]] = {
    "gauge": (
        Column("identifier"),
        Column("pitch"),
        Column("divisions", int),
        Column("unit"),
        Column("range_start"),
        Column("range_end", optional=True),
        Column("vernier", int, optional=True),
        Column("reversed", int),
        Column("notes"),
        _RECORDED,
        _WHO,
    ),
    "zero_check": (
        _NUMBER,
        _GAUGE,
        _AT,
        Column("zero_error"),
        Column("u", float),
        Column("source"),
        Column("spread", float, optional=True),
        Column("rod", optional=True),
        _WHO,
        _NOTE,
        _RECORDED,
    ),
    "zero_photo": (
        Column("zero_check", int),
        Column("place", int),
        Column("name"),
        Column("sha256"),
        Column("zero_error"),
    ),
    "record": (_NUMBER, _GAUGE, Column("kind"), _AT, Column("body"), _WHO, _NOTE, _RECORDED),
    "reading": (
        _NUMBER,
        _GAUGE,
        _AT,
        Column("source"),
        Column("sha256", optional=True),
        Column("shown"),
        Column("u", float),
        Column("confidence", float, optional=True),
        Column("edge_set_pitches", float, optional=True),
        Column("zero_check", int, optional=True),
        Column("record", int, optional=True),
        _WHO,
        _RECORDED,
        Column("calibration", int, optional=True, since=3),
    ),
    "history": (
        _NUMBER,
        _RECORDED,
        _WHO,
        Column("what"),
        Column("gauge", optional=True),
        Column("subject", int, optional=True),
        _NOTE,
    ),
}


def names(table: str) -> tuple[str, ...]:
    """Give the names of a table's columns."""
    return tuple(column.name for column in TABLES[table])


def columns(table: str, version: int) -> tuple[Column, ...]:
    """Give the columns that a table has had since a version of the book."""
    return tuple(column for column in TABLES[table] if column.since <= version)


def written(moment: datetime) -> str:
    """Write a time so that its text sorts as time does."""
    return moment.isoformat(timespec="microseconds")


def gauge_row(gauge: Gauge, who: str, now: datetime) -> Row:
    """Make the row of a gauge."""
    scale = gauge.scale
    return {
        "identifier": gauge.identifier,
        "pitch": str(scale.pitch),
        "divisions": scale.divisions,
        "unit": scale.unit,
        "range_start": str(scale.start),
        "range_end": None if gauge.end is None else str(gauge.end),
        "vernier": scale.vernier,
        "reversed": int(scale.reversed),
        "notes": gauge.notes,
        "recorded": written(now),
        "who": who,
    }


def zero_row(check: ZeroCheck, now: datetime) -> Row:
    """Make the row of a zero check, without its number."""
    return {
        "gauge": check.gauge,
        "at": written(check.at),
        "zero_error": str(check.zero_error),
        "u": check.u,
        "source": check.source,
        "spread": check.spread,
        "rod": None if check.rod is None else str(check.rod),
        "who": check.who,
        "note": check.note,
        "recorded": written(now),
    }


def photo_row(number: int, place: int, photo: ZeroPhoto) -> Row:
    """Make the row of a photo behind a zero check."""
    return {
        "zero_check": number,
        "place": place,
        "name": photo.name,
        "sha256": photo.sha256,
        "zero_error": str(photo.zero_error),
    }


def record_row(record: Record, now: datetime) -> Row:
    """Make the row of a record, without its number."""
    return {
        "gauge": record.gauge,
        "kind": record.kind,
        "at": written(record.at),
        "body": json.dumps(record.body, ensure_ascii=False, allow_nan=False),
        "who": record.who,
        "note": record.note,
        "recorded": written(now),
    }


def reading_row(reading: KeptReading, record: int | None, now: datetime) -> Row:
    """Make the row of a reading, without its number."""
    return {
        "gauge": reading.gauge,
        "at": written(reading.at),
        "source": reading.source,
        "sha256": reading.sha256,
        "shown": str(reading.shown),
        "u": reading.u,
        "confidence": reading.confidence,
        "edge_set_pitches": reading.edge_set_pitches,
        "zero_check": reading.zero_check,
        "record": record,
        "who": reading.who,
        "recorded": written(now),
        "calibration": reading.calibration,
    }


def gauge_of(row: ReadRow) -> Gauge:
    """Make a gauge of its row."""
    scale = Scale(
        Decimal(row["pitch"]),
        row["divisions"],
        row["unit"],
        Decimal(row["range_start"]),
        row["vernier"],
        bool(row["reversed"]),
    )
    end = row["range_end"]
    return Gauge(row["identifier"], scale, None if end is None else Decimal(end), row["notes"])


def zero_of(row: ReadRow, photos: tuple[ZeroPhoto, ...] = ()) -> ZeroCheck:
    """Make a zero check of its row and its photos."""
    return ZeroCheck(
        row["gauge"],
        datetime.fromisoformat(row["at"]),
        Decimal(row["zero_error"]),
        row["u"],
        source=row["source"],
        photos=photos,
        spread=row["spread"],
        rod=None if row["rod"] is None else Decimal(row["rod"]),
        who=row["who"],
        note=row["note"],
        number=row["number"],
    )


def photo_of(row: ReadRow) -> ZeroPhoto:
    """Make a photo behind a zero check of its row."""
    return ZeroPhoto(row["name"], row["sha256"], Decimal(row["zero_error"]))


def record_of(row: ReadRow) -> Record:
    """Make a record of its row."""
    return Record(
        row["gauge"],
        row["kind"],
        datetime.fromisoformat(row["at"]),
        json.loads(row["body"]),
        row["who"],
        row["note"],
        row["number"],
    )


def reading_of(row: ReadRow) -> KeptReading:
    """Make a reading of its row."""
    return KeptReading(
        row["gauge"],
        datetime.fromisoformat(row["at"]),
        row["source"],
        Decimal(row["shown"]),
        row["u"],
        row["sha256"],
        row["confidence"],
        row["edge_set_pitches"],
        row["zero_check"],
        row["who"],
        row["calibration"],
    )


def event_of(row: ReadRow) -> Event:
    """Make a line of the history of its row, `photos` beside the columns where they are known."""
    photos = tuple(json.loads(row["photos"])) if "photos" in row.keys() else ()  # noqa: SIM118
    return Event(
        row["number"],
        row["recorded"],
        row["who"],
        row["what"],
        row["gauge"],
        row["subject"],
        row["note"],
        photos,
    )


# How a row of each table is understood. What can't be raises one of `NOT_UNDERSTOOD`.
NOT_UNDERSTOOD = (Problem, ValueError, ArithmeticError, TypeError, KeyError)
UNDERSTOOD: dict[str, Callable[[ReadRow], object]] = {
    "gauge": gauge_of,
    "zero_check": zero_of,
    "zero_photo": photo_of,
    "record": record_of,
    "reading": reading_of,
    "history": event_of,
}
