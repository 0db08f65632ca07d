"""Where the thimble's edge lies to a fraction of a pixel, by the photo's own pixels.

The marks network puts the edge to within 0.7 px of the close-up, which is 0.06 mm; near a full turn
that decides the reading.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision import closeup
from vision.lines import Axis, Edge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

REACH_PX = 8.0  # across the edge, close-up px
STEP_PX = 0.25
HALF_ROWS_PX = 30.0  # along the edge, each side of the line: farther round its arc is less known
LINE_PX = 2.5  # half the reference line's width: rows that are left out
PRIOR_PX = 1.5  # how far the network's edge may be off: twice its rms error on tune
LEAST_RATIO = 2.5  # of the steepest place to the usual steepness; below, it may be anything
# standard uncertainty, px, is U_RATIO / ratio within these bounds: rms error on tune
U_RATIO, U_BOUNDS_PX = 1.8, (0.2, 0.7)


def place_edge(
    grey: NDArray[np.uint8], matrix: NDArray[np.float64], axis: Axis, edge: Edge
) -> Edge:
    """Move an edge to where the photo is steepest across it, if one place stands out.

    Parameters
    ----------
    grey : (H, W) uint8 array, the photo
    matrix : (2, 3) array, photo to close-up
    axis, edge : as fitted to the close-up's ridges

    Returns
    -------
    Edge
        With its `x0` and `u_x0` renewed.
    """
    dy = np.arange(-HALF_ROWS_PX, HALF_ROWS_PX + STEP_PX, 2 * STEP_PX)
    dy = dy[np.abs(dy) > LINE_PX]
    off = np.arange(-REACH_PX, REACH_PX + STEP_PX / 2, STEP_PX)
    x = edge.x_at(dy)[:, None] + off[None, :]
    y = np.broadcast_to((axis.y0 + dy)[:, None], x.shape)
    back = closeup.invert(matrix)
    at = closeup.move(back, np.stack([x.ravel(), y.ravel()], axis=1))
    at = at.reshape(*x.shape, 2).astype(np.float32)
    seen = cv2.remap(
        grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float64)
    steep = np.median(np.abs(np.gradient(seen, axis=1)), axis=0) / STEP_PX
    shift, ratio = _steepest(off, np.convolve(steep, [0.25, 0.5, 0.25], mode="same"))
    if ratio < LEAST_RATIO:
        return replace(edge, u_x0=U_BOUNDS_PX[1])
    return replace(edge, x0=edge.x0 + shift, u_x0=float(np.clip(U_RATIO / ratio, *U_BOUNDS_PX)))


def _steepest(off: Floats, steep: Floats) -> tuple[float, float]:
    """Steepest place near the middle, and its steepness over the usual one."""
    likely = steep * np.exp(-0.5 * (off / PRIOR_PX) ** 2)
    at = int(np.argmax(likely[2:-2])) + 2
    a, b, c = steep[at - 1 : at + 2]
    bend = a - 2 * b + c
    vertex = 0.5 * (a - c) / bend if bend < 0 else 0.0
    ratio = float(steep[at] / (np.median(steep) + 0.5))  # half a grey level a px is noise
    return float(off[at] + np.clip(vertex, -1.0, 1.0) * STEP_PX), ratio
