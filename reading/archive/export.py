"""Results for other programs: CSV, XLSX or Parquet, with the decisions beside what was read."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import Any

from reading import tables
from reading.archive.columns import BYTES, COLUMNS, INTEGER, LIST, REAL, Column, Row, decided_mm
from reading.archive.store import Store
from reading.problem import Problem
from reading.saving import whole

# What people decided: the columns after those of the reading.
DECISION_COLUMNS = (
    Column("decision", "TEXT"),
    Column("decided_shown_mm", REAL),
    Column("decided_corrected_mm", REAL),
    Column("decided_by", "TEXT"),
    Column("decided_at", "TEXT"),
    Column("decision_note", "TEXT"),
)
EXPORTED = tuple(one for one in COLUMNS if one.kind != BYTES) + DECISION_COLUMNS
HEADER = [column.name for column in EXPORTED]
STORES = (".sqlite", ".db")  # endings of the working file itself
BATCH = 10_000  # rows held in memory


def export(store: Store, target: Path) -> int:
    """Write all rows that hold, by photo, into a file of the kind that its name says.

    Raises
    ------
    Problem
        If the ending is not known, a package is missing, or it can't be written.
    """
    write = _writer(target)
    return write(target, exported(store))


def check_ending(target: Path) -> None:
    """Problem if a file of this name can't be written, told before hours of reading."""
    if target.suffix.lower() not in STORES:
        _writer(target)
    if not target.absolute().parent.is_dir():
        raise Problem(f"{target}: there is no folder {target.parent}")


def store_of(results: Path) -> Path:
    """Say which file is worked in: the results themselves, or one beside them."""
    if results.suffix.lower() in STORES:
        return results
    return results.with_name(results.name + STORES[0])


def exported(store: Store) -> Iterator[Row]:
    """Give the rows to export, as they are kept, with the decision that holds."""
    for row in store.current():
        row |= {"decision": row["verdict"], "decided_by": row["who"], "decided_at": row["at"]}
        shown, corrected = decided_mm(row) or (None, None)
        row |= {"decided_shown_mm": shown, "decided_corrected_mm": corrected}
        row["decision_note"] = row["note"]
        yield {column.name: row[column.name] for column in EXPORTED}


def _writer(target: Path) -> Callable[[Path, Iterable[Row]], int]:
    """Find what writes a file of this ending; Problem if nothing can."""
    match target.suffix.lower():
        case ".csv":
            return _write_csv
        case ".xlsx":
            tables.needed(target, "xlsx")
            return _write_xlsx
        case ".parquet":
            tables.needed(target, "parquet")
            return _write_parquet
    raise Problem(f"{target}: name it .sqlite, .db, .parquet, .csv or .xlsx")


def _write_csv(target: Path, rows: Iterable[Row]) -> int:
    """Write CSV for other programs: every text exactly as it is kept."""
    count = 0
    with whole(target) as part, part.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(HEADER)
        for row in rows:
            table.writerow(_cells(row))
            count += 1
    return count


def _write_xlsx(target: Path, rows: Iterable[Row]) -> int:
    return tables.write_xlsx(target, "readings", HEADER, map(_cells, rows))


def _write_parquet(target: Path, rows: Iterable[Row]) -> int:
    import pyarrow
    import pyarrow.parquet

    types = {INTEGER: pyarrow.int64(), REAL: pyarrow.float64()}
    schema = pyarrow.schema(
        [(column.name, types.get(column.kind, pyarrow.string())) for column in EXPORTED]
    )
    count, left = 0, iter(rows)
    open_file = pyarrow.parquet.ParquetWriter
    with whole(target) as part, open_file(part, schema, compression="zstd") as writer:
        while batch := list(islice(left, BATCH)):
            writer.write_table(pyarrow.Table.from_pylist(batch, schema))
            count += len(batch)
    return count


def _cells(row: Row) -> list[Any]:
    return [_words(row[column.name], column) for column in EXPORTED]


def _words(value: Any, column: Column) -> Any:
    """Write a list, which is kept as JSON, as a person reads it in a cell."""
    if column.kind != LIST or value is None:
        return value
    return " | ".join(": ".join(str(v) for v in one.values()) for one in json.loads(value))
