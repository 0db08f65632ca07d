"""Lists as people make them, and what may lie in a ZIP."""

from __future__ import annotations

import zipfile

import pytest

from reading.marking.columns import find_columns
from reading.marking.handed_in import take_in
from reading.problem import Problem
from reading.tables import Cell, read_table, write_csv, write_xlsx

JPEG = b"\xff\xd8\xff\xe0 not looked into here"


def cells(*texts):
    return [Cell(text) for text in texts]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_csv_of_any_delimiter_and_encoding(tmp_path, encoding, mark):
    path = tmp_path / "list.csv"
    comma = "5.78" if mark == "," else "5,78"
    lines = [["Schüler", "Photo", "Reading"], ["Bo", "a.jpg", comma], ["Esi", "b.jpg", comma]]
    path.write_bytes("\r\n".join(mark.join(line) for line in lines).encode(encoding))
    rows = read_table(path)
    assert [[cell.text for cell in row] for row in rows] == lines


def test_quoted_decimal_commas_between_commas(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text('student,photo,reading\nBo,a.jpg,"5,78"\nEsi,b.jpg,"5,79"\n')
    assert [row[2].text for row in read_table(path)[1:]] == ["5,78", "5,79"]


def test_xlsx_numbers_keep_the_decimals_that_are_shown(tmp_path):
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Student", "Photo", "Reading", "Corrected"])
    sheet.append(["Bo", "a.jpg", 5.5, "5.50 mm"])
    sheet.append(["Esi", "b.jpg", 5.5, None])
    sheet["C2"].number_format = "0.00"
    book.save(tmp_path / "list.xlsx")
    _, first, second = read_table(tmp_path / "list.xlsx")
    assert first[2:] == (Cell("5.50"), Cell("5.50 mm"))
    assert second[2] == Cell("5.5", as_typed=False)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "headings"),
        (b"student,photo\n", "headings"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "neither CSV nor XLSX"),
        (b"PK\x03\x04 broken", "XLSX"),
    ],
)
def test_what_is_no_list_is_told_in_one_line(tmp_path, data, told):
    path = tmp_path / "list.csv"
    path.write_bytes(data)
    with pytest.raises(Problem, match=told) as problem:
        read_table(path)
    assert "\n" not in str(problem.value)


def test_headings_are_taken_generously_and_shown():
    names = "STUDENT_NAME,Photo file,Main scale reading (mm),Circular-scale"
    names += ",Observed  Reading [cm],Corrected Reading,Instrument No.,Mood"
    header = cells(*names.split(","))
    columns = find_columns(header, "list.csv")
    assert {one: place for one, (place, _, _) in columns.taken.items()} == {
        "student": 0, "photo": 1, "sleeve": 2, "division": 3, "reading": 4, "corrected": 5,
        "gauge": 6,
    }  # fmt: skip
    assert columns.left == ("Mood",)
    assert columns.taken["reading"][2] == "cm"
    assert any("'Mood'" in line for line in columns.lines())


def test_a_missing_column_is_named_with_what_was_there():
    with pytest.raises(Problem, match=r"no column for a photo among 'Student', 'Value'"):
        find_columns(cells("Student", "Value"), "list.csv")


def test_photos_are_found_in_each_students_folder(tmp_path):
    for folder in ("Ash, Bo_1", "Cliff Esi"):
        (tmp_path / "in" / folder).mkdir(parents=True)
        (tmp_path / "in" / folder / "IMG_1.JPG").write_bytes(JPEG)
    path = tmp_path / "list.csv"
    path.write_text("student,photo,reading\nBo Ash,img_1,5.78\nEsi Cliff,img_1.jpg,5.79\nIvo,x,1\n")
    handed_in = take_in(path, tmp_path / "in", tmp_path)
    first, second, third = handed_in.observations
    assert (first.file.parent.name, second.file.parent.name) == ("Ash, Bo_1", "Cliff Esi")
    assert third.file is None
    assert "no photo called x" in third.trouble


def test_a_name_that_two_folders_have_is_not_guessed(tmp_path):
    for folder in ("one", "two"):
        (tmp_path / "in" / folder).mkdir(parents=True)
        (tmp_path / "in" / folder / "a.jpg").write_bytes(JPEG)
    path = tmp_path / "list.csv"
    path.write_text("student,photo,reading\nBo,a.jpg,5.78\nEsi,two/a.jpg,5.78\n")
    first, second = take_in(path, tmp_path / "in", tmp_path).observations
    assert first.file is None
    assert "2 files are called a.jpg" in first.trouble
    assert second.file == tmp_path / "in" / "two" / "a.jpg"


def packed(path, members):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in members.items():
            out.writestr(name, data)
    return path


def test_a_zip_with_a_folder_a_student_and_lists_of_their_own(tmp_path):
    room = tmp_path / "room"
    room.mkdir()
    given = packed(
        tmp_path / "all.zip",
        {
            "Bo Ash/readings.csv": "photo,reading\na.jpg,5.78\n",
            "Bo Ash/a.jpg": JPEG,
            "Esi Cliff/mine.csv": "photo;reading\na.jpg;5,79\n",
            "Esi Cliff/a.jpg": JPEG + b"2",
        },
    )
    handed_in = take_in(given, None, room)
    assert [one.student for one in handed_in.observations] == ["Bo Ash", "Esi Cliff"]
    assert [one.file.read_bytes() for one in handed_in.observations] == [JPEG, JPEG + b"2"]
    assert all(one.file.parent == room for one in handed_in.observations)


def test_a_zip_can_not_write_outside_nor_swell(tmp_path):
    room = tmp_path / "room"
    room.mkdir()
    given = packed(
        tmp_path / "in.zip",
        {
            "../../slipped.jpg": JPEG,
            "/root.jpg": JPEG,
            "bomb.jpg": b"\0" * 60_000_000,
            "good.jpg": JPEG,
        },
    )
    path = tmp_path / "list.csv"
    names = ("slipped.jpg", "root.jpg", "bomb.jpg", "good.jpg")
    path.write_text("student,photo,reading\n" + "".join(f"Bo,{one},5.78\n" for one in names))
    handed_in = take_in(path, given, room)
    assert [one.file is not None for one in handed_in.observations] == [False, False, False, True]
    assert len(handed_in.faults) == 3
    assert {one.name for one in room.iterdir()} == {"0.jpg"}
    assert not (tmp_path.parent / "slipped.jpg").exists()


def test_what_a_spreadsheet_would_run_is_kept_text_and_comes_back(tmp_path):
    names = ["=1+1", "@ash", "Bo", "'t Hooft"]
    write_csv(tmp_path / "out.csv", ["student"], [[name] for name in names])
    lines = (tmp_path / "out.csv").read_text(encoding="utf-8-sig").splitlines()
    assert lines == ["student", "'=1+1", "'@ash", "Bo", "'t Hooft"]
    assert [row[0].text for row in read_table(tmp_path / "out.csv")] == ["student", *names]


def test_xlsx_keeps_text_as_text(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    assert write_xlsx(tmp_path / "out.xlsx", "marks", ["student"], [["=1+1"], ["Bo"]]) == 2
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx").active
    assert (sheet["A2"].value, sheet["A2"].data_type) == ("=1+1", "s")
    assert [row[0].text for row in read_table(tmp_path / "out.xlsx")] == ["student", "=1+1", "Bo"]


def test_xlsx_without_its_library_is_one_clear_line(tmp_path, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    path = tmp_path / "list.xlsx"
    path.write_bytes(b"PK\x03\x04 anything")
    with pytest.raises(Problem, match=r"pip install 'datumline\[xlsx\]'"):
        read_table(path)
