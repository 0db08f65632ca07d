"""A short piece of reference line beside the edge, as nearly closed gauges show it.

The marks network sees such a piece only where the close-up is centred on it, and better when it is
drawn larger. So the photo's own pixels say where one may be, and a nearer look says whether it is.
Everything here is in close-up pixels; rows are counted from the close-up's middle downwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision import closeup
from vision.closeup import ORIGIN
from vision.lines import Axis, Edge
from vision.pixels import sampled
from vision.teeth import SURE_HEAT

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.decide import Findings

    Floats = NDArray[np.float64]
    Map = NDArray[np.float32]

NEARER = 1.6  # how much larger a nearer look shows the scale than a usual one
# Hints that are followed up. Of 31 readable pictures of tune whose line was not clear, the right
# one was 19 times among the first two, and twice among the next two
MOST = 2
# Strength of a line that is one. Of those 21 two had less; among the first two hints no other line
# had 0.63, and where no line was to be seen one came to 0.70
SURE = 0.71
AHEAD = 0.1  # of the strength of any other: below, either may be the line
SEEN_ROWS_PX = 10.0  # of a usual look: a nearer look sees a line no farther than this from its own
REACH_ROWS_PX = 66.0  # from the middle: as far round the sleeve as a line is read
GAP_PX = 2.5  # beside the edge lies its shadow
STEP_PX = 0.25
PIECES_PX = (5.0, 8.0, 14.0)  # lengths of line that are looked for in the photo
WIDTHS_PX = (0.6, 1.0, 1.5)  # of lines: standard deviations of their profiles
LEAST_HINT = 8.0  # grey levels times the root of a length: fainter is noise
APART_PX = 6.0  # no two hints are nearer
# Rows from a line to the middle of a number: beside 20 short lines of tune none was nearer than 20
LETTERED_PX = 12.0
HELD = 0.35  # ridge probability below which a line has ended
FAINT = 0.10  # and below which it gives no hint either
LONGEST_PX = 120
RIDGE_PX = 2.6  # summed ridge across a line of probability 1; three rows hold nine tenths of it
U_ROW_PX = 0.35  # standard uncertainty of such a line's row
SLOPES = np.array([-0.06, -0.03, 0.0, 0.03, 0.06])  # against what the edge makes expect


@dataclass(frozen=True)
class Stub:
    """A line from (x, y) at the edge to (far_x, far_y) on the sleeve, in some picture's pixels.

    `strength`: mean ridge probability along it. `u`: standard uncertainty across it, px.
    """

    x: float
    y: float
    far_x: float
    far_y: float
    strength: float
    u: float

    @property
    def length(self) -> float:
        """From end to end, px."""
        return math.hypot(self.x - self.far_x, self.y - self.far_y)

    def moved(self, matrix: NDArray[np.float64]) -> Stub:
        """Take it to another picture by a (2, 3) similarity."""
        ends = np.array([[self.x, self.y], [self.far_x, self.far_y]])
        (x, y), (far_x, far_y) = closeup.move(matrix, ends)
        size = math.hypot(matrix[0, 0], matrix[0, 1])
        return Stub(float(x), float(y), float(far_x), float(far_y), self.strength, self.u * size)

    def flipped(self, height: int) -> Stub:
        """Take it to a picture of that height turned upside down as a mirror image."""
        return replace(self, y=height - 1 - self.y, far_y=height - 1 - self.far_y)

    def axis(self) -> Axis:
        """Give it as a reference line, in a close-up."""
        slope = (self.far_y - self.y) / (self.far_x - self.x)
        return Axis(self.y, slope, self.x, self.far_x, self.x, self.u, self.strength)


def of_axis(axis: Axis) -> Stub:
    """Make a stub of a reference line that was placed in a close-up."""
    far_y = float(axis.y_at(axis.first_x))
    return Stub(axis.x_edge, axis.y0, axis.first_x, far_y, axis.strength, axis.u_y0)


def hints(grey: NDArray[np.uint8], matrix: NDArray[np.float64], edge: Edge, ridge: Map) -> Floats:
    """Rows where a line may end at the edge, likeliest first.

    Parameters
    ----------
    grey : (H, W) uint8 array, the photo
    matrix : (2, 3) array, photo to close-up
    edge : rows counted from the close-up's middle
    ridge : (256, 544) array, the reference line's
    """
    rows = np.arange(-REACH_ROWS_PX - APART_PX, REACH_ROWS_PX + APART_PX, STEP_PX)
    lines = np.zeros(len(rows))
    for length in PIECES_PX:
        along = np.arange(GAP_PX, GAP_PX + length, 0.5)
        x = edge.x_at(rows)[:, None] - along
        y = ORIGIN[1] + rows[:, None] + edge.across * along
        middle = np.median(sampled(grey, matrix, x, y), axis=1)
        for width in WIDTHS_PX:
            lines = np.maximum(lines, _standing_out(middle, width) * math.sqrt(length))
    lines = np.where(np.abs(rows) > REACH_ROWS_PX, 0.0, lines)
    found = _tops(rows, lines, LEAST_HINT)
    marked = [stub.y - ORIGIN[1] for stub in stubs(ridge, edge, REACH_ROWS_PX, FAINT)[:2]]
    out: list[float] = []
    for row in (*marked[:1], *found[:2], *marked[1:], *found[2:]):
        if all(abs(row - other) > APART_PX for other in out):
            out.append(row)
    return np.array(out)


def _standing_out(profile: Floats, width: float) -> Floats:
    """How far each place of a profile stands out from both sides, at a line's width."""
    half = np.arange(-2.0, 2.01, STEP_PX)
    soft = np.exp(-0.5 * (half / (0.5 * width)) ** 2)
    soft = np.convolve(profile, soft / soft.sum(), "same")
    aside = round((1.6 * width + 0.8) / STEP_PX)
    before, after = soft - np.roll(soft, aside), soft - np.roll(soft, -aside)
    dark, bright = np.minimum(-before, -after), np.minimum(before, after)
    return np.asarray(np.maximum(np.maximum(dark, bright), 0.0))


def _tops(rows: Floats, height: Floats, least: float) -> list[float]:
    height, out = height.copy(), []
    while height.max() > least:
        at = int(np.argmax(height))
        out.append(float(rows[at]))
        height[np.abs(rows - rows[at]) < APART_PX] = 0.0
    return out


def stubs(ridge: Map, edge: Edge, reach: float, held: float = HELD) -> list[Stub]:
    """Lines that lead from the edge along the sleeve in a ridge map, best first.

    Parameters
    ----------
    ridge : (256, 544) array, the reference line's
    edge : rows counted from the close-up's middle
    reach : rows to either side of the middle
    held : ridge probability below which a line has ended
    """
    rows = np.arange(-reach, reach + 0.5, 1.0)
    along = np.arange(0.0, LONGEST_PX) + GAP_PX
    across = np.asarray(cv2.blur(ridge, (1, 3))) * (3 / RIDGE_PX)
    best = np.zeros((4, len(rows)))
    for slope in SLOPES - edge.across:
        x = edge.x_at(rows)[:, None] - along
        y = ORIGIN[1] + rows[:, None] - slope * along
        seen = cv2.remap(
            across, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderValue=0.0
        )
        summed = np.cumsum(np.minimum(np.asarray(seen, dtype=np.float64), 1.0), axis=1)
        gain = summed - held * np.arange(1, LONGEST_PX + 1)
        end = np.argmax(gain, axis=1)
        at = np.arange(len(rows))
        got = np.stack([gain[at, end], end + 1.0, summed[at, end], np.full(len(rows), slope)])
        best = np.where(got[0] > best[0], got, best)
    out = []
    for row in _tops(rows, best[0], 0.0):
        _, length, total, incline = best[:, int(np.argmin(np.abs(rows - row)))].tolist()
        at_x, at_y, run = float(edge.x_at(row)), ORIGIN[1] + row, length + GAP_PX
        far = (at_x - run, at_y - incline * run)
        out.append(Stub(at_x, at_y, *far, total / length, U_ROW_PX))
    return out


def standing_out(found: list[Stub], closeup_px: float) -> Stub | None:
    """Give the strongest of some lines in a photo, if it is one and no other is about as strong.

    `closeup_px` is the size of a usual close-up's pixel in the photo.
    """
    best = max(found, key=lambda one: one.strength, default=None)
    if best is None or best.strength < SURE:
        return None
    others = [
        one.strength
        for one in found
        if math.hypot(one.x - best.x, one.y - best.y) > 0.5 * APART_PX * closeup_px
    ]
    return best if best.strength > max(others, default=0.0) + AHEAD else None


def lettered(f: Findings) -> bool:
    """Tell whether a number stands on the reference line: then that is a stroke of the number."""
    return any(
        abs(one.y - float(f.axis.y_at(one.x))) < LETTERED_PX and one.heat > SURE_HEAT
        for one in f.on_sleeve
    )
