"""How many pitches the edge has uncovered, as the photo shows close beside it (the gap network).

The whole turn hangs on where the edge stands between two graduations, to a tenth of a millimetre.
Shadows, rims and a slanting view move what looks like an edge by as much, and where few graduations
are in view their comb tells little. A small network sees the edge, the last graduations and the
sleeve's curve at twice the close-up's size, and says how likely each place of the edge is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from vision import closeup

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.lines import Axis, Edge

    Floats = NDArray[np.float64]

SIZE = (160, 288)  # width, height in px of what the network sees
ORIGIN = (127.5, 143.5)  # (x, y) in px of the line's meeting with the edge
ZOOM = 2.0  # of its frame over the close-up's
BINS = 32  # to a pitch
FIRST, COUNTED = -1, 7  # pitches uncovered: from and up to which they are told one by one
PARITY = 2  # pitches after which the places beyond repeat
FLAT = 0.02  # share of the belief that is spread evenly: the network may be quite wrong
# Share of the pictures that the network learnt from with `COUNTED` pitches uncovered or more: its
# belief is made free of how common they were
MORE_SHARE = 0.36
AT_LINE_PX = 4  # rows to either side in which a place on the frame's rows is believed in
BELIEVED = 0.5  # belief from which the line is taken to be in a place


@dataclass(frozen=True, eq=False)
class Gap:
    """Belief in each place of the edge, from what lies beside it.

    `density`, (320,): of pitches uncovered, over what even belief would give. The first 256 values
    are of `FIRST` to `COUNTED` pitches, the last 64 of the places in a pair of pitches beyond.
    `columns`, (160,): share of each column of the frame, where the edge would stand over the
    sleeve on the line, were the camera straight before it; `edge_x` is the close-up's x of the
    frame's origin. `rows`, (289,): share of each row, where the reference line would meet the edge,
    and, last, of it doing so nowhere in the frame.
    """

    density: Floats = field(repr=False)
    columns: Floats = field(repr=False)
    rows: Floats = field(repr=False)
    edge_x: float

    @property
    def places_x(self) -> Floats:
        """Close-up x of each column."""
        return np.asarray(self.edge_x + (np.arange(SIZE[0]) - ORIGIN[0]) / ZOOM)

    @property
    def at_line(self) -> float:
        """Belief in the reference line meeting the edge where the frame was laid on it."""
        return float(self._near_rows()[[math.floor(ORIGIN[1]), math.ceil(ORIGIN[1])]].max())

    @property
    def line_px(self) -> float | None:
        """How far below the frame's middle the line meets the edge, close-up px.

        None where no place is believed in.
        """
        near = self._near_rows()
        row = int(np.argmax(near))
        if near[row] < BELIEVED:
            return None
        rows = np.arange(max(row - AT_LINE_PX, 0), min(row + AT_LINE_PX + 1, SIZE[1]))
        return float(np.average(rows, weights=self.rows[rows]) - ORIGIN[1]) / ZOOM

    def _near_rows(self) -> Floats:
        """Belief, (288,), in the line meeting the edge at each row or a little beside it."""
        window = np.ones(2 * AT_LINE_PX + 1)
        return np.convolve(self.rows[: SIZE[1]], window, mode="same")

    def log_likelihood(self, uncovered: Floats) -> Floats:
        """Log-likelihood of pitches uncovered, of any shape, against even belief."""
        near = np.floor((uncovered - FIRST) * BINS)
        beyond = np.floor((uncovered % PARITY) * BINS) + (COUNTED - FIRST) * BINS
        at = np.where(uncovered < COUNTED, np.maximum(near, 0.0), beyond)
        return np.asarray(np.log(self.density[at.astype(np.intp)]))


def frame(matrix: NDArray[np.float64], x: float, y: float, slope: float) -> NDArray[np.float64]:
    """Make the (2, 3) matrix from photo to the network's frame.

    Parameters
    ----------
    matrix : (2, 3) array, photo to close-up
    x, y : of the line's meeting with the edge in the close-up, px
    slope : of the line in the close-up
    """
    angle = math.atan(slope)
    c, s = ZOOM * math.cos(angle), ZOOM * math.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    shift = np.array(ORIGIN) - turn @ np.array([x, y])
    return np.column_stack([turn @ matrix[:, :2], turn @ matrix[:, 2] + shift])


def look(grey: NDArray[np.uint8], matrix: NDArray[np.float64], axis: Axis, edge: Edge) -> Gap:
    """Run the gap network beside the edge of a close-up.

    Parameters
    ----------
    grey : (H, W) uint8 array, the photo
    matrix : (2, 3) array, photo to close-up
    axis, edge : as found there
    """
    from vision.networks import run  # only here: the frame is also of use where there is no OpenCV

    near = closeup.cut(grey, frame(matrix, edge.x0, axis.y0, axis.slope), SIZE)
    uncovered, columns, row = run("gap", near, ("uncovered", "columns", "row"))
    return decode(uncovered.ravel(), columns.reshape(-1, SIZE[0])[0], row.ravel(), edge.x0)


def decode(
    uncovered: NDArray[np.float32],
    edge: NDArray[np.float32],
    row: NDArray[np.float32],
    edge_x: float,
) -> Gap:
    """Turn the network's logits, (320,), (160,) and (289,), into what it believes.

    The pitches uncovered are told against how common each was in training.
    """
    counted = (COUNTED - FIRST) * BINS
    share = _softmax(uncovered)
    usual = np.full(len(share), (1.0 - MORE_SHARE) / counted)
    usual[counted:] = MORE_SHARE / (PARITY * BINS)
    likely = share / usual
    return Gap((1.0 - FLAT) * likely + FLAT, _softmax(edge), _softmax(row), edge_x)


def _softmax(logits: NDArray[np.float32]) -> Floats:
    share = np.exp(logits.astype(np.float64) - float(logits.max()))
    return np.asarray(share / share.sum())
