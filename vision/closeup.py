"""The upright close-up of a scale: the one frame in which everything on it is found.

In the close-up the axis is level, the thimble at the right, the point where the reference line
meets the thimble's edge at `ORIGIN`, and the sleeve `SLEEVE_DIAMETER_PX` high.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIZE = (544, 256)  # width, height in px: 25 mm of a slim sleeve and the thimble's numbers fit in
ORIGIN = (352.0, 127.5)  # (x, y) in px of the reference line's meeting with the edge
SLEEVE_DIAMETER_PX = 160.0
RIM_PX = 5.0  # of a photo, in close-up px, that its repeated border spoils


@dataclass(frozen=True)
class Pose:
    """Where a scale lies in a photo.

    `x`, `y`: px, where the reference line meets the thimble's edge. `angle_rad`: direction from the
    frame towards the thimble, 0 along +x, growing towards +y (down). `sleeve_diameter_px`: distance
    between the sleeve's silhouettes beside the edge.
    """

    x: float
    y: float
    angle_rad: float
    sleeve_diameter_px: float
    probability: float = 1.0


def photo_to_closeup(pose: Pose) -> NDArray[np.float64]:
    """Make the (2, 3) similarity that takes photo points to close-up points."""
    scale = SLEEVE_DIAMETER_PX / pose.sleeve_diameter_px
    c, s = scale * np.cos(pose.angle_rad), scale * np.sin(pose.angle_rad)
    turn = np.array([[c, s], [-s, c]])
    shift = np.array(ORIGIN) - turn @ np.array([pose.x, pose.y])
    return np.column_stack([turn, shift])


def move(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Apply a (2, 3) matrix to (N, 2) points."""
    return points @ matrix[:, :2].T + matrix[:, 2]


def invert(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Invert a (2, 3) similarity."""
    turn = np.linalg.inv(matrix[:, :2])
    return np.column_stack([turn, -turn @ matrix[:, 2]])


def cut(
    grey: NDArray[np.uint8], matrix: NDArray[np.float64], size: tuple[int, int] = SIZE
) -> NDArray[np.uint8]:
    """Cut the close-up, (256, 544) uint8, out of a grey photo; what lies outside repeats its rim.

    Photos that are larger than the close-up are averaged down first, so that nothing aliases. By
    another `size` (width, height), and the matrix that belongs to it, any other frame is cut.
    """
    import cv2  # only here: the frame itself is also of use where there is no OpenCV

    scale = float(np.hypot(matrix[0, 0], matrix[0, 1]))
    factor = int(np.floor(1.0 / scale + 0.35)) if scale < 1 else 1
    if factor > 1:
        grey, matrix = _shrink_around(grey, matrix, factor, size)
    flags = cv2.INTER_CUBIC if scale * factor > 0.8 else cv2.INTER_LINEAR
    return np.asarray(
        cv2.warpAffine(grey, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE),
        dtype=np.uint8,
    )


def inside(shape: tuple[int, ...], matrix: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which close-up pixels, (256, 544), show a photo of `shape` (height, width).

    The rim, where what lies outside is made up, does not count.
    """
    back = invert(matrix)
    x, y = np.arange(SIZE[0]), np.arange(SIZE[1])[:, None]
    u = back[0, 0] * x + back[0, 1] * y + back[0, 2]
    v = back[1, 0] * x + back[1, 1] * y + back[1, 2]
    rim = RIM_PX * float(np.hypot(back[0, 0], back[0, 1]))
    right, low = shape[1] - 1 - rim, shape[0] - 1 - rim
    return np.asarray((u > rim) & (v > rim) & (u < right) & (v < low))


def _shrink_around(
    grey: NDArray[np.uint8], matrix: NDArray[np.float64], factor: int, size: tuple[int, int]
) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Average the part of the photo that a close-up of this size needs down by a whole factor."""
    import cv2

    width, height = size
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], dtype=np.float64)
    seen = move(invert(matrix), corners)
    x0, y0 = np.maximum(np.floor(seen.min(axis=0)).astype(int) - 2 * factor, 0)
    x1, y1 = np.ceil(seen.max(axis=0)).astype(int) + 2 * factor
    part = grey[y0:y1, x0:x1]
    rows, cols = part.shape[0] // factor, part.shape[1] // factor
    if rows < 1 or cols < 1:
        return grey, matrix
    small = cv2.resize(
        part[: rows * factor, : cols * factor], (cols, rows), interpolation=cv2.INTER_AREA
    )
    # small pixel q holds photo pixels x0 + q*factor ... : photo = (q + 0.5) * factor - 0.5 + x0
    turn = matrix[:, :2]
    centre = np.array([x0, y0]) + (factor - 1) / 2.0
    return np.asarray(small, dtype=np.uint8), np.column_stack(
        [turn * factor, turn @ centre + matrix[:, 2]]
    )
