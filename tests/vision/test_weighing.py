"""Looks weighed together, under a named scale or all of the trade: findings made up."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from tests.vision.test_decide import FINE, INCH, SCHOOL, findings
from vision import decide
from vision.objections import ANOTHER_PITCH
from vision.scale import Scale
from vision.weighing import Known, rival_log_ratio, weigh_looks

SETS_MM = (None, (0.1, 0.02))
COARSE = Scale(Decimal(1), 50)


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


def test_where_the_gauge_is_known_to_stand_no_other_turn_is_left():
    found = findings(FINE, 0, 49.8, 0.1)
    near = weigh_looks([found], replace(Known(FINE), near_divisions=49.0)).posterior
    assert abs(near.shown - 49.0).max() <= 25.0
    assert len(weigh_looks([found], Known(FINE)).posterior.shown) > len(near.shown)
