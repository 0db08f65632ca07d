"""What the columns of a class list mean, told from their headings as people write them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from reading.length import LengthError, parse_length
from reading.marking.written import Entry
from reading.problem import Problem
from reading.tables import EMPTY, Cell

# meaning: headings, in small letters without marks. The first that fits a heading wholly is taken.
MEANINGS: dict[str, tuple[str, ...]] = {
    "student": (
        "student",
        "name",
        "student name",
        "pupil",
        "learner",
        "student id",
        "candidate",
        "full name",
        "id",
        "index number",
        "matric number",
        "student number",
    ),
    "photo": (
        "photo",
        "picture",
        "image",
        "file",
        "photo file",
        "file name",
        "filename",
        "photograph",
        "photo name",
        "image file",
    ),
    "gauge": (
        "gauge",
        "instrument",
        "micrometer",
        "gauge id",
        "gauge number",
        "gauge no",
        "instrument number",
        "instrument no",
        "instrument id",
        "screw gauge",
    ),
    "reading": (
        "reading",
        "shown",
        "observed reading",
        "total reading",
        "reading as written",
        "shown reading",
        "measured",
        "measured value",
        "value",
        "observation",
        "reading r",
        "uncorrected reading",
        "micrometer reading",
        "screw gauge reading",
        "hand reading",
    ),
    "sleeve": (
        "sleeve",
        "sleeve reading",
        "main scale",
        "main scale reading",
        "linear scale",
        "pitch scale",
        "pitch scale reading",
        "sleeve part",
        "linear scale reading",
        "msr",
        "psr",
        "lsr",
    ),
    "division": (
        "division",
        "divisions",
        "thimble",
        "thimble reading",
        "thimble division",
        "head scale",
        "head scale reading",
        "circular scale",
        "circular scale reading",
        "thimble part",
        "coinciding division",
        "hsr",
        "csr",
        "hsc",
        "csd",
    ),
    "zero": ("zero error", "zero", "zero reading", "zero error as written", "zero correction"),
    "corrected": (
        "corrected",
        "corrected reading",
        "corrected value",
        "final",
        "final value",
        "final reading",
        "final answer",
        "answer",
        "result",
        "diameter",
        "thickness",
        "correct reading",
        "actual reading",
    ),
    "unit": ("unit", "units"),
    "order": (
        "order",
        "no",
        "nr",
        "number",
        "observation number",
        "obs",
        "repeat",
        "trial",
        "n",
        "reading no",
        "serial number",
        "s no",
        "observation no",
    ),
    "object": ("object", "part", "specimen", "sample", "item", "work", "what"),
    "marker": ("marker", "second marker", "marked", "marked by hand", "instructor", "teacher"),
}
LENGTHS = ("reading", "sleeve", "corrected")
_IN_BRACKETS = re.compile(r"[(\[{]([^)\]}]*)[)\]}]|\b(?:in|/)\s*(mm|cm|µm|um|m|inch(?:es)?)\s*$")


@dataclass(frozen=True)
class Columns:
    """Which column means what: meaning -> (place, heading, unit in the heading); what was left."""

    taken: dict[str, tuple[int, str, str | None]]
    left: tuple[str, ...]

    def cell(self, row: Sequence[Cell], meaning: str) -> Cell:
        """Give a row's cell of a meaning, empty where there is none."""
        place = self.taken[meaning][0] if meaning in self.taken else len(row)
        return row[place] if place < len(row) else EMPTY

    def entry(self, row: Sequence[Cell]) -> Entry:
        """Give what a student wrote in a row."""
        units = [self.taken[one][2] for one in LENGTHS if one in self.taken]
        heading = next((unit for unit in units if unit), None)
        cells = {
            one: self.cell(row, one)
            for one in ("reading", "sleeve", "division", "zero", "corrected", "unit")
        }
        return Entry(**cells, heading_unit=heading)

    def lines(self) -> list[str]:
        """Say which column was taken for what."""
        said = [f"{heading!r} is the {_NAMES[one]}" for one, (_, heading, _) in self.taken.items()]
        left = [f"left: {', '.join(repr(one) for one in self.left)}"] if self.left else []
        return said + left


_NAMES = {
    "student": "student",
    "photo": "photo",
    "gauge": "gauge",
    "reading": "reading as written",
    "sleeve": "student's sleeve part",
    "division": "student's thimble part",
    "zero": "zero error as written",
    "corrected": "corrected reading as written",
    "unit": "unit as written",
    "order": "order of the repeats",
    "object": "thing measured",
    "marker": "second marker's right or wrong",
}


def find_columns(header: Sequence[Cell], where: str, needs_student: bool = True) -> Columns:
    """Tell the meaning of each column.

    Raises
    ------
    Problem
        If student, photo or any value is missing; it names the headings that were there.
    """
    taken: dict[str, tuple[int, str, str | None]] = {}
    left = []
    for place, cell in enumerate(header):
        plain, unit = _plain(cell.text)
        found = [one for one, names in MEANINGS.items() if plain in names and one not in taken]
        if found:
            taken[found[0]] = (place, cell.text, unit)
        elif cell.text:
            left.append(cell.text)
    wanted = {"a student": ("student",), "a reading": ("reading", "corrected")}
    wanted |= {"a photo": ("photo",)}
    for what, any_of in wanted.items():
        if not (set(any_of) & set(taken)) and (needs_student or what != "a student"):
            there = ", ".join(repr(cell.text) for cell in header if cell)
            like = ", ".join(MEANINGS[any_of[0]][:4])
            raise Problem(f"{where}: no column for {what} among {there}: name it like {like}")
    return Columns(taken, tuple(left))


def _plain(heading: str) -> tuple[str, str | None]:
    """Write a heading in small letters without marks or brackets, and give the unit in it."""
    text = unicodedata.normalize("NFKC", heading).strip().lower()
    unit = None
    for found in _IN_BRACKETS.finditer(text):
        try:
            unit = parse_length(f"1 {(found[1] or found[2] or '').strip()}").unit
        except LengthError:
            continue
    text = _IN_BRACKETS.sub(" ", text)
    return " ".join(re.sub(r"[^\w]+|_", " ", text).split()), unit
