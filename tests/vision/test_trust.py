"""A line is trusted for being strong and long, and for standing where both looks see it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.vision.test_decide import FINE, findings, on_a_line
from vision import closeup, trust
from vision.closeup import Pose

HERE = closeup.photo_to_closeup(Pose(300.0, 200.0, 0.0, 100.0))


def gauge(strength=0.97, at_line=0.999):
    found = on_a_line(findings(FINE, 11, 13.4, 0.1), at_line)
    return replace(found, axis=replace(found.axis, strength=strength))


def aside(found, rows_px=0.0):
    """The same line as another look sees it, that stands aside and turned, moved by some rows."""
    pose = Pose(306.0, 197.0, 0.02, 93.0)
    matrix = closeup.photo_to_closeup(pose)
    ends = np.array([[found.edge.x0, found.axis.y0 + rows_px]])
    x, y = closeup.move(matrix, closeup.move(closeup.invert(HERE), ends))[0]
    axis = replace(found.axis, x_edge=float(x), y0=float(y))
    return replace(found, axis=axis, edge=replace(found.edge, x0=float(x))), matrix


@pytest.mark.parametrize("rows", [0.0, 1.5, -4.0])
def test_how_far_apart_two_looks_put_the_line_is_told_in_the_first_one_s_px(rows):
    found = gauge()
    assert trust.apart_px((found, HERE), aside(found, rows)) == pytest.approx(abs(rows), abs=0.02)


def test_lines_far_apart_or_seen_once_count_alike():
    found = gauge()
    assert trust.apart_px((found, HERE), None) == trust.NOT_SEEN_PX
    assert trust.apart_px((found, HERE), aside(found, 60.0)) == trust.NOT_SEEN_PX


def test_a_clear_line_that_both_looks_see_is_trusted():
    found = gauge(1.0)
    assert trust.line_probability((found, HERE), aside(found)) > 0.98


def test_each_weakness_costs_trust():
    found = gauge(0.9)
    first, second = (found, HERE), aside(found)
    full = trust.line_probability(first, second)
    faint = gauge(0.7)
    bare, doubted = replace(found, teeth=()), gauge(0.9, 0.7)
    for weaker in (
        trust.line_probability((faint, HERE), second),
        trust.line_probability(first, aside(faint)),
        trust.line_probability(first, aside(found, 3.0)),
        trust.line_probability(first, None),
        trust.line_probability((bare, HERE), second),
        trust.line_probability((doubted, HERE), second),
        trust.line_probability(first, aside(doubted)),
    ):
        assert weaker < full - 0.0005
    nowhere = gauge(0.7, 0.0)
    assert 0.0 < trust.line_probability((nowhere, HERE), None) < 0.01
    assert trust.line_probability((nowhere, HERE), aside(found)) < 0.5
