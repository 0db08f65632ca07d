"""Points over an axis, with level lines across: numbers -> a drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reading.pages.drawing import Dot, Drawing, Stroke, Words

WIDTH_PX, HEIGHT_PX = 720, 320
LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 70, 110, 24, 40
FEWEST_TICKS = 4
INK, LEVEL, ALARM = "#20507a", "#777777", "#b00020"  # points, lines across, points out of control


@dataclass(frozen=True)
class Level:
    """A line across, with its name at the right."""

    value: float
    name: str


@dataclass(frozen=True)
class Axis:
    """How numbers lie along one side: from, to, and the ticks with their words."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]

    def share(self, value: float) -> float:
        """Say how far along a value lies, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


def plot(
    points: Sequence[tuple[float, float]],
    across: Axis,
    words: tuple[str, str],
    levels: Sequence[Level] = (),
    marked: Sequence[int] = (),
) -> Drawing:
    """Draw points joined by a line.

    Parameters
    ----------
    points : sequence of (x, y)
        In the order in which they are joined.
    across : Axis
        The axis of x.
    words : (str, str)
        What stands under the axis of x, and over that of y.
    levels : sequence of Level
    marked : sequence of int
        Points to show as out of control.
    """
    up = axis([y for _, y in points] + [one.value for one in levels])
    right, bottom = WIDTH_PX - RIGHT_PX, HEIGHT_PX - BOTTOM_PX

    def place(x: float, y: float) -> tuple[float, float]:
        return (
            LEFT_PX + across.share(x) * (right - LEFT_PX),
            bottom - up.share(y) * (bottom - TOP_PX),
        )

    marks: list[Stroke | Dot | Words] = [
        Stroke(((LEFT_PX, TOP_PX), (LEFT_PX, bottom), (right, bottom))),
        Words((LEFT_PX, TOP_PX - 8), words[1]),
        Words(((LEFT_PX + right) / 2, HEIGHT_PX - 6), words[0], "middle"),
    ]
    for value, text in up.ticks:
        _, y = place(across.low, value)
        marks += [
            Stroke(((LEFT_PX - 4, y), (LEFT_PX, y))),
            Words((LEFT_PX - 8, y + 4), text, "end"),
        ]
    for value, text in across.ticks:
        x, _ = place(value, up.low)
        marks += [
            Stroke(((x, bottom), (x, bottom + 4))),
            Words((x, bottom + 18), text, "middle"),
        ]
    for level in levels:
        ends = place(across.low, level.value), place(across.high, level.value)
        marks += [Stroke(ends, LEVEL, True), Words((right + 6, ends[1][1] + 4), level.name)]
    marks.append(Stroke(tuple(place(*point) for point in points), INK))
    marks += [
        Dot(place(*point), ALARM if i in marked else INK, 5.0 if i in marked else 3.0)
        for i, point in enumerate(points)
    ]
    return Drawing(WIDTH_PX, HEIGHT_PX, tuple(marks))


def axis(values: Sequence[float]) -> Axis:
    """Make an axis that holds values, with ticks at round numbers."""
    low, high = min(values), max(values)
    if high == low:
        low, high = low - 1, high + 1
    step = _round_step((high - low) / FEWEST_TICKS)
    first, last = math.floor(low / step), math.ceil(high / step)
    places = max(0, -math.floor(math.log10(step)))
    ticks = tuple((i * step, f"{i * step:.{places}f}") for i in range(first, last + 1))
    return Axis(first * step, last * step, ticks)


def _round_step(step: float) -> float:
    """Give the next smaller of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(step))
    return power * max(one for one in (1, 2, 5) if one * power <= step * (1 + 1e-9))
