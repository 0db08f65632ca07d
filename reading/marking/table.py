"""Tables as people make them, CSV or XLSX, as rows of cells: format, delimiter and end told."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from reading.marking.written import Cell
from reading.problem import Problem

DELIMITERS = ";,\t|"
MOST_BYTES = 50_000_000  # far beyond any class
MOST_ROWS = 100_000
XLSX_START = b"PK\x03\x04"  # an XLSX file is a ZIP (ECMA-376 part 2)

Row = tuple[Cell, ...]


def read_table(path: Path) -> list[Row]:
    """Read a table's rows, header first, empty rows left out.

    Raises
    ------
    Problem
        If it can't be read, has no rows, or is of another format.
    """
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise Problem(
                f"{path}: {size // 10**6} MB, at most {MOST_BYTES // 10**6} MB for a list"
            )
        data = path.read_bytes()
    except OSError as error:
        raise Problem(f"{path}: can't be read ({error.strerror})") from error
    rows = _xlsx(path, data) if data.startswith(XLSX_START) else _csv(path, data)
    rows = [row for row in rows if any(row)]
    if len(rows) < 2:
        raise Problem(f"{path}: a list needs a row of headings and a row for each observation")
    if len(rows) > MOST_ROWS:
        raise Problem(f"{path}: {len(rows)} rows, at most {MOST_ROWS} allowed")
    return rows


def _csv(path: Path, data: bytes) -> list[Row]:
    """Read CSV: UTF-8 or UTF-16 with a mark, else UTF-8, else Windows Western."""
    if b"\0" in data[:1000] and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Problem(f"{path}: neither CSV nor XLSX: save the list as one of them")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", "replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", "replace")
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter(text)))
    except csv.Error as error:
        raise Problem(f"{path}: not CSV ({error}): save the list anew as CSV or XLSX") from error
    return [tuple(Cell(cell.strip()) for cell in row) for row in rows]


def delimiter(text: str) -> str:
    """Tell the delimiter: the one that cuts the first lines into most, and equally many, cells.

    A comma inside numbers cuts the rows unevenly where another delimiter cuts them evenly.
    """
    lines = [line for line in text.splitlines() if line.strip()][:20]

    def evenness(mark: str) -> tuple[bool, int]:
        counts = [len(row) for row in csv.reader(lines, delimiter=mark)]
        return len(set(counts)) == 1 and counts[0] > 1, counts[0] if counts else 0

    return max(DELIMITERS, key=evenness)


def _xlsx(path: Path, data: bytes) -> list[Row]:
    """Read the first sheet of an XLSX file."""
    needed(path)
    from openpyxl import load_workbook

    try:
        sheet = load_workbook(io.BytesIO(data), read_only=True, data_only=True).worksheets[0]
        sheet.reset_dimensions()
        rows = []
        for number, row in enumerate(sheet.iter_rows()):
            if number > MOST_ROWS:
                raise Problem(f"{path}: more than {MOST_ROWS} rows")
            rows.append(tuple(_cell(cell) for cell in row))
    except Problem:
        raise
    except Exception as error:  # a damaged or hostile file may raise anything
        raise Problem(f"{path}: not a sound XLSX file: save it anew, or as CSV") from error
    return rows


def needed(path: Path) -> None:
    """Problem, naming the extra, if the library for XLSX is not there."""
    import importlib.util

    if importlib.util.find_spec("openpyxl") is None:
        raise Problem(
            f"{path}: XLSX needs one more package: pip install 'datumline[xlsx]' "
            "(or save it as CSV)"
        )


def _cell(cell: Any) -> Cell:
    """Write a spreadsheet's cell as it is shown; a bare number may have lost its end zeros."""
    value = cell.value
    if value is None:
        return Cell()
    if isinstance(value, bool) or not isinstance(value, int | float):
        return Cell(str(value).strip())
    shown = str(getattr(cell, "number_format", "General")).split(";")[0].replace("#", "")
    places = len(shown.partition(".")[2]) if set(shown) <= set("0.") else None
    if places is not None and shown:
        return Cell(f"{value:.{places}f}")
    return Cell(f"{value:.12g}", as_typed=False)


def write_csv(path: Path, header: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Write a CSV file, whole or not at all; cells that a spreadsheet would run are kept text."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(header)
    table.writerows([[_harmless(cell) for cell in row] for row in rows])
    save_whole(path, out.getvalue().encode("utf-8-sig"))


def _harmless(cell: object) -> object:
    """Keep text that begins like a formula from being run by a spreadsheet."""
    if isinstance(cell, str) and cell[:1] in ("=", "@", "\t", "\r"):
        return "'" + cell
    return cell


def write_xlsx(path: Path, header: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Write an XLSX file with one sheet, the header kept in view."""
    needed(path)
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter

    book = Workbook()
    sheet: Any = book.active
    sheet.title = "marks"
    sheet.freeze_panes = "A2"
    for row in (header, *rows):
        sheet.append([_harmless(cell) for cell in row])
    for place, name in enumerate(header, start=1):
        longest = max([len(name), *(len(str(row[place - 1] or "")) for row in rows[:200])])
        sheet.column_dimensions[get_column_letter(place)].width = min(50, longest + 2)
    out = io.BytesIO()
    book.save(out)
    save_whole(path, out.getvalue())


def save_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; Problem, naming it, if it can't be written."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        raise Problem(
            f"{path}: can't be written ({error.strerror}): close it, or choose --out"
        ) from (error)
