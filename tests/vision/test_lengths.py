"""The long division lines: thimbles drawn with every fifth line longer, as the trade cuts them.

The drawings follow y = middle - r sin(angle), r growing behind the edge, angles counted upwards;
numbers grow upwards on an outside gauge (common practice).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from vision import closeup, divisions, lengths
from vision.closeup import Pose
from vision.lines import Axis, Edge, Outline
from vision.thimble import Bevel, Grating

X0, Y0 = 352.3, 127.9
AXIS = Axis(Y0, 0.01, X0, 100.0, X0, 0.05, 0.9)
EDGE = Edge(X0, 0.02, -0.0008, 0.02, 0.2, 1.0)
RADIUS, MIDDLE, WIDENING, STEP = 82.8, 11.0, 0.15, 2.8
INK, NOISE = -60.0, 4.0  # grey levels


def thimble(shown, n, short, long, *, way=1, ink=INK, seed=3):
    """Draw a thimble that shows `shown` at the line; its bevel and its grating."""
    matrix = closeup.photo_to_closeup(Pose(400.0, 300.0, 0.1, 150.0))
    rows, cols = np.mgrid[:600, :900].astype(float)
    at = closeup.move(matrix, np.stack([cols.ravel(), rows.ravel()], axis=1))
    dy = at[:, 1] - AXIS.y_at(at[:, 0])
    behind = at[:, 0] - EDGE.x_at(dy)
    grown = RADIUS + WIDENING * np.maximum(behind, 0.0)
    angle = np.arcsin(np.clip((MIDDLE - dy) / grown, -0.999, 0.999))
    line, step = math.asin(MIDDLE / RADIUS), 2 * math.pi / n
    value = shown + way * (angle - line) / step
    nearest = np.round(value)
    off = (value - nearest) * step * grown * np.cos(angle)
    length = np.where(nearest % 5 == 0, long, short)
    line_ink = np.exp(-0.5 * (off / 0.9) ** 2) * (behind > 0) * (behind < length)
    grey = 150.0 + ink * line_ink + np.random.default_rng(seed).normal(0, NOISE, len(dy))
    grey = np.clip(grey, 0, 255).astype(np.uint8).reshape(rows.shape)
    strip = divisions.strip_of(grey, matrix, AXIS, EDGE)
    half = RADIUS - STEP
    outline = Outline(MIDDLE - half, MIDDLE + half, STEP, 0.7, WIDENING)
    fraction = shown % 1.0 if way > 0 else 1.0 - shown % 1.0
    on = Grating(n, RADIUS, MIDDLE, half, 0.9, 0.9, fraction, 0.01, 0.02)
    return Bevel(np.zeros(0), np.zeros(0), outline, strip), on


@pytest.mark.parametrize("n", [25, 50, 100])
@pytest.mark.parametrize("shown", [0.3, 6.9, 12.45, 18.1, 24.6])
@pytest.mark.parametrize("way", [1, -1])
def test_long_lines_tell_the_division_but_for_fives(n, shown, way):
    bevel, on = thimble(shown, n, 13.0, 19.0, way=way)
    found = lengths.length_log_likelihood(bevel, on, downwards=way < 0)
    right = np.arange(n) % 5 == math.floor(shown) % 5
    # whichever five: the wrong direction of counting mistakes 3 of these 5, a line off all
    assert np.ptp(found[right]) == 0
    # of 25 divisions eight are looked at, and one or two of those are long
    assert found[right].min() - found[~right].max() > (2.0 if n == 25 else 3.0)


def test_bright_lines_tell_as_much():
    bevel, on = thimble(8.4, 50, 13.0, 19.0, ink=60.0)
    assert int(np.argmax(lengths.length_log_likelihood(bevel, on))) % 5 == 3


@pytest.mark.parametrize("seed", range(4))
def test_lines_of_one_length_tell_little(seed):
    told = np.ptp(lengths.length_log_likelihood(*thimble(8.4, 50, 14.0, 14.0, seed=seed)))
    clear = np.ptp(lengths.length_log_likelihood(*thimble(8.4, 50, 12.0, 19.0, seed=seed)))
    assert told < 2.0
    assert clear > 5 * told


def test_without_the_photo_or_fives_nothing_is_told():
    bevel, on = thimble(8.4, 50, 13.0, 19.0)
    assert not lengths.length_log_likelihood(replace(bevel, strip=None), on).any()
    assert not lengths.length_log_likelihood(bevel, replace(on, divisions=48)).any()


def test_too_few_lines_tell_nothing():
    bevel, on = thimble(3.4, 15, 13.0, 19.0)
    assert not lengths.length_log_likelihood(bevel, on).any()
