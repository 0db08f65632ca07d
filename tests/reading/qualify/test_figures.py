"""Figures of made-up outcomes against counts and percentiles worked by hand."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from reading.qualify.bounds import lower_bound, upper_bound
from reading.qualify.figures import figures, group
from reading.qualify.goals import MISSED, REACHED, TOO_FEW, UNPROVED, UNTESTED, goals
from reading.qualify.lines import to_json, to_text
from reading.qualify.outcome import Outcome


def read(file="a", *, confidence=0.97, off=0.02, px=12.0, roll=5.0, row=None, status="readable"):
    return Outcome(
        *(file, status, "k", "", px, roll, 50, confidence, off, 0.1, 0.03),
        row={"parallax_divisions": "0.08"} | (row or {}),
    )


def refused(code="glare", px=9.0, rank=None):
    return Outcome("r", "readable", "k", "", px, reasons=(code,), rank=rank)


def outcomes():
    right = [read(off=0.02 * n) for n in range(10)]
    return [*right, read(confidence=0.6, off=-50.02), read(confidence=0.4, off=0.1), refused()]


def test_a_group_by_hand():
    found = group("x", outcomes())
    assert (found.photos, found.accepted.k, found.accepted.n) == (13, 11, 13)
    assert found.median.value == pytest.approx(0.10)  # of 0, 0.02 ... 0.18 and 50.02
    assert found.p95.value == pytest.approx((0.18 + 50.02) / 2)
    assert (found.wrong.k, found.wrong.n, found.turns_wrong.k) == (1, 11, 1)
    assert (found.sure_wrong.k, found.sure_wrong.n) == (0, 10)


def test_sizes_leave_out_what_is_turned_away_and_end_where_the_next_begins():
    held = [
        *(read(px=px) for px in (3.9, 4.0, 5.99, 6.0, 10.0, 20.0, 400.0)),
        *(read(px=30.0, roll=21.0), read(px=30.0, roll=-20.0), refused(px=math.nan)),
    ]
    found = figures(held)
    assert [(one.name, one.photos) for one in found.by_size] == [
        ("20 px and more", 3),
        ("10 to 20 px", 1),
        ("6 to 10 px", 1),
        ("4 to 6 px", 2),
        ("0 to 4 px", 1),
        ("size not known", 1),
    ]


def test_a_photo_refused_before_its_size_was_known_counts_against_coverage():
    assert figures([read(), refused(px=math.nan)]).large.accepted.value == 0.5
    assert figures([read(), refused(px=5.0)]).large.accepted.value == 1.0


def test_hard_photos_and_negatives_stand_apart():
    held = [
        read(),
        replace(read(off=30.0), status="hard"),
        Outcome("n", "negative", "k", "glare", confidence=0.7),
        Outcome("m", "negative", "k", "mirrored", reasons=("mirrored",)),
        Outcome("l", "negative", "k", "glare", confidence=0.4),
    ]
    found = figures(held)
    assert (found.readable.photos, found.readable.wrong.k) == (1, 0)
    assert (found.hard.photos, found.hard.wrong.k) == (1, 1)
    assert [(name, share.k, share.n) for name, share in found.negatives] == [
        ("all", 1, 3),
        ("glare", 1, 2),
        ("mirrored", 0, 1),
    ]
    assert sum(one.readings for one in found.bins) == 2  # the hard one's confidence counts


def test_parallax_within_fifteen_degrees_of_accepted_readings():
    far = replace(read(roll=16.0), parallax_left=9.0)
    unknown = replace(read(), parallax_left=math.nan, row={})
    held = [replace(read(roll=-15.0), parallax_left=-0.05), read(), read(), far, unknown]
    found = figures(held)
    assert (found.parallax.value, found.parallax.n) == (0.03, 3)
    assert found.parallax_uncorrected.value == pytest.approx(0.08)


def test_refusals_are_counted_by_their_first_reason():
    low = read(confidence=0.3)
    held = [refused(rank=1), refused(rank=2), refused("blurred"), replace(low, rank=1)]
    found = [(one.reason, one.photos, one.truth_first) for one in figures(held).refusals]
    assert found == [("glare", 2, 1), ("blurred", 1, 0), ("low confidence", 1, 1)]


def test_groups_by_a_column_of_words_and_of_many_numbers():
    held = [read(row={"lamp": "ring" if n % 2 else "", "lux": str(n)}) for n in range(100)]
    (_, lamps), (_, bands) = figures(held, ["lamp", "lux"]).by_column[1:]
    assert [(one.name, one.photos) for one in lamps] == [("not known", 50), ("ring", 50)]
    assert [one.photos for one in bands] == [25, 25, 25, 25]
    assert bands[0].name == "1: under 24.8"


def verdicts(held, mode="given"):
    return {one.what: one.verdict for one in goals(figures(held), mode)}


SURE = "more than one division off, at confidence ≥ 0.95"


@pytest.mark.parametrize(
    ("wrong", "right", "verdict"),
    [
        (0, 598, REACHED),
        (0, 597, TOO_FEW),
        (4, 1825, REACHED),
        (5, 1824, TOO_FEW),
        (2, 198, MISSED),
    ],
)
def test_one_in_two_hundred_is_proved_by_enough_photos_only(wrong, right, verdict):
    """(1 - 1/200)^598 < 0.05; with four wrong 1,829 are needed."""
    assert verdicts([read(off=1.5)] * wrong + [read()] * right)[SURE] == verdict


def test_coverage_aimed_at_depends_on_what_was_named():
    held = [read()] * 95 + [refused()] * 5
    what = "accepted at confidence ≥ 0.5"
    assert verdicts(held, "given")[what] == MISSED
    assert verdicts(held, "none")[what] == UNPROVED
    assert verdicts([*held] * 20, "none")[what] == REACHED


def test_goals_of_sizes_that_no_photo_has_are_untested():
    found = verdicts([read()] * 60)
    assert found["95th percentile, 10 to 20 px, roll within 20°"] == REACHED  # 59 are enough
    assert found["95th percentile, 20 px and more, roll within 20°"] == UNTESTED
    assert found["negatives accepted"] == UNTESTED
    assert found["a whole turn wrong, at confidence ≥ 0.95"] == REACHED
    turned = verdicts([read()] * 60 + [read(off=50.0)])
    assert turned["a whole turn wrong, at confidence ≥ 0.95"] == MISSED


def test_the_text_has_every_table_and_json_no_nan():
    held = [*outcomes(), Outcome("n", "negative", "k", "glare", confidence=0.7)]
    found = figures(held)
    text = to_text(found, "given")
    for words in (
        "11 of 13 readable photos accepted; more than one division off: 1 of them",
        "6 px and more",
        "negatives",
    ):
        assert words in text
    for words in ("kind of gauge", "calibration error", "standard deviation", "truth likeliest"):
        assert words in text
    data = json.loads(to_json({"given": found}), parse_constant=pytest.fail)
    accepted = data["given"]["readable"]["accepted"]
    assert (accepted["k"], accepted["n"], accepted["share"]) == (11, 13, 0.846154)
    assert accepted["lower"] == round(lower_bound(11, 13), 6)
    assert accepted["upper"] == round(upper_bound(11, 13), 6)
    assert data["given"]["goals"][0]["verdict"] == MISSED


def test_nothing_at_all_is_stated_as_nothing():
    assert "0 of 0 readable" in to_text(figures([]), "none")
