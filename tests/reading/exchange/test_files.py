"""Books as JSON and CSV and back: nothing lost, nothing twice, all or nothing."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from reading.book import Book
from reading.book_file import SCHEMA_VERSION, BookError
from reading.cli import app
from reading.exchange.files import export_csv, export_json, import_from
from reading.gauge import PHOTOS, Gauge, ZeroCheck, ZeroPhoto
from reading.problem import Problem
from reading.record import PITCH, KeptReading, Record
from reading.rows import TABLES
from reading.soundness import faults
from vision.scale import Scale

START = datetime(2026, 1, 1, 8, 30)
G1 = Gauge("G1", Scale(Decimal("0.5"), 50), Decimal(25), 'blue "box", ½ µm')
G2 = Gauge("G2", Scale(Decimal("0.025"), 25, "in", Decimal(1), 10, True))


def fill(book):
    """One row and more of every table, with empty and odd cells."""
    book.add_gauge(G1)
    book.add_gauge(G2, "me")
    photos = (
        ZeroPhoto("a\n.jpg", "a" * 64, Decimal("0.020")),
        ZeroPhoto("b", "b" * 64, Decimal(0)),
    )
    seen = [
        KeptReading("G1", START, "a\n.jpg", Decimal("0.02"), 0.001, "a" * 64, 0.99, 0.3, None, "x"),
        KeptReading("G1", START, "b", Decimal("0.00"), 0.001, "b" * 64, 0.99, -0.1),
    ]
    check = ZeroCheck(
        "G1", START, Decimal("0.010"), 1 / 3, source=PHOTOS, photos=photos, spread=0.1, who="me"
    )
    book.record_zero(check, seen)
    number = book.record_zero(ZeroCheck("G2", START, Decimal("-0.0001"), 1e-4, rod=Decimal(1)))
    record = Record("G2", PITCH, START, {"pitch": "0.025", "u": 0.1 + 0.2}, "me", "note, two")
    readings = [
        KeptReading("G2", START, "typed", Decimal("1.5"), 0.003, zero_check=number),
        KeptReading("G2", START, "typed", Decimal("1.6"), 0.003, calibration=1),
    ]
    book.keep(record, readings)


def tables(book):
    return {table: list(book.all_rows(table)) for table in TABLES if table != "history"}


def told(book):
    return [(one.what, one.gauge, one.recorded, one.photos) for one in book.history()]


@pytest.fixture
def book(tmp_path):
    with Book(tmp_path / "book.sqlite", create=True) as opened:
        fill(opened)
        yield opened


@pytest.fixture(params=["json", "csv"])
def exported(request, book, tmp_path):
    target = tmp_path / "exported"
    count = (export_json if request.param == "json" else export_csv)(book, target)
    assert count == sum(len(rows) for rows in tables(book).values()) + len(book.history())
    return target


def test_a_book_comes_back_as_it_went_out(book, exported, tmp_path):
    with Book(tmp_path / "other.sqlite", create=True) as other:
        entered = import_from(other, exported, "me")
        assert tables(other) == tables(book)
        assert entered["reading"] == 4
        assert sorted(told(other)[:-1]) == sorted(told(book))
        assert told(other)[-1][0] == "import"
        assert faults(other) == []


def test_an_export_of_the_second_version_comes_in(book, exported, tmp_path):
    """It has no column `calibration`, which came with the third; a column more is still refused."""
    folder = exported.is_dir()
    for path in exported.iterdir() if folder else [exported]:
        text = path.read_text()
        if path.name == "book.csv":
            text = text.replace(f",{SCHEMA_VERSION}", ",2")
        elif path.name == "reading.csv":
            lines = csv.reader(text.splitlines(keepends=True))
            out = io.StringIO()
            csv.writer(out).writerows(row[:-1] for row in lines)
            text = out.getvalue()
        elif not folder:
            text = text.replace(f'"version": {SCHEMA_VERSION}', '"version": 2')
            with_it = path.with_name("with_it")
            with_it.write_text(text)
            text = text.replace(', "calibration": null', "").replace(', "calibration": 1', "")
        path.write_text(text)
    with Book(tmp_path / "other.sqlite", create=True) as other:
        if not folder:
            with pytest.raises(Problem, match="unknown: calibration"):
                import_from(other, with_it, "me")
        import_from(other, exported, "me")
        expected = [{**row, "calibration": None} for row in book.all_rows("reading")]
        assert list(other.all_rows("reading")) == expected


def test_taking_the_same_in_again_changes_nothing(book, exported, tmp_path):
    before = tables(book)
    assert not any(import_from(book, exported, "me").values())
    assert tables(book) == before


def test_a_book_takes_another_one_in(book, exported, tmp_path):
    with Book(tmp_path / "other.sqlite", create=True) as other:
        other.add_gauge(G1)
        other.keep(Record("G1", PITCH, START, {}))
        for n in range(5):
            other.record_zero(ZeroCheck("G1", START - timedelta(days=n), Decimal(n), 0.003))
        import_from(other, exported, "me")
        assert len(other.zero_checks("G1")) == 6
        assert other.zero_checks("G1")[-1].photos == book.zero_checks("G1")[0].photos
        (record,) = other.records("G2", PITCH)
        assert record.body == {"pitch": "0.025", "u": 0.1 + 0.2}
        reading = next(row for row in other.all_rows("reading") if row["zero_check"])
        assert reading["zero_check"] == other.zero_checks("G2")[0].number
        reading = next(row for row in other.all_rows("reading") if row["calibration"])
        assert reading["calibration"] == record.number == 2
        assert faults(other) == []


def test_a_gauge_of_the_same_name_with_another_scale_is_refused(exported, tmp_path):
    with Book(tmp_path / "other.sqlite", create=True) as other:
        other.add_gauge(Gauge("G2", Scale(Decimal(1), 100)))
        with pytest.raises(BookError, match="G2 is in the book with another scale"):
            import_from(other, exported, "me")
        assert [gauge.identifier for gauge in other.gauges()] == ["G2"]


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    checks=st.lists(st.tuples(st.integers(0, 3), st.integers(-9, 9)), min_size=1, max_size=8),
    times=st.integers(1, 3),
)
def test_which_check_is_in_force_when_stays_as_it_was(checks, times, tmp_path_factory):
    folder = tmp_path_factory.mktemp("dated")
    with Book(folder / "a", create=True) as one, Book(folder / "b", create=True) as other:
        one.add_gauge(G1)
        for day, error in checks:
            one.record_zero(ZeroCheck("G1", START + timedelta(days=day), Decimal(error), 0.003))
        export_json(one, folder / "a.json")
        for _ in range(times):
            import_from(other, folder / "a.json", "me")
        for day in range(-1, 5):
            at = START + timedelta(days=day, hours=1)
            found = [book.zero_check_in_force("G1", at) for book in (one, other)]
            assert found[0] == found[1]


HEADER = json.dumps({"format": "datumline book", "version": 2}) + "\n"
GAUGE = {
    **dict.fromkeys(("identifier", "notes", "recorded"), "G1"),
    **{"pitch": "0.5", "divisions": 50, "unit": "mm", "range_start": "0", "range_end": None},
    **{"vernier": None, "reversed": 0, "who": "me", "table": "gauge"},
}


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("not json\n", "not a book that datumline exported"),
        ('{"format": "datumline book", "version": 2}\nnot json\n', "line 2: not JSON"),
        ("[1]\n", "line 1: not an object"),
        ('{"format": "another"}\n', "not a book"),
        ('{"format": "datumline book", "version": 99}\n', "newer datumline"),
    ],
)
def test_what_is_no_book_is_refused(text, named, tmp_path):
    source = tmp_path / "a.json"
    source.write_text(text)
    with Book(tmp_path / "book.sqlite", create=True) as book, pytest.raises(Problem, match=named):
        import_from(book, source, "me")


@pytest.mark.parametrize(
    ("row", "named"),
    [
        ({"table": "sqlite_schema"}, "line 3: no table 'sqlite_schema'"),
        ({"table": "gauge"}, "line 3: columns missing or unknown"),
        ({**GAUGE, "identifier": "G2", "pitch": "half"}, "line 3"),
        ({**GAUGE, "identifier": "G2", "pitch": 0.5}, "line 3: pitch can't be 0.5"),
        ({**GAUGE, "identifier": "G2", "divisions": True}, "divisions can't be True"),
        ({**GAUGE, "identifier": "G2", "pitch": "-1"}, "line 3: .*greater than 0"),
    ],
)
def test_a_row_that_is_not_understood_is_named_and_nothing_taken(row, named, tmp_path):
    source = tmp_path / "a.json"
    source.write_text(f"{HEADER}{json.dumps(GAUGE)}\n{json.dumps(row)}\n")
    with Book(tmp_path / "book.sqlite", create=True) as book:
        with pytest.raises(Problem, match=named):
            import_from(book, source, "me")
        assert book.gauges() == ()
        source.write_text(f"{HEADER}{json.dumps(GAUGE)}\n")
        assert import_from(book, source, "me")["gauge"] == 1


def test_a_row_that_points_nowhere_is_named(book, tmp_path):
    export_json(book, tmp_path / "a.json")
    lines = (tmp_path / "a.json").read_text().splitlines(keepends=True)
    lost = [line for line in lines if '"zero_check", "number": 2' not in line]
    assert len(lost) == len(lines) - 1
    (tmp_path / "b.json").write_text("".join(lost))
    with (
        Book(tmp_path / "other.sqlite", create=True) as other,
        pytest.raises(Problem, match="points at a row that is not there"),
    ):
        import_from(other, tmp_path / "b.json", "me")


def test_damaged_tables_are_named(book, tmp_path):
    export_csv(book, tmp_path / "csv")
    path = tmp_path / "csv" / "zero_check.csv"
    whole = path.read_text()
    for text, named in (
        (whole.replace("zero_error", "error"), "columns must be"),
        (whole + "1,2\n", "2 cells, 11 wanted"),
        (
            whole.replace("0.0001,typed", "x,typed"),
            "u can't",
        ),
        (whole.encode().replace(b"me", b"\xff\xfe"), "not UTF-8"),
    ):
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        with (
            Book(tmp_path / "other.sqlite", create=True) as other,
            pytest.raises(Problem, match=named),
        ):
            import_from(other, tmp_path / "csv", "me")
    path.unlink()
    with (
        Book(tmp_path / "other.sqlite", create=True) as other,
        pytest.raises(Problem, match="can't be read"),
    ):
        import_from(other, tmp_path / "csv", "me")


def test_nothing_is_overwritten(book, tmp_path):
    target = tmp_path / "a"
    target.write_text("mine")
    for write in (export_json, export_csv):
        with pytest.raises(Problem, match="is there already"):
            write(book, target)
    with pytest.raises(Problem, match="is there already"):
        book.back_up(target)
    assert target.read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir() if "part" in path.name) == []


def test_a_backup_needs_a_folder(book, tmp_path):
    with pytest.raises(BookError, match="there is no folder"):
        book.back_up(tmp_path / "none" / "copy.sqlite")


def run(*arguments):
    return CliRunner().invoke(app, ["book", *(str(one) for one in arguments)])


def test_the_commands(book, tmp_path, monkeypatch):
    monkeypatch.setenv("DATUMLINE_BOOK", str(tmp_path / "book.sqlite"))
    assert "clean: 2 gauges, 9 changes" in run("check").stdout
    assert run("backup", tmp_path / "copy.sqlite").exit_code == 0
    with Book(tmp_path / "copy.sqlite") as copy:
        assert tables(copy) == tables(book)
    assert run("export", tmp_path / "a.json").exit_code == 0
    assert run("export", tmp_path / "a", "--format", "csv").exit_code == 0
    assert "one of json, csv" in run("export", tmp_path / "b", "--format", "xml").stderr
    again = run("import", tmp_path / "a", "--who", "me")
    assert again.stdout.endswith("new rows: none\n")
    new = run("import", tmp_path / "a.json", "--book", tmp_path / "new.sqlite")
    assert "2 gauge, 2 zero check, 2 zero photo, 1 record, 4 reading" in new.stdout
    lines = run("history", "--gauge", "G1", "--last", 3).stdout.splitlines()
    assert len(lines) == 3
    assert "me  zero check 1  G1" in lines[0]
    assert "sha256 aaaaaaaaaaaa  sha256 bbbbbbbbbbbb" in lines[0]
    assert "can't be read" in run("import", tmp_path / "none").stderr
    assert "G9 is not in the book" in run("history", "--gauge", "G9").stderr


def test_damage_is_found(book, tmp_path, monkeypatch):
    monkeypatch.setenv("DATUMLINE_BOOK", str(tmp_path / "book.sqlite"))
    plain = sqlite3.connect(tmp_path / "book.sqlite", isolation_level=None)
    plain.execute("DROP TRIGGER zero_check_kept")
    plain.execute("UPDATE zero_check SET zero_error = 'much' WHERE number = 1")
    plain.execute("DROP TRIGGER reading_told")
    plain.execute(
        "INSERT INTO reading (gauge, at, source, shown, u, who, recorded)"
        " VALUES ('G9', '2026-01-01', 'typed', '1', 0.1, '', '2026-01-01')"
    )
    plain.close()
    done = run("check")
    assert done.exit_code == 2
    assert "zero_check, 1: " in done.stderr
    assert "reading: 1 rows are not in the history" in done.stderr
    assert "what it points at in gauge is not there" in done.stderr


def test_an_export_that_fails_half_way_leaves_no_folder(tmp_path, monkeypatch):
    with Book(tmp_path / "book.sqlite", create=True) as book:
        monkeypatch.setattr(Book, "all_rows", _out_of_room)
        with pytest.raises(Problem, match="can't be"):
            export_csv(book, tmp_path / "csv")
    assert [one.name for one in tmp_path.iterdir()] == ["book.sqlite"]


def _out_of_room(*_):
    raise OSError(28, "No space left on device")
