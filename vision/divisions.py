"""Where the divisions lie beside the reference line, by the photo's own pixels.

The marks network puts the divisions' phase to within 0.05 of a division; what is seen of each line
in the photo mends that. Lengths are close-up px, counted from the reference line downwards and from
the edge to the right; angles about the axis, upwards from the middle of the thimble's picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from vision.closeup import SLEEVE_DIAMETER_PX
from vision.lines import Axis, Edge
from vision.pixels import line_middles, robust_fit, sampled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STEP_PX = 0.25  # of rows
BEHIND_PX = np.arange(1.5, 13.5, 0.5)  # columns, from the edge
TALL_PX = np.arange(1.5, 61.5, 1.0)  # columns that hold lines in all their length, and numbers
TALL_STEP_PX = 0.5  # of their rows
PIECES = 4  # that a line is cut into along its length, each of 3 px
AROUND = (3.5, 0.3)  # lines that are looked at: divisions and radians to either side, the greater
FARTHEST_RAD = 1.0  # divisions farther round are too crowded
HALF_SPACINGS, HALF_PX = 0.5, 7.0  # across a line to either side, whichever is less
OFF_SPACINGS = 0.3  # how far off its place a line is looked for
WIDTHS_SPACINGS = (
    0.05,
    0.07,
    0.10,
    0.14,
    0.2,
    0.28,
)  # of lines: standard deviations of their profiles
SAMPLES = 12  # at least, to either side of a line
SPREAD = (0.25, 0.04, 0.02)  # beforehand: shift in divisions; px a px behind; of the spacing
U_PIECE = (0.012, 0.10)  # of a piece's middle: in divisions, and in photo px (tune)
FEWEST = 4  # pieces without which nothing is said
FAINTEST, CLEAREST = 0.05, 1.5  # a piece counts by its strength over the usual, within these


@dataclass(frozen=True, eq=False)
class Strip:
    """The photo beside the edge: rows `dy` below the line, columns `BEHIND_PX`; (columns, rows).

    `tall` is the same at columns `TALL_PX`, its rows `TALL_STEP_PX` apart from the same first one.
    """

    dy: Floats
    grey: Floats = field(repr=False)
    photo_px: float  # close-up px a photo px
    tall: Floats = field(repr=False)

    def across(self, place: Floats) -> Floats:
        """Look up at rows `place`, (..., columns, m), between the strip's own."""
        return _between(self.grey, (place - self.dy[0]) / STEP_PX)

    def tall_across(self, place: Floats) -> Floats:
        """Look up at rows `place`, (..., tall columns, m)."""
        return _between(self.tall, (place - self.dy[0]) / TALL_STEP_PX)


def _between(grey: Floats, row: Floats) -> Floats:
    """Look up between the rows of `grey`, (columns, rows), at `row`, (..., columns, m)."""
    row = np.clip(row, 0.0, grey.shape[1] - 1.001)
    at = row.astype(np.intp)
    part = row - at
    column = np.arange(len(grey))[:, None]
    return np.asarray((1.0 - part) * grey[column, at] + part * grey[column, at + 1])


@dataclass(frozen=True)
class Cylinder:
    """A grating on a cylinder: its radius, middle, growth a px behind the edge, and divisions.

    `line_rad` is the angle that is seen where the reference line points.
    """

    radius: float
    middle: float
    widening: float
    divisions: int
    line_rad: float

    @property
    def step_rad(self) -> float:
        """Angle from one division to the next."""
        return 2 * math.pi / self.divisions


@dataclass(frozen=True)
class Placed:
    """How much farther up than told lines lie at the edge, divisions, and how sure that is.

    `lean` is how much farther up they run a px behind it, px.
    """

    shift: float
    u_shift: float
    lean: float


def strip_of(grey: NDArray[np.uint8], matrix: NDArray[np.float64], axis: Axis, edge: Edge) -> Strip:
    """Sample the photo beside the edge; `matrix`, (2, 3), takes it to the close-up."""
    reach = 0.55 * SLEEVE_DIAMETER_PX

    def seen(columns: Floats, step: float) -> Floats:
        dy = np.arange(-reach, reach, step)
        x = edge.x_at(dy)[None, :] + columns[:, None]
        return sampled(grey, matrix, x, axis.y_at(x) + dy[None, :])

    photo_px = float(np.hypot(matrix[0, 0], matrix[0, 1]))
    dy = np.arange(-reach, reach, STEP_PX)
    return Strip(dy, seen(BEHIND_PX, STEP_PX), photo_px, seen(TALL_PX, TALL_STEP_PX))


def placed(strip: Strip, on: Cylinder, fraction: float) -> Placed | None:
    """Measure where the lines lie beside the reference line, `fraction` being where they should.

    Returns
    -------
    Placed or None, where too little is seen

    Notes
    -----
    Each piece of each line is found by itself; shift, slope against the axis and spacing are fitted
    to all of them, so that a highlight or a number that hides some does no harm. The slope takes up
    what the bevel's widening and perspective do to lines behind the edge.
    """
    step = on.step_rad
    count = np.arange(-on.divisions // 2, on.divisions // 2 + 1)
    angle = on.line_rad + (count - fraction) * step
    around = max(AROUND[0] * step, AROUND[1])
    angle = angle[(np.abs(angle - on.line_rad) < around) & (np.abs(angle) < FARTHEST_RAD)]
    if not len(angle):
        return None
    spacing = on.radius * math.cos(on.line_rad) * step
    half = min(HALF_SPACINGS * spacing, HALF_PX)
    off = np.linspace(-half, half, 2 * max(SAMPLES, round(half / STEP_PX)) + 1)
    grown = on.radius + on.widening * BEHIND_PX
    place = on.middle - grown[None, :] * np.sin(angle)[:, None]
    seen = strip.across(place[..., None] + off).reshape(len(angle) * PIECES, -1, len(off))
    middle, strength = line_middles(
        np.median(seen, axis=1),
        off,
        tuple(w * spacing for w in WIDTHS_SPACINGS),
        OFF_SPACINGS * spacing,
    )
    found = np.isfinite(middle)
    if found.sum() < FEWEST:
        return None
    of_line = np.repeat(angle, PIECES)[found]
    behind = np.tile(BEHIND_PX.reshape(PIECES, -1).mean(axis=1), len(angle))[found]
    up = -middle[found] / (on.radius * np.cos(of_line)) / step
    from_line = of_line - on.line_rad
    weight = np.clip(strength[found] / np.median(strength[found]), FAINTEST, CLEAREST)
    weight = weight * np.cos(0.5 * math.pi * from_line / around) ** 2
    design = np.stack([np.ones_like(up), behind / spacing, from_line / step], axis=1)
    u_piece = math.hypot(U_PIECE[0], U_PIECE[1] * strip.photo_px / spacing)
    fit, covariance, _ = robust_fit(design, up, weight, u_piece, SPREAD)
    return Placed(float(fit[0]), math.sqrt(float(covariance[0, 0])), float(fit[1]))
