"""Photos that were handed in twice: the same file, or the same picture saved anew."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIDE_PX = 64  # of the small copy that is compared
BLUR_PX = 4.0  # standard deviation of what is taken off: light and ground, which all share
SAME_FROM = 0.90  # correlation; measured in tests/reading/marking/test_likeness.py
BAND = 512  # rows compared at once, so that memory stays bounded


def fingerprint(grey: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Make a small copy of a picture without its shading, as a vector of length 1.

    Parameters
    ----------
    grey : (H, W) uint8

    Returns
    -------
    (SIDE_PX**2,) float32
        All zero for a picture without any detail.
    """
    import cv2

    small = cv2.resize(grey, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA).astype(np.float32)
    detail = small - cv2.GaussianBlur(small, (0, 0), BLUR_PX)
    detail -= detail.mean()
    length = float(np.linalg.norm(detail))
    return (detail / length if length > 1.0 else np.zeros_like(detail)).ravel().astype(np.float32)


def alike(prints: Sequence[NDArray[np.float32]]) -> list[tuple[int, int]]:
    """Find pairs of pictures that are one picture, turned by quarters or not; i < j, in order."""
    if len(prints) < 2:
        return []
    rows = np.stack(prints)
    squares = rows.reshape(-1, SIDE_PX, SIDE_PX)
    turned = [np.rot90(squares, k, (1, 2)).reshape(rows.shape) for k in range(4)]
    pairs = set()
    for start in range(0, len(rows), BAND):
        for other in turned:
            near = rows[start : start + BAND] @ other.T
            for i, j in np.argwhere(near >= SAME_FROM):
                if start + i < j:
                    pairs.add((int(start + i), int(j)))
    return sorted(pairs)
