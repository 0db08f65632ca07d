"""A drawing of lines, dots, boxes and words, written out as SVG or painted as PNG."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

Point = tuple[float, float]  # px, x to the right, y down


@dataclass(frozen=True)
class Stroke:
    """A line through points."""

    points: tuple[Point, ...]
    colour: str = "#000000"
    dashed: bool = False


@dataclass(frozen=True)
class Dot:
    """A filled circle."""

    centre: Point
    colour: str = "#000000"
    radius: float = 3.0


@dataclass(frozen=True)
class Box:
    """A filled rectangle between two opposite corners."""

    corners: tuple[Point, Point]
    colour: str = "#000000"


@dataclass(frozen=True)
class Words:
    """Text on a base line; `anchor` is start, middle or end."""

    at: Point
    text: str
    anchor: str = "start"


Mark = Stroke | Dot | Box | Words


@dataclass(frozen=True)
class Drawing:
    """What is drawn, and on how large a sheet, in px."""

    width: int
    height: int
    marks: tuple[Mark, ...]


TEXT_PX = 12
DASH_PX, GAP_PX = 6.0, 4.0
PNG_SCALE = 2  # so that a printed picture is sharp


def svg(drawing: Drawing) -> str:
    """Write a drawing as an SVG element."""
    body = "\n".join(_svg_mark(mark) for mark in drawing.marks)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{drawing.width}" '
        f'height="{drawing.height}" viewBox="0 0 {drawing.width} {drawing.height}" '
        f'font-family="sans-serif" font-size="{TEXT_PX}">\n{body}\n</svg>\n'
    )


def _svg_mark(mark: Mark) -> str:
    """Write one mark."""
    match mark:
        case Stroke(points, colour, dashed):
            line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
            dash = f' stroke-dasharray="{DASH_PX:g} {GAP_PX:g}"' if dashed else ""
            return f'<polyline fill="none" stroke="{colour}"{dash} points="{line}"/>'
        case Dot((x, y), colour, radius):
            return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{colour}"/>'
        case Box(((x0, y0), (x1, y1)), colour):
            left, top, wide, high = min(x0, x1), min(y0, y1), abs(x1 - x0), abs(y1 - y0)
            return (
                f'<rect x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{high:.1f}" '
                f'fill="{colour}"/>'
            )
        case Words((x, y), text, anchor):
            return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def png(drawing: Drawing) -> bytes:
    """Paint a drawing as PNG data."""
    from PIL import Image, ImageDraw, ImageFont

    size = (drawing.width * PNG_SCALE, drawing.height * PNG_SCALE)
    picture = Image.new("RGB", size, "white")
    pen = ImageDraw.Draw(picture)
    font = ImageFont.load_default(TEXT_PX * PNG_SCALE)
    anchors = {"start": "ls", "middle": "ms", "end": "rs"}
    for mark in drawing.marks:
        match mark:
            case Stroke(points, colour, dashed):
                for piece in _dashes(points) if dashed else [points]:
                    pen.line([_scaled(one) for one in piece], fill=colour, width=PNG_SCALE)
            case Dot((x, y), colour, radius):
                corners = [_scaled((x + side * radius, y + side * radius)) for side in (-1, 1)]
                pen.ellipse(corners, fill=colour)
            case Box((one, other), colour):
                (x0, y0), (x1, y1) = _scaled(one), _scaled(other)
                pen.rectangle((min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)), fill=colour)
            case Words(at, text, anchor):
                pen.text(_scaled(at), text, fill="black", font=font, anchor=anchors[anchor])
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


def _scaled(point: Point) -> Point:
    return point[0] * PNG_SCALE, point[1] * PNG_SCALE


def _dashes(points: Sequence[Point]) -> list[tuple[Point, Point]]:
    """Cut straight pieces into dashes."""
    found = []
    for (x0, y0), (x1, y1) in pairwise(points):
        long = max(((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5, 1e-9)
        at = 0.0
        while at < long:
            to = min(at + DASH_PX, long)
            found.append(
                (
                    (x0 + (x1 - x0) * at / long, y0 + (y1 - y0) * at / long),
                    (x0 + (x1 - x0) * to / long, y0 + (y1 - y0) * to / long),
                )
            )
            at += DASH_PX + GAP_PX
    return found
