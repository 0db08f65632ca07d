"""Reading with a calibration's curve: its own line, fields and doubt, kept, refused without one."""

from __future__ import annotations

import csv
import io
import json
import math
from datetime import datetime
from decimal import Decimal

import pytest
from typer.testing import CliRunner

from reading.book import Book
from reading.cli import app
from reading.correct import correct
from reading.formats import caption
from reading.gauge import Gauge, ZeroCheck
from reading.gauges.curve import with_curve
from reading.record import CALIBRATION, Record
from reading.result import FROM_USER, When
from reading.slips import compare
from vision.scale import Scale

FINE = Gauge("G1", Scale(Decimal("0.5"), 50))
MADE = datetime(2026, 11, 21)
# By hand: +0.02 mm of zero error and blocks of 5 and 10 mm that read 5.026 and 10.032 mm, so the
# screw errs by +6 µm at 5 mm and by +12 µm at 10 mm; halfway, at 7.5 mm, by +9 µm.
ZERO = ZeroCheck("G1", datetime(2026, 11, 20), Decimal("0.02"), 0.01 / math.sqrt(12), number=1)


def point(length, error):
    shown = str(Decimal(length) + Decimal(error) + ZERO.zero_error)
    known = {"length": length, "deviation": "0", "shown": [shown], "error": error}
    return known | {"u": 0.004, "k": 2.0, "u_own": 0.003}


def calibration(at=MADE, zero_at=ZERO.at, errors=("0.006", "0.012"), number=7):
    body = {"points": [point("5", errors[0]), point("10", errors[1])], "zero_error": "0.02"}
    return Record("G1", CALIBRATION, at, body | {"zero_check_at": str(zero_at)}, number=number)


@pytest.fixture
def reading(sighted, photo):
    """15 half millimetres and 2.0 divisions: 7.520 mm shown, 7.5 mm after the zero error."""
    when = When(datetime(2026, 11, 25), FROM_USER)
    return correct(photo, sighted(15, 2.0, FINE.scale), when, FINE, [ZERO])


def test_the_error_here_is_taken_off_exactly(reading):
    found = with_curve(reading, [calibration()])
    assert (found.after_zero, found.corrected) == (Decimal("7.5"), Decimal("7.491"))
    assert found.corrected + found.calibration.error + found.zero_error == found.shown
    assert reading.corrected == Decimal("7.5")


def test_its_doubt_is_in_the_budget(reading):
    before = {part.name: part.u for part in reading.uncertainty.components}
    other = with_curve(reading, [calibration(zero_at=MADE)]).uncertainty
    assert {part.name: part.u for part in other.components} == before | {"calibration": 0.004}
    assert other.combined == pytest.approx(math.hypot(*before.values(), 0.004))
    # Made with the same zero check, that check's own doubt is in neither (GUM 5.2.4).
    same = with_curve(reading, [calibration(zero_at=ZERO.at.isoformat())]).uncertainty
    names = {part.name: part.u for part in same.components}
    assert names == {k: v for k, v in before.items() if k != "zero check"} | {"calibration": 0.003}


def test_the_newest_that_is_not_later_counts(reading):
    later = calibration(datetime(2026, 11, 26), errors=("0.1", "0.1"))
    older = calibration(datetime(2026, 1, 1), errors=("0.2", "0.2"))
    assert with_curve(reading, [later, older, calibration()]).calibration.error == Decimal("0.009")
    without = with_curve(reading, [later])
    assert (without.calibration, without.corrected) == (None, reading.corrected)
    assert [one.code for one in without.notices] == ["calibration_later"]


def test_without_a_zero_error_nothing_is_taken_off(sighted, photo):
    when = When(datetime(2026, 11, 25), FROM_USER)
    bare = correct(photo, sighted(15, 2.0, FINE.scale), when, FINE)
    assert with_curve(bare, [calibration()]) == bare


def test_a_hand_reading_with_the_zero_error_off_is_right(reading):
    found = with_curve(reading, [calibration(errors=("0.02", "0.02"))])
    assert found.corrected == Decimal("7.48")
    for hand in ("7.52", "7.50", "7.48"):
        assert compare(Decimal(hand), found).agrees
    assert not compare(Decimal("7.46"), found).agrees


def test_the_overlay_names_both(reading):
    drawn = caption(with_curve(reading, [calibration()]))
    assert "less zero error +0.02, +0.009 of the screw = 7.491 mm corrected" in drawn


# The command


@pytest.fixture
def path(tmp_path, monkeypatch):
    path = tmp_path / "book.sqlite"
    monkeypatch.setenv("DATUMLINE_BOOK", str(path))
    assert run("gauge", "add", "G1", "--pitch", "0.5 mm", "--divisions", 50).exit_code == 0
    assert run("zero", "G1", "--reading", "+0.02 mm", "--on", "2026-11-20").exit_code == 0
    return path


@pytest.fixture
def work(photos, sighted):
    return photos("a.png", sighted(15, 2.0), taken="2026:11:24 10:00:00")


def run(*arguments):
    return CliRunner().invoke(app, [str(one) for one in arguments])


def calibrate(on="2026-11-21"):
    readings = ("--blocks", "5 10 mm", "--readings", "5.026 10.032 mm", "--on", on)
    assert run("gauge", "calibrate", "G1", *readings).exit_code == 0


def test_text_and_working_have_it_as_their_own_line(path, work):
    calibrate()
    result = run("read", work, "--gauge", "G1", "--curve", "--explain")
    assert result.exit_code == 0
    lines = [line.strip() for line in result.stdout.splitlines()]
    assert "7.520 − (+0.02) zero error = 7.500 mm (zero check of 2026-11-20, 4 days old)" in lines
    step = "7.500 − (+0.009) error of the screw here = 7.491 mm"
    made = "error curve of 2026-11-21, made with this zero check: the check's own doubt cancels"
    assert f"{step} corrected ({made})" in lines
    assert f"Error of the screw here = +0.009 mm ({made})" in lines
    assert f"Corrected = {step}" in lines
    assert any(line.startswith("Standard uncertainty, calibration: 0.0") for line in lines)
    assert any(line.startswith("Result = 7.491 ± ") for line in lines)


def test_json_and_csv_have_fields_for_it(path, work):
    calibrate()
    command = ("read", work, "--gauge", "G1", "--format")
    values = json.loads(run(*command, "json", "--curve").stdout)
    assert values["calibration_error_mm"] == 0.009
    assert values["calibration_date"] == "2026-11-21"
    assert values["corrected_mm"] == 7.491
    (row,) = csv.DictReader(io.StringIO(run(*command, "csv", "--curve").stdout))
    assert (row["calibration_error_mm"], row["corrected_mm"]) == ("0.009", "7.491")
    plain = json.loads(run(*command, "json").stdout)
    assert (plain["calibration_error_mm"], plain["corrected_mm"]) == (None, 7.5)


def test_it_agrees_with_measuring(path, work):
    calibrate()
    both = [
        json.loads(run(*command, "--gauge", "G1", "--curve", "--format", "json").stdout)
        for command in (("read", work), ("measure", work, "--no-record"))
    ]
    assert both[0]["calibration_error_mm"] == both[1]["calibration_error_mm"]
    assert both[0]["corrected_mm"] == both[1]["value_mm"]


def test_it_is_kept(path, work):
    calibrate()
    assert run("read", work, "--gauge", "G1", "--curve", "--keep").exit_code == 0
    assert run("measure", work, "--gauge", "G1", "--curve").exit_code == 0
    assert run("read", work, "--gauge", "G1", "--keep").exit_code == 0
    with Book(path) as book:
        (made,) = book.records("G1", CALIBRATION)
        rows = [row for row in book.all_rows("reading") if row["source"] == str(work)]
    assert [row["calibration"] for row in rows] == [made.number, made.number, None]
    assert run("book", "check").exit_code == 0


def test_a_photo_from_before_the_calibration_says_so(path, work):
    calibrate("2026-11-25")
    values = json.loads(run("read", work, "--gauge", "G1", "--curve", "--format", "json").stdout)
    assert (values["calibration_error_mm"], values["corrected_mm"]) == (None, 7.5)
    assert [one["code"] for one in values["warnings"]] == ["calibration_later"]


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("--gauge", "G1"), "gauge G1 has no calibration on record: make one first"),
        ((), "name the gauge"),
        (("--pitch", "0.5 mm", "--divisions", 50), "name the gauge"),
    ],
)
def test_without_a_calibration_it_is_refused(arguments, named, path, work):
    result = run("read", work, "--curve", *arguments)
    assert (result.exit_code, result.stdout, len(result.stderr.splitlines())) == (2, "", 1)
    assert named in result.stderr
