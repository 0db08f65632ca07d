"""Points and curves between two axes, with level lines across: numbers -> a drawing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from reading.pages.drawing import Dot, Drawing, Mark, Point, Stroke, Words

WIDTH_PX, HEIGHT_PX = 720, 320
LEFT_PX, RIGHT_PX, TOP_PX, BOTTOM_PX = 70, 110, 24, 40
SAME, SMALLEST = 1e-12, 1e-290  # values this near, of their size, are one; below are none
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


@dataclass(frozen=True)
class Frame:
    """Two axes on a sheet, and where numbers lie between them.

    `words` stand under the axis of x, and over that of y; `size_px` is the sheet's.
    """

    across: Axis
    up: Axis
    words: tuple[str, str]
    size_px: tuple[int, int] = (WIDTH_PX, HEIGHT_PX)

    @property
    def right(self) -> int:
        """Where the axis of x ends, px."""
        return self.size_px[0] - RIGHT_PX

    @property
    def bottom(self) -> int:
        """Where the axis of x lies, px."""
        return self.size_px[1] - BOTTOM_PX

    def place(self, x: float, y: float) -> Point:
        """Say where a pair of numbers lies on the sheet."""
        return (
            LEFT_PX + self.across.share(x) * (self.right - LEFT_PX),
            self.bottom - self.up.share(y) * (self.bottom - TOP_PX),
        )

    def marks(self) -> list[Mark]:
        """Draw the axes with their ticks and words."""
        right, bottom = self.right, self.bottom
        marks: list[Mark] = [
            Stroke(((LEFT_PX, TOP_PX), (LEFT_PX, bottom), (right, bottom))),
            Words((LEFT_PX, TOP_PX - 8), self.words[1]),
            Words(((LEFT_PX + right) / 2, self.size_px[1] - 6), self.words[0], "middle"),
        ]
        for value, text in self.up.ticks:
            _, y = self.place(self.across.low, value)
            marks += [
                Stroke(((LEFT_PX - 4, y), (LEFT_PX, y))),
                Words((LEFT_PX - 8, y + 4), text, "end"),
            ]
        for value, text in self.across.ticks:
            x, _ = self.place(value, self.up.low)
            marks += [
                Stroke(((x, bottom), (x, bottom + 4))),
                Words((x, bottom + 18), text, "middle"),
            ]
        return marks

    def level(self, level: Level) -> list[Mark]:
        """Draw a line across, named at its right end."""
        ends = (
            self.place(self.across.low, level.value),
            self.place(self.across.high, level.value),
        )
        return [Stroke(ends, LEVEL, True), Words((self.right + 6, ends[1][1] + 4), level.name)]

    def curve(
        self, points: Sequence[tuple[float, float]], colour: str = INK, dashed: bool = False
    ) -> Stroke:
        """Draw a line through pairs of numbers."""
        return Stroke(tuple(self.place(*point) for point in points), colour, dashed)

    def sheet(self, marks: Sequence[Mark]) -> Drawing:
        """Put marks on the sheet, over the axes."""
        return Drawing(*self.size_px, (*self.marks(), *marks))


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
    frame = Frame(across, up, words)
    marks: list[Mark] = [mark for level in levels for mark in frame.level(level)]
    marks.append(frame.curve(points))
    marks += [
        Dot(frame.place(*point), ALARM if i in marked else INK, 5.0 if i in marked else 3.0)
        for i, point in enumerate(points)
    ]
    return frame.sheet(marks)


def axis(values: Sequence[float]) -> Axis:
    """Make an axis that holds values, with ticks at round numbers."""
    low, high = min(values), max(values)
    if high - low <= SAME * max(abs(low), abs(high), SMALLEST):
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
