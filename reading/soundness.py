"""Is a book sound? What SQLite finds, what the history must tell, and every row's meaning."""

from __future__ import annotations

from reading import rows
from reading.book_file import BookFile

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


def faults(book: BookFile) -> list[str]:
    """Look for damage: the file, what points where, the history, and every row's meaning."""
    found = [str(row[0]) for row in book.ask("PRAGMA integrity_check") if row[0] != "ok"]
    for row in book.ask("PRAGMA foreign_key_check"):
        found.append(f"{row[0]}, row {row[1]}: what it points at in {row[2]} is not there")
    for table, what in _UNTOLD.items():
        missing = book.ask(what)[0][0]
        if missing:
            found.append(f"{table}: {missing} rows are not in the history")
    for table, understand in rows.UNDERSTOOD.items():
        for entered in book.all_rows(table):
            try:
                understand(entered)
            except rows.NOT_UNDERSTOOD as error:
                found.append(f"{table}, {next(iter(entered.values()))}: {error}")
    return found
