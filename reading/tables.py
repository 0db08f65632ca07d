"""Tables: CSV and XLSX as people make them, read into cells; and written whole or not at all."""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reading import saving
from reading.problem import Problem

DELIMITERS = ";,\t|"
MOST_BYTES = 50_000_000  # of a list: far beyond any class
MOST_ROWS = 100_000
MOST_XLSX_ROWS = 1_048_575  # below the header: what the format holds (ECMA-376, and its programs)
XLSX_START = b"PK\x03\x04"  # an XLSX file is a ZIP (ECMA-376 part 2)
WIDEST_LETTERS = 50  # of a column
_RUN_BY_SPREADSHEETS = ("=", "@", "\t", "\r")  # what text must not begin with in CSV


@dataclass(frozen=True)
class Cell:
    """One cell of a list. `as_typed` is False where a spreadsheet may have dropped end zeros."""

    text: str = ""
    as_typed: bool = True

    def __bool__(self) -> bool:
        return bool(self.text.strip())


EMPTY = Cell()
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
    return [tuple(Cell(_as_meant(cell.strip())) for cell in row) for row in rows]


def csv_lines(path: Path) -> list[list[str]]:
    """Read CSV in UTF-8 exactly as it stands, line by line, the headings first.

    Raises
    ------
    Problem
        If it can't be read.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter(text)))
    except OSError as error:
        words = error.strerror
    except UnicodeDecodeError:
        words = "not UTF-8"
    except csv.Error:
        words = "not CSV"
    raise Problem(f"{path}: can't be read ({words}), save it as CSV in UTF-8")


def csv_records(path: Path) -> Iterator[tuple[int, dict[str, str]]]:
    """Give each line of CSV in UTF-8 by its headings, with its number; empty ones left out."""
    header, *lines = csv_lines(path) or [[]]
    for number, line in enumerate(lines, start=2):
        if any(line):
            yield number, dict.fromkeys(header, "") | dict(zip(header, line, strict=False))


def delimiter(text: str) -> str:
    """Tell the delimiter: the one that cuts the first lines into most, and equally many, cells.

    A comma inside numbers cuts the rows unevenly where another delimiter cuts them evenly.
    """
    lines = list(itertools.islice((line for line in io.StringIO(text) if line.strip()), 20))

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


def needed(path: Path, kind: str = "xlsx") -> None:
    """Problem, naming the extra, if the library for XLSX or Parquet is not there."""
    import importlib.util

    if importlib.util.find_spec({"xlsx": "openpyxl", "parquet": "pyarrow"}[kind]) is None:
        raise Problem(
            f"{path}: {kind.upper()} needs one more package: pip install 'datumline[{kind}]' "
            "(or use CSV)"
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


def write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write CSV that spreadsheets open as it is meant; text they would run is marked as text."""
    with saving.whole(path) as part, part.open("w", newline="", encoding="utf-8-sig") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(header)
        table.writerows([_harmless(cell) for cell in row] for row in rows)


def _harmless(cell: object) -> object:
    """Keep text that begins like a formula from being run by a spreadsheet."""
    if isinstance(cell, str) and cell.startswith(_RUN_BY_SPREADSHEETS):
        return "'" + cell
    return cell


def _as_meant(text: str) -> str:
    """Take off what `_harmless` put before a text."""
    return text[1:] if text[:1] == "'" and text[1:].startswith(_RUN_BY_SPREADSHEETS) else text


def write_xlsx(
    path: Path, title: str, header: Sequence[str], rows: Iterable[Sequence[object]]
) -> int:
    """Write an XLSX file with one sheet, the header and the first column kept in view.

    Rows are taken one by one, and text is never a formula. The count of rows comes back.

    Raises
    ------
    Problem
        If the library is missing, there are more rows than the format holds, or the file can't be
        written.
    """
    needed(path)
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter

    book = Workbook(write_only=True)
    sheet: Any = book.create_sheet(title)
    sheet.freeze_panes = "B2"
    left, count = iter(rows), 0
    first = list(itertools.islice(left, 200))
    for place, name in enumerate(header):
        longest = max(len(name), *(len(str(row[place] or "")) for row in first), 0)
        width = min(WIDEST_LETTERS, longest + 2)
        sheet.column_dimensions[get_column_letter(place + 1)].width = width
    sheet.append(header)
    for row in itertools.chain(first, left):
        if count == MOST_XLSX_ROWS:
            sheet.close()
            raise Problem(f"{path}: more rows than XLSX holds ({MOST_XLSX_ROWS}), use another kind")
        sheet.append([_written(sheet, cell) for cell in row])
        count += 1
    with saving.whole(path) as part:
        book.save(part)
    return count


def _written(sheet: Any, value: object) -> Any:
    """Make a cell, text as text whatever it begins with."""
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet, value)
    if isinstance(value, str):
        cell.data_type = "s"
    return cell
