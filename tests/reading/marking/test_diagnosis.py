"""Explanations of what was written on three worked gauges; arithmetic by hand beside each.

The mistakes are common practice of teaching: they are what teachers warn of.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from reading.marking.diagnosis import Truth, chance_of_misreading, explain, rank
from reading.marking.marks import Asked, judge, leading
from reading.marking.scheme import load_scheme
from reading.marking.written import Entry, read_entry
from reading.problem import Problem
from reading.tables import Cell
from vision.scale import Scale

FINE, SCHOOL = Scale(Decimal("0.5"), 50), Scale(Decimal(1), 100)
# A shows 5.5 + 28 x 0.01 = 5.78, corrected 5.75; B 4 + 76 x 0.01 = 4.76, corrected 4.86;
# C 6.0 + 47 x 0.01 = 6.47, corrected 6.45.
A = Truth(FINE, 11, 28.0, 0.05, Decimal("0.03"))
B = Truth(SCHOOL, 4, 76.0, 0.05, Decimal("-0.10"))
C = Truth(FINE, 12, 47.0, 0.05, Decimal("0.02"))
ASKED = Asked(zero_correction=True)


def sheet(truth, either=False, **written):
    entry = Entry(**{name: Cell(text) for name, text in written.items()})
    return replace(read_entry(entry, truth.scale), either=either)


def fits(truth, either=False, **written):
    return [set(one.codes) for one in leading(rank(sheet(truth, either, **written), truth))]


def judged(truth, asked=ASKED, **written):
    return judge(sheet(truth, **written), truth, load_scheme(), asked)


def lost(judgement):
    return {item.name for item in judgement.items if item.points == 0}


@pytest.mark.parametrize(
    ("truth", "written", "codes"),
    [
        (A, {"reading": "5.28"}, [{"half_line_missed"}]),
        (A, {"corrected": "5.81"}, [{"zero_sign_wrong"}]),
        (A, {"reading": "5.78", "corrected": "5.78"}, [{"zero_forgotten"}]),
        (B, {"corrected": "3.86"}, [{"negative_zero_taken_positive"}]),
        (A, {"reading": "5.528"}, [{"least_count_tenfold"}]),
        (A, {"reading": "0.578"}, [{"unit_slip"}]),
        (A, {"reading": "5.8"}, [{"too_few_decimals"}]),
        # 5.5 and 28 do not make 5.68.
        (A, {"sleeve": "5.5", "division": "28", "reading": "5.68"}, [{"parts_not_added"}]),
        # 5.78 - 0.03 is not 5.79.
        (A, {"reading": "5.78", "corrected": "5.79"}, [{"correction_miscalculated"}]),
        (A, {"reading": "5.78", "zero": "0.30", "corrected": "5.48"}, [{"zero_misread"}]),
        # The parts tell two slips apart that give one sum: 22 was read, not 28.
        (A, {"sleeve": "5.5", "division": "22"} | {"reading": "5.72"},
         [{"counted_wrong_way"}, {"thimble_backwards"}]),
    ],
)  # fmt: skip
def test_what_was_written_is_explained(truth, written, codes):
    found = fits(truth, **written)
    assert found[0] == codes[0]
    assert all(code in found for code in codes)
    assert len(found) == len(codes)


def test_a_lone_number_is_tried_as_shown_and_as_corrected():
    # 5.78 - 2 x 0.03 = 5.5 + (50 - 28) x 0.01 = 5.5 + (25 - 3) x 0.01 = 5.72
    found = fits(A, either=True, reading="5.72")
    for code in ("zero_applied_twice", "thimble_backwards", "counted_wrong_way"):
        assert {code} in found
    assert len(found) == 3


def test_two_numbers_tell_what_one_leaves_open():
    assert {"half_line_added"} in fits(C, reading="6.97", corrected="6.95")
    assert {"next_line_counted"} in fits(C, reading="6.97", corrected="6.95")
    # Far from the turn a passed line can't be hidden.
    assert fits(A, reading="5.28", corrected="5.25") == [{"half_line_missed"}]


def test_two_slips_together():
    # 5.28 + 0.03
    assert fits(A, reading="5.28", corrected="5.31") == [{"half_line_missed", "zero_sign_wrong"}]


def test_what_no_slip_gives_is_unexplained():
    first = rank(sheet(A, reading="9.37", corrected="9.34"), A)[0]
    assert first.slips == ()


def test_probabilities_sum_to_one():
    for written in ({"reading": "5.28"}, {"corrected": "5.72"}, {"reading": "9.37"}):
        ranked = rank(sheet(A, **written), A)
        assert sum(one.probability for one in ranked) == pytest.approx(1, abs=0.05)


def test_a_photo_that_may_show_what_was_written_is_doubted():
    written = sheet(A, reading="5.28")
    _, evidence = explain(written, A)
    none = chance_of_misreading(written, A, [(11, 33.0, 0.01)], evidence)
    little = chance_of_misreading(written, A, [(10, 28.0, 0.0001)], evidence)
    much = chance_of_misreading(written, A, [(10, 28.0, 0.03)], evidence)
    assert none == pytest.approx(0, abs=1e-6)
    assert 0 < little < 0.05 < much < 1


@pytest.mark.parametrize(
    ("written", "verdict"),
    [
        ({"reading": "5.78", "corrected": "5.75"}, "right"),
        ({"reading": "5.79", "corrected": "5.76"}, "within"),
        ({"reading": "5.80", "corrected": "5.77"}, "wrong"),
        ({"reading": "0.578 cm", "corrected": "0.575 cm"}, "right"),
        ({"reading": "5,78", "corrected": "5,75"}, "right"),
        # the student's own zero error, a division off, is as good as the record
        ({"reading": "5.78", "zero": "+4 div", "corrected": "5.74"}, "right"),
        ({"reading": "5.78", "zero": "+5 div", "corrected": "5.73"}, "wrong"),
        # counted in divisions
        ({"reading": "5.78", "zero": "3", "corrected": "5.75"}, "right"),
    ],
)
def test_right_within_and_wrong(written, verdict):
    assert judged(A, **written).verdict == verdict


def test_near_the_turn_either_way_of_reading_is_right():
    edge = Truth(FINE, 11, 49.9, 0.05, None)
    assert judged(edge, Asked(), sleeve="6.0", division="0", reading="6.00").verdict == "right"
    assert judged(edge, Asked(), sleeve="5.5", division="50", reading="6.00").verdict == "right"
    assert judged(edge, Asked(), sleeve="5.5", division="0", reading="5.50").verdict == "wrong"


def test_marks_are_carried_forward():
    # The half line was missed; the correction that follows is right.
    carried = judged(A, reading="5.28", corrected="5.25")
    assert lost(carried) == {"sleeve"}
    strict = replace(load_scheme(), carry_forward=False)
    judgement = judge(sheet(A, reading="5.28", corrected="5.25"), A, strict, ASKED)
    assert lost(judgement) == {"sleeve", "final_value"}


@pytest.mark.parametrize(
    ("written", "items"),
    [
        ({"reading": "5.78", "corrected": "5.81"}, {"zero_correction", "final_value"}),
        ({"reading": "5.72", "corrected": "5.69"}, {"division"}),
        ({"reading": "5.8", "corrected": "5.8"}, {"decimals", "final_value"}),
        ({"reading": "5.780", "corrected": "5.750"}, {"decimals"}),
        ({"reading": "5.78"}, {"zero_correction"}),
        ({"reading": "57.8", "corrected": "57.5"}, {"unit", "decimals"}),
    ],
)
def test_what_a_slip_costs(written, items):
    assert lost(judged(A, **written)) == items


def test_end_zeros_that_a_spreadsheet_dropped_cost_nothing():
    whole = Truth(FINE, 11, 20.0, 0.05, None)
    for as_typed, cost in ((True, {"decimals"}), (False, set())):
        entry = Entry(reading=Cell("5.7", as_typed))
        judgement = judge(read_entry(entry, FINE), whole, load_scheme(), Asked())
        assert lost(judgement) == cost


def test_several_slips_that_fit_cost_what_the_kindest_does():
    # thimble backwards costs the division only; twice the zero error would cost the correction.
    alone = replace(sheet(A, reading="5.72"), either=True)
    judgement = judge(alone, A, load_scheme(), Asked())
    assert len(lost(judgement) - {"final_value"}) == 1


@pytest.mark.parametrize("text", ["about 5", "5.7 furlong", "5.7.8", "--"])
def test_what_is_no_number_is_named(text):
    with pytest.raises(Problem, match="not"):
        sheet(A, reading=text)


@pytest.mark.parametrize("turns", [-1, 0, 1])
@pytest.mark.parametrize("division", [0.0, 2.0, 48.0])
def test_near_nothing_every_explanation_ends(turns, division):
    near = Truth(FINE, turns, division, 0.05, Decimal("-0.03"))
    assert rank(sheet(near, reading="7.77", corrected="3.33"), near)[0].slips == ()


def test_a_dropped_carry_is_a_sum_not_added_up_right():
    # 0.175 + 0.018 in: 5 + 8 gives 3, the ten is forgotten.
    inch = Truth(Scale(Decimal("0.025"), 25, "in"), 7, 18.0, 0.05)
    assert {"parts_not_added"} in fits(inch, reading="0.183")
