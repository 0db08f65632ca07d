"""Results in other programs' files say what the store says, names and all."""

from __future__ import annotations

import csv
import importlib.util
import json
import os

import pytest

from reading.archive.asked import Options
from reading.archive.export import EXPORTED, check_ending, export
from reading.archive.store import Store
from reading.problem import Problem
from reading.tables import MOST_XLSX_ROWS
from tests.reading.archive import quick

ODD = os.fsdecode(b"odd \xff\n.jpg")


@pytest.fixture
def store(archive, go, results, book):
    files = {"L07/a.jpg": quick.photo(3), "L07/=1+1.jpg": quick.photo(4, "refused")}
    go(
        archive(files | {f"L07/{ODD}": quick.photo(5, confidence=0.9)}),
        Options(pattern="{gauge}/", book=book("+0.02")),
    )
    with Store(results) as opened:
        yield opened


def test_csv(store, tmp_path):
    assert export(store, tmp_path / "r.csv") == 3
    with (tmp_path / "r.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == [column.name for column in EXPORTED]
    assert [row["photo"] for row in rows] == ["L07/=1+1.jpg", "L07/a.jpg", r"L07/odd \xff\n.jpg"]
    assert (rows[1]["shown_mm"], rows[1]["corrected_mm"]) == ("0.219", "0.199")
    assert rows[0]["reasons"].startswith("blurred: The scale is too blurred.")
    assert rows[2]["alternatives"] == "0.365: 0.9 | 0.865: 0.01"


def test_parquet_keeps_types(store, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    assert export(store, tmp_path / "r.parquet") == 3
    table = parquet.read_table(tmp_path / "r.parquet").to_pylist()
    row = table[1]
    assert (row["photo"], row["divisions"], row["shown_mm"]) == ("L07/a.jpg", 50, 0.219)
    assert row["part"] is None
    assert json.loads(table[0]["reasons"])[0]["code"] == "blurred"


def test_xlsx_holds_no_formulas(store, tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    assert export(store, tmp_path / "r.xlsx") == 3
    sheet = openpyxl.load_workbook(tmp_path / "r.xlsx").active
    assert [cell.value for cell in sheet[1]] == [column.name for column in EXPORTED]
    assert (sheet["A2"].value, sheet["A2"].data_type) == ("L07/=1+1.jpg", "s")
    assert sheet["A4"].value == r"L07/odd \xff\n.jpg"
    shown = [column.name for column in EXPORTED].index("shown_mm")
    assert sheet[3][shown].value == 0.219


def test_more_rows_than_xlsx_holds_are_refused_before_they_are_lost(store, tmp_path, monkeypatch):
    pytest.importorskip("openpyxl")
    assert MOST_XLSX_ROWS == 2**20 - 1  # rows of a sheet less its header (ECMA-376)
    monkeypatch.setattr("reading.tables.MOST_XLSX_ROWS", 2)
    with pytest.raises(Problem, match="use another kind"):
        export(store, tmp_path / "r.xlsx")
    assert list(tmp_path.glob("r.xlsx*")) == []


@pytest.mark.parametrize(("name", "extra"), [("r.xlsx", "xlsx"), ("r.parquet", "parquet")])
def test_a_missing_package_is_named_before_anything_is_read(tmp_path, monkeypatch, name, extra):
    monkeypatch.setattr(importlib.util, "find_spec", lambda package: None)
    with pytest.raises(Problem, match=rf"pip install 'datumline\[{extra}\]'"):
        check_ending(tmp_path / name)


@pytest.mark.parametrize("name", ["r.txt", "r", "no folder/r.csv"])
def test_names_that_say_no_kind(tmp_path, name):
    with pytest.raises(Problem, match=r"name it|there is no folder"):
        check_ending(tmp_path / name)


def test_results_by_ending_go_on_from_the_file_beside_them(archive, go, tmp_path):
    root = archive({"a.jpg": quick.photo(3)})
    target = tmp_path / "r.csv"
    said = go(root, results=target)
    assert f"{target}: 1 rows" in said[-1]
    said = go(root, results=target)
    assert "1 unchanged" in said[0]
    assert target.read_text().count("\n") == 2


def test_a_write_that_fails_leaves_what_was_there(store, tmp_path, monkeypatch):
    target = tmp_path / "r.csv"
    target.write_text("older")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("reading.archive.export._words", full)
    with pytest.raises(Problem, match="No space left"):
        export(store, target)
    assert target.read_text() == "older"
    assert list(tmp_path.glob("r.csv*")) == [target]
