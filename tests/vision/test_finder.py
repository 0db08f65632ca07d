"""The finder's geometry: squares and photo, the nearer look, tiles; the network played by a disc.

The stand-in for the network finds bright discs of the sleeve's diameter with a dark spot on the
thimble's side, by their outlines; its answer is then right to a fraction of the square's pixel, and
whatever `find` makes of it in the photo can be checked against where the disc was drawn.
"""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np
import pytest

from vision import finder
from vision.closeup import Pose
from vision.finder import Look, decode, find, look_at, pose_again, tiles


def disc(photo, x, y, angle, diameter):
    """Draw a scale's stand-in, its rims soft over one pixel; its centre is the point."""
    rows, cols = np.mgrid[: photo.shape[0], : photo.shape[1]]
    spot = x + 0.28 * diameter * math.cos(angle), y + 0.28 * diameter * math.sin(angle)
    drawn = photo.astype(np.float64)
    for (cx, cy), d, ink in (((x, y), diameter, 255), (spot, 0.3 * diameter, 0)):
        cover = np.clip(d / 2 - np.hypot(cols - cx, rows - cy) + 0.5, 0, 1)
        drawn += cover * (ink - drawn)
    photo[:] = np.rint(drawn)
    return photo


class Eye:
    """Sees discs; sure of those of 12 px and more, blind to those under 5."""

    def __init__(self, sure_from_px=12.0, blind_below_px=5.0):
        self.sure_from_px, self.blind_below_px = sure_from_px, blind_below_px
        self.looks = 0

    def __call__(self, square):
        self.looks += 1
        assert square.shape == (384, 384)
        assert square.dtype == np.uint8
        out = np.zeros((7, 48, 48), np.float32)
        out[0] = -8
        light = np.clip(square.astype(np.float64) - 60, 0, None) / (255 - 60)
        outlines, _ = cv2.findContours(
            (light > 0.35).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
        )
        for outline in outlines:
            col, row, w, h = cv2.boundingRect(outline)
            here = np.s_[max(row - 3, 0) : row + h + 3, max(col - 3, 0) : col + w + 3]
            self._tell(out, light[here], here[1].start, here[0].start)
        return out

    def _tell(self, out, light, left, top):
        # disc of radius r at c less a spot of 0.3 r at c + 0.56 r: area 0.91 pi r^2, and the
        # centroid lies (0.09 * 0.56 / 0.91) r on the other side of c
        rows, cols = np.mgrid[: light.shape[0], : light.shape[1]]
        area = light.sum()
        diameter = 2 * math.sqrt(area / (0.91 * math.pi))
        if diameter < self.blind_below_px:
            return
        x, y = (cols * light).sum() / area + left, (rows * light).sum() / area + top
        filled = np.hypot(cols + left - x, rows + top - y) < 0.42 * diameter
        dark = (1 - light) * filled
        angle = math.atan2(
            (rows * dark).sum() / dark.sum() + top - y, (cols * dark).sum() / dark.sum() + left - x
        )
        shift = 0.09 * 0.56 / 0.91 * diameter / 2
        x, y = x + shift * math.cos(angle), y + shift * math.sin(angle)
        cell_x, cell_y = (x + 0.5) / 8 - 0.5, (y + 0.5) / 8 - 0.5
        row, col = min(max(round(cell_y), 0), 47), min(max(round(cell_x), 0), 47)
        for r in range(max(row - 1, 0), min(row + 2, 48)):
            for c in range(max(col - 1, 0), min(col + 2, 48)):
                out[1:6, r, c] = (
                    cell_x - c,
                    cell_y - r,
                    math.cos(angle),
                    math.sin(angle),
                    math.log2(diameter / 48),
                )
                out[0, r, c] = max(out[0, r, c], -4)
        out[0, row, col] = 2.0 if diameter >= self.sure_from_px else -1.0


@pytest.mark.parametrize(
    ("shape", "x", "y", "angle", "diameter", "looks"),
    [
        ((1200, 1600), 801.3, 444.8, 0.4, 300.0, 1),
        ((1601, 1203), 300.6, 1200.2, -2.9, 260.0, 2),  # 62 px in the first square, under 70
        ((300, 300), 140.2, 160.9, 1.7, 90.0, 1),
        ((384, 384), 190.25, 200.75, 3.0, 120.0, 1),
        ((700, 2000), 1500.4, 300.7, -1.2, 330.0, 2),  # 63 px
        ((900, 1600), 801.3, 444.8, 0.4, 830.0, 1),  # 199 px, under 200
    ],
)
def test_a_scale_is_posed_in_photo_pixels(shape, x, y, angle, diameter, looks):
    photo = disc(np.full(shape, 60, np.uint8), x, y, angle, diameter)
    eye = Eye()
    (found,) = find(photo, eye)
    pose = found.pose
    pace = max(shape) / 384
    tolerance = 0.12 * max(1.0, pace)  # px; taking cells or pixels from their corners is 0.5 out
    assert abs(pose.x - x) < tolerance
    assert abs(pose.y - y) < tolerance
    assert abs(math.remainder(pose.angle_rad - angle, 2 * math.pi)) < 0.03
    assert pose.sleeve_diameter_px == pytest.approx(diameter, rel=0.01)
    assert pose.probability == pytest.approx(1 / (1 + math.exp(-2)), abs=1e-4)
    assert eye.looks == looks


@pytest.mark.parametrize("quarter", range(4))
def test_turned_by_right_angles_the_pose_turns(quarter):
    photo = disc(np.full((900, 1200), 60, np.uint8), 400.4, 300.2, 0.3, 200.0)
    (plain,) = find(photo, Eye())
    (turned,) = find(np.ascontiguousarray(np.rot90(photo, quarter)), Eye())
    x, y, angle = plain.pose.x, plain.pose.y, plain.pose.angle_rad
    width, height = 1200, 900
    for _ in range(quarter):  # a quarter turn counter-clockwise: (x, y) to (y, width - 1 - x)
        x, y, angle, width, height = y, width - 1 - x, angle - math.pi / 2, height, width
    assert turned.pose.x == pytest.approx(x, abs=0.2)
    assert turned.pose.y == pytest.approx(y, abs=0.2)
    assert abs(math.remainder(turned.pose.angle_rad - angle, 2 * math.pi)) < 0.01


class NarrowEye(Eye):
    """Takes discs of more than 240 px for smaller, turned ones, and is not sure of them."""

    def _tell(self, out, light, left, top):
        before = out[0].copy()
        super()._tell(out, light, left, top)
        if light.shape[0] > 240:
            out[0] = np.where(out[0] > before, np.minimum(out[0], -1), before)
            out[3:5] *= -1
            out[5] = np.minimum(out[5], math.log2(210 / 48))


@pytest.mark.parametrize(
    ("diameter", "looks"),
    [
        (200.0, 1),  # 192 px
        (220.0, 2),  # 211 px, 141 from one and a half times as far
        (270.0, 2),  # 259 px, which the eye can't tell, and 173
    ],
)
def test_a_scale_that_fills_the_photo_is_posed_from_farther(diameter, looks):
    photo = disc(np.full((400, 400), 60, np.uint8), 200.3, 190.8, 0.8, diameter)
    eye = NarrowEye()
    found, *nearer = find(photo, eye)
    assert eye.looks == looks
    assert len(nearer) == looks - 1  # what was seen at first comes last
    assert abs(found.pose.x - 200.3) < 0.3
    assert abs(found.pose.y - 190.8) < 0.3
    assert abs(math.remainder(found.pose.angle_rad - 0.8, 2 * math.pi)) < 0.03
    assert found.pose.sleeve_diameter_px == pytest.approx(diameter, rel=0.01)
    assert found.pose.probability > 0.8


def test_a_scale_is_taken_from_farther_until_it_is_small_enough():
    photo = np.full((768, 768), 60, np.uint8)
    told = [(-2.0, 230.0), (2.0, 205.0), (2.0, 150.0), (2.0, 10.0)]  # heat, px in each square

    def seer(square):
        heat, diameter = told.pop(0)
        out = np.zeros((7, 48, 48), np.float32)
        out[0] = -9
        out[:, 20, 30] = (heat, 0, 0, 1, 0, math.log2(diameter / 48), -9)
        return out

    found, *nearer = find(photo, seer)
    assert len(told) == 1
    assert len(nearer) == 2
    assert found.pose.sleeve_diameter_px == pytest.approx(150 * 2 * 1.5**2, rel=5e-3)
    # cell 30 lies 51.5 px right of the square's middle, 4.5 photo px each
    assert found.pose.x == pytest.approx(383.5 + 52 * 4.5, abs=3)


def seeing_once():
    """Give an eye that sees nothing from its second look on."""
    eye = Eye()

    def fickle(square):
        out = eye(square)
        return out if eye.looks == 1 else np.where(np.arange(7)[:, None, None] == 0, -8, 0 * out)

    return fickle


def test_a_large_scale_that_is_gone_from_farther_is_kept():
    photo = disc(np.full((400, 400), 60, np.uint8), 200.3, 190.8, 0.8, 250.0)
    (found,) = find(photo, seeing_once())
    assert found.pose.sleeve_diameter_px == pytest.approx(250, rel=0.01)


def test_a_scale_seen_from_farther_is_posed_from_nearer():
    """It is 30 px in the first square, too small to be sure of, and 20 in the second."""
    photo = disc(np.full((384, 384), 60, np.uint8), 200.3, 190.8, 0.8, 30.0)
    sides = []

    def seer(square):
        sides.append(square)
        return Eye(sure_from_px=100.0)(square)

    find(photo, seer)
    near = finder.SIDE_PX / finder.MOST_ENLARGED  # px of the photo in a look from nearer
    wanted = look_at(photo, 200.3, 190.8, near).square
    assert sum(np.abs(wanted.astype(int) - square).mean() < 1.0 for square in sides) == 2


def test_a_scale_beside_a_place_is_posed_again_from_two_distances():
    photo = disc(np.full((600, 800), 60, np.uint8), 420.3, 300.6, 0.8, 100.0)
    eye = Eye()
    (found,) = pose_again(photo, Pose(340.0, 290.0, 0.0, 90.0), eye)
    assert eye.looks == 2
    assert math.dist((found.pose.x, found.pose.y), (420.3, 300.6)) < 0.3
    assert found.pose.sleeve_diameter_px == pytest.approx(100, rel=0.01)
    assert pose_again(np.full((600, 800), 60, np.uint8), found.pose, eye) == ()


def test_a_small_scale_is_taken_again_from_nearer():
    photo = disc(np.full((3000, 4000), 60, np.uint8), 3000.3, 700.6, 0.8, 160.0)
    eye = Eye()
    (found,) = find(photo, eye)
    assert eye.looks == 2
    # 160 px are 15 in the first square and 90 in the second, where the eye is 6 times sharper
    assert abs(found.pose.x - 3000.3) < 0.3
    assert abs(found.pose.y - 700.6) < 0.3
    assert found.pose.sleeve_diameter_px == pytest.approx(160, rel=0.01)


def test_a_scale_that_is_missed_at_first_is_found_in_tiles():
    photo = disc(np.full((3000, 4000), 60, np.uint8), 3700.2, 2700.4, -0.7, 45.0)
    assert (
        decode(Eye()(look_at(photo, 2000, 1500, 4000).square), look_at(photo, 2000, 1500, 4000))
        == []
    )
    eye = Eye()
    (found,) = find(photo, eye)
    assert eye.looks > 6
    assert abs(found.pose.x - 3700.2) < 0.3
    assert abs(found.pose.y - 2700.4) < 0.3
    assert found.pose.sleeve_diameter_px == pytest.approx(45, rel=0.03)
    assert found.pose.probability > 0.5


@pytest.mark.parametrize(("sure_from_px", "looks"), [(100.0, 4), (170.0, 9)])
def test_tiles_are_looked_at_from_the_likeliest_on_until_one_is_sure(sure_from_px, looks):
    """Of 77 px in the first square, 51 from farther, then from nearer; 154 in each of six tiles."""
    photo = disc(np.full((3000, 4000), 60, np.uint8), 2900.4, 1900.2, 0.5, 800.0)
    eye = Eye(sure_from_px)
    (found,) = find(photo, eye)
    assert eye.looks == looks
    assert math.dist((found.pose.x, found.pose.y), (2900.4, 1900.2)) < 0.12 * 4000 / 384
    assert (found.pose.probability > 0.8) == (looks == 4)


def test_what_is_gone_from_nearer_is_doubted():
    photo = disc(np.full((3000, 4000), 60, np.uint8), 3000.3, 700.6, 0.8, 160.0)
    (found,) = find(photo, seeing_once())
    assert found.pose.probability == pytest.approx(0.1)


def test_two_scales_are_ranked_and_nothing_gives_nothing():
    photo = np.full((400, 500), 60, np.uint8)
    assert find(photo, Eye()) == ()
    disc(disc(photo, 120, 150, 0.1, 20), 350, 240, 2.0, 150)
    found = find(photo, Eye(sure_from_px=60.0))  # 20 px come out 40 even from nearer
    assert [round(f.pose.sleeve_diameter_px, -1) for f in found] == [150, 20]
    assert found[0].pose.probability > 0.8 > 0.3 > found[1].pose.probability


def test_tiles_cover_the_photo_and_each_other_by_half():
    photo = np.zeros((3000, 4000), np.uint8)
    looks = list(tiles(photo))
    assert len(looks) == 6
    spans = sorted({(look.left, look.left + 384 * look.pace_x) for look in looks})
    assert spans[0][0] == 0
    assert spans[-1][1] == 4000
    assert all(b[0] - a[0] == 1000 for a, b in itertools.pairwise(spans))
    assert list(tiles(np.zeros((400, 500), np.uint8))) == []


def test_a_look_beyond_the_rim_is_filled_with_the_mean_and_keeps_its_place():
    photo = np.full((200, 300), 40, np.uint8)
    photo[:, 150:] = 80
    look = look_at(photo, 0.0, 100.0, 192.0)
    assert look.square[0, 0] == look.square[200, 191] == 40
    assert (look.pace_x, look.pace_y) == (0.5, 0.5)
    assert look.left == -96
    assert look.top == 4
    whole = look_at(photo, 150, 100, 300)
    assert whole.square[0, 0] == 60  # a band above: 384 * 200 / 300 = 256 rows are the photo's
    assert whole.square[64, 0] == 40
    assert whole.square[63, 0] == 60
    assert whole.square[319, 383] == 80


@pytest.mark.parametrize("shape", [(1, 1), (3, 4000), (5000, 2), (384, 383), (2, 3)])
def test_photos_of_any_shape_can_be_looked_at(shape):
    photo = np.full(shape, 9, np.uint8)
    for look in (
        look_at(photo, shape[1] / 2, shape[0] / 2, max(shape)),
        look_at(photo, -500.0, 9000.0, 192.0),
        *tiles(photo),
    ):
        assert look.square.shape == (384, 384)
        assert np.all(look.square == 9)
    assert find(photo, Eye()) == ()


def test_the_map_is_decoded_at_its_peaks():
    out = np.zeros((7, 48, 48), np.float32)
    out[0] = -9
    out[:, 10, 20] = (1.0, 0.25, -0.5, 0.0, -2.0, 1.0, math.log(4))
    (found,) = decode(out, Look(np.zeros((384, 384), np.uint8), 100.0, 50.0, 2.0, 2.0))
    # (20 + 0.25 + 0.5) * 8 = 166 square px from the corner, 2 photo px each
    assert found.pose.x == pytest.approx(100 + 332 - 0.5, abs=0.05)
    assert found.pose.y == pytest.approx(50 + 160 - 0.5, abs=0.05)
    assert found.pose.angle_rad == pytest.approx(-math.pi / 2, abs=1e-3)
    assert found.pose.sleeve_diameter_px == pytest.approx(192, rel=1e-3)
    assert found.mirrored_probability == pytest.approx(0.8, abs=1e-3)
    assert found.pose.probability == pytest.approx(1 / (1 + math.exp(-1)))


def test_the_constants_are_those_of_training():
    networks = pytest.importorskip("fixtures.training.networks", reason="needs torch")
    assert (finder.SIDE_PX, finder.SIDE_PX) == networks.FINDER_SIZE
    assert finder.STRIDE_PX == networks.FINDER_STRIDE
    assert finder.UNIT_DIAMETER_PX == networks.FINDER_DIAMETER_PX
