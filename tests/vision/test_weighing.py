"""Looks weighed together, under a named scale or all of the trade: findings made up."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from tests.vision.test_decide import FINE, INCH, SCHOOL, findings, gap_seen
from vision import decide
from vision.numbering import LEARNT_HUNDREDS, learnt_shares
from vision.objections import ANOTHER_PITCH, START_CLEAR
from vision.scale import Scale
from vision.weighing import Known, rival_log_ratio, weigh_looks

SETS_MM = (None, (0.1, 0.02))
COARSE = Scale(Decimal(1), 50)


def findings_from(scale, turns, division):
    """As of a gauge from 0, but numbered from the scale's own range start."""
    found = findings(replace(scale, start=Decimal(0)), turns, division, 0.1)
    numbers = [
        replace(n, log_probability=np.roll(n.log_probability, int(scale.start)))
        for n in found.on_sleeve
    ]
    return replace(found, on_sleeve=numbers)


@pytest.mark.parametrize("edge_set_mm", SETS_MM)
@pytest.mark.parametrize(("scale", "wrong"), [(FINE, COARSE), (SCHOOL, Scale(Decimal("0.5"), 100))])
def test_another_pitch_than_the_named_one_is_noticed(scale, wrong, edge_set_mm):
    found = findings(scale, 11, 13.4, 0.1)
    for named, noticed in ((scale, False), (wrong, True)):
        known = Known(named, edge_set_mm)
        ratio = rival_log_ratio(found, weigh_looks([found], known), known)
        assert (ratio > ANOTHER_PITCH) is noticed


@pytest.mark.parametrize("edge_set_mm", SETS_MM)
def test_named_scale_and_rival_are_weighed_alike(edge_set_mm):
    """By the first look, and with the gauge's own edge set for both."""
    found, beside = findings(FINE, 11, 13.4, 0.1), findings(FINE, 11, 13.5, 0.12)
    known = Known(FINE, edge_set_mm)
    weighed = weigh_looks([found, beside], known)
    own, rival = (decide.weigh(found, s, edge_set_mm).log_evidence for s in (FINE, COARSE))
    assert weighed.first_log_evidence == own
    assert rival_log_ratio(found, weighed, known) == pytest.approx(rival - own)


def test_a_pitch_without_rivals_is_never_contradicted():
    found = findings(INCH, 11, 13.4, 0.1)
    known = Known(INCH)
    assert rival_log_ratio(found, weigh_looks([found], known), known) == -float("inf")


@pytest.mark.parametrize("scale", [FINE, SCHOOL, INCH])
def test_without_a_name_the_scale_is_found_among_those_of_the_trade(scale):
    found = findings(scale, 11, 13.4, 0.1)
    weighed = weigh_looks([found], Known(None))
    assert (weighed.posterior.scale.pitch, weighed.posterior.scale.divisions) == (
        scale.pitch,
        scale.divisions,
    )
    assert 0.5 < weighed.share <= 1.0
    assert weighed.posterior.shown[0] == pytest.approx(11 * scale.divisions + 13.4, abs=0.1)


def test_what_the_gap_network_counts_does_not_tell_the_pitch():
    """It has learnt which pitch is commonest, as the shares of the trade's scales say already."""
    found = findings(FINE, 0, 19.0, 0.1)  # 0.19 mm, or 0.38 with 1 mm in 50
    seen = [
        replace(found, gap=gap_seen(uncovered=uncovered, off_px=0.0))
        for uncovered in (19 / 50 + 0.1 / 0.5, 19 / 50 + 0.1 / 1.0)
    ]
    fine, coarse = (weigh_looks([one], Known(None)) for one in seen)
    even = replace(seen[0].gap, density=np.ones_like(seen[0].gap.density))
    silent = replace(found, gap=even)
    without = weigh_looks([silent], Known(None))
    assert fine.share == coarse.share == without.share
    assert 0.5 < fine.share < 0.999
    assert fine.posterior.scale.pitch == coarse.posterior.scale.pitch
    # under the scale that is chosen it has its say all the same
    likely = [one.posterior.probability[0] for one in (fine, coarse, without)]
    assert len({round(float(p), 3) for p in likely}) == 3


def test_where_the_gauge_is_known_to_stand_no_other_turn_is_left():
    found = findings(FINE, 0, 49.8, 0.1)
    near = weigh_looks([found], replace(Known(FINE), near_divisions=49.0)).posterior
    assert abs(near.shown - 49.0).max() <= 25.0
    assert len(weigh_looks([found], Known(FINE)).posterior.shown) > len(near.shown)


@pytest.mark.parametrize("start", [0, 25, 50, 75])
def test_without_a_name_the_numbers_tell_where_the_range_starts(start):
    engraved = replace(FINE, start=Decimal(start))
    weighed = weigh_looks([findings_from(engraved, 23, 13.4)], Known(None))
    assert weighed.posterior.scale.start == start
    assert weighed.posterior.shown[0] == pytest.approx(23 * 50 + 13.4, abs=0.1)
    others = weighed.posterior.begins != 0
    assert weighed.posterior.start_probability > 0.8
    assert others.any()
    # each other start leaves the same place on the thimble
    off = weighed.posterior.shown[others] - weighed.posterior.shown[0]
    assert abs(off - off.round()).max() < 1e-6


def test_one_misread_number_does_not_move_the_range_start():
    found = findings_from(FINE, 43, 13.4)
    for wrong in range(len(found.on_sleeve)):
        numbers = list(found.on_sleeve)
        value = int(numbers[wrong].log_probability.argmax())
        numbers[wrong] = replace(
            numbers[wrong], log_probability=np.roll(numbers[wrong].log_probability, 50)
        )
        assert numbers[wrong].log_probability.argmax() == value + 50
        posterior = weigh_looks([replace(found, on_sleeve=numbers)], Known(None)).posterior
        assert posterior.scale.start == 0
        assert posterior.shown[0] == pytest.approx(43 * 50 + 13.4, abs=0.1)


def test_a_sleeve_whose_numbers_are_hidden_leaves_the_range_start_open():
    """What the network would expect of any number, it may say of a hidden one: that is no sight."""
    found = findings_from(FINE, 3, 13.4)
    usual = {
        "log_probability": np.log(learnt_shares()),
        "hundreds_log_probability": np.log(LEARNT_HUNDREDS),
    }
    guessed = [replace(n, **usual) for n in found.on_sleeve]
    for numbers in ([], guessed):
        posterior = weigh_looks([replace(found, on_sleeve=numbers)], Known(None)).posterior
        assert posterior.start_probability < START_CLEAR
    assert weigh_looks([found], Known(None)).posterior.start_probability > START_CLEAR


def test_two_looks_that_see_different_starts_leave_it_open():
    one, other = (findings_from(replace(FINE, start=Decimal(s)), 23, 13.4) for s in (0, 25))
    posterior = weigh_looks([one, other], Known(None)).posterior
    assert posterior.start_probability < 0.7
    apart = abs(posterior.shown[1] - posterior.shown[0])
    assert apart == pytest.approx(25 / 0.5 * 50, abs=0.1)


def test_where_the_gauge_is_known_to_stand_counts_from_its_own_start():
    found = findings_from(replace(FINE, start=Decimal(25)), 5, 2.2)
    posterior = weigh_looks([found], Known(None, near_divisions=250.0)).posterior
    assert posterior.scale.start == 25
    assert abs(posterior.shown - posterior.begins - 250.0).max() <= 25.0
    assert posterior.shown[0] == pytest.approx(252.2, abs=0.1)
