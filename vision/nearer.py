"""A nearer look at the thimble's numbers, where the division at the line is in doubt.

The network that misreads a number misreads it otherwise when it is larger: what both looks believe
is believed more readily, and what only one believes less.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vision import closeup, marks
from vision.decide import Findings

if TYPE_CHECKING:
    from numpy.typing import NDArray

NEARER = 1.2  # times as large as in the close-up
PAST_EDGE_PX = 4.0  # numbers nearer to the edge are none of the thimble's


def look_nearer(grey: NDArray[np.uint8], matrix: NDArray[np.float64], f: Findings) -> Findings:
    """Add what the thimble's numbers look like from nearer.

    Parameters
    ----------
    grey : (H, W) uint8 array, the photo
    matrix : (2, 3) array, photo to close-up
    f : Findings, of that close-up
    """
    origin = np.array(closeup.ORIGIN)
    larger = np.column_stack([NEARER * np.eye(2), (1 - NEARER) * origin])
    to_larger = np.column_stack([NEARER * matrix[:, :2], closeup.move(larger, matrix[:, 2])])
    cut = closeup.cut(grey, to_larger)
    seen = marks.read_marks(cut).within(closeup.inside(grey.shape, to_larger))
    back = closeup.invert(larger)
    numbers = []
    for n in marks.numerals(seen):
        x, y = closeup.move(back, np.array([[n.x, n.y]]))[0]
        if n.on == "thimble" and x > f.edge.x0 + PAST_EDGE_PX:
            numbers.append(replace(n, x=float(x), y=float(y)))
    return replace(f, on_thimble_nearer=numbers)
