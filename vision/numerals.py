"""What stands at each place where a number may be, as the photo shows it from nearer.

The marks network sees the whole close-up and tells where numbers are; the numerals network sees one
of them at a time, larger, and tells which it is, or that it is none.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from vision import closeup

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vision.marks import Place

SIZE = (96, 80)  # width, height in px of what the network sees
ORIGIN = (47.5, 39.5)  # (x, y) in px of the place that is looked at
ZOOM = 1.6  # of its frame over the close-up's
VALUES = 100  # 0 to 99: numbers less their hundreds
HUNDREDS = 4  # 0 to 3
# How likely a number stands at a place, by the heat there: a constant, and what each unit adds (on
# tune, by the confidence's log loss)
STANDS = (0.2, 1.5)


@dataclass(frozen=True)
class Numeral:
    """One number that may stand at (x, y), close-up px, with the likelihood of what it may be.

    `log_probability`: (100,), of each value less its hundreds; `hundreds_log_probability`: (4,), of
    none to three hundreds. `heat`, 0 to 1, says how surely a number stands there at all.
    """

    x: float
    y: float
    on: Literal["sleeve", "thimble"]
    heat: float
    log_probability: NDArray[np.float64] = field(compare=False, repr=False)
    hundreds_log_probability: NDArray[np.float64] = field(compare=False, repr=False)

    @property
    def stands(self) -> float:
        """Probability of a number standing there, whichever it is."""
        return min(1.0, STANDS[0] + STANDS[1] * self.heat)


def frame(matrix: NDArray[np.float64], x: float, y: float) -> NDArray[np.float64]:
    """Make the (2, 3) matrix from photo to the network's frame.

    Parameters
    ----------
    matrix : (2, 3) array, photo to close-up
    x, y : of the place in the close-up, px
    """
    shift = np.array(ORIGIN) - ZOOM * np.array([x, y])
    return np.column_stack([ZOOM * matrix[:, :2], ZOOM * matrix[:, 2] + shift])


def read(
    grey: NDArray[np.uint8], matrix: NDArray[np.float64], places: Sequence[Place]
) -> list[Numeral]:
    """Run the numerals network at each place of a close-up.

    Parameters
    ----------
    grey : (H, W) uint8 array, the photo
    matrix : (2, 3) array, photo to close-up
    places : in the close-up, as the marks network finds them
    """
    from vision.networks import run  # only here: the frame is also of use where there is no OpenCV

    found = []
    for place in places:
        near = closeup.cut(grey, frame(matrix, place.x, place.y), SIZE)
        value, hundreds = (_log_softmax(o) for o in run("numerals", near, ("value", "hundreds")))
        found.append(Numeral(place.x, place.y, place.on, place.heat, value, hundreds))
    return found


def _log_softmax(logits: NDArray[np.float32]) -> NDArray[np.float64]:
    """Log-probabilities, flat and read-only."""
    shifted = logits.ravel().astype(np.float64) - float(logits.max())
    out = shifted - np.log(np.exp(shifted).sum())
    out.setflags(write=False)
    return out
