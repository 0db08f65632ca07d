"""The book's schema, one step a version. Steps are only ever added, never changed."""

from __future__ import annotations

# What each table tells the history of a new row: who, what, which gauge, which number, what note.
_TOLD = {
    "gauge": ("who", "'gauge'", "identifier", "NULL", "notes"),
    "zero_check": ("who", "'zero check'", "gauge", "number", "note"),
    "record": ("who", "kind", "gauge", "number", "note"),
    "reading": ("who", "'reading'", "gauge", "number", "source"),
}
_HISTORY = "INSERT INTO history (recorded, who, what, gauge, subject, note)"


def _tells_history(table: str) -> str:
    """Make the trigger that no program can get round: a new row is in the history."""
    columns = [
        column if column == "NULL" or column.startswith("'") else f"NEW.{column}"
        for column in _TOLD[table]
    ]
    return (
        f"CREATE TRIGGER {table}_told AFTER INSERT ON {table} "
        f"BEGIN {_HISTORY} VALUES (NEW.recorded, {', '.join(columns)}); END"
    )


def _history_of_what_is_there() -> tuple[str, ...]:
    """Tell the history what a book of the first version holds."""
    return tuple(
        f"{_HISTORY} SELECT recorded, {', '.join(_TOLD[table])} FROM {table} ORDER BY recorded"
        for table in ("gauge", "zero_check")
    )


def _kept(*tables: str) -> tuple[str, ...]:
    """Make the triggers that keep rows as they are."""
    return tuple(
        f"CREATE TRIGGER {table}_{change.lower()}_refused BEFORE {change} ON {table} "
        f"BEGIN SELECT RAISE (ABORT, 'a row of {table} is never changed or deleted'); END"
        for table in tables
        for change in ("UPDATE", "DELETE")
    )


# Decimals are kept as text: SQLite's numbers are binary. Times are local, YYYY-MM-DDTHH:MM:SS.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """
        CREATE TABLE gauge (
            identifier TEXT PRIMARY KEY,
            pitch TEXT NOT NULL,
            divisions INTEGER NOT NULL,
            unit TEXT NOT NULL CHECK (unit IN ('mm', 'in')),
            range_start TEXT NOT NULL,
            range_end TEXT,
            vernier INTEGER,
            reversed INTEGER NOT NULL CHECK (reversed IN (0, 1)),
            notes TEXT NOT NULL,
            recorded TEXT NOT NULL
        )
        """,
        """
        CREATE TABLE zero_check (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            gauge TEXT NOT NULL REFERENCES gauge (identifier),
            at TEXT NOT NULL,
            zero_error TEXT NOT NULL,
            u REAL NOT NULL CHECK (u > 0),
            source TEXT NOT NULL CHECK (source IN ('typed', 'photos')),
            spread REAL,
            rod TEXT,
            who TEXT NOT NULL,
            note TEXT NOT NULL,
            recorded TEXT NOT NULL
        )
        """,
        """
        CREATE TABLE zero_photo (
            zero_check INTEGER NOT NULL REFERENCES zero_check (number),
            place INTEGER NOT NULL,
            name TEXT NOT NULL,
            sha256 TEXT NOT NULL,
            zero_error TEXT NOT NULL,
            PRIMARY KEY (zero_check, place)
        )
        """,
        "CREATE INDEX zero_check_in_force ON zero_check (gauge, at)",
        # Zero checks are history: never overwritten, never taken out.
        """
        CREATE TRIGGER zero_check_kept BEFORE UPDATE ON zero_check
        BEGIN SELECT RAISE (ABORT, 'a zero check is never overwritten'); END
        """,
        """
        CREATE TRIGGER zero_check_not_deleted BEFORE DELETE ON zero_check
        BEGIN SELECT RAISE (ABORT, 'a zero check is never deleted'); END
        """,
    ),
    (
        "ALTER TABLE gauge ADD COLUMN who TEXT NOT NULL DEFAULT ''",
        # What is known of a gauge beside its scale and zero: dated, never overwritten. `body` is
        # JSON with decimals as text; what is in it depends on the kind.
        """
        CREATE TABLE record (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            gauge TEXT NOT NULL REFERENCES gauge (identifier),
            kind TEXT NOT NULL
                CHECK (kind IN ('facts', 'pitch', 'backlash', 'calibration', 'measurement')),
            at TEXT NOT NULL,
            body TEXT NOT NULL CHECK (json_valid (body)),
            who TEXT NOT NULL,
            note TEXT NOT NULL,
            recorded TEXT NOT NULL
        )
        """,
        "CREATE INDEX record_in_force ON record (gauge, kind, at)",
        # Readings that a person accepted, from photos (with a content hash) or typed (without).
        """
        CREATE TABLE reading (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            gauge TEXT NOT NULL REFERENCES gauge (identifier),
            at TEXT NOT NULL,
            source TEXT NOT NULL,
            sha256 TEXT,
            shown TEXT NOT NULL,
            u REAL NOT NULL,
            confidence REAL,
            edge_set_pitches REAL,
            zero_check INTEGER REFERENCES zero_check (number),
            record INTEGER REFERENCES record (number),
            who TEXT NOT NULL,
            recorded TEXT NOT NULL
        )
        """,
        "CREATE INDEX reading_of_gauge ON reading (gauge, at)",
        "CREATE INDEX reading_of_record ON reading (record) WHERE record IS NOT NULL",
        # One photo teaches the edge's set once, however often it is read.
        """
        CREATE UNIQUE INDEX reading_edge_set ON reading (gauge, sha256)
        WHERE edge_set_pitches IS NOT NULL
        """,
        """
        CREATE INDEX reading_edge_newest ON reading (gauge, number)
        WHERE edge_set_pitches IS NOT NULL
        """,
        """
        CREATE TABLE history (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            recorded TEXT NOT NULL,
            who TEXT NOT NULL,
            what TEXT NOT NULL,
            gauge TEXT,
            subject INTEGER,
            note TEXT NOT NULL
        )
        """,
        "CREATE INDEX history_of_gauge ON history (gauge, number)",
        *_history_of_what_is_there(),
        *(_tells_history(table) for table in ("gauge", "zero_check", "record", "reading")),
        *_kept("zero_photo", "record", "reading", "history"),
        """
        CREATE TRIGGER gauge_not_deleted BEFORE DELETE ON gauge
        BEGIN SELECT RAISE (ABORT, 'a gauge is never deleted'); END
        """,
    ),
    # Which calibration's curve was taken off a reading, beside its zero check.
    ("ALTER TABLE reading ADD COLUMN calibration INTEGER REFERENCES record (number)",),
)
