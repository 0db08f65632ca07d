"""What a student wrote down, as exact numbers that remember how they were written."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from decimal import Decimal

from reading.length import LengthError, parse_length
from reading.problem import Problem
from reading.tables import EMPTY, Cell
from vision.scale import Scale

_COUNT = re.compile(
    r"(?P<sign>[+\-−–]?)\s*(?P<number>[0-9]+(?:[.,][0-9]+)?)\s*(?:div\w*\.?)?", re.I
)
_HAS_UNIT = re.compile(r"[0-9.,]\s*[^\W\d_]|[\"”″]")


@dataclass(frozen=True)
class Entry:
    """The cells of one observation that a student filled in.

    `unit` is what the student wrote in a column of its own, `heading_unit` what stands at the head
    of the columns of lengths.
    """

    reading: Cell = EMPTY
    sleeve: Cell = EMPTY
    division: Cell = EMPTY
    zero: Cell = EMPTY
    corrected: Cell = EMPTY
    unit: Cell = EMPTY
    heading_unit: str | None = None


@dataclass(frozen=True)
class Number:
    """A number as written: `value`, and what its last figure is worth, in the scale's unit.

    `unit` is what the student wrote with it, in the cell or in the unit's own column.
    """

    value: Decimal
    place: Decimal
    text: str
    unit: str | None = None
    as_typed: bool = True


@dataclass(frozen=True)
class Sheet:
    """The numbers of one observation, None where nothing was written.

    `division` counts divisions; all else are lengths in the scale's unit. `either` says that the
    reading may be the shown or the corrected one.
    """

    sleeve: Number | None = None
    division: Number | None = None
    reading: Number | None = None
    zero: Number | None = None
    corrected: Number | None = None
    either: bool = False

    @property
    def final(self) -> Number | None:
        """The value handed in: the corrected reading where there is one, else the reading."""
        return self.corrected or self.reading

    def numbers(self) -> Iterator[tuple[str, Number]]:
        """Give what was written, by step."""
        for field in fields(self):
            number = getattr(self, field.name)
            if isinstance(number, Number):
                yield field.name, number


def read_entry(entry: Entry, scale: Scale) -> Sheet:
    """Make exact numbers of what was written.

    Raises
    ------
    Problem
        Naming the text that is no number; the instructor has to look at it.
    """
    return Sheet(
        sleeve=_length(entry.sleeve, entry, scale),
        division=_division(entry.division, entry, scale),
        reading=_length(entry.reading, entry, scale),
        zero=_zero(entry.zero, entry, scale),
        corrected=_length(entry.corrected, entry, scale),
    )


def writes_a_unit(entry: Entry) -> bool:
    """Say whether a unit stands beside a number or in a column of its own."""
    cells = (entry.reading, entry.sleeve, entry.corrected)
    return bool(entry.unit) or any(_HAS_UNIT.search(cell.text) for cell in cells)


def _length(cell: Cell, entry: Entry, scale: Scale) -> Number | None:
    """Read a length, in the unit beside it, else in the student's, the column's or the scale's."""
    if not cell:
        return None
    said = entry.unit.text.strip() or None
    default = said or entry.heading_unit or scale.unit
    if said is not None:
        said = default = parse_length(f"0 {said}").unit
    length = parse_length(cell.text, default)
    own = length.unit if _HAS_UNIT.search(cell.text) else said
    place = Decimal(1).scaleb(min(0, int(length.value.as_tuple().exponent)))
    one = parse_length("1", length.unit).to(scale.unit).value
    return Number(length.to(scale.unit).value, place * one, cell.text.strip(), own, cell.as_typed)


def _division(cell: Cell, entry: Entry, scale: Scale) -> Number | None:
    """Read a number of divisions; a length shorter than a pitch is taken for what they are worth.

    A bare number below 1 that isn't 0 is such a length: divisions are counted in whole numbers.
    """
    if not cell:
        return None
    count = _COUNT.fullmatch(cell.text.strip())
    if count is not None:
        number = Decimal(count["number"].replace(",", "."))
        if number >= 1 or number == 0:
            place = Decimal(1).scaleb(min(0, int(number.as_tuple().exponent)))
            signed = number if count["sign"] in ("", "+") else -number
            return Number(signed, place, cell.text.strip(), as_typed=cell.as_typed)
    length = _length(cell, entry, scale)
    if length is None:
        return None
    each = scale.least_count
    return Number(length.value / each, length.place / each, length.text, length.unit, cell.as_typed)


def _zero(cell: Cell, entry: Entry, scale: Scale) -> Number | None:
    """Read a zero error; a whole number of a pitch or more without a unit counts divisions."""
    if not cell:
        return None
    count = _COUNT.fullmatch(cell.text.strip())
    if count is not None and not count["number"].strip("0123456789"):
        divisions = Decimal(count["number"])
        if divisions >= max(Decimal(1), scale.pitch):
            worth = divisions * scale.least_count
            value = worth if count["sign"] in ("", "+") else -worth
            return Number(value, scale.least_count, cell.text.strip(), as_typed=cell.as_typed)
    return _length(cell, entry, scale)


def explain_unreadable(problem: Problem) -> str:
    """Say what could not be read, for the instructor."""
    return str(problem) if isinstance(problem, LengthError) else f"not understood: {problem}"
