"""Promises of the book: nothing half written, nothing overwritten, nothing foreign taken for it."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from reading.book import Book, book_path
from reading.book_file import SCHEMA_VERSION, BookError
from reading.gauge import PHOTOS, Gauge, ZeroCheck, ZeroPhoto, in_force
from reading.record import MEASUREMENT, Record
from reading.soundness import faults
from vision.scale import Scale

ROOT = Path(__file__).parents[2]
START = datetime(2026, 1, 1, 8, 30)
G1 = Gauge("G1", Scale(Decimal("0.5"), 50), Decimal(25), "blue box")
G2 = Gauge("G2", Scale(Decimal("0.025"), 25, "in", Decimal(1), 10, True))
CHECK = ZeroCheck(
    "G1",
    START,
    Decimal("-0.030"),
    0.0031,
    source=PHOTOS,
    photos=(
        ZeroPhoto("a.jpg", "a" * 64, Decimal("-0.03")),
        ZeroPhoto("b.jpg", "b" * 64, Decimal("-0.031")),
    ),
    spread=0.0007,
    who="student 7",
    note="wiped",
)

# Adds zero checks of 20 photos each as fast as it can, telling each one that is in the book.
WRITER = """
import sys
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from reading.book import Book
from reading.gauge import PHOTOS, ZeroCheck, ZeroPhoto
start, count = int(sys.argv[2]), int(sys.argv[3])
with Book(Path(sys.argv[1])) as book:
    for n in range(start, start + count):
        photos = tuple(ZeroPhoto(f"{n}-{i}.jpg", f"{i:064x}", Decimal("0.01")) for i in range(20))
        at = datetime(2026, 1, 1) + timedelta(minutes=n)
        check = ZeroCheck("G1", at, Decimal(n) / 1000, 0.003, source=PHOTOS, photos=photos)
        print(book.record_zero(check), flush=True)
"""


@pytest.fixture
def path(tmp_path):
    return tmp_path / "book.sqlite"


@pytest.fixture
def book(path):
    with Book(path, create=True) as opened:
        opened.add_gauge(G1)
        yield opened


def writer(path, start, count):
    command = [sys.executable, "-c", WRITER, str(path), str(start), str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)


def test_gauges_come_back_as_they_went_in(book, path):
    book.add_gauge(G2)
    with Book(path) as other:
        assert other.gauges() == (G1, G2)
        assert other.gauge("G2") == G2


def test_zero_checks_come_back_as_they_went_in(book):
    typed = ZeroCheck("G1", START - timedelta(days=1), Decimal("0.02"), 0.003, rod=Decimal(25))
    numbers = [book.record_zero(CHECK), book.record_zero(typed)]
    assert book.zero_checks("G1") == (
        replace(typed, number=numbers[1]),
        replace(CHECK, number=numbers[0]),
    )
    assert str(book.zero_checks("G1")[1].zero_error) == "-0.030"


def test_a_second_check_leaves_the_first(book):
    for error in ("0.01", "0.02"):
        book.record_zero(ZeroCheck("G1", START, Decimal(error), 0.003))
    checks = book.zero_checks("G1")
    assert [check.zero_error for check in checks] == [Decimal("0.01"), Decimal("0.02")]
    assert in_force(checks, START).zero_error == Decimal("0.02")


@pytest.mark.parametrize(
    "change", ["UPDATE zero_check SET zero_error = '0'", "DELETE FROM zero_check"]
)
def test_no_program_can_rewrite_a_zero_check(change, book, path):
    book.record_zero(CHECK)
    other = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        other.execute(change)
    other.close()


def test_a_gauge_is_entered_once(book):
    with pytest.raises(BookError, match="G1 is in the book already"):
        book.add_gauge(replace(G1, notes="another"))
    assert book.gauge("G1").notes == "blue box"


def test_an_unknown_gauge_is_named_with_the_known_ones(book):
    with pytest.raises(BookError, match=r"G9 is not in the book .* \(known: G1\)"):
        book.gauge("G9")


def test_a_check_belongs_to_a_known_gauge(book):
    with pytest.raises(BookError, match="FOREIGN KEY"):
        book.record_zero(replace(CHECK, gauge="G9"))


def test_a_change_that_fails_half_way_leaves_nothing(book):
    class Unwritable:
        def __str__(self):
            raise RuntimeError("half way")

    broken = replace(CHECK, photos=(*CHECK.photos, ZeroPhoto("c.jpg", "c" * 64, Unwritable())))
    with pytest.raises(RuntimeError, match="half way"):
        book.record_zero(broken)
    assert book.zero_checks("G1") == ()
    book.record_zero(CHECK)  # and the book still takes changes
    assert len(book.zero_checks("G1")) == 1


def test_two_processes_write_at_once(book, path):
    processes = [writer(path, 0, 25), writer(path, 1000, 25)]
    for process in processes:
        process.communicate(timeout=60)
        assert process.returncode == 0
    checks = book.zero_checks("G1")
    assert len(checks) == 50
    assert all(len(check.photos) == 20 for check in checks)


def test_two_processes_make_one_book(path):
    code = "import sys; from pathlib import Path; from reading.book import Book\n" + (
        "with Book(Path(sys.argv[1]), create=True) as book: print(len(book.gauges()))"
    )
    command = [sys.executable, "-c", code, str(path)]
    processes = [
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT)
        for _ in range(4)
    ]
    assert [process.communicate(timeout=60) for process in processes] == [(b"0\n", b"")] * 4


@pytest.mark.parametrize("told", [1, 2, 5, 9])
def test_a_killed_writer_leaves_whole_records(told, book, path):
    process = writer(path, 0, 100_000)
    seen = [int(process.stdout.readline()) for _ in range(told)]
    os.kill(process.pid, signal.SIGKILL)
    seen += [int(line) for line in process.stdout.read().splitlines()]
    process.stdout.close()
    assert process.wait(timeout=60) == -signal.SIGKILL
    with Book(path) as after:
        checks = after.zero_checks("G1")
        assert {check.number for check in checks} >= set(seen)  # what was told is kept
        assert len(checks) - len(seen) <= 1  # at most the one not yet told
        assert all(len(check.photos) == 20 for check in checks)
        after.record_zero(CHECK)
    plain = sqlite3.connect(path)
    assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    plain.close()


def test_a_newer_book_is_refused_and_left_alone(book, path):
    plain = sqlite3.connect(path)
    plain.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    plain.close()
    with pytest.raises(BookError, match="newer datumline"):
        Book(path)
    plain = sqlite3.connect(path)
    assert plain.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION + 1,)
    plain.close()


def test_a_text_file_is_no_book(path):
    path.write_text("5.78 mm\n" * 200)
    with pytest.raises(BookError, match=r"book\.sqlite: not a book of datumline"):
        Book(path, create=True)
    assert path.read_text() == "5.78 mm\n" * 200


def test_another_programs_database_is_no_book(path):
    plain = sqlite3.connect(path)
    plain.execute("CREATE TABLE gauge (identifier TEXT)")
    plain.close()
    before = path.read_bytes()
    with pytest.raises(BookError, match="not a book of datumline"):
        Book(path, create=True)
    assert path.read_bytes() == before


def test_an_empty_file_becomes_a_book(path):
    path.touch()
    with Book(path) as book:
        assert book.gauges() == ()


def test_a_missing_book_is_not_made_by_looking(path):
    with pytest.raises(BookError, match="datumline gauge add"):
        Book(path)
    assert not path.exists()


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(BookError, match="is its folder there"):
        Book(tmp_path / "nowhere" / "book.sqlite", create=True)


def test_a_book_keeps_a_journal_that_readers_do_not_block(book, path):
    plain = sqlite3.connect(path)
    assert plain.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    plain.close()


def test_where_the_book_is(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("DATUMLINE_BOOK", raising=False)
    assert book_path(None) == tmp_path / "data" / "datumline" / "book.sqlite"
    assert (tmp_path / "data" / "datumline").is_dir()
    monkeypatch.setenv("DATUMLINE_BOOK", str(tmp_path / "lab.sqlite"))
    assert book_path(None) == tmp_path / "lab.sqlite"
    assert book_path(tmp_path / "mine.sqlite") == tmp_path / "mine.sqlite"
    # The XDG base directory specification: a relative path is to be ignored.
    monkeypatch.setenv("XDG_DATA_HOME", "data")
    monkeypatch.delenv("DATUMLINE_BOOK")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    expected = tmp_path / "home" / ".local" / "share" / "datumline" / "book.sqlite"
    assert book_path(None) == expected


def test_a_folder_is_no_book(tmp_path):
    with pytest.raises(BookError, match="is a folder"):
        Book(tmp_path)


def test_a_book_in_a_place_that_may_not_be_written_can_be_looked_at(book, path, monkeypatch):
    book.record_zero(CHECK)
    book.__exit__(None, None, None)  # at rest: its log is gone
    assert not path.with_name(path.name + "-wal").exists()
    monkeypatch.setattr("reading.book_file.os.access", lambda *_: False)
    with Book(path) as locked:
        assert [one.zero_error for one in locked.zero_checks("G1")] == [CHECK.zero_error]
        assert faults(locked) == []
        with pytest.raises(BookError, match="but not written in"):
            locked.record_zero(CHECK)
    assert not path.with_name(path.name + "-wal").exists()


def test_a_full_disk_changes_nothing(book, path):
    full = book.ask("PRAGMA page_count")[0][0]
    book.ask(f"PRAGMA max_page_count = {full}")  # the book can't grow
    record = Record("G1", MEASUREMENT, START, {"long": "x" * 100_000})
    with pytest.raises(BookError, match="make room"):
        book.keep(record)
    assert book.records("G1", MEASUREMENT) == ()
    assert faults(book) == []
    with Book(path) as again:
        again.keep(record)
        assert len(again.records("G1", MEASUREMENT)) == 1
