"""`datumline measure`: what is asked, what is answered, what is kept, and the page."""

from __future__ import annotations

import json
from datetime import date, timedelta
from html.parser import HTMLParser

import numpy as np
import pytest
from typer.testing import CliRunner

from reading.book import Book
from reading.cli import app
from reading.notices import CAUTION
from reading.record import MEASUREMENT
from vision.reasons import reason
from vision.sighting import Evidence, Refusal

FIVE = "1.22 1.23 1.22 1.24 1.23 mm"


@pytest.fixture
def path(tmp_path, monkeypatch):
    path = tmp_path / "book.sqlite"
    monkeypatch.setenv("DATUMLINE_BOOK", str(path))
    assert run("gauge", "add", "G1", "--pitch", "0.5 mm", "--divisions", 50).exit_code == 0
    return path


@pytest.fixture
def gauge(path):
    assert run("zero", "G1", "--reading", "+0.02 mm", "--on", "2026-11-20").exit_code == 0
    return "G1"


def run(*arguments):
    return CliRunner().invoke(app, [str(one) for one in arguments])


def measure(*arguments):
    return run("measure", "--gauge", "G1", "--on", "2026-11-25", *arguments)


def test_readings_by_hand(gauge):
    result = measure("--readings", FIVE)
    assert result.exit_code == 0
    assert result.stdout.startswith("G1: 1.208 ± 0.012 mm (k = 2.09, 19 degrees of freedom)\n")
    assert "1.228 − (+0.02) zero error = 1.208 mm" in result.stdout
    for name in ("repeats", "least count", "parallax", "zero check", "combined", "expanded"):
        assert f"\n  {name} " in result.stdout


def test_json_and_other_units(gauge):
    values = json.loads(measure("--readings", FIVE, "--format", "json").stdout)
    assert (values["value_mm"], values["expanded_uncertainty_mm"]) == (1.208, 0.012)
    assert values["k"] == 2.093
    assert values["degrees_of_freedom"] == 19
    inch = measure("--readings", FIVE, "--unit", "in").stdout
    assert inch.startswith("G1: 0.04756 ± 0.00046 in")  # 1.208 / 25.4, 0.01166 / 25.4
    typed_in_inches = measure("--readings", '0.0480"').stdout  # 1.2192 mm
    assert "mean 1.2192 mm as shown" in typed_in_inches


def test_explaining_wire_and_limits(gauge):
    result = measure("--readings", FIVE, "--explain", "--wire", "--upper", "1.25 mm")
    assert "Grubbs: G = 1.434, critical 1.715 at 5 %: no outlier" in result.stdout
    assert "No. 18 (1.2192 mm), and no other within the uncertainty" in result.stdout
    assert "(1.1495 mm); but +0.058 mm off that size, more than the uncertainty" in result.stdout
    assert "limits up to 1.25 mm: pass" in result.stdout
    assert "mm² (round and bare)" in result.stdout
    assert "can't tell" in measure("--readings", FIVE, "--upper", "1.21 mm").stdout


def test_a_measurement_is_kept_with_its_readings(gauge, path):
    measure("--readings", FIVE, "--who", "student 7", "--note", "spool 3")
    measure("--readings", FIVE, "--no-record")
    with Book(path) as book:
        (record,) = book.records("G1", MEASUREMENT)
        assert (record.who, record.note, record.body["value"]) == ("student 7", "spool 3", "1.208")
        assert book.count("reading", "G1") == 5
        told = [(one.what, one.who) for one in book.history("G1")]
    assert told.count(("reading", "student 7")) == 5
    assert told.count((MEASUREMENT, "student 7")) == 1


def test_photos_are_measured_and_teach_the_edge_s_set(gauge, path, photos, sighted, monkeypatch):
    told = []

    def shows(division, edge):
        return lambda scale: sighted(2, division, evidence=Evidence(edge_set_pitches=edge))

    paths = [photos(f"{n}.png", shows(22.0 + n / 10, 0.3 + n / 100)) for n in range(3)]
    result = measure(*paths)
    assert result.exit_code == 0
    assert "picture" in result.stdout
    assert result.stdout.rstrip().endswith(CAUTION)
    with Book(path) as book:
        assert book.edge_sets("G1", 10) == pytest.approx((0.32, 0.31, 0.30))
        assert len(next(e for e in book.history("G1") if e.what == MEASUREMENT).photos) == 3

    import sys

    looked = sys.modules["vision.pipeline"].sight

    def sight(photo, scale, edge_set_mm=None):
        told.append(edge_set_mm)
        return looked(photo, scale)

    monkeypatch.setattr(sys.modules["vision.pipeline"], "sight", sight)
    measure(*paths)
    mean, spread = told[0]
    # 0.31 pitches of 0.5 mm; s = 0.01, for one more photo s √(1 + 1/3).
    assert mean == pytest.approx(0.155)
    assert spread == pytest.approx(0.005 * (4 / 3) ** 0.5)
    with Book(path) as book:
        assert len(book.edge_sets("G1", 10)) == 3  # the same photos teach once


def test_an_unsure_photo_teaches_nothing_and_is_named(gauge, path, photos, sighted):
    unsure = sighted(2, 22.0, confidence=0.9, evidence=Evidence(edge_set_pitches=0.3))
    result = measure(photos("a.png", unsure))
    assert "a.png: confidence 0.90 is low" in result.stdout
    with Book(path) as book:
        assert (book.count("reading", "G1"), book.edge_sets("G1", 9)) == (1, ())


def test_a_refused_photo_measures_nothing(gauge, path, photos, sighted):
    paths = [photos("a.png", sighted(2, 22.0)), photos("b.png", Refusal((reason("blurred"),)))]
    result = measure(*paths)
    assert result.exit_code == 3
    assert "[blurred]" in result.stdout
    assert "Nothing was recorded" in result.stderr
    with Book(path) as book:
        assert book.count("reading", "G1") == 0


class Page(HTMLParser):
    """Collects a page's pictures and text, and checks that tags close."""

    def __init__(self, text):
        super().__init__()
        self.sources, self.open, self.words = [], [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        if tag == "img":
            self.sources.append(dict(attributes)["src"])
        elif tag not in ("meta", "hr"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)


def test_a_page_holds_its_pictures_and_needs_no_other_file(
    gauge, photos, sighted, tmp_path, monkeypatch
):
    monkeypatch.setattr(
        "vision.overlay.draw", lambda *_: np.full((900, 2000, 3), 90, dtype=np.uint8)
    )
    paths = [photos(f"<{n}>.png", sighted(2, 22.0 + n)) for n in range(2)]
    target = tmp_path / "report.html"
    assert measure(*paths, "--report", target, "--who", "A & B").exit_code == 0
    text = target.read_text()
    page = Page(text)
    assert [source[:23] for source in page.sources] == ["data:image/jpeg;base64,"] * 2
    assert "http" not in text
    words = " ".join(page.words)
    assert "by A & B" in words
    assert "<1>.png" in words
    assert "1.205 ±" in words
    assert measure(*paths, "--report", tmp_path / "no" / "r.html").exit_code == 2


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        ((), "one of the two"),
        (("--readings", "1.22 mm", "a.jpg"), "one of the two"),
        (("--readings", "five"), "'five'"),
        (("--readings", "1.22 mm", "--format", "csv"), "text, json"),
        (("--readings", "1.22 mm", "--unit", "ell"), "--unit ell"),
        (("--readings", "1.22 mm", "--level", "100"), "--level 100"),
        (("--readings", "1.22 mm", "--k", "0"), "--k 0"),
        (("--readings", "1.22 mm", "--temperature", "23"), "--work"),
        (("--readings", "1.22 mm", "--places", "2"), "whole multiple of 2"),
        (("--readings", "1.22 mm", "--places", "0"), "1 or more"),
        (("--readings", "1.22 mm", "--lower", "1.3", "--upper", "1.2"), "must lie below"),
        (("--readings", "1.22 mm", "--curve"), "no calibration"),
        (("--readings", "0.02 mm", "--wire"), "diameter is more than 0"),
    ],
)
def test_arguments_that_cannot_be_used_are_one_line(arguments, named, gauge):
    result = measure(*arguments)
    assert result.exit_code == 2
    assert named in result.stderr
    assert (result.stdout, len(result.stderr.splitlines())) == ("", 1)


def test_a_photo_that_cannot_be_used_is_one_line(gauge, tmp_path):
    result = measure(tmp_path / "missing.jpg")
    assert (result.exit_code, result.stdout, len(result.stderr.splitlines())) == (2, "", 1)


def test_a_measurement_to_come_is_named(gauge):
    tomorrow = f"{date.today() + timedelta(days=1)}"
    for on, warned in ((tomorrow, True), (f"{date.today()}", False)):
        result = run("measure", "--gauge", "G1", "--on", on, "--readings", FIVE, "--format", "json")
        codes = [one["code"] for one in json.loads(result.stdout)["warnings"]]
        assert ("dated_ahead" in codes) is warned


def test_without_a_zero_check_it_says_so(path):
    result = measure("--readings", FIVE)
    assert result.exit_code == 0
    assert "1.228 ± " in result.stdout
    assert "zero error not taken off" in result.stdout


def test_metric_readings_of_an_inch_gauge(path):
    run("gauge", "add", "G2", "--pitch", "0.025 in", "--divisions", 25)
    command = ("measure", "--gauge", "G2", "--readings", "1.22 mm", "--explain")
    result = run(*command, "--unit", "mm")
    # 1.22 / 25.4 = 0.048031496 in; a division of 0.001 in is rectangular: 2 · 25.4 / √12 µm.
    assert "Readings as shown: 0.0480315 in" in result.stdout
    assert result.stdout.startswith("G2: 1.220 ± 0.015 mm")
