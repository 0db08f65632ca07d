"""The tables of a results file, step by step, as SQL; `store.py` fills them."""

from __future__ import annotations

from reading.archive.columns import BYTES, COLUMNS, INTEGER, LIST, REAL, TEXT

_TYPES = {TEXT: "TEXT", INTEGER: "INTEGER", REAL: "REAL", LIST: "TEXT", BYTES: "BLOB"}
_COLUMNS = ",\n".join(f"    {column.name} {_TYPES[column.kind]}" for column in COLUMNS)

_FIRST = (
    # One row for each time that the archive was gone through; `finished` is null until it was.
    """CREATE TABLE run (
    number INTEGER PRIMARY KEY,
    root TEXT NOT NULL,
    program TEXT NOT NULL,
    weights TEXT NOT NULL,
    libraries TEXT NOT NULL,
    asked TEXT NOT NULL,
    started TEXT NOT NULL,
    finished TEXT
)""",
    # Everything ever read, never changed: a photo has one reading a run, if it had to be read.
    f"""CREATE TABLE reading (
    number INTEGER PRIMARY KEY,
    run INTEGER NOT NULL REFERENCES run (number),
{_COLUMNS},
    UNIQUE (photo, run)
)""",
    # Every photo once, with the reading that holds now, and the run that saw it last.
    """CREATE TABLE photo (
    photo TEXT PRIMARY KEY,
    reading INTEGER NOT NULL REFERENCES reading (number),
    run INTEGER NOT NULL REFERENCES run (number),
    size_bytes INTEGER,
    stamp INTEGER,
    path TEXT,
    member INTEGER,
    remote INTEGER NOT NULL DEFAULT 0
) WITHOUT ROWID""",
    "CREATE INDEX photo_by_reading ON photo (reading)",
    "CREATE INDEX reading_for_eyes ON reading (eyes) WHERE eyes NOT NULL",
    # What people decided, kept apart from what was read; an undo is a row of its own.
    """CREATE TABLE decision (
    number INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    who TEXT NOT NULL,
    photo TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    reading INTEGER NOT NULL REFERENCES reading (number),
    verdict TEXT NOT NULL CHECK (verdict IN ('accept', 'correct', 'reject', 'undo')),
    shown TEXT,
    unit TEXT,
    note TEXT NOT NULL,
    undoes INTEGER UNIQUE REFERENCES decision (number),
    CHECK ((verdict = 'undo') = (undoes NOT NULL))
)""",
    "CREATE INDEX decision_by_photo ON decision (photo)",
    # The decisions that hold: the newest of each photo's content that was not undone.
    """CREATE VIEW decided AS
SELECT photo, sha256, max(number) AS number FROM decision
WHERE verdict != 'undo' AND number NOT IN (SELECT undoes FROM decision WHERE undoes NOT NULL)
GROUP BY photo, sha256""",
    # Samples for audit, and what a person read in them without seeing our reading.
    """CREATE TABLE audit (
    number INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    who TEXT NOT NULL,
    seed INTEGER NOT NULL,
    strata TEXT NOT NULL,
    population INTEGER NOT NULL
)""",
    """CREATE TABLE audit_photo (
    audit INTEGER NOT NULL REFERENCES audit (number),
    place INTEGER NOT NULL,
    reading INTEGER NOT NULL REFERENCES reading (number),
    stratum TEXT NOT NULL,
    PRIMARY KEY (audit, place)
) WITHOUT ROWID""",
    """CREATE TABLE audit_answer (
    number INTEGER PRIMARY KEY,
    audit INTEGER NOT NULL,
    place INTEGER NOT NULL,
    at TEXT NOT NULL,
    who TEXT NOT NULL,
    answer TEXT NOT NULL,
    FOREIGN KEY (audit, place) REFERENCES audit_photo (audit, place)
)""",
)

# A file that was moved is known by its content: its reading, and what was decided on it, hold.
_BY_CONTENT = (
    "CREATE INDEX reading_by_content ON reading (sha256)",
    "CREATE INDEX reading_by_size ON reading (size_bytes)",
    # The run in which a name was first met; before that was kept, no run.
    "ALTER TABLE photo ADD COLUMN since INTEGER NOT NULL DEFAULT 0",
    # What a run found to be moved: a photo, and the last reading under its former name.
    """CREATE TABLE move (
    run INTEGER NOT NULL REFERENCES run (number),
    photo TEXT NOT NULL,
    reading INTEGER NOT NULL REFERENCES reading (number),
    PRIMARY KEY (run, photo)
) WITHOUT ROWID""",
    "DROP VIEW decided",
    # By content; of files that could not be read, by name.
    """CREATE VIEW decided AS
SELECT CASE sha256 WHEN '' THEN photo END AS named, sha256, max(number) AS number FROM decision
WHERE verdict != 'undo' AND number NOT IN (SELECT undoes FROM decision WHERE undoes NOT NULL)
GROUP BY 1, 2""",
)
STEPS = (_FIRST, _BY_CONTENT)  # steps are only ever added, never changed
