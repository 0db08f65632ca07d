"""Where the photo is steepest across the thimble's edge: steps drawn at a known place."""

from __future__ import annotations

import numpy as np
import pytest

from vision import closeup
from vision.closeup import Pose
from vision.lines import Axis, Edge
from vision.pixels import place_edge

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
