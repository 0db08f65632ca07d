"""What people and programs are told of a result."""

from __future__ import annotations

import csv
import io
import json
from decimal import Decimal

import pytest

from reading.correct import correct, refused
from reading.formats import COLUMNS, caption, csv_header, record, to_csv, to_json, to_text
from reading.gauge import Gauge, ZeroCheck
from reading.result import PhotoRecord, Unusable
from reading.slips import compare
from reading.working import working, working_of_refusal
from vision.reasons import reason
from vision.scale import Scale
from vision.sighting import Alternative, Refusal

FINE = Scale(Decimal("0.5"), 50)
# The keys that programs count on; renaming one breaks them.
PROMISED = {
    "photo",
    "status",
    "reasons",
    "gauge",
    "pitch_mm",
    "divisions",
    "unit",
    "sleeve_mm",
    "thimble_division",
    "shown_mm",
    "shown_uncertainty_mm",
    "zero_error_mm",
    "zero_check_date",
    "corrected_mm",
    "expanded_uncertainty_mm",
    "confidence",
    "parallax_divisions",
    "px_per_division",
    "alternatives",
}


@pytest.fixture
def corrected(sighted, photo, noon):
    seen = sighted(11, 27.7, others=[(11, 27.7, 0.98), (10, 27.7, 0.0151), (12, 27.7, 0.0001)])
    check = ZeroCheck("G1", noon.at, Decimal("0.03"), 0.0029)
    return correct(photo, seen, noon, Gauge("G1", FINE), [check])


@pytest.fixture
def ambiguous(photo):
    others = (Alternative(12, 0.4, 0.5), Alternative(11, 0.4, 0.4))
    told = (reason("turn_ambiguous"), reason("too_small", 5.1, 8))
    return refused(photo, Refusal(told, FINE, others, 5.1), Gauge("G1", FINE))


def test_json_has_the_promised_keys_and_exact_numbers(corrected):
    text = to_json(corrected)
    values = json.loads(text, parse_float=Decimal)
    assert set(values) >= PROMISED
    assert tuple(values) == COLUMNS
    assert "\n" not in text
    expected = {
        "photo": "bench3.jpg",
        "status": "read",
        "reasons": [],
        "gauge": "G1",
        "pitch_mm": Decimal("0.5"),
        "divisions": 50,
        "unit": "mm",
        "sleeve_mm": Decimal("5.5"),
        "thimble_division": Decimal("27.7"),
        "shown_mm": Decimal("5.777"),  # 5.5 + 27.7 x 0.01
        "zero_error_mm": Decimal("0.03"),
        "zero_check_date": "2026-11-25",
        "corrected_mm": Decimal("5.747"),  # 5.777 - 0.03
        "confidence": Decimal("0.98"),
        "parallax_divisions": Decimal("0.012"),
        "px_per_division": Decimal("12.5"),
    }
    assert {key: values[key] for key in expected} == expected
    # root(0.1^2 + 0.1^2/12) divisions; 2 x root(0.001^2 + 0.01^2/12 + 0.0029^2) = 0.00843
    assert values["shown_uncertainty_mm"] == Decimal("0.0011")
    assert values["expanded_uncertainty_mm"] == Decimal("0.0084")
    assert values["alternatives"][1] == {
        "shown_mm": Decimal("5.277"),
        "probability": Decimal("0.0151"),
    }


def test_without_a_zero_check_the_correction_is_null(sighted, photo, noon):
    values = record(correct(photo, sighted(11, 28.0), noon))
    absent = ("gauge", "zero_error_mm", "zero_check_date", "corrected_mm")
    assert all(values[key] is None for key in (*absent, "expanded_uncertainty_mm", "hand_mm"))
    assert values["shown_mm"] == Decimal("5.78")


def test_shown_is_sleeve_and_divisions_of_the_least_count(sighted, photo, noon):
    ranged = Scale(Decimal("0.5"), 50, start=Decimal(25))
    inch = Scale(Decimal("0.025"), 25, "in", vernier=10)
    for scale in (FINE, ranged, inch):
        values = record(correct(photo, sighted(7, 23.4, scale), noon))
        least_count_mm = values["pitch_mm"] / values["divisions"]
        thimble = values["thimble_division"] * least_count_mm
        assert values["shown_mm"] == values["sleeve_mm"] + thimble
    # 0.175 in + 23.4 x 0.001 in = 0.1984 in; an inch is 25.4 mm exactly
    assert values["shown_mm"] == Decimal("0.1984") * Decimal("25.4")
    assert record(correct(photo, sighted(0, 0.0, ranged), noon))["sleeve_mm"] == 25


def test_a_refused_photo_in_json(ambiguous):
    values = json.loads(to_json(ambiguous))
    assert set(values) >= PROMISED
    assert values["status"] == "refused"
    assert [one["code"] for one in values["reasons"]] == ["turn_ambiguous", "too_small"]
    assert "come closer" in values["reasons"][1]["message"].lower()
    assert values["alternatives"] == [
        {"shown_mm": 6.004, "probability": 0.5},
        {"shown_mm": 5.504, "probability": 0.4},
    ]
    assert values["px_per_division"] == 5.1
    assert values["pitch_mm"] == 0.5
    assert values["shown_mm"] is None


def test_a_refused_photo_of_an_unknown_scale_in_json(photo):
    values = json.loads(to_json(refused(photo, Refusal((reason("no_gauge"),)))))
    assert values["alternatives"] == []
    assert values["divisions"] is None


def test_an_unusable_file_in_json():
    values = json.loads(to_json(Unusable("a.jpg", "a.jpg: no such file: check the name")))
    assert values["status"] == "refused"
    assert values["photo"] == "a.jpg"
    assert values["reasons"][0]["code"] == "unusable_file"


def test_json_is_ascii_and_takes_any_file_name(corrected):
    name = 'caf\u00e9 "\udcff\n.jpg'
    text = to_json(Unusable(name, f"{name}: no"))
    assert text.isascii()
    assert "\n" not in text
    assert json.loads(text)["photo"] == name


def test_csv_has_the_columns_of_json(corrected, ambiguous):
    unusable = Unusable("a,b.jpg", "a,b.jpg: empty")
    lines = [csv_header(), *map(to_csv, (corrected, ambiguous, unusable))]
    rows = list(csv.DictReader(io.StringIO("\n".join(lines))))
    assert tuple(rows[0]) == COLUMNS
    assert rows[0]["shown_mm"] == "5.777"
    assert rows[0]["corrected_mm"] == "5.747"
    assert rows[1]["alternatives"] == "6.004: 0.5 | 5.504: 0.4"
    assert rows[1]["shown_mm"] == ""
    assert rows[2]["photo"] == "a,b.jpg"


def test_text_tells_how_it_came_about(corrected):
    lines = to_text(corrected).splitlines()
    # U = 0.00843 mm, written no finer than the reading's last figure
    assert lines[0] == "bench3.jpg: 5.747 ± 0.009 mm corrected (k = 2)"
    assert "5.5 + 27.7 × 0.01 = 5.777 mm shown" in lines[1]
    assert "5.777 − (+0.03) zero error = 5.747 mm corrected" in lines[2]
    assert "2026-11-25" in lines[2]
    assert "0.5747 cm, 0.22626 in" in lines[3]  # 5.747 / 25.4 = 0.226260
    assert "confidence 0.98; it may also be 5.277 mm (0.02)" in lines[4]
    assert "6.277" not in lines[4]  # one in ten thousand would print as 0.00


def test_text_warns_where_nothing_was_taken_off(sighted, photo, noon):
    text = to_text(correct(photo, sighted(11, 28.0), noon, Gauge("G1", FINE)))
    assert "5.780 mm shown, not corrected" in text
    assert "warning: No zero check is on record" in text


def test_text_of_a_refusal_says_why_and_what_to_do(ambiguous):
    text = to_text(ambiguous)
    assert text.startswith("bench3.jpg: refused\n")
    assert "[turn_ambiguous]" in text
    assert "(5.1, limit 8)" in text
    assert "it may show 6.004 mm (0.50), 5.504 mm (0.40)" in text


def test_a_strange_file_name_stays_on_one_line(sighted, noon):
    strange = PhotoRecord("a\nb\udcff.jpg", "0" * 64)
    first = to_text(correct(strange, sighted(11, 28.0), noon)).splitlines()[0]
    assert first.startswith(r"'a\nb\udcff.jpg': 5.780 mm shown")


def test_text_of_a_hand_reading(corrected):
    from dataclasses import replace

    agrees = replace(corrected, hand=compare(Decimal("5.78"), corrected))
    assert "hand reading 5.78 mm agrees with the shown reading (+0.3 divisions)" in to_text(agrees)
    slipped = replace(corrected, hand=compare(Decimal("5.28"), corrected))
    assert "disagrees with the corrected reading (-46.7 divisions)" in to_text(slipped)
    assert "likeliest slip: the half-millimetre line was missed" in to_text(slipped)
    strange = replace(corrected, hand=compare(Decimal("3.337"), corrected))
    assert "no usual slip leads to it" in to_text(strange)
    values = record(slipped)
    assert values["hand_mm"] == Decimal("5.28")
    assert values["slips"][0]["code"] == "half_line_missed"
    assert values["hand_agrees"] is False


def test_an_overlay_is_captioned_in_ascii(corrected, ambiguous):
    assert caption(corrected)[0] == "5.5 + 27.7 x 0.01 = 5.777 mm shown"
    assert "5.747 mm corrected" in caption(corrected)[1]
    assert all(line.isascii() for line in (*caption(corrected), *caption(ambiguous)))


def test_the_working_is_whole(corrected):
    lines = working(corrected)
    assert lines[0] == "Least count = pitch ÷ divisions = 0.5 mm ÷ 50 = 0.01 mm"
    assert lines[1] == "Sleeve = 11 × 0.5 = 5.5 mm"
    assert lines[2] == "Thimble = 27.7 divisions × 0.01 = 0.277 mm"
    assert lines[3] == "Shown = sleeve + thimble = 5.5 + 0.277 = 5.777 mm"
    assert "Corrected = shown − zero error = 5.777 − (+0.03) = 5.747 mm" in lines
    assert "Standard uncertainty, least count: 0.0029 mm (rectangular, width / √12)" in lines
    assert lines[-1] == "Result = 5.747 ± 0.009 mm"


def test_the_working_starts_from_the_range(sighted, photo, noon):
    ranged = Scale(Decimal("0.5"), 50, start=Decimal(25))
    lines = working(correct(photo, sighted(11, 28.0, ranged, parallax_divisions=-0.2), noon))
    assert "Sleeve = 25 + 11 × 0.5 = 30.5 mm" in lines
    assert any("Parallax of -0.20 divisions" in line for line in lines)
    assert any(line.startswith("Not corrected. No gauge was named") for line in lines)
    assert lines[-1] == "The zero error, being unknown, is not in it."


def test_the_working_of_a_refusal_numbers_its_reasons(ambiguous):
    lines = working_of_refusal(ambiguous)
    assert lines[0].startswith("1. ")
    assert lines[2].startswith("2. ")
    assert lines[3] == "   What to do: Come closer, or crop and shrink less."


def test_a_photo_is_named_as_it_was_given(sighted, noon):
    seen = correct(PhotoRecord("lab/a.jpg", "0" * 64), sighted(1, 2.0), noon)
    assert record(seen)["photo"] == "lab/a.jpg"
