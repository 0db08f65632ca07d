"""Contact sheets: many small pictures of what needs eyes, on one page or on sheets of JPEG."""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from reading.archive import eyes
from reading.archive.columns import Row
from reading.archive.store import Store
from reading.pages import html
from reading.problem import Problem

if TYPE_CHECKING:
    from PIL.Image import Image

MOST = 200  # pictures: more than a person goes through at one sitting
PAGE_PX = 640  # width of a picture on the page: its text can be read
CELL_PX, PICTURE_PX, TEXT_PX = (420, 420), (400, 340), 15
ACROSS, DOWN = 4, 5
QUALITY = 88  # of the sheets: no visible loss (common practice)
_TWO_ACROSS = "display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; align-items: start"
ENDINGS = (".html", ".jpg", ".jpeg")
LETTERS_ACROSS = 50  # of a caption in a cell
Shown = tuple[Row, bytes | None, str]  # row, its picture if there is one, and what is wrong with it


def save_sheets(store: Store, target: Path, most: int = MOST) -> tuple[list[Path], int]:
    """Save contact sheets of what needs eyes and was not decided on.

    Parameters
    ----------
    store : Store
    target : Path
        An .html page, or .jpg sheets, numbered where one is not enough.
    most : int
        So many pictures, by name.

    Returns
    -------
    files : list of Path
    count : int
        Pictures shown.

    Raises
    ------
    Problem
        If the ending is another, or it can't be written.
    """
    if target.suffix.lower() not in ENDINGS:
        raise Problem(f"{target}: name it .html or .jpg")
    rows = list(eyes.needing_eyes(store, most=most))
    if not rows:
        return [], 0
    if target.suffix.lower() == ".html":
        html.save(_page(_pictures(rows, PAGE_PX), len(rows)), target)
        return [target], len(rows)
    return list(_jpegs(_pictures(rows, PAGE_PX), len(rows), target)), len(rows)


def _pictures(rows: Sequence[Row], widest_px: int) -> Iterator[Shown]:
    """Draw each photo; one that can't be had any more is shown by its words."""
    for row in rows:
        try:
            yield row, eyes.overlay(row, widest_px), ""
        except Problem as problem:
            yield row, None, str(problem)


def _page(shown: Iterator[Shown], count: int) -> str:
    """Lay pictures out on a page, by what is wrong with them."""
    groups: dict[str, list[str]] = defaultdict(list)
    for row, picture, trouble in shown:
        name, words = str(row["photo"]), eyes.what_was_read(row)
        group = str(row["codes"] or "unsure")
        if picture is None:
            groups[group].append(html.paragraph(f"{name}: {words}. {trouble}"))
        else:
            groups[group].append(html.jpeg(picture, f"{name}: {words}"))
    parts = [html.paragraph(f"{count} photos that a person should look at, by reason.")]
    for group in sorted(groups, key=lambda one: (-len(groups[one]), one)):
        parts.append(html.heading(f"{group}: {len(groups[group])}"))
        parts.append(f'<div style="{_TWO_ACROSS}">{"".join(groups[group])}</div>')
    return html.page("What needs eyes", parts, "Go through them one by one: datumline desk FILE")


def _jpegs(shown: Iterator[Shown], count: int, target: Path) -> Iterator[Path]:
    """Put pictures on sheets and save them."""
    each = ACROSS * DOWN
    sheets = -(-count // each)
    for number in range(1, sheets + 1):
        name = target if sheets == 1 else target.with_name(f"{target.stem}-{number}{target.suffix}")
        data = io.BytesIO()
        _sheet(list(islice(shown, each))).save(data, "JPEG", quality=QUALITY)
        try:
            name.write_bytes(data.getvalue())
        except OSError as error:
            raise Problem(f"{name}: can't be written ({error.strerror}), name another") from error
        yield name


def _sheet(shown: Sequence[Shown]) -> Image:
    """Paint one sheet, picture by picture with its name and what was read beneath."""
    from PIL import Image, ImageDraw, ImageFont

    rows = -(-len(shown) // ACROSS)
    sheet = Image.new("RGB", (ACROSS * CELL_PX[0], rows * CELL_PX[1]), "white")
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(TEXT_PX)
    for place, (row, picture, trouble) in enumerate(shown):
        x, y = place % ACROSS * CELL_PX[0] + 10, place // ACROSS * CELL_PX[1] + 10
        if picture is None:
            pen.rectangle((x, y, x + PICTURE_PX[0], y + PICTURE_PX[1]), outline="grey")
            for line, at in zip(_lines(trouble, 6), range(20, 200, 20), strict=False):
                pen.text((x + 10, y + at), line, fill="black", font=font)
        else:
            image = Image.open(io.BytesIO(picture))
            image.thumbnail(PICTURE_PX)
            sheet.paste(image, (x, y))
        for line, at in zip(_words(row), (346, 366, 386), strict=False):
            pen.text((x, y + at), line, fill="black", font=font)
    return sheet


def _words(row: Row) -> list[str]:
    """Write a photo's name, its end if it is long, and what was read."""
    name = str(row["photo"])
    short = name if len(name) <= LETTERS_ACROSS else f"…{name[1 - LETTERS_ACROSS :]}"
    return [short, *_lines(eyes.what_was_read(row), 2)]


def _lines(text: str, most: int) -> list[str]:
    """Break a text into lines of a cell."""
    import textwrap

    return textwrap.wrap(text, LETTERS_ACROSS)[:most]
