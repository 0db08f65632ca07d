"""What of an archive a person should look at: its rows, in words, and its pictures."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path

from reading.archive import seen
from reading.archive.codes import FileFault, message
from reading.archive.columns import READ, Row
from reading.archive.reader import fetched
from reading.archive.store import Store, source_of
from reading.formats import FEWEST_SHOWN
from reading.length import plain, trimmed
from reading.problem import Problem
from vision.scale import MM_PER_IN

OPEN = "reading.eyes NOT NULL AND decision.number IS NULL"  # what nobody has decided on yet
INCH_PLACES, PROBABILITY_PLACES = 5, 2


def needing_eyes(store: Store, *, decided: bool = False, most: int = -1) -> Iterator[Row]:
    """Give the rows that a person should look at, by photo; also those decided on, if wanted."""
    return store.current("reading.eyes NOT NULL" if decided else OPEN, most=most)


def alternatives(row: Row) -> list[tuple[Decimal, float]]:
    """Give what a photo may show, likeliest first: lengths in its unit, and probabilities."""
    return [
        (in_unit(one["shown_mm"], row), float(one["probability"]))
        for one in json.loads(str(row["alternatives"] or "[]"), parse_float=Decimal)
        if one["probability"] >= FEWEST_SHOWN
    ]


def in_unit(shown_mm: object, row: Row) -> Decimal:
    """Give a length in the unit that the photo's scale is engraved in."""
    length = Decimal(str(shown_mm))
    if row["unit"] != "in":
        return length
    return Decimal(trimmed(round(length / MM_PER_IN, INCH_PLACES)))


def unit_of(row: Row) -> str:
    """Give the unit of a photo's scale, mm where it is not known."""
    return str(row["unit"] or "mm")


def what_was_read(row: Row) -> str:
    """Say in one line what a photo was read as."""
    if row["status"] != READ:
        return f"refused [{row['codes']!s}]"
    text = f"{plain(in_unit(row['shown_mm'], row))} {unit_of(row)} shown"
    return f"{text}, confidence {float(row['confidence'] or 0):.2f}"


def reasons(row: Row) -> list[str]:
    """Say why a photo needs eyes: its reasons, or its warnings where it was read."""
    column = "warnings" if row["status"] == READ else "reasons"
    return [str(one["message"]) for one in json.loads(str(row[column] or "[]"))]


def choices(row: Row) -> list[str]:
    """Write what a photo may show, each with its probability."""
    unit = unit_of(row)
    return [
        f"{plain(length)} {unit} ({probability:.{PROBABILITY_PLACES}f})"
        for length, probability in alternatives(row)
    ]


def caption(row: Row) -> tuple[str, ...]:
    """Give the lines to print on a picture with what was seen."""
    may_show = f"it may show {', '.join(choices(row))}" if choices(row) else ""
    lines = [what_was_read(row)] if row["status"] == READ else []
    return (*lines, *([may_show] if may_show else []))


def overlay(row: Row, widest_px: int | None = None) -> bytes:
    """Draw what was seen on a row's photo, as JPEG; Problem if the photo can't be had any more."""
    from reading.overlays import overlay_jpeg

    if not isinstance(row["seen"], bytes):
        raise Problem(f"{row['photo']!s}: it could not be opened as a picture")
    with _photo(row) as (path, sha256):
        _check_content(row, sha256)
        return overlay_jpeg(path, seen.unpack(row["seen"]), caption(row), widest_px)


def blind(row: Row, widest_px: int) -> bytes:
    """Give a row's photo as JPEG without anything that was read in it, and without its Exif."""
    from reading.overlays import to_jpeg
    from vision.photo import load

    with _photo(row) as (path, sha256):
        _check_content(row, sha256)
        return to_jpeg(load(path).grey, widest_px)


@contextmanager
def _photo(row: Row) -> Iterator[tuple[Path, str]]:
    """Give a file with a row's photo, and its SHA-256; Problem if it can't be had any more."""
    from vision.photo import PhotoError

    source = source_of(row)
    if source is None:
        raise Problem(f"{row['photo']!s}: there is no file to open")
    try:
        with fetched(source) as photo:
            yield photo
    except FileFault as fault:
        raise Problem(f"{row['photo']!s}: {message(fault.code, fault.detail)}") from fault
    except PhotoError as error:
        raise Problem(str(error)) from error


def _check_content(row: Row, sha256: str) -> None:
    if sha256 != row["sha256"]:
        raise Problem(f"{row['photo']!s}: changed since it was read, run archive again")
