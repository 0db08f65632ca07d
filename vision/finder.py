"""Where the scale lies in a photo: ranked poses, proposed by a network on reduced copies.

The whole photo is looked at once, small. A scale that comes out too small to pose well gets a look
from nearer, one that fills the photo from farther; for one that is not surely seen both are tried,
and the photo is looked at piece by piece until one surely holds a scale.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.closeup import Pose
from vision.networks import peaks, run, sigmoid

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIDE_PX = 384  # of the square that the network looks at
STRIDE_PX = 8  # of its output: cell i is centred on pixel 8 i + 3.5
UNIT_DIAMETER_PX = 48.0  # sleeve diameter, in the square, that it calls 0 octaves

LEAST_HEAT = 0.1  # heat below which a peak is not worth a look
SURE_HEAT = 0.5  # heat from which no search from nearer is needed
APART_CELLS = 2  # one pose within this many cells
MOST_POSES = 4
SAME_PLACE_DIAMETERS = 0.5  # two poses nearer than this are one

SMALL_PX = 70.0  # sleeve diameter, in the square, below which a pose is taken again from nearer
GOOD_PX = 90.0  # sleeve diameter, in the square, that the nearer look aims at
MOST_ENLARGED = 2.0  # square px a photo px: beyond, a nearer look shows nothing new
LEAST_NEARER = 1.3  # a nearer look must enlarge by this much to be worth its time
MOST_NEARER = 2  # poses that are looked at from nearer
AGAIN_PX = (130.0, 65.0)  # sleeve diameters that looks at a place that shows nothing aim at

LARGE_PX = 200.0  # sleeve diameter, in the square, above which a pose is taken again from farther
FARTHER = 1.5  # how much larger a square such a look takes: training ends at 240 px
MOST_FARTHER = 2  # such looks at a photo

Seer = Callable[["NDArray[np.uint8]"], "NDArray[np.float32]"]


@dataclass(frozen=True)
class Found:
    """A pose in a photo's pixels and the probability that the scale there is mirrored."""

    pose: Pose
    mirrored_probability: float


@dataclass(frozen=True)
class Look:
    """A square that the network looks at, and how its pixels lie in the photo.

    Photo x = `left` + (square x + 0.5) `pace_x` - 0.5, and alike for y.
    """

    square: NDArray[np.uint8] = field(compare=False, repr=False)
    left: float
    top: float
    pace_x: float
    pace_y: float


def see(square: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Run the network on a (384, 384) square: (7, 48, 48), as `decode` takes it."""
    (output,) = run("finder", square, ("pose",))
    return output[0]


def find(grey: NDArray[np.uint8], seer: Seer = see) -> tuple[Found, ...]:
    """Find the scales in a grey photo, likeliest first.

    Parameters
    ----------
    grey : (H, W) uint8 array
    seer : callable
        What looks at a (384, 384) square and returns the (7, 48, 48) map that `decode` takes.

    Returns
    -------
    tuple of Found
        At most `MOST_POSES`, in photo px; `Pose.probability` is the network's own heat, not yet
        calibrated. Empty if nothing was found.

    Raises
    ------
    FileNotFoundError
        If the package was built without its weights.
    """
    height, width = grey.shape
    side = float(max(height, width))
    found = _posed(grey, [look_at(grey, width / 2.0, height / 2.0, side)], seer)
    found = _from_farther(grey, found, side, seer)
    if not _sure(found):
        likeliest = found[0].pose if found else None
        found = _one_a_place(found + _posed(grey, tiles(grey, likeliest), seer))
    return tuple(found[:MOST_POSES])


def _from_farther(
    grey: NDArray[np.uint8], found: list[Found], side: float, seer: Seer
) -> list[Found]:
    """Look from farther while the likeliest pose is large, once where none is sure; rank anew.

    What was seen before stays, the large ones last: the look from farther may be the wrong one.
    """
    height, width = grey.shape
    doubted: list[Found] = []
    for n in range(MOST_FARTHER):
        large = [one for one in found if one not in doubted and _large(one, side)]
        if found[:1] != large[:1] and (n > 0 or _sure(found)):
            break
        doubted += large
        side *= FARTHER
        look = look_at(grey, width / 2.0, height / 2.0, side)
        seen = decode(seer(look.square), look)[:1]
        found = [_nearer(grey, one, look.pace_x, seer) for one in seen] + found
        found.sort(key=lambda one: (one in doubted, -one.pose.probability))
    return found


def _large(found: Found, side: float) -> bool:
    """Tell whether a scale fills so much of a square of `side` photo px that it is ill posed."""
    return found.pose.sleeve_diameter_px > LARGE_PX * side / SIDE_PX


def _sure(found: list[Found]) -> bool:
    """Tell whether the likeliest pose is sure enough to look no further."""
    return bool(found) and found[0].pose.probability >= SURE_HEAT


def _posed(grey: NDArray[np.uint8], looks: Iterable[Look], seer: Seer) -> list[Found]:
    """Pose what is seen in looks, up to one that is sure; the likeliest small ones from nearer."""
    paces: dict[Found, float] = {}
    for look in looks:
        seen = decode(seer(look.square), look)
        paces |= dict.fromkeys(seen, look.pace_x)
        if _sure(seen):
            break
    seen = _one_a_place(list(paces))
    nearer = [_nearer(grey, found, paces[found], seer) for found in seen[:MOST_NEARER]]
    return _one_a_place(nearer + seen[MOST_NEARER:])


def look_at(grey: NDArray[np.uint8], x: float, y: float, side: float) -> Look:
    """Cut the square of `side` photo px about (x, y), from the outer corner of the first pixel.

    It comes reduced or enlarged to 384 px; what lies outside the photo has the mean of the rest.
    """
    height, width = grey.shape
    pace = side / SIDE_PX
    left, top = x - side / 2.0, y - side / 2.0
    x0, x1 = _within(left, side, width)
    y0, y1 = _within(top, side, height)
    columns = min(SIDE_PX, max(1, round((x1 - x0) / pace)))
    rows = min(SIDE_PX, max(1, round((y1 - y0) / pace)))
    # By a whole factor first: ten times as fast as by a broken one, over most of the pixels.
    whole = max(1, min(int(pace), x1 - x0, y1 - y0))
    x1, y1 = x0 + (x1 - x0) // whole * whole, y0 + (y1 - y0) // whole * whole
    part = grey[y0:y1, x0:x1]
    if whole > 1:
        small = ((x1 - x0) // whole, (y1 - y0) // whole)
        part = np.asarray(cv2.resize(part, small, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    way = cv2.INTER_AREA if pace > 1 else cv2.INTER_LINEAR
    part = np.asarray(cv2.resize(part, (columns, rows), interpolation=way), dtype=np.uint8)
    col = min(max(0, round((x0 - left) / pace)), SIDE_PX - columns)
    row = min(max(0, round((y0 - top) / pace)), SIDE_PX - rows)
    square = np.full((SIDE_PX, SIDE_PX), round(float(cv2.mean(part)[0])), dtype=np.uint8)
    square[row : row + rows, col : col + columns] = part
    pace_x, pace_y = (x1 - x0) / columns, (y1 - y0) / rows
    return Look(square, x0 - col * pace_x, y0 - row * pace_y, pace_x, pace_y)


def _within(start: float, side: float, length: int) -> tuple[int, int]:
    """Bound a side by the photo's; at least one pixel is left."""
    first = min(max(0, round(start)), length - 1)
    return first, max(min(length, round(start + side)), first + 1)


def tiles(grey: NDArray[np.uint8], likeliest: Pose | None = None) -> Iterator[Look]:
    """Cut a photo into half-overlapping squares half as large as its longer side.

    Those come first that have the likeliest pose nearest to their middles. None where that would
    enlarge the photo: a nearer look has to show more.
    """
    height, width = grey.shape
    side = max(height, width) / 2.0
    if side * LEAST_NEARER < SIDE_PX:
        return
    middles = [(x, y) for y in _middles(height, side) for x in _middles(width, side)]
    if likeliest is not None:
        middles.sort(key=lambda at: math.dist(at, (likeliest.x, likeliest.y)))
    for x, y in middles:
        yield look_at(grey, x, y, side)


def _middles(length: float, side: float) -> list[float]:
    """Middles of the half-overlapping squares that cover a length."""
    if length <= side:
        return [length / 2.0]
    count = int(np.ceil((length - side) / (side / 2.0) - 1e-9)) + 1
    return np.linspace(side / 2.0, length - side / 2.0, count).tolist()


def decode(output: NDArray[np.float32], look: Look) -> list[Found]:
    """Turn the network's map of a look into poses in the photo, hottest first.

    Parameters
    ----------
    output : (7, 48, 48) array
        Heat logit; offset of the point from the cell's centre in cells (x, y); (cos, sin) of the
        axis; log2 of the sleeve's diameter over 48 px; logit of being mirrored.
    look : Look

    Returns
    -------
    list of Found
        The values around each peak are averaged by their heat.
    """
    heat = sigmoid(output[0])
    found = []
    for row, col in peaks(heat, LEAST_HEAT, APART_CELLS)[:MOST_POSES]:
        here = np.s_[max(row - 1, 0) : row + 2, max(col - 1, 0) : col + 2]
        weight = (heat[here] / heat[here].sum()).astype(np.float64)
        rows, cols = np.mgrid[: heat.shape[0], : heat.shape[1]]
        x = float((weight * (cols[here] + output[1][here])).sum())
        y = float((weight * (rows[here] + output[2][here])).sum())
        cos, sin, octaves, mirrored = (
            float((weight * channel[here]).sum()) for channel in output[3:7]
        )
        square_x, square_y = (x + 0.5) * STRIDE_PX, (y + 0.5) * STRIDE_PX
        pose = Pose(
            look.left + square_x * look.pace_x - 0.5,
            look.top + square_y * look.pace_y - 0.5,
            float(np.arctan2(sin, cos)),
            UNIT_DIAMETER_PX * 2.0**octaves * float(np.sqrt(look.pace_x * look.pace_y)),
            float(heat[row, col]),
        )
        found.append(Found(pose, float(sigmoid(np.array(mirrored, dtype=np.float32)))))
    return found


def _one_a_place(seen: list[Found]) -> list[Found]:
    """Keep the likeliest of the poses that lie in one place, likeliest first."""
    kept: list[Found] = []
    for found in sorted(seen, key=lambda found: -found.pose.probability):
        if all(_diameters_apart(found.pose, other.pose) > SAME_PLACE_DIAMETERS for other in kept):
            kept.append(found)
    return kept


def _diameters_apart(one: Pose, other: Pose) -> float:
    """Distance of two poses in diameters of the larger sleeve."""
    larger = max(one.sleeve_diameter_px, other.sleeve_diameter_px)
    return float(np.hypot(one.x - other.x, one.y - other.y)) / larger


def pose_again(grey: NDArray[np.uint8], pose: Pose, seer: Seer = see) -> tuple[Found, ...]:
    """Pose a scale again that surely is about a place, though it was not found just there.

    From other distances a frame or a spindle is not taken for the sleeve's end. Likeliest first.
    """
    found = []
    for px in AGAIN_PX:
        look = look_at(grey, pose.x, pose.y, SIDE_PX * pose.sleeve_diameter_px / px)
        found += decode(seer(look.square), look)
    return tuple(_one_a_place(found))


def _nearer(grey: NDArray[np.uint8], found: Found, pace: float, seer: Seer) -> Found:
    """Pose a scale that is small in its look again, from nearer; doubt it if it is gone there."""
    pose = found.pose
    if pose.sleeve_diameter_px / pace >= SMALL_PX:
        return found
    side = max(SIDE_PX / MOST_ENLARGED, SIDE_PX * pose.sleeve_diameter_px / GOOD_PX)
    if pace * SIDE_PX / side < LEAST_NEARER:
        return found
    look = look_at(grey, pose.x + 0.5, pose.y + 0.5, side)
    again = [
        other
        for other in decode(seer(look.square), look)
        if _diameters_apart(pose, other.pose) < 2 * SAME_PLACE_DIAMETERS
    ]
    if again:
        return again[0]
    return replace(found, pose=replace(pose, probability=min(pose.probability, LEAST_HEAT)))
