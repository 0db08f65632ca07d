"""How surely what was taken for the reference line is the line."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vision import closeup
from vision.teeth import CLEAR_TOOTH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.decide import Findings

    Seen = tuple[Findings, NDArray[np.float64]]  # with the matrix from photo to that close-up

NOT_SEEN_PX = 20.0  # how far apart two looks' lines count at most, and where one saw none
FULL_STRENGTH = 1.02  # a little more than a line can have
SHORTEST_PX = 3.0
FLAT = 0.003  # share of the gap network's belief that is spread evenly: it may be quite wrong
# A logistic regression on whether the line lay within 2 px of its true place, in 2290 pictures of
# tune, 47 in 100 of them hard ones (seeds 152000-152699, 154000-154599, 156000-156639 and
# 158000-158699): constant, both looks' strength as -log(1.02 - strength), log of px apart and a
# tenth, log of length in px, log of clear graduations and one, log-odds of the gap network's belief
# in either look. Fitted to three sets it has a log loss of 0.113 on the fourth, 0.020 on readable
# pictures; without the gap network's belief 0.159 and 0.045
WEIGHTS = (-4.475, 0.182, 0.351, -0.295, -0.236, 0.539, 1.048, 0.195)


def line_probability(first: Seen, second: Seen | None) -> float:
    """Probability of the first look's line being the line, within 2 px of the close-up.

    Parameters
    ----------
    first, second : (Findings, (2, 3) array)
        What was found in each look, and its matrix from photo to close-up; the second is None where
        it found no line.
    """
    found, _ = first
    length = max(found.edge.x0 - found.axis.first_x, SHORTEST_PX)
    clear = sum(tooth.clearness > CLEAR_TOOTH for tooth in found.teeth)
    features = (
        1.0,
        _strength(found),
        _strength(second[0]) if second else -math.log(FULL_STRENGTH),
        math.log(apart_px(first, second) + 0.1),
        math.log(length),
        math.log1p(clear),
        _log_odds(found.at_line),
        _log_odds(second[0].at_line if second else 0.0),
    )
    return 1.0 / (1.0 + math.exp(-sum(w * x for w, x in zip(WEIGHTS, features, strict=True))))


def apart_px(first: Seen, second: Seen | None) -> float:
    """How far from the first look's line the second's meets the edge, px of the first close-up."""
    if second is None:
        return NOT_SEEN_PX
    (found, matrix), (other, other_matrix) = first, second
    there = np.array([[other.edge.x0, other.axis.y0]])
    x, y = closeup.move(matrix, closeup.move(closeup.invert(other_matrix), there))[0]
    off = (y - float(found.axis.y_at(x))) / math.hypot(1.0, found.axis.slope)
    return min(abs(off), NOT_SEEN_PX)


def _strength(found: Findings) -> float:
    return -math.log(FULL_STRENGTH - min(found.axis.strength, 1.0))


def _log_odds(belief: float) -> float:
    held = FLAT + (1.0 - 2.0 * FLAT) * belief
    return math.log(held / (1.0 - held))
