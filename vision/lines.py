"""The few lines that carry the geometry, fitted to the ridge maps of a close-up.

Everything here is in close-up pixels: the axis about level, the thimble at the right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision.closeup import ORIGIN, SLEEVE_DIAMETER_PX

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Map = NDArray[np.float32]
    Point = tuple[float, float]

TRUST = 0.15  # ridge probability below which a pixel says nothing; common practice of thresholding
STEEPEST = 0.30  # slope; a finder that is further off has found something else
LINE_REACH_PX = 34.0  # how far from the close-up's middle the reference line is looked for
SLOPE_HOLD_PX2 = 10.0  # spread along x, px^2, below which a line's slope is mostly what is expected
BESIDE_PX, BESIDE_SLOPE = 2.5, 0.03  # of a place that a line is known to lead to
UNSEEN_PX = 6.0  # length of a line of which only the place at the edge is known
U_UNSEEN_PX = 0.35  # standard uncertainty of that place, across
EDGE_REACH_PX = 34.0  # how far from the close-up's origin the edge is looked for


@dataclass(frozen=True)
class Axis:
    """The reference line y = y0 + slope (x - x_edge), and where it was seen."""

    y0: float
    slope: float
    x_edge: float
    first_x: float
    last_x: float
    u_y0: float  # standard uncertainty of y0, px
    strength: float  # mean ridge probability along the line, less where the photo disagrees, 0 to 1

    def y_at(self, x: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Height of the line at x."""
        return np.asarray(self.y0 + self.slope * (np.asarray(x) - self.x_edge))

    def flipped(self, height: int) -> Axis:
        """Give the same line in a picture of that height turned upside down as a mirror image."""
        return replace(self, y0=height - 1 - self.y0, slope=-self.slope)


@dataclass(frozen=True)
class Edge:
    """The thimble's edge x = x0 + lean dy + bend dy^2, dy counted from the reference line.

    `across` is the lean of the arc's chord; at right angles to it the axis is to be expected.
    """

    x0: float
    lean: float
    bend: float
    across: float
    u_x0: float
    strength: float

    def x_at(self, dy: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Place of the edge dy px below the reference line."""
        dy = np.asarray(dy)
        return np.asarray(self.x0 + self.lean * dy + self.bend * dy * dy)


@dataclass(frozen=True)
class Outline:
    """The silhouettes beside the edge, px below the reference line, None where not seen.

    `top`, `low` are the sleeve's; `step` is how far the thimble's edge stands proud of it and
    `u_step` the standard uncertainty of that; `widening` the growth of the thimble's radius per px.
    """

    top: float | None
    low: float | None
    step: float
    u_step: float
    widening: float

    @property
    def radius(self) -> float:
        """Sleeve radius in px: measured, or the close-up's own."""
        if self.top is None or self.low is None:
            return SLEEVE_DIAMETER_PX / 2
        return 0.5 * (self.low - self.top)

    @property
    def middle(self) -> float:
        """The axis, px below the reference line, as far as the silhouettes tell."""
        if self.top is not None and self.low is not None:
            return 0.5 * (self.top + self.low)
        if self.top is not None:
            return self.top + self.radius
        return self.low - self.radius if self.low is not None else 0.0


def _gathered(
    slopes: NDArray[np.float64],
    along: NDArray[np.number],
    across: NDArray[np.number],
    weight: NDArray[np.float64],
    length: int,
) -> NDArray[np.float64]:
    """Sum weights, (n,), by whole places `across` - slope `along`, (n,) each, for each slope, (k,).

    Gives (k, length); what lies outside is left out.
    """
    at = np.round(across - slopes[:, None] * along).astype(np.intp)
    rows, columns = np.nonzero((at >= 0) & (at < length))
    flat = rows * length + at[rows, columns]
    summed = np.bincount(flat, weight[columns], minlength=len(slopes) * length)
    return summed.reshape(-1, length).astype(np.float64)


def less_vernier(line: Map, vernier: Map) -> Map:
    """Take a vernier's lines out of the reference line's ridge map: its zero is drawn alike."""
    return np.asarray(np.clip(line - vernier, 0.0, None), dtype=np.float32)


def fit_axis(ridge: Map, expected_slope: float = 0.0, through: Point | None = None) -> Axis | None:
    """Fit the reference line to its ridge map; None where there is none.

    A short line says little of its own slope: it is held by the expected one. With `through` (x, y)
    only what leads there counts.
    """
    x_edge = ORIGIN[0]
    part = np.where(ridge > TRUST, ridge, 0.0).astype(np.float32)
    part[:, int(x_edge + EDGE_REACH_PX) :] = 0.0
    if through is None:
        part[: int(ORIGIN[1] - LINE_REACH_PX)] = 0.0
        part[int(ORIGIN[1] + LINE_REACH_PX) + 1 :] = 0.0
    yy, xx = np.nonzero(part)
    if through is not None:
        off = yy - through[1] - expected_slope * (xx - through[0])
        near = np.abs(off) < BESIDE_PX + BESIDE_SLOPE * np.abs(xx - through[0])
        yy, xx = yy[near], xx[near]
    weight = part[yy, xx].astype(np.float64)
    slopes = expected_slope + np.linspace(-STEEPEST, STEEPEST, 49)
    rows = _gathered(slopes, xx - x_edge, yy, weight, ridge.shape[0])
    rows = rows * np.exp(-0.5 * ((slopes[:, None] - expected_slope) / 0.2) ** 2)
    rows = rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]
    best, at = np.unravel_index(int(np.argmax(rows)), rows.shape)
    if rows[best, at] < 6.0:  # two soft pixels across and a few along: less is a speck
        return None
    y0, slope = float(at + 1), float(slopes[best])
    u = 1.0
    for reach in (4.0, 2.5, 2.5):
        off = yy - (y0 + slope * (xx - x_edge))
        w = weight * np.clip(1.0 - (off / reach) ** 2, 0.0, None) ** 2
        if w.sum() < 3.0:
            return None
        mx, my = np.average(xx, weights=w), np.average(yy, weights=w)
        spread = np.sum(w * (xx - mx) ** 2)
        hold = w.sum() * SLOPE_HOLD_PX2
        slope = float((np.sum(w * (xx - mx) * (yy - my)) + hold * expected_slope) / (spread + hold))
        y0 = float(my + slope * (x_edge - mx))
        columns = max(float(len(np.unique(xx[w > 0]))), 2.0)
        u = 0.35 / np.sqrt(columns) * np.sqrt(1.0 + (x_edge - mx) ** 2 * w.sum() / (spread + 1.0))
    inlier = w > 0.2 * w.max()
    first, last = float(np.percentile(xx[inlier], 1)), float(xx[inlier].max())
    strength = float(np.sum(part[yy, xx] * (w > 0)) / (2.6 * max(last - first, 8.0)))
    return Axis(y0, slope, x_edge, first, last, float(max(u, 0.04)), min(1.0, strength))


def unseen_axis(x: float, y: float, slope: float) -> Axis:
    """The reference line through a place at the edge, of which the ridge map shows nothing."""
    return Axis(y, slope, x, x - UNSEEN_PX, x, U_UNSEEN_PX, 0.0)


def fit_edge(ridge: Map, y0: float) -> Edge | None:
    """Fit the edge's arc, dy counted from `y0`; None where too little of it is seen."""
    lo, hi = int(ORIGIN[0] - EDGE_REACH_PX), int(ORIGIN[0] + EDGE_REACH_PX)
    band = np.where(ridge[:, lo:hi] > TRUST, ridge[:, lo:hi], 0.0).astype(np.float32)
    yy, cc = np.nonzero(band)
    if len(yy) < 30:
        return None
    x0, lean = _steer(band, y0)
    x0 += lo
    xx, weight, dy = cc + float(lo), band[yy, cc].astype(np.float64), yy - y0
    bend = 0.0
    for reach in (10.0, 6.0, 3.5, 3.0):
        off = xx - (x0 + lean * dy + bend * dy * dy)
        w = weight * np.clip(1.0 - (off / reach) ** 2, 0.0, None) ** 2
        if w.sum() < 8.0:
            return None
        s = dy / 60.0
        design = np.stack([np.ones_like(s), s, s * s], axis=1)
        normal = design.T @ (design * w[:, None]) + np.diag([0.0, 1.0, 2.0])
        held = np.array([0.0, lean * 60.0, 0.0])
        x0, a, b = np.linalg.solve(normal, design.T @ (w * xx) + held)
        lean, bend = float(a) / 60.0, float(b) / 3600.0
    seen = np.unique(yy[w > 0])
    strength = float(np.clip(len(seen) / (0.7 * SLEEVE_DIAMETER_PX), 0.0, 1.0))
    across = lean + 2 * bend * float(seen.mean() - y0)
    return Edge(float(x0), lean, bend, across, 0.5 / np.sqrt(max(len(seen), 4) / 8.0), strength)


def facing_sine(edge: Edge, outline: Outline) -> float:
    """Sine of the angle psi at which the gauge turns from the picture's plane.

    Positive where the sleeve's far end leans towards the camera.
    The edge is a circle of radius R, seen as an arc of bend -sin(psi) / 2 R.
    """
    return float(np.clip(-2.0 * edge.bend * outline.radius, -0.7, 0.7))


def over_sleeve_x(edge: Edge, outline: Outline) -> float:
    """Find where the edge would stand on the line, were the camera straight before it.

    The edge stands proud of the sleeve: seen at an angle psi it hides a step's sin(psi) more of it,
    or less.
    """
    return edge.x0 - outline.step * facing_sine(edge, outline)


def _steer(band: Map, y0: float) -> tuple[float, float]:
    """Find the straight line (x at y0, lean) that gathers most of a band's ridge."""
    yy, cc = np.nonzero(band)
    weight = band[yy, cc].astype(np.float64)
    leans = np.linspace(-STEEPEST, STEEPEST, 31)
    columns = _gathered(leans, yy - y0, cc, weight, band.shape[1])
    wide = np.stack([np.convolve(row, np.ones(7), mode="same") for row in columns])
    wide *= np.exp(-0.5 * (leans[:, None] / 0.2) ** 2)
    best, at = np.unravel_index(int(np.argmax(wide)), wide.shape)
    return float(at), float(leans[best])
