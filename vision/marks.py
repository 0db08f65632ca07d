"""What the marks network sees in a close-up: lines as soft ridges, numerals as likelihoods.

It proposes; where a line lies to a fraction of a pixel is for the photo's own pixels to say.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from vision.closeup import SIZE
from vision.networks import peaks, run, sigmoid

if TYPE_CHECKING:
    from numpy.typing import NDArray

RIDGES = ("reference_line", "graduation", "division", "edge", "silhouette", "vernier")
PLACES: tuple[Literal["sleeve", "thimble"], ...] = ("sleeve", "thimble")
NUMERALS = 100  # values 0 to 99
STRIDE_PX = 4  # close-up px a cell of the numeral maps: cell i is centred on 4 i + 1.5

LEAST_HEAT = 0.1  # heat below which a peak is not worth handing on; the decision weighs the rest
APART_CELLS = 2  # no second peak within this many cells: 8 px, less than a numeral's height


@dataclass(frozen=True)
class Marks:
    """The marks network's view of one close-up; arrays are float32 and read-only.

    `ridges`: (6, 256, 544), 0 to 1, in the order of `RIDGES`, 1 along a line's middle.
    `numeral_heat`: (2, 64, 136), 0 to 1, on the sleeve and on the thimble.
    `numeral_log_probability`: (100, 64, 136), natural logarithm, of each value where a numeral is.
    `present`, `mirrored`: probabilities that the close-up shows a scale, and shows it mirrored.
    """

    ridges: NDArray[np.float32] = field(compare=False, repr=False)
    numeral_heat: NDArray[np.float32] = field(compare=False, repr=False)
    numeral_log_probability: NDArray[np.float32] = field(compare=False, repr=False)
    present: float
    mirrored: float

    def within(self, inside: NDArray[np.bool_]) -> Marks:
        """Forget what was marked outside the picture; `inside` is (256, 544)."""
        cells = inside[STRIDE_PX // 2 :: STRIDE_PX, STRIDE_PX // 2 :: STRIDE_PX]
        return replace(self, ridges=self.ridges * inside, numeral_heat=self.numeral_heat * cells)

    def ridge(self, name: str) -> NDArray[np.float32]:
        """Give one kind of line's map, (256, 544), by its name in `RIDGES`."""
        return self.ridges[RIDGES.index(name)]


@dataclass(frozen=True)
class Numeral:
    """One numeral that may stand at (x, y), close-up px, with the likelihood of every value."""

    x: float
    y: float
    on: Literal["sleeve", "thimble"]
    heat: float
    log_probability: NDArray[np.float32] = field(compare=False, repr=False)


def read_marks(closeup: NDArray[np.uint8]) -> Marks:
    """Run the marks network on a close-up.

    Parameters
    ----------
    closeup : (256, 544) uint8 array
        As cut by `vision.closeup.cut`.

    Returns
    -------
    Marks

    Raises
    ------
    ValueError
        If the array has another shape or type.
    FileNotFoundError
        If the package was built without its weights.
    """
    if closeup.shape != SIZE[::-1] or closeup.dtype != np.uint8:
        raise ValueError(f"a close-up is {SIZE[::-1]} uint8, not {closeup.shape} {closeup.dtype}")
    ridges, heat, classes, whole = run("marks", closeup, ("ridges", "heat", "classes", "whole"))
    return decode(ridges[0], heat[0], classes[0], whole.reshape(-1))


def decode(
    ridges: NDArray[np.float32],
    heat: NDArray[np.float32],
    classes: NDArray[np.float32],
    whole: NDArray[np.float32],
) -> Marks:
    """Turn logits, (6, 256, 544), (2, 64, 136), (100, 64, 136) and (2,), into `Marks`."""
    top = classes.max(axis=0)
    shifted = classes - top
    log_probability = shifted - np.log(np.exp(shifted).sum(axis=0))
    maps = [sigmoid(ridges), sigmoid(heat), log_probability.astype(np.float32)]
    for values in maps:
        values.setflags(write=False)
    present, mirrored = (float(p) for p in sigmoid(whole))
    return Marks(maps[0], maps[1], maps[2], present, mirrored)


def numerals(marks: Marks) -> list[Numeral]:
    """List the places where a numeral may stand, hottest first.

    The place is the peak of a parabola through the logarithm of the heat, whose peaks are Gaussian;
    the likelihoods are the peak's 3 x 3 cells' averaged by their heat.
    """
    found = []
    for on, heat in zip(PLACES, marks.numeral_heat, strict=True):
        for row, col in peaks(heat, LEAST_HEAT, APART_CELLS):
            x, y = subcell(heat, row, col)
            found.append(
                Numeral(
                    (x + 0.5) * STRIDE_PX - 0.5,
                    (y + 0.5) * STRIDE_PX - 0.5,
                    on,
                    float(heat[row, col]),
                    _likelihoods(marks, heat, row, col),
                )
            )
    return sorted(found, key=lambda numeral: -numeral.heat)


def subcell(heat: NDArray[np.float32], row: int, col: int) -> tuple[float, float]:
    """Find the (x, y), in cells, of the peak of a Gaussian around a hottest cell."""
    x, y = float(col), float(row)
    if 0 < col < heat.shape[1] - 1:
        x += _vertex(heat[row, col - 1 : col + 2])
    if 0 < row < heat.shape[0] - 1:
        y += _vertex(heat[row - 1 : row + 2, col])
    return x, y


def _vertex(three: NDArray[np.float32]) -> float:
    """Offset of the peak of a parabola through three neighbours' logarithms, within half a cell."""
    a, b, c = np.log(np.maximum(three.astype(np.float64), 1e-6))
    bend = a - 2 * b + c
    return float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if bend < -1e-9 else 0.0


def _likelihoods(
    marks: Marks, heat: NDArray[np.float32], row: int, col: int
) -> NDArray[np.float32]:
    """Average the values' probabilities, (100,), around a peak, as logarithms."""
    here = np.s_[max(row - 1, 0) : row + 2, max(col - 1, 0) : col + 2]
    weight = heat[here] / heat[here].sum()
    mean = (np.exp(marks.numeral_log_probability[(slice(None), *here)]) * weight).sum(axis=(1, 2))
    averaged = np.log(np.maximum(mean, 1e-12)).astype(np.float32)
    averaged.setflags(write=False)
    return averaged
