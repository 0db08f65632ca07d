"""A book of the first version is brought up to date, with its history told."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from decimal import Decimal

import pytest

from reading.book import Book
from reading.book_file import SCHEMA_VERSION, BookFile
from reading.gauge import ZeroPhoto
from reading.migrations import MIGRATIONS
from reading.record import FACTS, KINDS, KeptReading, Record
from reading.soundness import faults

NOON = datetime(2026, 11, 25, 12, 0)


@pytest.fixture
def first(tmp_path):
    """A book as the first version made it, with a gauge, two zero checks and a photo."""
    path = tmp_path / "book.sqlite"
    plain = sqlite3.connect(path)
    for statement in MIGRATIONS[0]:
        plain.execute(statement)
    plain.execute("PRAGMA user_version = 1")
    plain.execute(f"PRAGMA application_id = {BookFile.application_id}")
    plain.execute(
        "INSERT INTO gauge VALUES ('G1', '0.5', 50, 'mm', '0', '25', NULL, 0, 'blue', '2026-01-01')"
    )
    for number, error in ((1, "0.02"), (2, "0.03")):
        plain.execute(
            "INSERT INTO zero_check"
            " VALUES (?, 'G1', ?, ?, 0.003, 'typed', NULL, NULL, 'me', '', ?)",
            (number, f"2026-0{number}-01T00:00:00.000000", error, f"2026-0{number}-02"),
        )
    plain.execute("INSERT INTO zero_photo VALUES (2, 0, 'a.jpg', 'aa', '0.03')")
    plain.commit()
    plain.close()
    return path


def test_what_was_there_is_there_and_in_the_history(first):
    with Book(first) as book:
        assert [check.zero_error for check in book.zero_checks("G1")] == [
            Decimal("0.02"),
            Decimal("0.03"),
        ]
        assert book.zero_checks("G1")[1].photos == (ZeroPhoto("a.jpg", "aa", Decimal("0.03")),)
        assert [(one.what, one.recorded, one.who, one.photos) for one in book.history()] == [
            ("gauge", "2026-01-01", "", ()),
            ("zero check", "2026-01-02", "me", ()),
            ("zero check", "2026-02-02", "me", ("aa",)),
        ]
        assert faults(book) == []
    plain = sqlite3.connect(first)
    assert plain.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    plain.close()


def test_readings_of_the_second_version_are_kept(first):
    plain = sqlite3.connect(first)
    for statement in MIGRATIONS[1]:
        plain.execute(statement)
    plain.execute("PRAGMA user_version = 2")
    plain.execute(
        "INSERT INTO reading (gauge, at, source, shown, u, who, recorded)"
        " VALUES ('G1', '2026-03-01T00:00:00.000000', 'x', '1.5', 0.1, 'me', '2026-03-01')"
    )
    plain.commit()
    plain.close()
    with Book(first) as book:
        (row,) = book.all_rows("reading")
        assert (row["shown"], row["calibration"]) == ("1.5", None)
        assert faults(book) == []


def test_a_migration_that_is_stopped_leaves_the_old_book(first, monkeypatch):
    broken = (MIGRATIONS[0], (*MIGRATIONS[1], "CREATE TABLE gauge (twice TEXT)"))
    monkeypatch.setattr(BookFile, "steps", broken)
    with pytest.raises(Exception, match="already exists"):
        Book(first)
    plain = sqlite3.connect(first)
    assert plain.execute("PRAGMA user_version").fetchone() == (1,)
    there = {row[0] for row in plain.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    assert "history" not in there
    plain.close()


@pytest.mark.parametrize("table", ["record", "reading", "history", "zero_photo", "zero_check"])
@pytest.mark.parametrize("change", ["UPDATE {} SET rowid = rowid", "DELETE FROM {}"])
def test_no_program_can_rewrite_what_is_kept(table, change, first):
    with Book(first) as book:
        book.keep(Record("G1", FACTS, NOON, {}), [KeptReading("G1", NOON, "x", Decimal(1), 0.1)])
    plain = sqlite3.connect(first)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        plain.execute(change.format(table))
    plain.close()


def test_no_program_can_delete_a_gauge_or_enter_an_unknown_kind(first):
    with Book(first):
        pass
    plain = sqlite3.connect(first)
    with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
        plain.execute("DELETE FROM gauge")
    for kind in (*KINDS, "gossip"):
        row = ("G1", kind, "2026-01-01", "{}", "", "", "2026-01-01")
        insert = (
            "INSERT INTO record (gauge, kind, at, body, who, note, recorded)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)"
        )
        if kind == "gossip":
            with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
                plain.execute(insert, row)
        else:
            plain.execute(insert, row)
    plain.close()


def test_the_edge_s_set_is_taught_once_a_photo(first):
    seen = KeptReading("G1", NOON, "a.jpg", Decimal(1), 0.1, "aa", 0.99, 0.3)
    with Book(first) as book:
        book.keep(None, [seen, seen])
        book.keep(None, [seen])
        assert book.edge_sets("G1", 9) == (0.3,)
        assert book.count("reading", "G1") == 3
