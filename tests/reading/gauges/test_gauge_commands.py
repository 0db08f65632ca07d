"""`datumline gauge ...`: what is asked, what is answered, and what is kept."""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal
from html import unescape
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from reading.book import Book
from reading.cli import app
from reading.gauge import ZeroCheck
from reading.record import BACKLASH, CALIBRATION, PITCH
from vision.reasons import reason
from vision.sighting import Evidence, Refusal

TEN = "2.50 5.10 7.70 10.30 12.90 15.00 17.60 20.21 22.80 25.00 mm"


@pytest.fixture
def path(tmp_path, monkeypatch):
    path = tmp_path / "book.sqlite"
    monkeypatch.setenv("DATUMLINE_BOOK", str(path))
    added = run("add", "G1", "--pitch", "0.5 mm", "--divisions", 50, "--end", "25 mm")
    assert added.exit_code == 0
    return path


def datumline(*arguments):
    return CliRunner().invoke(app, [str(one) for one in arguments])


def run(*arguments):
    return datumline("gauge", *arguments)


def zero(error, on, *arguments):
    done = datumline("zero", "G1", "--reading", error, "--on", on, *arguments)
    assert done.exit_code == 0


def test_pitch_by_hand(path):
    done = run("pitch", "G1", "--turns", "5", "--readings", "2.00 4.50 mm", "--who", "student 7")
    assert done.exit_code == 0
    assert "pitch 0.5000 ± 0.0017 mm" in done.stdout
    assert "agrees with the recorded pitch" in done.stdout
    backwards = run("pitch", "G1", "--turns", "-5", "--readings", "4.50 2.00 mm")
    assert "agrees" in backwards.stdout
    with Book(path) as book:
        first, _ = book.records("G1", PITCH)
        assert (first.who, first.body["agrees"]) == ("student 7", True)
    assert "pitch 0.5 mm, agrees" in run("show", "G1").stdout


def test_pitch_from_photos(path, photos, sighted):
    pair = [photos("a.png", sighted(4, 0.0)), photos("b.png", sighted(9, 0.0, confidence=0.7))]
    done = run("pitch", "G1", *pair, "--turns", "4")
    assert "the distance is 5 turns of the recorded pitch, 4 were counted" in done.stdout
    assert "they check the turns, not the pitch" in done.stdout
    assert "b.png: confidence 0.70 is low" in done.stdout
    refused = run(
        "pitch", "G1", pair[0], photos("c.png", Refusal((reason("glare"),))), "--turns", 5
    )
    assert (refused.exit_code, "[glare]" in refused.stdout) == (3, True)


def test_backlash_by_hand_and_from_photos(path, photos, sighted):
    typed = run(
        *("backlash", "G1", "--closing", "5.02 5.03 5.02 mm", "--opening", "5.06 5.05 5.06 mm")
    )
    assert "backlash -0.033 ± 0.013 mm" in typed.stdout
    turned = [photos(f"{n}.png", sighted(10, 2.0 + 1.5 * (n % 2))) for n in range(4)]
    done = run("backlash", "G1", *turned)
    assert "closing 5.02 mm (2 readings), opening 5.035 mm (2 readings)" in done.stdout
    with Book(path) as book:
        assert len(book.records("G1", BACKLASH)) == 2
    assert run("backlash", "G1", "--closing", "5.02").exit_code == 2


def test_calibration_with_its_page(path, tmp_path):
    assert "no zero check" in run("calibrate", "G1", "--readings", TEN).stderr
    zero("0.00 mm", "2026-11-20")
    page = tmp_path / "c.html"
    done = run(
        *("calibrate", "G1", "--readings", TEN, "--on", "2026-11-24", "--limit", "4 um"),
        *("--page", page, "--temperature", "20.5 °C", "--block-u", "0.2 um"),
    )
    assert done.exit_code == 0
    assert "greatest error +10.0 ± 8.1 µm" in done.stdout
    assert "at 20.2 mm" in done.stdout
    assert "limit ± 4 µm: can't tell" in done.stdout
    with Book(path) as book:
        (record,) = book.records("G1", CALIBRATION)
    assert f"Record {record.number} of gauge G1" in page.read_text()
    assert "calibration: greatest error 0.01 mm, can't tell" in run("show", "G1").stdout
    measured = datumline(
        *("measure", "--gauge", "G1", "--readings", "20.21 mm", "--curve", "--on", "2026-11-25")
    )
    # Between the blocks, at 20.21 mm: 10 − 10 · 0.01 / 2.6 = 9.962 µm.
    assert "20.21 − (+0.009962) error of the screw here = 20.2 mm" in measured.stdout


def test_own_blocks_and_their_deviations(path):
    zero("0.00 mm", "2026-11-20")
    done = run(
        *("calibrate", "G1", "--readings", "5.00 5.01 10.00 10.01 mm", "--blocks", "5 10 mm"),
        *("--deviations", "-1 +2 um"),
    )
    # By hand: 5.005 − 4.999 = 6 µm, 10.005 − 10.002 = 3 µm.
    assert re.search(r"^ +5 mm +\+6 ± ", done.stdout, re.M)
    assert re.search(r"^ +10 mm +\+3 ± ", done.stdout, re.M)
    assert "4 readings for 10 blocks" in run("calibrate", "G1", "--readings", "1 2 3 4").stderr
    few = run("calibrate", "G1", "--readings", "5 mm", "--blocks", "5 mm", "--deviations", "1 2 um")
    assert "2 for 1 blocks" in few.stderr


def test_due_and_overdue(path):
    zero("0.00 mm", "2026-11-01")
    assert run("due", "--on", "2026-11-05").stdout == "nothing is due within 30 days\n"
    said = run("set", "G1", "--zero-days", 30, "--limit", "4 um", "--on", "2026-11-01")
    assert said.stdout.startswith("G1: zero check every 30 days")
    assert run("due", "--on", "2026-11-05").stdout == "G1: zero check due 2026-12-01\n"
    assert run("due", "--on", "2026-11-05", "--days", 3).stdout.startswith("nothing")
    assert "G1: zero check due 2026-12-01 OVERDUE" in run("due", "--on", "2026-12-02").stdout
    assert "OVERDUE since 2026-12-01" in run("list", "--on", "2026-12-02").stdout
    assert "OVERDUE" not in run("list", "--on", "2026-12-01").stdout
    assert "nothing is new" in run("set", "G1", "--zero-days", 30).stderr
    run("set", "G1", "--calibration-days", 365)
    assert "G1: calibration due now" in run("due", "--on", "2027-11-02").stdout


def test_the_error_limit_stands_in_for_a_calibration(path):
    zero("0.00 mm", "2026-11-01")
    run("set", "G1", "--limit", "4 um", "--on", "2026-11-01")
    command = ("measure", "--gauge", "G1", "--readings", "1.22 mm", "--on", "2026-11-25")
    assert "error limit ± 0.004, rectangular" in datumline(*command).stdout


def test_what_is_overdue_is_said_with_every_result(path, photos, sighted):
    zero("0.00 mm", "2026-11-01")
    run("set", "G1", "--zero-days", 10, "--on", "2026-11-01")
    command = ("measure", "--gauge", "G1", "--readings", "1.22 mm", "--on")
    assert (
        "State of this gauge: zero check OVERDUE since 2026-11-11."
        in datumline(*command, "2026-11-12").stdout
    )
    assert "State of this gauge" not in datumline(*command, "2026-11-11").stdout
    read = ("read", photos("a.png", sighted(2, 22.0)), "--gauge", "G1", "--on")
    assert "The zero check is 11 days old" in datumline(*read, "2026-11-12").stdout
    assert "days old:" not in datumline(*read, "2026-11-11").stdout


def test_chart_as_picture_and_page(path, tmp_path):
    assert "two zero checks" in run("chart", "G1").stderr
    for day in range(1, 22):
        zero(f"+0.0{2 + day % 2} mm", f"2026-10-{day:02}")
    zero("+0.09 mm", "2026-11-20")
    files = [tmp_path / name for name in ("c.svg", "c.png", "c.html")]
    done = run("chart", "G1", "--picture", files[0], "--page", files[2])
    assert "zero error over 22 checks" in done.stdout
    assert "provisional" not in done.stdout
    assert "2026-11-20 00:00  +0.090 mm  outside the limits" in done.stdout
    assert ElementTree.parse(files[0]).getroot().tag.endswith("svg")
    assert run("chart", "G1", "--picture", files[1]).exit_code == 0
    with Image.open(files[1]) as picture:
        assert picture.width > 1000
    assert files[2].read_text().count("<tr>") == 23
    assert "[zero +0.09 mm, zero outside the limits, " in run("list", "--on", "2026-11-21").stdout
    assert "name it .svg or .png" in run("chart", "G1", "--picture", "c.bmp").stderr


def test_show_lists_the_newest_checks_only(path):
    for day in range(1, 13):
        zero(f"+0.0{day % 3} mm", f"2026-10-{day:02}")
    lines = run("show", "G1").stdout.splitlines()
    assert lines[1] == "  (2 earlier zero checks)"
    assert sum("typed" in line for line in lines) == 10
    assert lines[-1].startswith("  * 2026-10-12")


def test_closed_photos_teach_the_edge_s_set_by_the_right_turn(path, photos, sighted):
    # Sighted as 47 divisions after 0 turns though it is 3 short of nothing: its edge then stands
    # 0.70 pitches before where that reading puts it, so 0.30 past where the right one does.
    seen = [
        photos("a.png", sighted(0, 47.0, evidence=Evidence(edge_set_pitches=-0.70))),
        photos(
            "b.png", sighted(-1, 47.1, confidence=0.8, evidence=Evidence(edge_set_pitches=0.31))
        ),
    ]
    done = datumline("zero", "G1", *seen, "--on", "2026-11-20")
    assert done.exit_code == 0
    assert "b.png: confidence 0.80 is low" in done.stdout
    assert "a.png: confidence" not in done.stdout
    with Book(path) as book:
        assert sorted(book.edge_sets("G1", 9)) == pytest.approx([0.30, 0.31])


def test_accepted_readings_are_kept_and_unsure_ones_teach_nothing(path, photos, sighted):
    edge = Evidence(edge_set_pitches=0.3)
    seen = [
        photos("a.png", sighted(11, 28.0, evidence=edge)),
        photos("b.png", sighted(11, 29.0, evidence=edge, confidence=0.9)),
        photos("c.png", Refusal((reason("blurred"),))),
    ]
    assert datumline("read", *seen, "--gauge", "G1").exit_code == 3
    with Book(path) as book:
        assert book.count("reading", "G1") == 0
    assert datumline("read", *seen, "--gauge", "G1", "--keep", "--who", "me").exit_code == 3
    with Book(path) as book:
        assert book.count("reading", "G1") == 2
        assert book.edge_sets("G1", 9) == (0.3,)
        assert [one.who for one in book.history("G1") if one.what == "reading"] == ["me", "me"]
    assert "--gauge" in datumline("read", seen[0], "--keep").stderr


def test_dates_at_the_end_of_the_calendar(path):
    far = datetime(9999, 12, 1)
    with Book(path) as book:
        book.record_zero(ZeroCheck("G1", far, Decimal(0), 0.003))
    assert "zero check due 9999-12-31" in run("list", "--on", "9999-12-31").stdout
    assert run("due", "--on", "9999-12-31", "--days", 40000).exit_code == 0


def test_a_year_that_is_a_slip_is_not_recorded(path):
    slip = datumline("zero", "G1", "--reading", "0.02 mm", "--on", "2206-11-25")
    assert (slip.exit_code, slip.stdout) == (2, "")
    assert "check the year" in slip.stderr
    with Book(path) as book:
        assert book.zero_checks("G1") == ()


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        # each with a step of the working that is worked by hand
        (
            ("pitch", "G1", "--turns", "5", "--readings", "2.00 4.50 2.00 4.51 mm"),
            ("Pitch = distance ÷ turns = (4.51 − 2.00) ÷ 5 = 0.502 mm", "÷ √n = 0.001"),
        ),
        (
            ("backlash", "G1", "--closing", "5.02 5.03 5.02", "--opening", "5.06 5.05 5.06 mm"),
            # √(s₁² ÷ 3 + s₂² ÷ 3), each s = 0.01/√3 mm: 0.004714 mm
            ("Backlash = closing − opening = -0.033333 mm", "s₂² ÷ n₂) = 0.0047"),
        ),
        (
            ("calibrate", "G1", "--blocks", "5 10 mm", "--readings", "5.01 10.02 mm"),
            ("10 mm: 10.02 − (+0.01) − 10 = +10 µm", "zero check  0.0029"),
        ),
    ],
)
def test_the_working_and_the_page_of_what_was_found(arguments, named, path, tmp_path):
    zero("+0.01 mm", "2026-11-01")
    page = tmp_path / "page.html"
    option = "--page" if arguments[0] == "calibrate" else "--report"
    brief = run(*arguments)
    done = run(*arguments, "--explain", option, page, "--who", "<A.>")
    assert (brief.exit_code, done.exit_code) == (0, 0)
    for words in named:
        assert words in done.stdout
        assert words not in brief.stdout
        assert words in unescape(page.read_text())
    assert "&lt;A.&gt;, signed:" in page.read_text()


def test_a_zero_check_is_explained_and_has_its_page(path, photos, sighted, tmp_path, monkeypatch):
    monkeypatch.setattr("vision.overlay.draw", lambda *_: np.full((90, 200, 3), 90, dtype=np.uint8))
    page = tmp_path / "page.html"
    shots = [photos("a.png", sighted(0, 1.2)), photos("b.png", sighted(0, 1.4))]
    done = datumline("zero", "G1", *shots, "--explain", "--report", page)
    assert "a.png: 0.012 − 0 = +0.012 mm" in done.stdout
    assert "Mean of 2, to the printed step = +0.013 mm" in done.stdout
    assert "From now on: corrected = shown − (+0.013) mm" in done.stdout
    assert page.read_text().count("data:image/jpeg") == 2
    rod = datumline("zero", "G1", "--reading", "25.01 mm", "--rod", "25 mm", "--explain")
    assert "With the setting rod it should show 25 mm" in rod.stdout


def test_a_page_that_can_not_be_written_is_said_before_anything_is_recorded(path, tmp_path):
    zero("+0.01 mm", "2026-11-01")
    nowhere = tmp_path / "nowhere" / "page.html"
    for arguments in (
        ("zero", "G1", "--reading", "0.01 mm", "--report"),
        ("measure", "--gauge", "G1", "--readings", "5.01 mm", "--report"),
        ("gauge", "pitch", "G1", "--turns", "5", "--readings", "2 4.5 mm", "--report"),
        ("gauge", "calibrate", "G1", "--blocks", "5 mm", "--readings", "5.01 mm", "--page"),
    ):
        done = datumline(*arguments, nowhere)
        assert (done.exit_code, done.stdout) == (2, "")
        assert "there is no folder" in done.stderr
        assert f"{tmp_path}: is a folder" in datumline(*arguments, tmp_path).stderr
    with Book(path) as book:
        assert [one.what for one in book.history()] == ["gauge", "zero check"]


def test_an_inch_gauge_takes_millimetres_shortly_written(path):
    run("add", "I1", "--pitch", "0.025 in", "--divisions", 25, "--end", "25.4 mm")
    done = datumline("zero", "I1", "--reading", "+0.005 mm", "--on", "2026-11-01")
    assert "zero error +0.0001969 in" in done.stdout  # 0.005 / 25.4, by hand
    judged = datumline(
        *("measure", "--gauge", "I1", "--readings", "0.0516 in", "--lower", "1.25 mm"),
        *("--unit", "µm", "--on", "2026-11-02"),
    )
    assert "limits from 0.0492126 in" in judged.stdout  # 1.25 / 25.4
    assert re.match(r"I1: 1306 ± \d+ µm", judged.stdout)  # (0.0516 − 0.0001969) · 25400 = 1305.6


@pytest.mark.parametrize(
    ("option", "value"),
    [("--limit", "-4 um"), ("--limit", "0 um"), ("--block-u", "-1 um"), ("--flatness", "0 um")],
)
def test_lengths_that_must_be_more_than_nothing(option, value, path):
    zero("0.00 mm", "2026-11-01")
    done = run("calibrate", "G1", "--readings", "5 mm", "--blocks", "5 mm", option, value)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "more than 0" in done.stderr


def test_who_entered_a_gauge_is_in_the_history(path, monkeypatch):
    monkeypatch.setenv("LOGNAME", "instructor")  # what the system knows the user by
    added = run("add", "G2", "--pitch", "1 mm", "--divisions", 100, "--who", "student 7")
    assert added.exit_code == 0
    with Book(path) as book:
        assert [(one.what, one.who) for one in book.history("G2")] == [("gauge", "student 7")]
    assert run("add", "G3", "--pitch", "1 mm", "--divisions", 100).exit_code == 0
    with Book(path) as book:
        assert [one.who for one in book.history("G3")] == ["instructor"]
