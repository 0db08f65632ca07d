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
    usual = np.log(numbering.learnt_shares())
    blank = number(0, seen_at(2.4, 9.0, 0.0), hundreds=numbering.LEARNT_HUNDREDS)
    blank = replace(blank, log_probability=usual)
    zero, fifty = (numbers_say([blank], scale, 9.0, 0.4, start)[2] for start in (0.0, 50.0))
    assert zero == pytest.approx(fifty, abs=0.05)
    seen = number(0, blank.x)
    zero, fifty = (numbers_say([seen], scale, 9.0, 0.4, start)[2] for start in (0.0, 50.0))
    assert zero > fifty + 2


@pytest.mark.parametrize("hundreds", [0, 1, 2])
def test_hundreds_tell_one_start_from_another(hundreds):
    """25, 125 and 225 mm: the same figures at the end."""
    told = np.full(4, 0.001)
    told[hundreds] = 0.997
    seen = number(30, seen_at(12.4, 9.0, 0.0), hundreds=told)
    for scale, fits in ((FINE, 10), (SCHOOL, 5)):
        starts = (25.0, 125.0, 225.0)
        says = [numbers_say([seen], scale, 9.0, 0.4, start)[12 + fits] for start in starts]
        assert np.argmax(says) == hundreds
        assert sorted(says)[-1] > sorted(says)[-2] + 2


def test_an_upper_end_of_a_hundred_is_a_hundred_more():
    """On 75 to 100 mm the last number has three figures, the others two."""
    last = number(0, seen_at(2.4, 9.0, 0.0), hundreds=(0.001, 0.997, 0.001, 0.001))
    low, high = (numbers_say([last], SCHOOL, 9.0, 0.4, start)[2 + 25] for start in (0.0, 75.0))
    first = number(0, seen_at(2.4, 9.0, 0.0))
    nought = numbers_say([first], SCHOOL, 9.0, 0.4, 75.0)[2 + 25]
    assert high > nought + 2
    assert high > low + 2
