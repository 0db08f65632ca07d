"""Where edge and reference line lie in the photo: steps and lines drawn at known places."""

from __future__ import annotations

import numpy as np
import pytest

from vision import closeup
from vision.closeup import Pose
from vision.lines import Axis, Edge
from vision.pixels import line_middles, place_edge, place_line, robust_fit

Y0 = 127.9
AXIS = Axis(Y0, 0.0, 352.0, 40.0, 352.0, 0.1, 0.9)
GIVEN = Edge(352.0, 0.02, -0.0006, 0.02, 0.4, 1.0)  # as the network has it


def photo_with_edge(pose: Pose, shift_px: float, *, step: float = 90.0, noise: float = 3.0):
    """Draw a sleeve and a brighter thimble whose edge lies `shift_px` right of the given one."""
    rows, cols = np.mgrid[:700, :1000].astype(float)
    at = closeup.move(
        closeup.photo_to_closeup(pose), np.stack([cols.ravel(), rows.ravel()], axis=1)
    )
    dy = at[:, 1] - Y0
    from_edge = at[:, 0] - GIVEN.x_at(dy) - shift_px
    soft = 0.5 + 0.5 * np.tanh(from_edge / 0.7)
    grey = 80.0 + step * soft + np.random.default_rng(3).normal(0, noise, len(soft))
    return np.clip(grey, 0, 255).astype(np.uint8).reshape(rows.shape)


@pytest.mark.parametrize("shift_px", [-1.6, -0.7, 0.0, 0.9, 1.5])
@pytest.mark.parametrize("diameter_px", [150.0, 420.0])
def test_the_edge_moves_to_the_step(shift_px, diameter_px):
    pose = Pose(560.0, 340.0, 0.2, diameter_px)
    grey = photo_with_edge(pose, shift_px)
    placed = place_edge(grey, closeup.photo_to_closeup(pose), AXIS, GIVEN)
    assert abs(placed.x0 - GIVEN.x0 - shift_px) < 0.12
    assert placed.u_x0 < 0.3
    assert (placed.lean, placed.bend) == (GIVEN.lean, GIVEN.bend)


def test_where_nothing_stands_out_the_edge_stays():
    pose = Pose(560.0, 340.0, 0.2, 300.0)
    grey = photo_with_edge(pose, 1.0, step=0.0, noise=12.0)
    placed = place_edge(grey, closeup.photo_to_closeup(pose), AXIS, GIVEN)
    assert placed.x0 == GIVEN.x0
    assert placed.u_x0 > 0.6


def test_a_step_far_off_is_something_else():
    pose = Pose(560.0, 340.0, 0.2, 300.0)
    grey = photo_with_edge(pose, 6.5)
    placed = place_edge(grey, closeup.photo_to_closeup(pose), AXIS, GIVEN)
    assert abs(placed.x0 - GIVEN.x0) < 2.0 or placed.u_x0 > 0.6


def photo_with_line(pose: Pose, y0: float, slope: float, *, ink: float = -60.0, noise: float = 3.0):
    """Draw a line y0 + slope (x - 352) with graduations that stand on it, one every 12 px."""
    rows, cols = np.mgrid[:700, :1000].astype(float)
    at = closeup.move(
        closeup.photo_to_closeup(pose), np.stack([cols.ravel(), rows.ravel()], axis=1)
    )
    off = at[:, 1] - y0 - slope * (at[:, 0] - 352.0)
    on_sleeve = at[:, 0] < 352.0
    line = np.exp(-0.5 * (off / 0.9) ** 2)
    apart = np.abs((at[:, 0] + 6.0) % 12.0 - 6.0)
    stand = np.exp(-0.5 * (apart / 0.8) ** 2) * (off < 0) * (off > -20)
    grey = 150.0 + 0.2 * off + ink * np.maximum(line, stand) * on_sleeve
    grey = grey + np.random.default_rng(3).normal(0, noise, len(grey))
    return np.clip(grey, 0, 255).astype(np.uint8).reshape(rows.shape)


@pytest.mark.parametrize("ink", [-60.0, 60.0])
@pytest.mark.parametrize(("off_px", "turn"), [(0.8, 0.02), (-0.9, -0.02), (0.0, 0.0)])
@pytest.mark.parametrize("diameter_px", [180.0, 560.0])
def test_the_line_moves_and_turns_to_where_it_is_seen(ink, off_px, turn, diameter_px):
    pose = Pose(640.0, 340.0, 0.2, diameter_px)
    grey = photo_with_line(pose, Y0, 0.01, ink=ink)
    given = Axis(Y0 + off_px, 0.01 + turn, 352.0, 270.0, 352.0, 0.2, 0.9)
    placed = place_line(grey, closeup.photo_to_closeup(pose), given)
    # graduations on one side would draw a centre of gravity 0.5 px away
    assert abs(placed.y0 - Y0) < 0.12
    assert abs(placed.slope - 0.01) < 0.005
    assert placed.u_y0 < 0.15
    assert (placed.first_x, placed.last_x) == (given.first_x, given.last_x)
    assert placed.strength == given.strength


def test_a_line_whose_pieces_lie_all_over_is_weaker():
    rng = np.random.default_rng(4)
    pose = Pose(640.0, 340.0, 0.2, 300.0)
    rows, cols = np.mgrid[:700, :1000].astype(float)
    at = closeup.move(
        closeup.photo_to_closeup(pose), np.stack([cols.ravel(), rows.ravel()], axis=1)
    )
    piece = np.clip(((352.0 - at[:, 0]) / 5.0).astype(int), 0, 99)
    off = at[:, 1] - Y0 - rng.uniform(-2.4, 2.4, 100)[piece]  # specks, one a piece
    grey = 150.0 - 60.0 * np.exp(-0.5 * (off / 0.9) ** 2)
    given = Axis(Y0, 0.0, 352.0, 270.0, 352.0, 0.2, 0.9)
    placed = place_line(
        grey.astype(np.uint8).reshape(rows.shape), closeup.photo_to_closeup(pose), given
    )
    assert placed.strength < 0.6 * given.strength
    assert placed.u_y0 > 0.2


def test_a_line_that_is_not_seen_stays():
    pose = Pose(640.0, 340.0, 0.2, 300.0)
    given = Axis(Y0, 0.01, 352.0, 270.0, 352.0, 0.2, 0.9)
    flat = np.full((700, 1000), 120, np.uint8)
    assert place_line(flat, closeup.photo_to_closeup(pose), given) == given
    short = Axis(Y0, 0.01, 352.0, 347.0, 352.0, 0.2, 0.9)
    seen = photo_with_line(pose, Y0, 0.01)
    assert place_line(seen, closeup.photo_to_closeup(pose), short) == short


def test_middles_of_lines_are_found_on_slopes_and_between_samples():
    off = np.arange(-5.0, 5.01, 0.25)
    true = np.array([-1.37, 0.0, 0.61, 1.1])
    profiles = 90 + 4 * off - 50 * np.exp(-0.5 * ((off - true[:, None]) / 0.8) ** 2)
    middles, strengths = line_middles(profiles, off, (0.5, 0.8, 1.2), 2.5)
    assert np.allclose(middles, true, atol=0.06)  # the nearest sample is up to 0.12 away
    assert (strengths > 0).all()


def test_one_value_in_five_gone_wrong_does_not_draw_a_fit_away():
    rng = np.random.default_rng(8)
    x = np.linspace(-1, 1, 40)
    values = 0.3 - 0.2 * x + rng.normal(0, 0.02, 40)
    values[::5] += 0.9
    design = np.stack([np.ones(40), x], axis=1)
    fit, covariance, scatter = robust_fit(design, values, np.ones(40), 0.01, (1.0, 1.0))
    assert np.allclose(fit, (0.3, -0.2), atol=0.02)  # least squares has 0.48
    assert abs(np.linalg.lstsq(design, values, rcond=None)[0][0] - 0.48) < 0.03
    assert 0.01 < scatter < 0.04
    assert 0.5 < np.sqrt(covariance[0, 0]) / (0.02 / np.sqrt(32)) < 2.5
