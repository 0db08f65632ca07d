"""How sleeves are numbered: shares that are shares, and numbers that say no more than was seen."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from tests.vision.test_sleeve import FINE, INCH, SCHOOL, number, numbers_say, seen_at
from vision import numbering


@pytest.mark.parametrize("scale", [FINE, SCHOOL, INCH, replace(FINE, start=Decimal(25))])
def test_the_shares_of_what_may_be_printed_add_up(scale):
    for printed in (numbering.printed_on(scale), numbering.customary(scale)):
        assert sum(one.share for one in printed) == pytest.approx(1.0)
        assert len({one.number for one in printed}) == len(printed)


def test_a_known_gauge_may_be_numbered_from_nothing():
    printed = numbering.printed_on(replace(FINE, start=Decimal(50)))
    assert {(one.number, one.start) for one in printed} == {(0.0, 50), (50.0, 50)}
    assert [one.number for one in numbering.printed_on(FINE)] == [0.0]


def test_shares_cover_all_numbers():
    assert numbering.learnt_shares().sum() == pytest.approx(1.0)
    assert numbering.learnt_shares().min() > 0
    for unit in ("mm", "in"):
        common = np.exp(numbering.log_share_over_learnt(unit)) * numbering.learnt_shares()
        assert common.sum() < 4.5  # of four starts that share the numbers modulo 100
        assert common.min() > 0


@pytest.mark.parametrize("scale", [FINE, SCHOOL])
def test_a_number_of_any_value_tells_no_start_from_another(scale):
    """The network knows that most are zeros: where it sees nothing, that must not count again."""
    usual = np.log(numbering.learnt_shares()).astype(np.float32)
    blank = replace(number(0, seen_at(2.4, 9.0, 0.0)), log_probability=usual)
    zero, fifty = (numbers_say([blank], scale, 9.0, 0.4, start)[2] for start in (0.0, 50.0))
    assert zero == pytest.approx(fifty, abs=0.05)
    seen = number(0, blank.x)
    zero, fifty = (numbers_say([seen], scale, 9.0, 0.4, start)[2] for start in (0.0, 50.0))
    assert zero > fifty + 2
