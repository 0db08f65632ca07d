"""The book's schema, one step a version. Steps are only ever added, never changed."""

from __future__ import annotations

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
)
