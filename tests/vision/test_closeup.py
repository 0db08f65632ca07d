"""The close-up's frame: points and pixels go to the same place, to a fraction of a pixel."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vision import closeup
from vision.closeup import ORIGIN, SIZE, SLEEVE_DIAMETER_PX, Pose

POSES = (
    Pose(301.3, 217.8, 0.0, 160.0),
    Pose(301.3, 217.8, math.radians(-163), 160.0),
    Pose(340.7, 260.2, math.radians(37), 330.0),
    Pose(412.4, 300.9, math.radians(90), 520.0),
    Pose(90.6, 70.3, math.radians(5), 75.0),
)


def dot(shape: tuple[int, int], x: float, y: float, sigma: float) -> np.ndarray:
    """Draw a soft dot whose centre lies at (x, y), the first pixel's centre being (0, 0)."""
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    light = np.exp(-((cols - x) ** 2 + (rows - y) ** 2) / (2 * sigma**2))
    return np.rint(20 + 230 * light).astype(np.uint8)


def centroid(picture: np.ndarray) -> np.ndarray:
    light = np.clip(picture.astype(float) - 30, 0, None)
    rows, cols = np.mgrid[: picture.shape[0], : picture.shape[1]]
    return np.array([(light * cols).sum(), (light * rows).sum()]) / light.sum()


@pytest.mark.parametrize("pose", POSES)
def test_the_frame_is_level_and_as_large_as_said(pose: Pose) -> None:
    matrix = closeup.photo_to_closeup(pose)
    along = np.array([math.cos(pose.angle_rad), math.sin(pose.angle_rad)])
    below = np.array([-along[1], along[0]])  # a quarter turn on, y down: never mirrored
    here = np.array([pose.x, pose.y])
    half = pose.sleeve_diameter_px / 2
    points = np.array([here, here + half * along, here + half * below])
    unit = SLEEVE_DIAMETER_PX / 2
    wanted = [ORIGIN, (ORIGIN[0] + unit, ORIGIN[1]), (ORIGIN[0], ORIGIN[1] + unit)]
    assert np.allclose(closeup.move(matrix, points), wanted, atol=1e-9)
    assert np.allclose(closeup.move(closeup.invert(matrix), np.array(wanted)), points, atol=1e-9)


@pytest.mark.parametrize("pose", POSES)
@pytest.mark.parametrize("off", [(0.0, 0.0), (-171.3, 40.6), (83.2, -57.9)])
def test_a_dot_is_cut_to_where_its_place_is_moved(pose: Pose, off: tuple[float, float]) -> None:
    # the poses reduce by whole factors of 1, 1, 2 and 3, and enlarge by two
    matrix = closeup.photo_to_closeup(pose)
    scale = SLEEVE_DIAMETER_PX / pose.sleeve_diameter_px
    wanted = np.array(ORIGIN) + off
    (x, y) = closeup.move(closeup.invert(matrix), wanted[None])[0]
    # the photo ends well beyond the dot, and is neither square nor even
    shape = (max(int(y) + 60, 601), max(int(x) + 60, 903))
    shift = np.maximum(60 - np.array([x, y]), 0).round()
    moved = Pose(pose.x + shift[0], pose.y + shift[1], pose.angle_rad, pose.sleeve_diameter_px)
    photo = dot(
        (shape[0] + int(shift[1]), shape[1] + int(shift[0])), x + shift[0], y + shift[1], 4 / scale
    )
    seen = closeup.cut(photo, closeup.photo_to_closeup(moved))
    assert (seen.shape, seen.dtype) == (SIZE[::-1], np.uint8)
    miss = centroid(seen) - wanted
    # Half a photo pixel, the slip of a wrong rule for reduced pictures, is 0.15 px or more here.
    assert np.abs(miss).max() < 0.06


@pytest.mark.parametrize("factor", [2, 3])
def test_half_a_pixel_would_be_seen(factor: int) -> None:
    pose = Pose(340.7, 260.2, math.radians(37), SLEEVE_DIAMETER_PX * factor)
    photo = dot((521, 803), pose.x, pose.y, 4.0 * factor)
    miss = centroid(closeup.cut(photo, closeup.photo_to_closeup(pose))) - ORIGIN
    wrong = 0.5 * (factor - 1) / factor  # what forgetting that centres move by reduction makes
    assert np.abs(miss).max() < 0.06 < 0.5 * wrong


def test_a_photo_turned_by_right_angles_gives_the_same_closeup() -> None:
    rng = np.random.default_rng(3)
    photo = rng.integers(0, 256, (401, 660), dtype=np.uint8)
    pose = Pose(352.4, 190.7, math.radians(12), 171.0)
    height, width = photo.shape
    seen = closeup.cut(photo, closeup.photo_to_closeup(pose))
    assert seen.std() > 30
    turned = {
        # np.rot90 turns against the clock: (x, y) goes to (y, width - 1 - x)
        1: (pose.y, width - 1 - pose.x),
        2: (width - 1 - pose.x, height - 1 - pose.y),
        3: (height - 1 - pose.y, pose.x),
    }
    for quarters, (x, y) in turned.items():
        there = Pose(x, y, pose.angle_rad - quarters * math.pi / 2, pose.sleeve_diameter_px)
        grey = np.ascontiguousarray(np.rot90(photo, quarters))
        again = closeup.cut(grey, closeup.photo_to_closeup(there))
        matrix = closeup.photo_to_closeup(there)
        safe = closeup.inside(grey.shape, matrix)
        assert safe.mean() > 0.5
        # OpenCV places samples to 1/32 px: noise then differs by a few levels
        assert np.abs(again.astype(int) - seen)[safe].mean() < 4
        half_off = Pose(x + 0.5, y, there.angle_rad, there.sleeve_diameter_px)
        off = closeup.cut(grey, closeup.photo_to_closeup(half_off))
        assert np.abs(off.astype(int) - seen)[safe].mean() > 12


def test_what_lies_outside_the_photo_is_known() -> None:
    pose = Pose(100.2, 60.4, 0.0, 160.0)  # photo px and close-up px are one, shifted
    safe = closeup.inside((300, 900), closeup.photo_to_closeup(pose))
    left, top = ORIGIN[0] - pose.x, ORIGIN[1] - pose.y  # close-up place of the photo's first pixel
    rows, cols = np.nonzero(safe)
    assert cols.min() == math.ceil(left + closeup.RIM_PX)
    assert rows.min() == math.ceil(top + closeup.RIM_PX)
    assert (cols.max(), rows.max()) == (SIZE[0] - 1, SIZE[1] - 1)
    assert not closeup.inside((300, 900), closeup.photo_to_closeup(Pose(5e3, 0, 0, 160))).any()


def test_a_photo_is_left_as_it_was_and_may_be_tiny() -> None:
    photo = np.full((3, 5), 77, np.uint8)
    photo.setflags(write=False)
    for diameter in (1.0, 160.0, 4000.0):
        seen = closeup.cut(photo, closeup.photo_to_closeup(Pose(2, 1, 0.3, diameter)))
        assert np.array_equal(seen, np.full(SIZE[::-1], 77))
