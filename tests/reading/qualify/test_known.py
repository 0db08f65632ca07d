"""Truth files as people write them, and readings against them."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest

from reading.problem import Problem
from reading.qualify import known
from reading.qualify.judging import COLUMNS, CRASHED, UNUSABLE, judge
from reading.qualify.known import known_from, read_truth
from reading.result import Unusable
from vision.reasons import reason
from vision.scale import Scale
from vision.sighting import Alternative, Refusal, Sighting

FINE = Scale(Decimal("0.5"), 50)
HERE = Path("photos")
ROW = {"file": "a.jpg", "pitch": "0.5 mm", "divisions": "50", "shown": "7.781 mm"}


def sighting(turns, division, confidence=0.97, scale=FINE, parallax=0.0):
    return Sighting(scale, True, 1.0, turns, division, 0.03, confidence, 12.0, 0.1, parallax)


def truth(folder, text, encoding="utf-8"):
    (folder / "truth.csv").write_bytes(text.encode(encoding))
    return folder


def test_the_shortest_truth_file_with_one_scale_for_all(tmp_path):
    held = read_truth(truth(tmp_path, "photo,reading\na.jpg,7.78 mm\n"), scale=FINE)
    assert held[0].path == tmp_path / "a.jpg"
    assert held[0].scale == FINE
    assert (held[0].shown.value, held[0].shown.unit) == (Decimal("7.78"), "mm")
    assert held[0].status == "readable"
    assert held[0].kind == "0.5 mm / 50"


def test_a_spreadsheet_s_export(tmp_path):
    """Semicolons, decimal commas, a byte order mark, capitals and spaces, Windows line ends."""
    text = "File;Shown;Unit;Pitch;Divisions;Px per division\r\n sub/ä.jpg ;7,78;mm;0,5;50;12,5\r\n"
    (one,) = read_truth(truth(tmp_path, text, "utf-8-sig"))
    assert one.path == tmp_path / "sub" / "ä.jpg"
    assert one.scale == FINE
    assert one.shown.value == Decimal("7.78")
    assert one.number("px_per_division") == 12.5


def test_what_can_t_be_read_is_said_by_either_column_or_by_an_empty_reading(tmp_path):
    rows = ("a,,,", "b,1 mm,no,", "c,1 mm,,negative", "d,1 mm,yes,", "e,1 mm,,hard")
    text = "\n".join(("file,shown,readable,status", *rows))
    held = read_truth(truth(tmp_path, text), scale=FINE)
    assert [one.status for one in held] == ["negative"] * 3 + ["readable", "hard"]


def test_a_gauge_s_name_is_looked_up_where_no_scale_is_given(tmp_path):
    text = "file,shown,gauge,pitch,divisions\na,1 mm,G1,,\nb,1 mm,G1,1 mm,100\n"
    held = read_truth(truth(tmp_path, text), find_scale={"G1": FINE}.__getitem__)
    assert [one.scale for one in held] == [FINE, Scale(Decimal(1), 100)]


def test_a_scale_is_made_of_its_columns():
    row = {"pitch": "1/40 in", "divisions": "25", "vernier": "10", "start": "1", "reversed": "yes"}
    one = known_from(HERE, ROW | row | {"shown": "1.1 in"})
    assert one.scale == Scale(Decimal("0.025"), 25, "in", Decimal(1), 10, True)
    assert one.kind == "0.025 in / 25, vernier 10"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("file,shown\na.jpg,7.78\n", "line 2 .a.jpg.: .*no unit"),
        ("file,shown\na.jpg,7.78 mm\nb.jpg,much\n", "line 3 .b.jpg.: 'much' is not a length"),
        ("file\na.jpg\n", "no column 'shown'"),
        ("file,shown\n,1 mm\n", "no photo is named"),
        ("file,shown,readable\na,1 mm,perhaps\n", "readable 'perhaps': yes or no"),
        ("file,shown,readable\na,,yes\n", "what it shows is not given"),
        ("file,shown,status\na,1 mm,good\n", "status 'good'"),
        ("file,shown,pitch\na,1 mm,1 mm\n", "go together"),
        ("file,shown,pitch,divisions\na,1 mm,1 mm,many\n", "many"),
        ("file,shown,roll_deg\na,1 mm,steep\n", "roll_deg 'steep'"),
        ("file,shown\n", "no photos in it"),
        ("", "no photos in it"),
    ],
)
def test_what_is_not_understood_is_named_with_its_line(tmp_path, text, words):
    with pytest.raises(Problem, match=words):
        read_truth(truth(tmp_path, text), scale=FINE)


def test_a_scale_that_nobody_named_is_asked_for(tmp_path):
    with pytest.raises(Problem, match="--pitch and --divisions, or --gauge"):
        read_truth(truth(tmp_path, "file,shown\na,1 mm\n"))


def test_a_folder_without_a_truth_file_ends_in_one_line(tmp_path):
    with pytest.raises(Problem, match=r"truth\.csv: can't be read"):
        read_truth(tmp_path)
    with pytest.raises(Problem, match="not UTF-8"):
        read_truth(truth(tmp_path, "file,shown\nä,1 mm\n", "latin-1"))


@pytest.mark.parametrize(
    ("row", "turns", "division", "scale", "off"),
    [
        ({}, 15, 28.3, FINE, 0.2),
        ({}, 14, 28.1, FINE, -50.0),
        ({"shown": "-0.0200 mm"}, -1, 48.5, FINE, 0.5),
        (
            {"pitch": "1/40 in", "divisions": "25", "shown": "0.1734 in"},
            *(6, 23.1, Scale(Decimal("0.025"), 25, "in"), -0.3),
        ),
        ({"shown": "32.781 mm", "start": "25 mm"}, 15, 28.1, FINE, -2500.0),
        ({"shown": "32.781 mm", "start": "25 mm", "start_engraved": "0"}, 15, 28.1, FINE, 0.0),
        # read as a gauge of another pitch: judged by the length, in true divisions
        ({}, 7, 78.3, Scale(Decimal(1), 100), 0.2),
    ],
)
def test_errors_count_divisions_over_the_whole_reading(row, turns, division, scale, off):
    one = known_from(HERE, ROW | row)
    outcome = judge(one, sighting(turns, division, scale=scale)).outcome
    assert outcome.error_divisions == pytest.approx(off, abs=1e-6)
    assert outcome.wrong == (abs(off) > 1)
    assert outcome.turns_off == round(off / one.scale.divisions)


def test_parallax_left_is_what_was_not_taken_off():
    one = known_from(HERE, ROW | {"parallax_divisions": "-0.14"})
    outcome = judge(one, sighting(15, 28.1, parallax=-0.11)).outcome
    assert outcome.parallax_left == pytest.approx(-0.03)


def test_pixels_and_roll_come_from_the_truth_first():
    seen = sighting(15, 28.1)
    named = judge(known_from(HERE, ROW | {"px_per_division": "9", "roll_deg": "2"}), seen).outcome
    assert (named.px_per_division, named.roll_deg) == (9.0, 2.0)
    found = judge(known_from(HERE, ROW), seen).outcome
    assert (found.px_per_division, found.roll_deg) == pytest.approx((12.0, 5.7296), abs=1e-4)


def test_a_refusal_says_whether_the_truth_led_its_alternatives():
    alternatives = (Alternative(14, 28.1, 0.5), Alternative(15, 28.0, 0.4))
    judged = judge(known_from(HERE, ROW), Refusal((reason("turn_ambiguous"),), FINE, alternatives))
    assert not judged.outcome.accepted
    assert judged.outcome.rank == 2
    assert judged.cells["reasons"] == "turn_ambiguous"
    assert judged.cells["alternatives"].startswith("7.2810 mm: 0.500; 7.7800 mm")


def test_a_sighting_of_a_negative_is_wrong_whatever_it_says():
    one = known_from(HERE, ROW | {"status": "negative", "negative_kind": "mirrored"})
    outcome = judge(one, sighting(15, 28.1)).outcome
    assert outcome.accepted
    assert outcome.wrong
    assert outcome.error_divisions is None


def test_a_file_that_can_t_be_used_and_a_crash_are_told_apart():
    one = known_from(HERE, ROW)
    broken = judge(one, Unusable("a.jpg", "a.jpg: the file is damaged"))
    crashed = judge(one, Unusable(CRASHED, "by nothing"))
    assert broken.outcome.reasons == (UNUSABLE,)
    assert crashed.outcome.reasons == (CRASHED,)
    assert "damaged" in broken.cells["reasons"]
    assert set(broken.cells) <= set(COLUMNS)


def test_the_readme_names_the_columns_that_count():
    readme = (Path(__file__).parents[3] / "README.md").read_text()
    section = readme.partition("## Qualify it")[2].partition("\n## ")[0]
    last = section.partition("Other columns that count")[2]
    named = set(re.findall(r"`(\w+)`", last))
    assert named
    assert named <= set(re.findall(r"``(\w+)``", known.__doc__))
