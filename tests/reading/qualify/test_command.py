"""`datumline qualify` from a folder to figures, page, rows and exit code."""

from __future__ import annotations

import csv
import json
import re
import shutil
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from reading.batch import Look
from reading.cli import app
from reading.problem import Problem
from reading.qualify import looking
from reading.qualify.command import QualifyRequest, qualify
from reading.qualify.known import read_truth
from reading.result import PhotoRecord, Unusable
from vision.reasons import reason
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

FINE = Scale(Decimal("0.5"), 50)
DEMO = Path(__file__).parents[3] / "demo_images"
FILES = ("good.jpg", "wrong.jpg", "blank.jpg", "broken.jpg", "crash.jpg")


def sighting(turns, division):
    return Sighting(FINE, True, 1.0, turns, division, 0.03, 0.97, 12.0, 0.0, 0.0)


@pytest.fixture
def folder(tmp_path):
    rows = "".join(f"{name},7.781 mm,0.5 mm,50\n" for name in FILES)
    (tmp_path / "truth.csv").write_text(f"file,shown,pitch,divisions\n{rows}")
    return tmp_path


@pytest.fixture
def scales(monkeypatch):
    """Put made-up sightings in the place of reading, and keep which scales were named."""
    seen = {
        "good.jpg": sighting(15, 28.15),
        "wrong.jpg": sighting(15, 33.1),
        "blank.jpg": Refusal((reason("no_gauge"),)),
    }
    named = []

    def look(path, scale):
        named.append(scale)
        if path.name == "broken.jpg":
            return Unusable(path.name, "broken.jpg: the file is damaged")
        if path.name == "crash.jpg":
            raise ZeroDivisionError("by nothing")
        return Look(PhotoRecord(path.name, "0"), seen[path.name])

    monkeypatch.setattr(looking, "look", look)
    return named


class Checker(HTMLParser):
    """Collects where a page would fetch something, and tags left open."""

    VOID = ("meta", "img", "hr", "br")

    def __init__(self):
        super().__init__()
        self.open, self.fetched = [], []

    def handle_starttag(self, tag, attrs):
        self.fetched += [v for k, v in attrs if k in ("src", "href") and not v.startswith("data:")]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def run(folder, **asked):
    said, complained = [], []
    known = read_truth(folder)
    code = qualify(known, QualifyRequest(workers=1, **asked), said.append, complained.append)
    return code, "\n".join(said), "\n".join(complained)


def test_every_photo_is_read_both_ways_and_gets_a_row(folder, scales):
    out = folder / "rows.csv"
    code, said, complained = run(folder, scale="both", readings=out)
    assert scales == [FINE] * 5 + [None] * 5
    assert code == 2
    assert "broken.jpg: unusable_file" in complained
    assert "by nothing" in complained
    assert said.count("2 of 5 readable photos accepted; more than one division off: 1 of them") == 2
    with out.open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["scale"] == "none"]
    by_file = {row["file"]: row for row in rows}
    assert float(by_file["good.jpg"]["error_divisions"]) == pytest.approx(0.05)
    assert float(by_file["wrong.jpg"]["error_divisions"]) == pytest.approx(5.0)
    assert by_file["blank.jpg"]["reasons"] == "no_gauge"


def test_the_page_is_whole_needs_no_other_file_and_names_what_went_wrong(folder, scales):
    out = folder / "page.html"
    code, _, complained = run(folder, out=out, pictures=False, title="<b> & co")
    assert code == 2
    assert f"{out}: the page" in complained
    text = out.read_text()
    page = Checker()
    page.feed(text)
    assert page.open == []
    assert page.fetched == []
    assert "&lt;b&gt; &amp; co" in text
    table = text.partition("Every wrong reading")[2]
    assert [n for n in FILES if n in table] == list(FILES[1:])
    assert text.count("<svg") >= 4


def test_json_alone_is_printed_when_asked_for(folder, scales):
    _, said, _ = run(folder, format="json", scale="both")
    data = json.loads(said)
    assert set(data) == {"given", "none"}
    assert data["given"]["readable"]["wrong"]["k"] == 1


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"scale": "some"}, "--scale some"),
        ({"format": "csv"}, "--format csv"),
        ({"by": ("x",)}, "x"),
    ],
)
def test_what_can_t_be_asked_for_is_named(folder, scales, asked, words):
    with pytest.raises(Problem, match=words):
        run(folder, **asked)
    assert scales == []


def test_a_place_that_can_t_be_written_is_named(folder, scales):
    with pytest.raises(Problem, match="can't be written"):
        run(folder, readings=folder / "none" / "rows.csv")


def test_real_photos_by_the_command_line(tmp_path):
    """One read, one told wrong by a millimetre, one without a gauge: figures and pictures."""
    for name in ("pin.jpg", "wire.jpg", "no-gauge.jpg"):
        shutil.copy(DEMO / name, tmp_path)
    (tmp_path / "known.csv").write_text(
        "photo;reading;lens\npin.jpg;5,994 mm;a\nwire.jpg;2,783 mm;b\nno-gauge.jpg;;a\n"
    )
    page, truth = tmp_path / "page.html", tmp_path / "known.csv"
    scale = ["--pitch", "0.5 mm", "--divisions", "50", "--by", "lens"]
    arguments = ["qualify", str(tmp_path), "--truth", str(truth), *scale, "--out", str(page)]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 0, done.output
    assert "2 of 2 readable photos accepted; more than one division off: 1 of them" in done.output
    assert re.search(r"^all +1 +0 ", done.output, re.M)  # negatives
    assert re.search(r"^b +1 .* 1 +100.00 %", done.output, re.M)  # the wrong one's lens
    text = page.read_text()
    assert text.count("data:image/jpeg") == 1
    assert "-100.0" in text  # a millimetre is a hundred divisions


def test_gauges_are_looked_up_in_the_book(tmp_path, scales):
    book = ["--book", str(tmp_path / "book.db")]
    add = ["gauge", "add", "L08", "--pitch", "0.5 mm", "--divisions", "50", *book]
    assert CliRunner().invoke(app, add).exit_code == 0
    (tmp_path / "truth.csv").write_text("file,shown,gauge\ngood.jpg,7.781 mm,L08\n")
    asked = ["qualify", str(tmp_path), *book]
    done = CliRunner().invoke(app, [*asked, "--format", "json"])
    assert json.loads(done.output)["given"]["readable"]["accepted"]["k"] == 1
    assert scales == [FINE]
    (tmp_path / "truth.csv").write_text("file,shown\ngood.jpg,7.781 mm\n")
    assert CliRunner().invoke(app, [*asked, "--gauge", "L08"]).exit_code == 0
    assert scales == [FINE] * 2
    done = CliRunner().invoke(app, [*asked, "--gauge", "L09"])
    assert done.exit_code == 2
    assert "L09" in done.output


def test_a_gauge_and_a_scale_are_not_both_named(tmp_path):
    arguments = ["qualify", str(tmp_path), "--gauge", "G1", "--divisions", "50"]
    done = CliRunner().invoke(app, arguments)
    assert done.exit_code == 2
    assert "--gauge has its own scale" in done.output
