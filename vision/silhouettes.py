"""The silhouettes of sleeve and thimble beside the edge: the middle, the step, the widening.

Everything here is in close-up pixels; rows are counted from the reference line downwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.closeup import SLEEVE_DIAMETER_PX
from vision.lines import Axis, Edge, Outline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Map = NDArray[np.float32]
    Floats = NDArray[np.float64]

RADIUS_PX = SLEEVE_DIAMETER_PX / 2
CUSTOMARY_STEP_PX = 0.0375 * RADIUS_PX  # 0.27 mm on a sleeve of 7.2 (common practice)
STEP_SPREAD_PX = 0.0145 * RADIUS_PX  # 0.12 to 0.45 mm on 5 to 9 (common practice)
CUSTOMARY_WIDENING = 0.17  # slope of a bevel, px a px: 3 to 17 degrees (common practice)
WIDENING_SPREAD = 0.07
STEPS_PX, WIDENINGS = np.arange(0.5, 9.1, 0.5), np.linspace(0.04, 0.32, 8)

ARC_SHARE = 0.62  # depth of a parabola through a half-ellipse's middle part over its own
ON_SLEEVE_PX = np.arange(-64.0, -4.0)  # from the edge: where the sleeve's outline is looked for
ON_BEVEL_PX = np.arange(2.0, 26.0)  # and the thimble's
LEAST_RIDGE = 0.12  # mean ridge along a silhouette that counts
INSIDE_PX = (1.0, 1.2)  # how far inside the outline its ridge runs: sleeve, thimble (tune)
BESIDE_LINE_PX = 12.0  # nearer to the reference line than this no silhouette runs
WIDTH_SPREAD_PX, MIDDLE_SPREAD_PX = 16.0, 26.0  # of what the close-up's pose gets wrong
SLOPE_SPREAD = 0.015  # px a px, of the sleeve's outline against the line: perspective
U_STEP_PX = (0.5, 0.8)  # of a step measured on one side: common to both sides, each one's own
FAINT = 0.1  # ridge probability below which a pixel says nothing


@dataclass(frozen=True)
class _Side:
    """One side's silhouettes: the sleeve's row at the edge; step and widening if seen."""

    row: float
    step: float | None = None
    widening: float | None = None


def fit_outline(ridge: Map, axis: Axis, edge: Edge) -> Outline:
    """Measure the silhouettes of sleeve and thimble beside the edge.

    The step is what the silhouettes show on either side, and what gauges customarily have, each
    by its uncertainty.
    """
    rows = _rough(ridge, axis, edge)
    half = RADIUS_PX if None in rows else 0.5 * (rows[1] - rows[0])  # type: ignore[operator]
    sides = []
    for row, way in zip(rows, (-1.0, 1.0), strict=True):
        middle = 0.0 if row is None else row - way * half
        sides.append(_side(ridge, axis, edge, (row, way, middle)) if row is not None else None)
    steps = [side.step for side in sides if side is not None and side.step is not None]
    wide = [side.widening for side in sides if side is not None and side.widening is not None]
    step, u_step = CUSTOMARY_STEP_PX, STEP_SPREAD_PX
    if steps:
        known = 1.0 / (U_STEP_PX[0] ** 2 + U_STEP_PX[1] ** 2 / len(steps))
        usual = 1.0 / STEP_SPREAD_PX**2
        step = (known * float(np.mean(steps)) + usual * CUSTOMARY_STEP_PX) / (known + usual)
        u_step = (known + usual) ** -0.5
    top, low = (None if side is None else side.row for side in sides)
    widening = float(np.clip(np.mean(wide), 0.0, 0.4)) if wide else CUSTOMARY_WIDENING
    return Outline(top, low, max(step, 0.5), u_step, widening)


def edge_at(edge: Edge, middle: float, radius: float, way: float) -> float:
    """Where the edge meets the silhouette above (`way` -1) or below (1), x in px.

    The edge is seen as half an ellipse, of which the fit knows the middle part as a parabola.
    """
    lean = edge.lean + 2 * edge.bend * middle
    return float(edge.x_at(middle)) + way * lean * radius + edge.bend * radius**2 / ARC_SHARE


def _sampled(ridge: Map, axis: Axis, x: Floats, rows: Floats) -> Floats:
    """Sample a map at places along the line: x in px, rows below the line."""
    x, rows = np.broadcast_arrays(x, rows)
    flat = (-1, x.shape[-1])
    y = axis.y0 + axis.slope * (x - axis.x_edge) + rows
    across, down = (np.ascontiguousarray(v, dtype=np.float32).reshape(flat) for v in (x, y))
    found = np.asarray(cv2.remap(ridge, across, down, cv2.INTER_LINEAR, borderValue=0.0))
    return found.reshape(x.shape).astype(np.float64)


def _rough(ridge: Map, axis: Axis, edge: Edge) -> tuple[float | None, float | None]:
    """Find the rows of the sleeve's silhouettes, as a pair that makes a likely sleeve."""
    rows = np.arange(-128.0, 129.0)
    level = _sampled(ridge, axis, edge.x0 + ON_SLEEVE_PX, rows[:, None])
    profile = np.convolve(level.mean(axis=1), np.ones(3) / 3, mode="same")
    peak = (profile >= np.maximum(np.roll(profile, 1), np.roll(profile, -1))) & (
        profile > 0.6 * LEAST_RIDGE
    )
    tops, lows = (rows[peak & (way * rows > BESIDE_LINE_PX)] for way in (-1, 1))
    strength = dict(zip(rows.tolist(), np.minimum(profile, 0.6).tolist(), strict=True))

    def score(top: float | None, low: float | None) -> float:
        seen = sum(strength[row] for row in (top, low) if row is not None)
        if top is not None and low is not None:
            wide, middle = low - top - 2 * RADIUS_PX, 0.5 * (top + low)
        else:
            wide = 0.0
            middle = 0.0 if top is None and low is None else (top or 0.0) + (low or 0.0)
            middle -= np.sign(middle) * RADIUS_PX
        off = 0.15 * (wide / WIDTH_SPREAD_PX) ** 2 + 0.07 * (middle / MIDDLE_SPREAD_PX) ** 2
        return seen - off if seen else 0.0

    pairs = [(top, low) for top in (None, *tops.tolist()) for low in (None, *lows.tolist())]
    return max(pairs, key=lambda pair: score(*pair))


def _side(ridge: Map, axis: Axis, edge: Edge, place: tuple[float, float, float]) -> _Side | None:
    """Fit the silhouettes on one side; `place` is the rough row, the side (-1, 1), the middle."""
    row, way, middle = place
    x0 = edge_at(edge, middle, abs(row - middle), way)
    sleeve = _followed(ridge, axis, x0 + ON_SLEEVE_PX, x0, (row, 0.0, 0.0, SLOPE_SPREAD))
    if sleeve is None:
        return None
    row, slope = sleeve[0] + way * INSIDE_PX[0], sleeve[1]
    # the thimble's lies farther out, by a step that grows along the bevel
    out = STEPS_PX[:, None, None] + WIDENINGS[None, :, None] * ON_BEVEL_PX - INSIDE_PX[1]
    seen = _sampled(ridge, axis, x0 + ON_BEVEL_PX, row + slope * ON_BEVEL_PX + way * out)
    score = seen.mean(axis=2)
    score -= 0.05 * ((STEPS_PX[:, None] - CUSTOMARY_STEP_PX) / 3.0) ** 2
    score -= 0.05 * ((WIDENINGS - CUSTOMARY_WIDENING) / 0.1) ** 2
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    start = row + way * (float(STEPS_PX[i]) - INSIDE_PX[1])
    usual = slope + way * CUSTOMARY_WIDENING
    guess = (start, slope + way * float(WIDENINGS[j]), usual, WIDENING_SPREAD)
    bevel = _followed(ridge, axis, x0 + ON_BEVEL_PX, x0, guess)
    if bevel is None:
        return _Side(row)
    return _Side(row, way * (bevel[0] - row) + INSIDE_PX[1], way * bevel[1])


def _followed(
    ridge: Map, axis: Axis, x: Floats, x0: float, guess: tuple[float, float, float, float]
) -> tuple[float, float] | None:
    """Fit a straight silhouette near a guessed one: its row at `x0` and its slope.

    `guess`: row and slope that are near, the slope that is usual, and its spread.
    """
    row, slope, usual, spread = guess
    off = np.arange(-7.0, 7.01, 0.5)[:, None]
    dx = x - x0
    near = _sampled(ridge, axis, x, row + slope * dx + off)
    near = np.where(near > FAINT, near, 0.0)
    start, lean = 0.0, 0.0
    for reach in (6.0, 4.0, 3.0, 3.0):
        away = off - (start + lean * dx)
        weight = near * np.clip(1.0 - (away / reach) ** 2, 0.0, None) ** 2
        mass = weight.sum()
        if mass < 3.0:
            return None
        mean_x, mean_off = (weight * dx).sum() / mass, (weight * off).sum() / mass
        both = (weight * (dx - mean_x) * (off - mean_off)).sum()
        hold = mass / len(dx) * (0.6 / spread) ** 2  # a column's ridge tells its row to 0.6 px
        lean = (both + hold * (usual - slope)) / ((weight * (dx - mean_x) ** 2).sum() + hold)
        start = mean_off - lean * mean_x
    seen = (near * (np.abs(off - start - lean * dx) < 2.0)).max(axis=0).mean()
    return (row + float(start), slope + float(lean)) if seen > LEAST_RIDGE else None
