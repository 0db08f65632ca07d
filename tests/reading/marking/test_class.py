"""A class with planted slips, worked by a script that shares nothing with the diagnosis.

Photos are made up here: what each shows, to within the uncertainty that it states.
"""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

import numpy as np
import pytest

from fixtures.class_set import GAUGES, draw_class
from reading.marking.diagnosis import Truth
from reading.marking.marks import WRONG, Asked, judge, leading
from reading.marking.scheme import load_scheme
from reading.marking.written import Entry, read_entry
from reading.tables import Cell
from vision.scale import Scale

U_DIVISION = 0.05
ASKED = Asked(zero_correction=True, unit=True)


def scale_of(gauge):
    return Scale(Decimal(gauge.per_turn) / gauge.per_mm, gauge.per_turn)


def judged(row, rng, asked=ASKED):
    gauge = next(one for one in GAUGES if one.name == row["gauge"])
    shown = float(row["shown_divisions"]) + rng.normal(0, U_DIVISION)
    turns, division = divmod(shown, gauge.per_turn)
    zero = Decimal(gauge.zero) / gauge.per_mm
    truth = Truth(scale_of(gauge), int(turns), division, U_DIVISION, zero)
    entry = Entry(reading=Cell(row["reading"]), corrected=Cell(row["corrected"]))
    return judge(read_entry(entry, truth.scale), truth, load_scheme(), asked)


def names(judgement):
    """List the slips named: those that give the same numbers, and those of the writing."""
    single = {one.codes[0] for one in leading(judgement.explanations) if len(one.slips) == 1}
    return single | {slip.code for slip in judgement.form}


@pytest.fixture(scope="module")
def results():
    """Judge three classes of 60 students with 5 observations each."""
    rng = np.random.default_rng(77)
    rows = [row for seed in (1, 2, 3) for row in draw_class(seed)]
    return [(row, judged(row, rng)) for row in rows]


def test_planted_slips_are_named_first(results):
    """First by itself, or among those that lead to the very same numbers."""
    slipped = [(row["planted"], one) for row, one in results if row["planted"]]
    assert len(slipped) > 300
    named = [planted in names(one) for planted, one in slipped]
    assert sum(named) >= 0.95 * len(named)
    first = [planted in {slip.code for slip in one.slips} for planted, one in slipped]
    assert sum(first) >= 0.80 * len(first)
    assert sum(len(names(one)) for _, one in slipped) < 1.6 * len(slipped)


def test_right_answers_are_not_called_wrong(results):
    right = [one for row, one in results if not row["planted"]]
    assert len(right) > 400
    assert sum(one.verdict == WRONG for one in right) <= 0.01 * len(right)
    full = [one for one in right if one.points == one.out_of]
    assert len(full) >= 0.99 * len(right)


def test_every_slip_of_the_value_costs_marks(results):
    for row, one in results:
        if row["planted"]:
            assert one.points < one.out_of, (row, one)


if __name__ == "__main__":
    table = Counter()
    rng = np.random.default_rng(77)
    for row in (row for seed in (1, 2, 3) for row in draw_class(seed)):
        one = judged(row, rng)
        first = ",".join(slip.code for slip in one.slips) or one.verdict
        table[row["planted"] or "right", first, row["planted"] in names(one)] += 1
    for key, count in sorted(table.items()):
        print(count, *key)
