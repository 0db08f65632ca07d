"""Photos that were handed in twice: the same file, or the same picture saved anew or cropped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from vision.sighting import Sighting

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.sighting import Refusal

SIDE_PX = 64  # of the small copies that are compared first
BLUR_PX = 4.0  # standard deviation of what is taken off: light and ground, which all share
THUMB_PX = 400  # longest side of the copies that are laid over each other
# Correlations, measured in tests/reading/marking/test_likeness.py: of small copies where no scale
# was found, and of photos laid over each other.
SAME_FROM, LAID_FROM = 0.90, 0.95
MAY_BE_FROM = 0.3  # correlation of close-ups from which photos without a reading are laid over
NEAR_DIVISIONS = 1.5  # between readings of what may be one picture
NEAR_QUARTER_RAD = 0.15  # how well the directions of two scales are known to each other
# A picture cut anew is neither turned, sheared nor stretched. Another photo nearly always is.
TURNED_AT_MOST = 0.004  # of a transformation's terms, that of its scale being 1
LAYING = ((4.0, 16.0, 60), (1.0, 6.0, 40))  # blur off and on in px, steps at most: coarse, fine
ENOUGH = 1e-5  # gain at which photos lie over each other as well as they can
LEAST_SHARED = 0.4  # of the smaller photo
BAND = 512  # rows compared at once, so that memory stays bounded


@dataclass(frozen=True)
class Print:
    """What a photo is known again by.

    `whole` and `scale` are small copies of the photo and of the close-up of its scale, as vectors
    of length 1, all zero where there is nothing to tell; `thumb` is a copy of the photo, and
    `to_closeup` takes its points to the close-up, None where no scale was found. `shown` is what
    was read, in divisions, None for nothing.
    """

    whole: NDArray[np.float32]
    scale: NDArray[np.float32]
    thumb: NDArray[np.uint8]
    to_closeup: NDArray[np.float64] | None
    shown: float | None


def print_of(grey: NDArray[np.uint8], seen: Sighting | Refusal) -> Print:
    """Make what a photo, (H, W) uint8, is known again by, with what was seen in it."""
    import cv2

    from vision.closeup import cut

    shrink = min(1.0, THUMB_PX / max(grey.shape))
    size = (max(1, round(grey.shape[1] * shrink)), max(1, round(grey.shape[0] * shrink)))
    thumb = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if not seen.evidence.to_closeup:
        return Print(_vector(grey), np.zeros(SIDE_PX**2, np.float32), thumb, None, None)
    shown = None
    if isinstance(seen, Sighting):
        shown = seen.turns * seen.scale.divisions + seen.division
    to_closeup = np.array(seen.evidence.to_closeup).reshape(2, 3)
    grow = np.array([grey.shape[1] / size[0], grey.shape[0] / size[1]])
    turn = to_closeup[:, :2] * grow
    shift = to_closeup[:, :2] @ ((grow - 1) / 2) + to_closeup[:, 2]
    onto = np.column_stack([turn, shift])
    return Print(_vector(grey), _vector(cut(grey, to_closeup)), thumb, onto, shown)


def _vector(grey: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Make a small copy of a picture without its shading, as a vector of length 1."""
    import cv2

    small = cv2.resize(grey, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA).astype(np.float32)
    detail = small - cv2.GaussianBlur(small, (0, 0), BLUR_PX)
    detail -= detail.mean()
    length = float(np.linalg.norm(detail))
    return (detail / length if length > 1.0 else np.zeros_like(detail)).ravel().astype(np.float32)


def alike(prints: Sequence[Print]) -> list[tuple[int, int]]:
    """Find pairs of photos that are one picture, turned by quarters, cropped or not; i < j."""
    if len(prints) < 2:
        return []
    whole = set(_near(prints))
    pairs = []
    for i, j in combinations(range(len(prints)), 2):
        one, other = prints[i], prints[j]
        if one.to_closeup is None or other.to_closeup is None:
            same = (i, j) in whole
        else:
            look = (i, j) in whole or _may_be(one, other)
            same = look and laid_over(one, other) >= LAID_FROM
        if same:
            pairs.append((i, j))
    return pairs


def _near(prints: Sequence[Print]) -> Iterator[tuple[int, int]]:
    """Find pairs of whole photos, i < j, that correlate, turned by quarters or not."""
    rows = np.stack([one.whole for one in prints])
    squares = rows.reshape(-1, SIDE_PX, SIDE_PX)
    turned = [np.rot90(squares, k, (1, 2)).reshape(rows.shape) for k in range(4)]
    for start in range(0, len(rows), BAND):
        for other in turned:
            near = rows[start : start + BAND] @ other.T
            for i, j in np.argwhere(near >= SAME_FROM):
                if start + i < j:
                    yield int(start + i), int(j)


def _may_be(one: Print, other: Print) -> bool:
    """Tell whether two photos can be one picture by their readings, or by their close-ups."""
    if one.shown is not None and other.shown is not None:
        near = abs(one.shown - other.shown) <= NEAR_DIVISIONS
    else:
        near = float(one.scale @ other.scale) >= MAY_BE_FROM
    return near and abs(_quarters(_onto(one, other))[1]) <= NEAR_QUARTER_RAD


def _onto(one: Print, other: Print) -> NDArray[np.float64]:
    """Give the (2, 3) similarity that takes a photo's points to another's, by their scales."""
    from vision.closeup import invert

    assert one.to_closeup is not None
    assert other.to_closeup is not None
    back = invert(other.to_closeup)
    turn = back[:, :2] @ one.to_closeup[:, :2]
    return np.column_stack([turn, back[:, :2] @ one.to_closeup[:, 2] + back[:, 2]])


def _quarters(onto: NDArray[np.float64]) -> tuple[int, float]:
    """Give the quarter turns of a similarity, and the angle that is left, in radians."""
    angle = float(np.arctan2(onto[1, 0], onto[0, 0]))
    quarters = round(angle / (np.pi / 2))
    return quarters % 4, angle - quarters * np.pi / 2


def laid_over(one: Print, other: Print) -> float:
    """Lay one photo over another by their scales, then as well as it goes, and correlate them.

    Photos of one gauge taken one after the other agree in what is engraved and in the light. But a
    hand moves: laid over each other they are turned a little, or seen from another side.

    Returns
    -------
    float
        The correlation of what both show, without shading; -1 where one must be turned, sheared or
        stretched to lie over the other, or where they share too little.
    """
    import cv2

    quarters, _ = _quarters(_onto(one, other))
    # Turned upright to the first, the other needs no turn: what is left is scale and shift.
    upright = np.ascontiguousarray(np.rot90(other.thumb, quarters))
    onto = _turned(_onto(one, other), quarters, other.thumb.shape)
    onto = np.asarray(_unturned(onto, one), dtype=np.float32)
    for off_px, on_px, steps in LAYING:
        first, second = (_detail(each, off_px, on_px) for each in (one.thumb, upright))
        rule = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, steps, ENOUGH)
        try:
            _, fitted = cv2.findTransformECC(first, second, onto, cv2.MOTION_AFFINE, rule)
            onto = np.asarray(fitted, dtype=np.float32)
        except cv2.error:  # it does not go: they share nothing
            return -1.0
    scale = (onto[0, 0] + onto[1, 1]) / 2
    odd = max(abs(onto[0, 1]), abs(onto[1, 0]), abs(onto[0, 0] - onto[1, 1]))
    if scale <= 0 or odd > TURNED_AT_MOST * scale:
        return -1.0
    size = one.thumb.shape[::-1]
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    warped = cv2.warpAffine(second, onto, size, flags=flags)
    shared = cv2.warpAffine(np.ones_like(second), onto, size, flags=flags) > 0.999
    if shared.sum() < LEAST_SHARED * min(shared.size, upright.size / scale**2):
        return -1.0
    return float(np.corrcoef(first[shared], warped[shared])[0, 1])


def _turned(
    onto: NDArray[np.float64], quarters: int, shape: tuple[int, ...]
) -> NDArray[np.float64]:
    """Take a transformation onto a photo of `shape` to one onto that photo as `np.rot90` has it."""
    for _ in range(quarters):
        height, width = shape[:2]
        # np.rot90 takes the point (x, y) to (y, width - 1 - x).
        onto = np.array([onto[1], [0.0, 0.0, width - 1.0] - onto[0]])
        shape = (width, height)
    return onto


def _unturned(onto: NDArray[np.float64], one: Print) -> NDArray[np.float64]:
    """Take the last of the turn out of a similarity, about the scale's own place."""
    from vision.closeup import ORIGIN, invert, move

    assert one.to_closeup is not None
    at = move(invert(one.to_closeup), np.array([ORIGIN]))
    there = move(onto, at)[0]
    scale = float(np.hypot(onto[0, 0], onto[1, 0]))
    turn = scale * np.eye(2)
    return np.column_stack([turn, there - turn @ at[0]])


def _detail(grey: NDArray[np.uint8], off_px: float, on_px: float) -> NDArray[np.float32]:
    """Take noise and shading off a picture."""
    import cv2

    picture = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), off_px)
    return np.asarray(picture - cv2.GaussianBlur(picture, (0, 0), on_px), np.float32)
