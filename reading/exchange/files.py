"""A book as JSON (one object a line) or CSV (a file a table), and back."""

from __future__ import annotations

import contextlib
import csv
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from reading import rows
from reading.book import Book
from reading.book_file import SCHEMA_VERSION
from reading.problem import Problem
from reading.rows import TABLES, UNDERSTOOD, Column, Row, columns
from reading.saving import whole

FORMAT = "datumline book"  # names the format in the first line of JSON
HEADER_CSV = "book.csv"  # the file of a CSV folder that says the same
MOST_CELL_CHARACTERS = 10_000_000  # a record's body is far smaller


def export_json(book: Book, target: Path) -> int:
    """Write a book as one object a line; give the count of rows. No file is overwritten."""
    count = 0
    with _new_file(target) as out:
        out.write(json.dumps({"format": FORMAT, "version": SCHEMA_VERSION}) + "\n")
        for table in TABLES:
            for row in book.all_rows(table):
                out.write(json.dumps({"table": table, **row}, ensure_ascii=False) + "\n")
                count += 1
    return count


def export_csv(book: Book, folder: Path) -> int:
    """Write a book as a folder with a file a table; give the count of rows."""
    count = 0
    with _new_folder(folder) as part:
        with _new_file(part / HEADER_CSV) as out:
            csv.writer(out).writerows([("format", "version"), (FORMAT, SCHEMA_VERSION)])
        for table in TABLES:
            with _new_file(part / f"{table}.csv") as out:
                writer = csv.writer(out)
                writer.writerow(rows.names(table))
                for row in book.all_rows(table):
                    writer.writerow(["" if cell is None else cell for cell in row.values()])
                    count += 1
    return count


@contextlib.contextmanager
def _new_folder(target: Path) -> Iterator[Path]:
    """Make a new folder, which appears under its name only when it is complete."""
    if target.exists():
        raise Problem(f"{target}: is there already, name a new folder")
    part = target.with_name(target.name + ".part")
    try:
        part.mkdir(parents=True)
        yield part
        part.replace(target)
    except OSError as error:
        raise Problem(f"{target}: can't be made ({error.strerror})") from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


@contextlib.contextmanager
def _new_file(target: Path) -> Iterator[TextIO]:
    """Open a new text file, which appears under its name only when it is complete."""
    if target.exists():
        raise Problem(f"{target}: is there already, name a new file")
    with whole(target) as part, part.open("w", encoding="utf-8", newline="") as out:
        yield out


def import_from(book: Book, source: Path, who: str) -> dict[str, int]:
    """Take a JSON file or a CSV folder into a book; say how many rows of each table were new.

    All of it or nothing: a row that can't be understood is named with its place.
    """
    taken = _csv_rows(source) if source.is_dir() else _json_rows(source)
    with book.taking_in(who, source.name) as intake:
        for where, table, row in taken:
            try:
                UNDERSTOOD[table](row)
            except rows.NOT_UNDERSTOOD as error:
                raise Problem(f"{where}: {error}") from error
            try:
                intake.take(table, row)
            except KeyError as error:
                raise Problem(f"{where}: points at a row that is not there") from error
    return intake.entered


Placed = tuple[str, str, Row]  # where it stands, its table, the row


def _json_rows(source: Path) -> Iterator[Placed]:
    """Read one object a line, the first one the header."""
    version = SCHEMA_VERSION
    for number, line in enumerate(_lines(source), start=1):
        where = f"{source}, line {number}"
        try:
            found = json.loads(line)
        except ValueError as error:
            if number == 1:
                raise Problem(f"{source}: not a book that datumline exported") from error
            raise Problem(f"{where}: not JSON ({error})") from error
        if not isinstance(found, dict):
            raise Problem(f"{where}: not an object")
        if number == 1:
            version = _check_header(where, found.get("format"), found.get("version"))
            continue
        table = found.pop("table", None)
        if table not in TABLES:
            raise Problem(f"{where}: no table {table!r} in a book")
        yield where, table, _row(where, table, version, found)


def _csv_rows(folder: Path) -> Iterator[Placed]:
    """Read a file a table, in the order in which rows can be entered."""
    csv.field_size_limit(MOST_CELL_CHARACTERS)
    header = list(csv.reader(_lines(folder / HEADER_CSV)))
    if len(header) != 2 or len(header[1]) != 2 or not header[1][1].isdigit():
        raise Problem(f"{folder / HEADER_CSV}: not a book of datumline")
    version = _check_header(str(folder / HEADER_CSV), header[1][0], int(header[1][1]))
    for table in TABLES:
        source = folder / f"{table}.csv"
        reader, wanted = csv.reader(_lines(source)), columns(table, version)
        names = [column.name for column in wanted]
        if next(reader, []) != names:
            raise Problem(f"{source}: the columns must be {','.join(names)}")
        for cells in reader:
            where = f"{source}, line {reader.line_num}"
            if len(cells) != len(wanted):
                raise Problem(f"{where}: {len(cells)} cells, {len(wanted)} wanted")
            row = {
                column.name: _from_text(where, column, cell)
                for column, cell in zip(wanted, cells, strict=True)
            }
            yield where, table, dict.fromkeys(rows.names(table)) | row


def _lines(source: Path) -> Iterator[str]:
    """Read the lines of a file; Problem, naming it, if that can't be."""
    try:
        with source.open(encoding="utf-8", newline="") as lines:
            yield from lines
    except OSError as error:
        raise Problem(f"{source}: can't be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        raise Problem(f"{source}: not UTF-8 text") from error


def _check_header(where: str, name: object, version: object) -> int:
    """Give the version of a book; refuse what is no book, and a book from a newer version."""
    if name != FORMAT or not isinstance(version, int):
        raise Problem(f"{where}: not a book of datumline")
    if version > SCHEMA_VERSION:
        raise Problem(
            f"{where}: written by a newer datumline (book version {version}, this one knows "
            f"{SCHEMA_VERSION}): upgrade datumline"
        )
    return version


def _row(where: str, table: str, version: int, found: dict) -> Row:
    """Check that a row has exactly its columns, each of its kind; later columns stay empty."""
    wanted = columns(table, version)
    names = {column.name for column in wanted}
    if set(found) != names:
        odd = ", ".join(sorted(set(found) ^ names))
        raise Problem(f"{where}: columns missing or unknown: {odd}")
    for column in wanted:
        cell = found[column.name]
        fits = isinstance(cell, column.kind) or (column.kind is float and isinstance(cell, int))
        if isinstance(cell, bool) or not (fits or (cell is None and column.optional)):
            raise Problem(f"{where}: {column.name} can't be {cell!r}")
    return {name: found.get(name) for name in rows.names(table)}


def _from_text(where: str, column: Column, cell: str) -> rows.Cell:
    """Read a cell of CSV; empty means nothing where that is allowed."""
    if not cell and column.optional:
        return None
    try:
        return column.kind(cell)
    except ValueError as error:
        raise Problem(f"{where}: {column.name} can't be {cell!r}") from error
