"""The divisions' phase by the photo's own pixels: lines drawn on a cone, at known angles.

The drawings follow y = middle - r sin(angle), r growing behind the edge, angles counted upwards.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision import closeup, divisions
from vision.closeup import Pose
from vision.divisions import Cylinder
from vision.lines import Axis, Edge

X0, Y0, SLOPE = 352.3, 127.9, 0.012
AXIS = Axis(Y0, SLOPE, X0, 100.0, X0, 0.05, 0.9)
EDGE = Edge(X0, 0.03, -0.0008, 0.03, 0.2, 1.0)
RADIUS, WIDENING = 82.8, 0.17
INK = -70.0  # grey levels of a line against the metal


def photo(on: Cylinder, fraction: float, diameter_px: float, *, seed=5, noise=3.0, glare=None):
    """Draw a thimble's lines into a photo, (grey, matrix); `glare` has a middle row and a reach."""
    pose = Pose(420.0, 330.0, -0.15, diameter_px)
    matrix = closeup.photo_to_closeup(pose)
    rows, cols = np.mgrid[:660, :900].astype(float)
    at = closeup.move(matrix, np.stack([cols.ravel(), rows.ravel()], axis=1))
    dy = at[:, 1] - Y0 - SLOPE * (at[:, 0] - X0)
    behind = at[:, 0] - EDGE.x_at(dy)
    grown = on.radius + on.widening * np.maximum(behind, 0.0)
    sine = np.clip((on.middle - dy) / grown, -0.999, 0.999)
    count = (np.arcsin(sine) - on.line_rad) / on.step_rad + fraction
    off = (count - np.round(count)) * on.step_rad * grown * np.sqrt(1 - sine**2)
    width = min(0.1 * on.step_rad * on.radius, 1.1)
    ink = np.exp(-0.5 * (off / width) ** 2) * (behind > 0)
    grey = 150.0 + 0.3 * dy + INK * ink
    if glare is not None:
        bright = np.clip(1.0 - np.abs(dy - glare[0]) / glare[1], 0.0, 1.0)
        grey = grey + (255.0 - grey) * np.minimum(2.0 * bright, 1.0)
    grey = grey + np.random.default_rng(seed).normal(0, noise, len(grey))
    return np.clip(grey, 0, 255).astype(np.uint8).reshape(rows.shape), matrix


def cylinder(n, middle, widening=WIDENING):
    return Cylinder(RADIUS, middle, widening, n, math.asin(middle / RADIUS))


def measured(on, told, grey, matrix, fraction):
    strip = divisions.strip_of(grey, matrix, AXIS, EDGE)
    return divisions.placed(strip, told, fraction)


@pytest.mark.parametrize("n", [25, 50, 100])
@pytest.mark.parametrize("middle", [-24.0, 6.0])
@pytest.mark.parametrize("off", [-0.12, 0.0, 0.1])
def test_lines_that_lie_elsewhere_than_told_are_found(n, middle, off):
    on = cylinder(n, middle)
    grey, matrix = photo(on, 0.37, 520.0)
    # told `fraction`, a line would lie (0.37 - fraction) lower: that much farther up it is found
    found = measured(on, on, grey, matrix, 0.37 + off)
    assert (
        abs(found.shift - off) < 0.015
    )  # the other sign is 0.2 away, a pixel of the photo 0.03 or more
    assert found.u_shift < 0.05
    assert abs(found.lean) < 0.01


def test_a_bevel_that_widens_otherwise_than_told_does_no_harm():
    on = cylinder(50, 27.0, widening=0.28)
    grey, matrix = photo(on, 0.62, 520.0)
    found = measured(on, cylinder(50, 27.0, widening=0.10), grey, matrix, 0.62)
    # the lines' middles behind the edge are 0.04 of a division off: 7 px, 0.18 a px, at 19 degrees
    assert abs(found.shift) < 0.015
    assert abs(found.lean - 0.18 * math.sin(on.line_rad)) < 0.015  # farther up: 0.059


@pytest.mark.parametrize("glare", [(5.0, 16.0), (24.0, 30.0)])
def test_a_highlight_over_some_lines_does_no_harm(glare):
    on = cylinder(50, 6.0)
    grey, matrix = photo(on, 0.37, 520.0, glare=glare)
    found = measured(on, on, grey, matrix, 0.42)
    assert abs(found.shift - 0.05) < 0.015


def test_where_no_lines_are_nothing_is_said():
    on = cylinder(50, 6.0)
    _, matrix = photo(on, 0.37, 520.0)
    assert measured(on, on, np.full((660, 900), 130, np.uint8), matrix, 0.42) is None


def test_a_small_photo_is_less_sure():
    on = cylinder(50, 6.0)
    near, far = (
        measured(on, on, *photo(on, 0.37, diameter), 0.37).u_shift for diameter in (640.0, 90.0)
    )
    assert far > 1.5 * near
