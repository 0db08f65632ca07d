"""Short pieces of reference line: drawn at known places, beside what may be taken for one."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.vision.test_decide import FINE, findings
from vision import closeup, stub
from vision.closeup import ORIGIN, SIZE, Pose
from vision.lines import Edge
from vision.marks import Place

EDGE = Edge(352.0, 0.05, -0.0006, 0.05, 0.4, 1.0)  # rows counted from the close-up's middle
ROWS, COLS = np.mgrid[: SIZE[1], : SIZE[0]].astype(float)


def piece(x, y, row: float, length: float, wide: float):
    """Draw a line of that length that leads from the edge along the sleeve; places (x, y)."""
    along = float(EDGE.x_at(row)) - x
    off = y - (ORIGIN[1] + row) - EDGE.across * along
    return np.exp(-0.5 * (off / wide) ** 2) * (along > 0) * (along < length)


def photo(pose: Pose, drawn: list[tuple[float, float]], *, ink: float = -50.0):
    """Draw pieces (row, length), a number's round stroke and a shadow's border; some noise."""
    rows, cols = np.mgrid[:600, :800].astype(float)
    at = closeup.move(
        closeup.photo_to_closeup(pose), np.stack([cols.ravel(), rows.ravel()], axis=1)
    )
    x, y = at.T
    lines = sum(piece(x, y, row, length, 0.9) for row, length in drawn)
    shadow = 15.0 * np.tanh((y - ORIGIN[1] + 40.0) / 2.0)
    grey = 150.0 + ink * lines + shadow + np.random.default_rng(5).normal(0, 3, len(x))
    return np.clip(grey, 0, 255).astype(np.uint8).reshape(rows.shape)


@pytest.mark.parametrize("ink", [-50.0, 50.0])
@pytest.mark.parametrize("row", [-58.0, -20.0, 0.0, 33.0])
@pytest.mark.parametrize("diameter_px", [120.0, 400.0])
def test_the_photo_tells_where_a_short_line_may_be(ink, row, diameter_px):
    pose = Pose(450.0, 300.0, 0.3, diameter_px)
    grey = photo(pose, [(row, 9.0)], ink=ink)
    nothing = np.zeros(SIZE[::-1], np.float32)
    found = stub.hints(grey, closeup.photo_to_closeup(pose), EDGE, nothing)
    assert abs(found[0] - row) < 0.6  # the border of the shadow, at -40, comes no sooner


def test_what_the_network_hints_at_comes_first_and_once():
    pose = Pose(450.0, 300.0, 0.3, 300.0)
    grey = photo(pose, [(30.0, 9.0), (-10.0, 9.0)])
    faint = (0.3 * piece(COLS, ROWS, -10.0, 12.0, 1.2)).astype(np.float32)
    found = stub.hints(grey, closeup.photo_to_closeup(pose), EDGE, faint)
    assert np.allclose(found[:2], [-10.0, 30.0], atol=1.0)
    assert np.diff(np.sort(found)).min() > stub.APART_PX


def test_a_bare_sleeve_gives_no_hint():
    pose = Pose(450.0, 300.0, 0.3, 300.0)
    nothing = np.zeros(SIZE[::-1], np.float32)
    found = stub.hints(photo(pose, []), closeup.photo_to_closeup(pose), EDGE, nothing)
    assert len(found) == 0


@pytest.mark.parametrize("row", [-8.0, 0.0, 11.0])
@pytest.mark.parametrize("length", [8.0, 20.0, 60.0])
def test_stubs_are_found_with_their_length_and_strength(row, length):
    ridge = (0.8 * piece(COLS, ROWS, row, length, 1.05)).astype(np.float32)
    ridge[ROWS.astype(int) == 140] += 0.2  # a fainter one that is longer
    found = stub.stubs(ridge, EDGE, 16.0)
    assert len(found) == 1
    best = found[0]
    assert abs(best.y - ORIGIN[1] - row) < 0.8
    assert abs(best.length - length) < 2.0
    assert abs(best.strength - 0.87 * 0.8) < 0.06  # three rows hold so much of a line
    assert abs(best.axis().slope + EDGE.across) < 0.07


def test_no_stub_is_found_where_there_is_none_or_beyond_reach():
    assert stub.stubs(np.zeros(SIZE[::-1], np.float32), EDGE, 16.0) == []
    far = piece(COLS, ROWS, 40.0, 20.0, 1.2).astype(np.float32)
    assert stub.stubs(far, EDGE, 16.0) == []
    apart = piece(COLS, ROWS, 0.0, 40.0, 1.2) * (COLS < 330)  # it does not reach the edge
    assert all(s.strength < 0.6 for s in stub.stubs(apart.astype(np.float32), EDGE, 16.0))


@pytest.mark.parametrize(("other", "y", "kept"), [(0.7, 320.0, True), (0.8, 320.0, False)])
def test_a_line_stands_out_or_is_none(other, y, kept):
    best = stub.Stub(450.0, 300.0, 440.0, 300.0, 0.85, 0.2)
    same = stub.Stub(450.0, 301.0, 440.0, 301.0, 0.84, 0.2)
    elsewhere = stub.Stub(450.0, y, 440.0, y, other, 0.2)
    assert stub.standing_out([same, elsewhere, best], 2.0) == (best if kept else None)
    assert stub.standing_out([], 2.0) is None
    assert stub.standing_out([replace(best, strength=0.6)], 2.0) is None


def test_a_stub_goes_to_the_photo_and_back_and_over_to_the_mirror_image():
    pose = Pose(450.0, 300.0, 0.3, 400.0)
    matrix = closeup.photo_to_closeup(pose)
    one = stub.Stub(352.0, 130.0, 340.0, 130.6, 0.9, 0.2)
    there = one.moved(closeup.invert(matrix))
    assert math.isclose(there.length, 2.5 * one.length)  # 400 px of 160
    assert math.isclose(there.u, 0.5)
    back = there.moved(matrix)
    assert np.allclose((back.x, back.y, back.far_x, back.far_y), (352.0, 130.0, 340.0, 130.6))
    axis = one.flipped(SIZE[1]).axis()
    assert math.isclose(axis.y0, 125.0)
    assert math.isclose(axis.slope, 0.05)
    assert stub.of_axis(one.axis()) == one


@pytest.mark.parametrize(
    ("rows", "heat", "lettered"), [(-4.0, 0.4, True), (20.0, 0.4, False), (-4.0, 0.15, False)]
)
def test_a_line_through_a_number_is_a_stroke_of_it(rows, heat, lettered):
    gauge = findings(FINE, 0, 2.0, 0.1)
    number = Place(346.0, gauge.axis.y0 + rows, "sleeve", heat)
    assert stub.lettered(replace(gauge, on_sleeve=[number])) is lettered
