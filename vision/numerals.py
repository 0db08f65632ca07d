"""What stands at each place where a number may be, as the photo shows it from nearer.

The marks network sees the whole close-up and tells where numbers are; the numerals network sees one
of them at a time, larger, and tells which it is, or that it is none.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from vision import closeup

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vision.marks import Numeral

SIZE = (96, 80)  # width, height in px of what the network sees
ORIGIN = (47.5, 39.5)  # (x, y) in px of the place that is looked at
ZOOM = 1.6  # of its frame over the close-up's


def frame(matrix: NDArray[np.float64], x: float, y: float) -> NDArray[np.float64]:
    """Make the (2, 3) matrix from photo to the network's frame.

    Parameters
    ----------
    matrix : (2, 3) array, photo to close-up
    x, y : of the place in the close-up, px
    """
    shift = np.array(ORIGIN) - ZOOM * np.array([x, y])
    return np.column_stack([ZOOM * matrix[:, :2], ZOOM * matrix[:, 2] + shift])
