"""Graduation lines on the sleeve, found one by one on the straightened ridge map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.lines import Axis, Edge
from vision.marks import Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

REACH_PX = 50  # rows each side of the line in which graduations are looked for
PAST_EDGE_PX = 12  # columns that are straightened beyond the edge: a line on it and what is beside
TILT_HOLD = 400.0  # px^3: with less ridge than this the lean of the lines is not to be known
LEAST_LINE_PX = 2.5  # summed ridge of the faintest line that counts
CLEAR_PX = 14.0  # summed ridge of a clear graduation
CLEAR_TOOTH = 0.35  # clearness from which a line is surely a graduation
ONE_LINE_PX = 1.8  # peaks above and below no farther apart are one line that crosses
NUMERAL_PX = (8, 11)  # half the width and height of a number's place on the sleeve (tune)
SURE_HEAT = 0.25  # heat from which a number surely stands there
FAINT_RIDGE = 0.1  # ridge probability below which a pixel says nothing


@dataclass(frozen=True)
class Tooth:
    """A graduation line found: its place on the straightened sleeve, px, and its summed ridge."""

    x: float
    above: float
    below: float

    @property
    def clearness(self) -> float:
        """0 for a hint of a line, 1 for a clear graduation."""
        return min(1.0, max(0.0, (self.above + self.below - LEAST_LINE_PX) / CLEAR_PX))


def unlettered(ridge: NDArray[np.float32], numerals: list[Place]) -> NDArray[np.float32]:
    """Take numbers out of the graduations' ridge map: a stroke of a number is no graduation."""
    out = ridge.copy()
    wide, tall = NUMERAL_PX
    for one in numerals:
        if one.on == "sleeve" and one.heat > SURE_HEAT:
            x, y = round(one.x), round(one.y)
            out[max(y - tall, 0) : y + tall + 1, max(x - wide, 0) : x + wide + 1] = 0.0
    return out


def straightened(
    ridge: NDArray[np.float32], axis: Axis, edge: Edge, shear: float = 0.0
) -> NDArray[np.float32]:
    """Resample a ridge map so that rows run along the line and columns along the edge's arc.

    A little past the edge it ends: the sleeve does.
    `shear` leans the columns further, px a px: under perspective the graduations of a rolled sleeve
    do not quite follow the edge.
    """
    dy = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float64)[:, None]
    x = np.arange(min(ridge.shape[1], int(edge.x0) + PAST_EDGE_PX), dtype=np.float64)[None, :]
    source_x = x + (edge.lean + shear) * dy + edge.bend * dy * dy
    source_y = axis.y0 + axis.slope * (source_x - axis.x_edge) + dy
    return np.asarray(
        cv2.remap(
            ridge,
            source_x.astype(np.float32),
            source_y.astype(np.float32),
            cv2.INTER_LINEAR,
            borderValue=0.0,
        )
    )


def straight_x(x: float, y: float, axis: Axis, edge: Edge, shear: float) -> float:
    """Place on the straightened sleeve of a close-up point."""
    dy = y - float(axis.y_at(x))
    return x - (edge.lean + shear) * dy - edge.bend * dy * dy


def find_teeth(
    ridge: NDArray[np.float32], axis: Axis, edge: Edge
) -> tuple[tuple[Tooth, ...], float]:
    """Find graduations on the sleeve, rightmost first, and the shear that sets them upright."""
    clean = np.where(ridge > FAINT_RIDGE, ridge, 0.0).astype(np.float32)
    shear = 0.0
    for _ in range(2):
        level = straightened(clean, axis, edge, shear)
        shear += _tilt(level, _teeth_of(level, edge.x0))
    return _teeth_of(straightened(clean, axis, edge, shear), edge.x0), shear


def _peaks(profile: NDArray[np.float32], edge_x: float) -> list[tuple[float, float]]:
    """Peaks (x, height) of one side's summed ridge, rightmost first."""
    soft = np.convolve(profile, [0.25, 0.5, 0.25], mode="same")
    found = []
    for x in range(min(int(edge_x + 3), len(soft) - 2), 1, -1):
        here = soft[x]
        if here < 0.6 * LEAST_LINE_PX or here < soft[x - 1] or here <= soft[x + 1]:
            continue
        curve = soft[x - 1] - 2 * here + soft[x + 1]
        shift = 0.5 * (soft[x - 1] - soft[x + 1]) / curve if curve < 0 else 0.0
        found.append((x + float(shift), float(profile[max(x - 1, 0) : x + 2].max())))
    return found


def _teeth_of(level: NDArray[np.float32], edge_x: float) -> tuple[Tooth, ...]:
    """Find upright lines in a straightened map: each side by itself, halves stand close by."""
    above = _peaks(level[:REACH_PX].sum(axis=0), edge_x)
    below = _peaks(level[REACH_PX:].sum(axis=0), edge_x)
    teeth = []
    for x, height in above:
        near = min(below, key=lambda peak: abs(peak[0] - x), default=(np.inf, 0.0))
        if abs(near[0] - x) < ONE_LINE_PX:
            below.remove(near)
            mean = (x * height + near[0] * near[1]) / (height + near[1])
            teeth.append(Tooth(mean, height, near[1]))
        else:
            teeth.append(Tooth(x, height, 0.0))
    teeth += [Tooth(x, 0.0, height) for x, height in below]
    kept = [t for t in teeth if t.above + t.below >= LEAST_LINE_PX]
    return tuple(sorted(kept, key=lambda t: -t.x))


def _tilt(level: NDArray[np.float32], teeth: tuple[Tooth, ...]) -> float:
    """How far the lines lean on average, px a px: one regression within all lines together."""
    rows = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float64)[:, None]
    both = spread = 0.0
    for tooth in teeth:
        x = round(tooth.x)
        lo, hi = max(x - 2, 0), min(x + 3, level.shape[1])
        # halves stand close by on the other side of the line: look at the tooth's own side
        own = np.ones_like(rows)
        if tooth.above > 1.5 * tooth.below:
            own = (rows < -1).astype(np.float64)
        elif tooth.below > 1.5 * tooth.above:
            own = (rows > 1).astype(np.float64)
        weight = level[:, lo:hi].astype(np.float64) * own
        mass = weight.sum()
        if mass < LEAST_LINE_PX:
            continue
        columns = np.arange(lo, hi, dtype=np.float64)[None, :]
        mean_row, mean_x = (weight * rows).sum() / mass, (weight * columns).sum() / mass
        both += float((weight * (rows - mean_row) * (columns - mean_x)).sum())
        spread += float((weight * (rows - mean_row) ** 2).sum())
    return both / (spread + TILT_HOLD)
