"""Killed at any moment, and with two writers at once, a book loses nothing that was told."""

from __future__ import annotations

import sqlite3

from typer.testing import CliRunner

from reading.book import Book
from reading.cli import app
from reading.soundness import faults
from tests.reading.crash import Writer, begin, crash, kept, wrong_after_kill

KILLS, WRITES, SEED = 10, 500, 20261125  # many more kills: python -m tests.reading.crash


def test_killed_at_random_points_of_500_writes_with_two_writers(tmp_path):
    path = tmp_path / "book.sqlite"
    assert crash(path, KILLS, WRITES, SEED) == []
    checked = CliRunner().invoke(app, ["book", "check", "--book", str(path)])
    assert (checked.exit_code, checked.stdout[:14]) == (0, "clean: 1 gauge")


def test_a_lost_write_would_be_seen(tmp_path):
    path = tmp_path / "book.sqlite"
    begin(path)
    writer = Writer(path, "one", 3)
    writer.finish()
    assert wrong_after_kill(path, writer) == []
    writer.told.append(3)  # told, but not in the book
    assert "told and lost: [3]" in "\n".join(wrong_after_kill(path, writer))
    plain = sqlite3.connect(path)  # another program, past our triggers
    plain.execute("DROP TRIGGER reading_delete_refused")
    plain.execute("DELETE FROM reading WHERE number = 1")
    plain.execute("DROP TRIGGER record_delete_refused")
    plain.execute("DELETE FROM record WHERE number = 2")
    plain.commit()
    plain.close()
    with Book(path) as book:
        assert kept(book, "one") == [0, 2]
        assert any("what it points at" in fault for fault in faults(book))
