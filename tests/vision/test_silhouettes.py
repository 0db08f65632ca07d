"""The silhouettes of sleeve and thimble: outlines drawn as ridges whose places are known."""

from __future__ import annotations

import numpy as np
import pytest

from vision import silhouettes as sil
from vision.closeup import SIZE
from vision.lines import Axis, Edge

ROWS, COLS = np.arange(SIZE[1])[:, None], np.arange(SIZE[0])[None, :]


def straight(slope=0.0):
    return Axis(127.4, slope, 352.3, 60.0, 352.0, 0.1, 0.9), Edge(352.3, 0, 0, 0, 0.2, 1.0)


def drawn(top, low, step, widening, slope=0.0, only=("top", "low")):
    """Draw outlines, their ridge inside only: the sleeve's and, past the edge, the thimble's."""
    out = np.zeros(SIZE[::-1])
    behind = COLS - 352.3
    proud = np.where(behind > 0, step + widening * behind, 0.0)
    line = 127.4 + slope * behind
    for name, y, side in (("top", top, -1), ("low", low, 1)):
        if name in only:
            inside = side * (line + y + side * proud - ROWS)
            out = np.maximum(out, np.exp(-0.5 * (inside / 1.2) ** 2) * (inside > 0))
    return (0.9 * out).astype(np.float32)


@pytest.mark.parametrize(("top", "low"), [(-81.3, 78.4), (-60.2, 99.5), (-99.0, 62.0)])
@pytest.mark.parametrize("slope", [0.0, 0.05])
def test_the_silhouettes_are_measured(top, low, slope):
    ridge = drawn(top, low, 2.8, 0.13, slope)
    outline = sil.fit_outline(ridge, *straight(slope))
    assert outline.top == pytest.approx(top, abs=0.6)
    assert outline.low == pytest.approx(low, abs=0.6)
    assert outline.middle == pytest.approx((top + low) / 2, abs=0.4)
    assert outline.radius == pytest.approx((low - top) / 2, abs=0.5)
    assert abs(outline.step - 2.8) < 2 * outline.u_step
    assert outline.widening == pytest.approx(0.13, abs=0.03)


def test_one_silhouette_gives_the_middle_by_the_closeups_own_radius():
    for only, middle in (("top", -60.2 + 80), ("low", 95.5 - 80)):
        outline = sil.fit_outline(drawn(-60.2, 95.5, 2.8, 0.13, only=(only,)), *straight())
        assert (outline.top is None) == (only == "low")
        assert (outline.low is None) == (only == "top")
        assert outline.radius == 80
        assert outline.middle == pytest.approx(middle, abs=0.8)
    bare = sil.fit_outline(np.zeros(SIZE[::-1], np.float32), *straight())
    assert (bare.top, bare.low, bare.radius, bare.middle) == (None, None, 80, 0)
    assert bare.step > 0


def arched(bend, step, widening=0.17, radius=79.0, middle=6.0):
    """Draw the outlines of a gauge seen askew: its edge is half an ellipse, `bend` at its front."""
    depth = -2 * bend * radius**2  # x = depth (sqrt(1 - s^2) - 1) has this bend in its middle
    out = np.zeros(SIZE[::-1])
    for side in (-1, 1):
        behind = COLS - (352.3 - depth)  # the ellipse's ends lie its whole depth aside
        proud = np.where(behind > 0, step + widening * behind, 0.0)
        inside = side * (127.4 + middle + side * (radius + proud) - ROWS)
        out = np.maximum(out, np.exp(-0.5 * (inside / 1.2) ** 2) * (inside > 0))
    dy = np.arange(-55.0, 56.0)
    arc = depth * (np.sqrt(1 - ((dy - middle) / radius) ** 2) - np.sqrt(1 - (middle / radius) ** 2))
    curve, lean, _ = np.polyfit(dy, arc, 2)
    edge = Edge(352.3 + 0.0, float(lean), float(curve), float(lean), 0.2, 1.0)
    return (0.9 * out).astype(np.float32), edge


@pytest.mark.parametrize("bend", [-0.0008, 0.0, 0.0008])
@pytest.mark.parametrize("step", [1.6, 3.0, 4.8])
def test_the_step_is_taken_where_the_edges_arc_meets_the_silhouettes(bend, step):
    ridge, edge = arched(bend, step)
    outline = sil.fit_outline(ridge, straight()[0], edge)
    # shrunk towards the customary 3.0 by about a quarter; where the edge stands in the middle,
    # 10 px aside, the bevel has widened by 1.7 px
    wanted = sil.CUSTOMARY_STEP_PX + 0.7 * (step - sil.CUSTOMARY_STEP_PX)
    assert outline.step == pytest.approx(wanted, abs=0.5)
    assert outline.middle == pytest.approx(6.0, abs=0.4)
    assert outline.u_step < 0.75
