"""The commands on demo photos with the real reader: read, look, sample, audit, decide, export."""

from __future__ import annotations

import csv
import json
import shutil

import pytest
from PIL import Image
from typer.testing import CliRunner

from reading.cli import app
from tests.project.console import ROOT

DEMO = ROOT / "demo_images"
FILES = {"L08/pin/1.jpg": "pin.jpg", "L07/wire/1.jpg": "wire.jpg", "L07/wire/2.jpg": "blurred.jpg"}


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """A small archive by gauge and part, its book, and its results."""
    folder = tmp_path_factory.mktemp("lab")
    for name, photo in FILES.items():
        (folder / "photos" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(DEMO / photo, folder / "photos" / name)
    book = str(folder / "book.sqlite")
    for gauge in ("L07", "L08"):
        run("gauge", "add", gauge, "--pitch", "0.5 mm", "--divisions", "50", "--book", book)
    zero = ("--reading", "+0.02 mm", "--on", "2026-09-01")
    run("zero", "L08", *zero, "--book", book)
    said = run(
        *("archive", str(folder / "photos"), "--results", str(folder / "r.sqlite")),
        *("--pattern", "{gauge}/{part}/", "--book", book),
    )
    assert "run 1: 3 files: 2 read, 1 refused, 0 unusable" in said
    return folder


def run(*arguments, code=0, typed=None):
    done = CliRunner().invoke(app, [str(one) for one in arguments], input=typed)
    assert done.exit_code == code, done.output
    return done.output


def exported(lab):
    run("archive", "export", lab / "r.sqlite", lab / "r.csv")
    with (lab / "r.csv").open(newline="") as file:
        return {row["photo"]: row for row in csv.DictReader(file)}


def test_rows_say_what_read_says(lab):
    photo = lab / "photos" / "L08/pin/1.jpg"
    told = json.loads(
        run("read", photo, "--gauge", "L08", "--book", lab / "book.sqlite", "--format", "json")
    )
    row = exported(lab)["L08/pin/1.jpg"]
    assert (row["gauge"], row["part"], told["status"]) == ("L08", "pin", "read")
    for column in ("shown_mm", "corrected_mm", "confidence", "thimble_division", "zero_error_mm"):
        assert float(row[column]) == pytest.approx(told[column], abs=1e-12)
    for column in ("sha256", "dated", "zero_check_date", "program"):
        assert row[column] == str(told[column])


def test_sheets_and_the_page(lab):
    said = run("archive", "sheet", lab / "r.sqlite", lab / "sheet.html")
    page = (lab / "sheet.html").read_text()
    assert f"{page.count('data:image/jpeg')} photos" in said
    assert "L07/wire/2.jpg: refused" in page
    run("archive", "sheet", lab / "r.sqlite", lab / "sheet.jpg")
    with Image.open(lab / "sheet.jpg") as sheet:
        assert sheet.width > 1000
        assert not sheet.getexif()
    run("archive", "page", lab / "r.sqlite", lab / "page.html")
    page = (lab / "page.html").read_text()
    assert "What was read" in page
    assert "no audit was drawn yet" in page


def test_a_sample_is_read_blind_and_judged(lab):
    run("archive", "sample", lab / "r.sqlite", lab / "audit", "--count", 2, "--by", "part")
    page = (lab / "audit" / "audit.html").read_text()
    assert page.count("data:image/jpeg") == 2
    assert "5.994" not in page
    assert "1.783" not in page
    form = lab / "audit" / "audit.csv"
    form.write_text("number,reading,unit\n1,5.99,mm\n2,5.99,mm\n")  # what the pin's scale shows
    said = run("archive", "audit", lab / "r.sqlite", form, "--who", "me")
    assert "1 of 2 readings wrong" in said
    assert "is at most 97 %" in said  # 1 - 0.05^(1/2) would be of none; of one, sqrt(0.95)
    assert run("archive", "audit", lab / "r.sqlite") == said


def test_the_desk_with_its_pictures(lab):
    typed = "r # out of focus\nq\n"
    said = run("desk", lab / "r.sqlite", "--who", "me", typed="@L07/wire/2.jpg\n" + typed)
    pictures = list((lab / "r.sqlite.pictures").glob("*.jpg"))
    assert pictures
    assert str(pictures[-1]) in said
    assert exported(lab)["L07/wire/2.jpg"]["decision"] == "reject"


def test_names_of_commands_are_no_folders(lab):
    assert "no folder and no ZIP" in run(
        "archive", "nowhere", "--results", lab / "x.sqlite", code=2
    )
    assert "Missing option" in run("archive", lab / "photos", code=2)
    assert "DIR" in run("archive", "--help")


def test_nothing_to_say_otherwise(lab):
    assert "nothing was read otherwise" in run("archive", "changes", lab / "r.sqlite")
    assert "there are runs 1" in run("archive", "changes", lab / "r.sqlite", "--run", 7, code=2)
