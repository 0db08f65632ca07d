"""What the marks network sees in a close-up: lines as soft ridges, and where numerals stand.

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
STRIDE_PX = 4  # close-up px a cell of the numeral maps: cell i is centred on 4 i + 1.5

LEAST_HEAT = 0.1  # heat below which a peak is not worth handing on; the decision weighs the rest
APART_CELLS = 2  # no second peak within this many cells: 8 px, less than a numeral's height


@dataclass(frozen=True)
class Marks:
    """The marks network's view of one close-up; arrays are float32 and read-only.

    `ridges`: (6, 256, 544), 0 to 1, in the order of `RIDGES`, 1 along a line's middle.
    `numeral_heat`: (2, 64, 136), 0 to 1, on the sleeve and on the thimble.
    `present`, `mirrored`: probabilities that the close-up shows a scale, and shows it mirrored.
    """

    ridges: NDArray[np.float32] = field(compare=False, repr=False)
    numeral_heat: NDArray[np.float32] = field(compare=False, repr=False)
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
class Place:
    """Where a numeral may stand: (x, y), close-up px, with the heat there, 0 to 1."""

    x: float
    y: float
    on: Literal["sleeve", "thimble"]
    heat: float


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
    ridges, heat, whole = run("marks", closeup, ("ridges", "heat", "whole"))
    return decode(full_size(ridges[0]), heat[0], whole.reshape(-1))


def full_size(ridges: NDArray[np.float32]) -> NDArray[np.float32]:
    """Put four values for the four pixels under each cell, (24, 128, 272), in place: (6, 256, 544).

    Channel 4 i + 2 r + c holds map i at row 2 y + r and column 2 x + c.
    """
    channels, rows, columns = ridges.shape
    cells = ridges.reshape(channels // 4, 2, 2, rows, columns).transpose(0, 3, 1, 4, 2)
    return cells.reshape(channels // 4, 2 * rows, 2 * columns)


def decode(
    ridges: NDArray[np.float32],
    heat: NDArray[np.float32],
    whole: NDArray[np.float32],
) -> Marks:
    """Turn logits, (6, 256, 544), (2, 64, 136) and (2,), into `Marks`."""
    maps = [sigmoid(ridges), sigmoid(heat)]
    for values in maps:
        values.setflags(write=False)
    present, mirrored = (float(p) for p in sigmoid(whole))
    return Marks(maps[0], maps[1], present, mirrored)


def places(marks: Marks) -> list[Place]:
    """List the places where a numeral may stand, hottest first.

    Each is the peak of a parabola through the logarithm of the heat, whose peaks are Gaussian.
    """
    found = []
    for on, heat in zip(PLACES, marks.numeral_heat, strict=True):
        for row, col in peaks(heat, LEAST_HEAT, APART_CELLS):
            x, y = subcell(heat, row, col)
            found.append(
                Place(
                    (x + 0.5) * STRIDE_PX - 0.5,
                    (y + 0.5) * STRIDE_PX - 0.5,
                    on,
                    float(heat[row, col]),
                )
            )
    return sorted(found, key=lambda place: -place.heat)


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
