"""Where the thimble's edge and the reference line lie, by the photo's own pixels.

The marks network puts the edge to within 0.7 px of the close-up, which is 0.06 mm: near a full turn
that decides the reading. It puts the line to within 0.4 px where it meets the edge, 0.04 of a
division in 50.
"""

from __future__ import annotations

import math
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

LINE_REACH_PX = 110.0  # of line beside the edge that is looked at, close-up px
LINE_GAP_PX = 2.0  # nearer to the edge lies its shadow
PIECE_PX = 5.0  # of line that is looked at in one, wider than most graduations
LINE_HALF_PX = 5.0  # across the line, to either side
LINE_OFF_PX = 2.5  # how far off the network's line it is looked for
WIDTHS_PX = (0.5, 0.7, 0.9, 1.2, 1.6)  # of lines: standard deviations of their profiles
LINE_SPREAD_PX, LINE_SPREAD_SLOPE = 0.6, 0.06  # how far off the network's line may be (tune)
U_PIECE_PX = (0.06, 0.12)  # of a piece's middle: in close-up px, and in photo px (tune)
AGREE_PX = 0.5  # of the line, within which a piece bears it out
# share of pieces that bear a line out: of 185 lines of tune 3 had less than 0.8, and none of those
# was the line
MOST_PIECES = 0.75
U_LINE_PX = (0.02, 0.04)  # and what all its pieces have in common
LEAST_STRENGTH = 0.5  # grey levels, summed by a template of length 1: below it all is flat
ROUNDS, STRAY = 6, 2.0  # of robust fits; a miss of so many standard deviations counts for a quarter


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
    seen = sampled(grey, matrix, x, (axis.y0 + dy)[:, None])
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


def place_line(grey: NDArray[np.uint8], matrix: NDArray[np.float64], axis: Axis) -> Axis:
    """Move and turn the reference line to where its pieces lie in the photo.

    Graduations that touch it and what lies beside it pull some pieces aside: those count for less,
    and the network's line holds the others.

    Parameters
    ----------
    grey : (H, W) uint8 array, the photo
    matrix : (2, 3) array, photo to close-up
    axis : as fitted to the close-up's ridges, its `x_edge` being the edge's `x0`

    Returns
    -------
    Axis
        With its `y0`, `slope` and `u_y0` renewed, and weaker where its pieces do not agree: it may
        be the border of a shadow. As it was where nothing is seen.
    """
    right = axis.x_edge - LINE_GAP_PX
    count = int((right - max(axis.first_x, right - LINE_REACH_PX)) / PIECE_PX)
    if count < 1:
        return axis
    x = (right - np.arange(0.0, count * PIECE_PX, 0.5)).reshape(count, -1)
    off = np.arange(-LINE_HALF_PX, LINE_HALF_PX + STEP_PX / 2, STEP_PX)
    seen = sampled(grey, matrix, x[..., None], axis.y_at(x)[..., None] + off)
    middle, _ = line_middles(np.median(seen, axis=1), off, WIDTHS_PX, LINE_OFF_PX)
    found = np.isfinite(middle)
    if not found.any():
        return axis
    photo_px = float(np.hypot(matrix[0, 0], matrix[0, 1]))  # close-up px a photo px
    behind = x.mean(axis=1)[found] - axis.x_edge
    design = np.stack([np.ones_like(behind), behind], axis=1)
    u_piece = math.hypot(U_PIECE_PX[0], U_PIECE_PX[1] * photo_px)
    spread = (LINE_SPREAD_PX, LINE_SPREAD_SLOPE)
    fit, covariance, _ = robust_fit(design, middle[found], np.ones_like(behind), u_piece, spread)
    agree = np.abs(middle[found] - design @ fit) < max(AGREE_PX, 2.0 * u_piece)
    borne_out = float(agree.sum()) / count
    u = math.hypot(math.sqrt(covariance[0, 0]), U_LINE_PX[0], U_LINE_PX[1] * photo_px)
    return replace(
        axis,
        y0=axis.y0 + float(fit[0]),
        slope=axis.slope + float(fit[1]),
        u_y0=float(u),
        strength=axis.strength * min(1.0, borne_out / MOST_PIECES),
    )


def sampled(grey: NDArray[np.uint8], matrix: NDArray[np.float64], x: Floats, y: Floats) -> Floats:
    """Sample a photo at close-up places (x, y), of shapes that broadcast; beyond, its rim."""
    x, y = np.broadcast_arrays(x, y)
    at = closeup.move(closeup.invert(matrix), np.stack([x.ravel(), y.ravel()], axis=1))
    at = at.reshape(-1, x.shape[-1], 2).astype(np.float32)
    found = cv2.remap(
        grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(found).reshape(x.shape).astype(np.float64)


def line_middles(
    profiles: Floats, off: Floats, widths: tuple[float, ...], reach: float
) -> tuple[Floats, Floats]:
    """Find the middle of one engraved line in each of some profiles across it.

    Parameters
    ----------
    profiles : (n, m) array
        Brightness at the places `off`, (m,), evenly spaced about 0; all of lines alike.
    widths : standard deviations of lines to try, in the unit of `off`
    reach : how far from 0 a middle may lie

    Returns
    -------
    middles, strengths : (n,) arrays
        NaN where there is no line. A line is dark or bright as most of them are.
    """
    level = _levelled(profiles, off)
    usual = np.median(level, axis=0)
    sign = 1.0 if (usual * np.exp(-0.5 * (off / reach) ** 2)).sum() > 0 else -1.0
    templates = [_line(off, width) for width in widths]
    best = max(templates, key=lambda t: np.correlate(sign * usual, t, "same").max())
    likely = np.where(np.abs(off) <= reach, np.exp(-0.5 * (off / reach) ** 2), 0.0)
    middles, strengths = np.full(len(level), np.nan), np.zeros(len(level))
    step = float(off[1] - off[0])
    for i, profile in enumerate(level):
        match = np.correlate(sign * profile, best, "same")
        at = int(np.argmax(match * likely))
        if match[at] < LEAST_STRENGTH or not 0 < at < len(off) - 1:
            continue
        a, b, c = match[at - 1 : at + 2]
        bend = a - 2 * b + c
        if bend < 0:
            middles[i] = off[at] + step * float(np.clip(0.5 * (a - c) / bend, -1.0, 1.0))
            strengths[i] = match[at]
    return middles, strengths


def _line(off: Floats, width: float) -> Floats:
    """Profile of a line of this standard deviation, of mean 0 and length 1."""
    shape = np.exp(-0.5 * (off / width) ** 2)
    shape = shape - shape.mean()
    return np.asarray(shape / np.linalg.norm(shape))


def _levelled(profiles: Floats, off: Floats) -> Floats:
    """Take a straight line through both ends out of each profile."""
    ends = np.abs(off) > 0.6 * np.abs(off).max()
    design = np.stack([np.ones(len(off)), off], axis=1)
    fit = np.linalg.lstsq(design[ends], profiles[:, ends].T, rcond=None)[0]
    return np.asarray(profiles - (design @ fit).T)


def robust_fit(
    design: Floats, values: Floats, weight: Floats, u_value: float, spread: tuple[float, ...]
) -> tuple[Floats, Floats, float]:
    """Fit values, (n,), by design, (n, k), against outliers; parameters are near 0.

    `u_value` is the least standard uncertainty of a value of weight 1 and `spread` that of each
    parameter beforehand. Weights fall as 1 / (1 + r^2)^2 with the misses: those of Geman and
    McClure 1985. Returns parameters, their covariance, and the misses' standard deviation.
    """
    held = np.diag(1.0 / np.square(spread))
    trust, scatter = np.ones(len(values)), u_value
    fit: Floats = np.zeros(design.shape[1])
    covariance: Floats = np.zeros_like(held)
    for _ in range(ROUNDS):
        w = weight * trust / scatter**2
        covariance = np.asarray(np.linalg.inv((design.T * w) @ design + held), dtype=np.float64)
        fit = covariance @ (design.T * w) @ values
        miss = values - design @ fit
        scatter = max(u_value, 1.48 * float(np.median(np.abs(miss))))  # as of a normal spread
        trust = (1.0 + (miss / (STRAY * scatter)) ** 2) ** -2
    return fit, covariance, scatter
