"""Draws what was seen onto the photo, so that a person can tell at once whether it was seen right.

The photo comes first, then the upright close-up of the scale, then a band of text. It measures
nothing: every mark comes from the sighting's or refusal's evidence, and what is not there is not
drawn.
"""

from __future__ import annotations

import string
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.closeup import ORIGIN, cut, invert, move
from vision.sighting import Evidence, Refusal, Sighting

if TYPE_CHECKING:
    from numpy.typing import NDArray

LONG_SIDE_PX = 1280  # of the photo as it is shown: fits a screen
CLOSEUP_ENLARGED = 2
MARGIN_PX = 12
_NARROWEST_PX = 640  # room for the text under a small photo

# RGB. Okabe and Ito, "Color Universal Design" (2008): told apart with any kind of colour vision.
COLOURS = {
    "reference line": (240, 228, 66),
    "edge": (0, 158, 115),
    "silhouettes": (204, 121, 167),
    "graduations": (86, 180, 233),
    "divisions": (230, 159, 0),
}
_READ, _REFUSED = (0, 158, 115), (213, 94, 0)
_NUMERAL_COLOURS = {"sleeve": COLOURS["graduations"], "thimble": COLOURS["divisions"]}
_GROUND, _CASING, _TEXT = (38, 38, 38), (0, 0, 0), (240, 240, 240)

_HEADLINE_PX, _TEXT_PX, _NUMERAL_PX = 30, 20, 22
_GAP_PX, _TICK_PX = 4.0, 14.0  # from a line's end to its tick in the close-up, and the tick
_NUMERAL_ASIDE_PX = (20.0, -24.0)  # from the middle of a number to that of its value
_LETTERS = frozenset(string.ascii_letters + string.digits + string.punctuation + " ±·°“”‘’…")
_SPELLED = str.maketrans(
    {"×": "x", "−": "-", "–": "-", "—": "-", "→": "->", "≤": "<=", "≥": ">=", "µ": "u", "ß": "ss"}
)
_FARTHEST_PX = 1e5  # what lies farther out is drawn from here: keeps the drawing's integers small
_SUBPIXEL_BITS = 4  # cv2 draws on a grid of 1/16 px


@dataclass(frozen=True)
class _Mark:
    """A line to draw: what it shows and its points, (N, 2) in photo pixels."""

    shows: str
    points: NDArray[np.float64]


def draw(
    grey: NDArray[np.uint8], result: Sighting | Refusal, lines: Sequence[str] = ()
) -> NDArray[np.uint8]:
    """Draw a photo with what was found on it, its close-up, and a band of text.

    Parameters
    ----------
    grey : (H, W) uint8 array
        The photo; it is not changed.
    result : Sighting or Refusal
        What to draw. A refusal's reasons and remedies stand first in the band.
    lines : sequence of str
        Text for the band; the first line is its headline.

    Returns
    -------
    (h, w, 3) uint8 array
        The picture in the channel order of OpenCV, blue first. The photo's top left pixel stands
        at row and column `MARGIN_PX`; its size there is its own times `enlargement`.
    """
    evidence = result.evidence
    marks = list(_marks(evidence))
    panels = [_photo_panel(grey, result, marks)]
    if evidence.to_closeup:
        panels.append(_closeup_panel(grey, result, marks))
    width = max(_NARROWEST_PX, *(panel.shape[1] for panel in panels))
    panels.append(_text_band(result, lines, {mark.shows for mark in marks}, width))
    return _stacked(panels)


def draw_closeup(grey: NDArray[np.uint8], result: Sighting | Refusal) -> NDArray[np.uint8]:
    """Draw the close-up alone, with what its colours mean; the whole photo where there is none.

    Parameters and what comes back are those of `draw`; a refusal's reasons are not written.
    """
    marks = list(_marks(result.evidence))
    panel = (_closeup_panel if result.evidence.to_closeup else _photo_panel)(grey, result, marks)
    shown = {mark.shows for mark in marks}
    width = max(_NARROWEST_PX, panel.shape[1])
    legend = [_legend_band(shown, width)] if shown else []
    return _stacked([panel, *legend])


def draw_photo(grey: NDArray[np.uint8], result: Sighting | Refusal) -> NDArray[np.uint8]:
    """Draw the whole photo alone with what was found on it, blue first."""
    panel = _photo_panel(grey, result, list(_marks(result.evidence)))
    return np.ascontiguousarray(panel[:, :, ::-1])


def _stacked(panels: Sequence[NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """Put panels (h, w, 3) RGB one under another on a ground; blue first."""
    width = max(panel.shape[1] for panel in panels)
    height = sum(panel.shape[0] + MARGIN_PX for panel in panels) + MARGIN_PX
    canvas = np.full((height, width + 2 * MARGIN_PX, 3), _GROUND, dtype=np.uint8)
    top = MARGIN_PX
    for panel in panels:
        rows, columns = panel.shape[:2]
        canvas[top : top + rows, MARGIN_PX : MARGIN_PX + columns] = panel
        top += rows + MARGIN_PX
    return np.ascontiguousarray(canvas[:, :, ::-1])


def enlargement(width_px: int, height_px: int) -> float:
    """Give the factor by which a photo is shown: to `LONG_SIDE_PX`, or up by a whole number."""
    longest = max(width_px, height_px)
    if longest > LONG_SIDE_PX:
        return LONG_SIDE_PX / longest
    return float(LONG_SIDE_PX // longest)


def _marks(evidence: Evidence) -> Iterator[_Mark]:
    """List every line that was found, what is on the thimble before what crosses it."""
    groups = [
        ("silhouettes", evidence.silhouettes),
        ("divisions", evidence.divisions),
        ("graduations", evidence.graduations),
        ("edge", (evidence.edge,) if evidence.edge else ()),
        ("reference line", (evidence.reference_line,) if evidence.reference_line else ()),
    ]
    for shows, found in groups:
        for segment in found:
            points = np.array(segment, dtype=np.float64).reshape(-1, 2)
            if np.isfinite(points).all():
                yield _Mark(shows, np.clip(points, -_FARTHEST_PX, _FARTHEST_PX))


def _photo_panel(
    grey: NDArray[np.uint8], result: Sighting | Refusal, marks: list[_Mark]
) -> NDArray[np.uint8]:
    """Show the whole photo with every mark on it, (h, w, 3) RGB."""
    height, width = grey.shape
    factor = enlargement(width, height)
    size = max(round(width * factor), 1), max(round(height * factor), 1)
    panel = _resized(grey, size)
    # Enlarging by f takes p to (p + 0.5) f - 0.5.
    scale = np.array(size) / (width, height)
    matrix = np.column_stack([np.diag(scale), (scale - 1) / 2])
    for mark in marks:
        _line(panel, move(matrix, mark.points), COLOURS[mark.shows])
    if isinstance(result, Sighting) and result.evidence.to_closeup:
        meeting = move(invert(_closeup_matrix(result.evidence)), np.array([ORIGIN]))
        _ring(panel, move(matrix, meeting)[0])
    return panel


def _closeup_panel(
    grey: NDArray[np.uint8], result: Sighting | Refusal, marks: list[_Mark]
) -> NDArray[np.uint8]:
    """Show the close-up with the marks beside the lines, (h, w, 3) RGB, the metal left to see."""
    to_closeup = _closeup_matrix(result.evidence)
    shown = cut(grey, to_closeup)
    f = CLOSEUP_ENLARGED
    panel = _resized(shown, (shown.shape[1] * f, shown.shape[0] * f))
    enlarge = np.array([[f, 0, (f - 1) / 2], [0, f, (f - 1) / 2]], dtype=np.float64)
    for mark in marks:
        points = move(enlarge, move(to_closeup, mark.points))
        for piece in _aside(mark.shows, points, move(enlarge, np.array([ORIGIN]))[0]):
            _line(panel, piece, COLOURS[mark.shows])
    if isinstance(result, Sighting):
        _ring(panel, move(enlarge, np.array([ORIGIN]))[0])
    image = Image.fromarray(panel)
    pen, font = ImageDraw.Draw(image), ImageFont.load_default(_NUMERAL_PX)
    for numeral in result.evidence.numerals:
        at = move(enlarge, move(to_closeup, np.array([numeral.where])))[0] + _NUMERAL_ASIDE_PX
        if np.isfinite(at).all():
            pen.text(
                (float(at[0]), float(at[1])),
                str(numeral.value),
                fill=_NUMERAL_COLOURS.get(numeral.on, _TEXT),
                font=font,
                anchor="mm",
                stroke_width=2,
                stroke_fill=_CASING,
            )
    return np.asarray(image)


def _resized(grey: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Shrink or enlarge a grey picture to (width, height) and give it colours, RGB."""
    kind = cv2.INTER_AREA if size[0] < grey.shape[1] else cv2.INTER_CUBIC
    resized = cv2.resize(grey, size, interpolation=kind)
    return np.asarray(cv2.cvtColor(resized, cv2.COLOR_GRAY2RGB), dtype=np.uint8)


def _closeup_matrix(evidence: Evidence) -> NDArray[np.float64]:
    return np.array(evidence.to_closeup, dtype=np.float64).reshape(2, 3)


def _aside(
    shows: str, points: NDArray[np.float64], origin: NDArray[np.float64]
) -> Iterator[NDArray[np.float64]]:
    """Give what marks a line in the close-up and leaves it to see."""
    if len(points) > 2:
        yield from _between(points)
        return
    start, end = sorted(points, key=lambda p: float(np.hypot(*(p - origin))))
    along = end - start
    length = float(np.hypot(*along))
    if not length > 0:
        return
    step = along / length
    yield np.array([end + step * _GAP_PX, end + step * (_GAP_PX + _TICK_PX)])
    if shows not in ("graduations", "divisions"):  # their inner ends are crowded
        yield np.array([start - step * _GAP_PX, start - step * (_GAP_PX + _TICK_PX)])


def _between(points: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Give dashes along a curve, as long as the gaps between them."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    for start in np.arange(0.0, along[-1], 2 * _TICK_PX):
        at = np.linspace(start, min(start + _TICK_PX, along[-1]), 5)
        yield np.column_stack([np.interp(at, along, points[:, i]) for i in (0, 1)])


def _line(panel: NDArray[np.uint8], points: NDArray[np.float64], colour: Sequence[int]) -> None:
    """Draw a thin line through points on a panel, dark on either side."""
    points = np.clip(points, -_FARTHEST_PX, _FARTHEST_PX)
    grid = np.rint(points * (1 << _SUBPIXEL_BITS)).astype(np.int32)
    for shade, thickness in ((_CASING, 4), (colour, 2)):
        cv2.polylines(panel, [grid], False, shade, thickness, cv2.LINE_AA, _SUBPIXEL_BITS)


def _ring(panel: NDArray[np.uint8], centre: NDArray[np.float64]) -> None:
    """Ring the place where the thimble is read."""
    centre = np.clip(centre, -_FARTHEST_PX, _FARTHEST_PX)
    x, y = (round(float(c) * (1 << _SUBPIXEL_BITS)) for c in centre)
    radius = 14 << _SUBPIXEL_BITS
    for shade, thickness in ((_CASING, 4), (COLOURS["reference line"], 2)):
        cv2.circle(panel, (x, y), radius, shade, thickness, cv2.LINE_AA, _SUBPIXEL_BITS)


def _text_band(
    result: Sighting | Refusal, lines: Sequence[str], shown: set[str], width: int
) -> NDArray[np.uint8]:
    """Write the band: headline, lines, and what the colours mean, (h, width, 3) RGB."""
    texts = list(lines)
    bar = _READ
    if isinstance(result, Refusal):
        bar = _REFUSED
        texts = ["Refused", *(f"{r.message} {r.remedy}" for r in result.reasons), *texts]
    rows = [
        (row, size)
        for number, text in enumerate(texts)
        for size in (_HEADLINE_PX if number == 0 else _TEXT_PX,)
        for row in _wrapped(_writable(text), ImageFont.load_default(size), width - 3 * MARGIN_PX)
    ]
    legend = [name for name in COLOURS if name in shown]
    height = sum(_row_px(size) for _, size in rows) + (_row_px(_TEXT_PX) if legend else 0)
    image = Image.new("RGB", (width, max(height, 1)), _GROUND)
    pen = ImageDraw.Draw(image)
    if rows:
        pen.rectangle((0, 0, MARGIN_PX // 2, sum(_row_px(size) for _, size in rows) - 1), fill=bar)
    top = 0
    for row, size in rows:
        pen.text((2 * MARGIN_PX, top), row, fill=_TEXT, font=ImageFont.load_default(size))
        top += _row_px(size)
    _write_legend(pen, legend, top)
    return np.asarray(image)


def _legend_band(shown: set[str], width: int) -> NDArray[np.uint8]:
    """Say what the colours mean, and nothing else, (h, width, 3) RGB."""
    image = Image.new("RGB", (width, _row_px(_TEXT_PX)), _GROUND)
    _write_legend(ImageDraw.Draw(image), [name for name in COLOURS if name in shown], 0)
    return np.asarray(image)


def _write_legend(pen: ImageDraw.ImageDraw, names: list[str], top: int) -> None:
    """Say what each colour stands for, in one row."""
    font, left = ImageFont.load_default(_TEXT_PX), float(2 * MARGIN_PX)
    middle = top + _row_px(_TEXT_PX) // 2
    for name in names:
        pen.rectangle((left, middle - 4, left + 24, middle + 4), fill=COLOURS[name])
        pen.text((left + 32, middle), name, fill=_TEXT, font=font, anchor="lm")
        left += 32 + font.getlength(name) + 2 * MARGIN_PX


def _writable(text: str) -> str:
    """Spell a text with the letters that Pillow's own font has."""
    spelled = (
        letter if letter in _LETTERS else unicodedata.normalize("NFKD", letter)
        for letter in text.translate(_SPELLED)
    )
    letters = (letter for letter in "".join(spelled) if not unicodedata.combining(letter))
    return "".join(letter if letter in _LETTERS else "?" for letter in letters)


def _row_px(size: int) -> int:
    """Give a row's height for a text size."""
    return round(size * 1.4)


def _wrapped(
    text: str, font: ImageFont.FreeTypeFont | ImageFont.ImageFont, width: float
) -> Iterator[str]:
    """Break a text at its spaces into rows no wider than `width` px."""
    row = ""
    for word in text.split():
        longer = f"{row} {word}".strip()
        if row and font.getlength(longer) > width:
            yield row
            row = word
        else:
            row = longer
    if row:
        yield row
