"""Several readings as people write them in one line."""

from __future__ import annotations

import re
from dataclasses import dataclass

from reading.length import Length, LengthError, parse_length

# One reading: what stands before a unit, the unit, and a ± with its own.
_NUMBER = r"[+\-−–]?\s*(?:[0-9]+/[0-9]+|[0-9]+[.,]?[0-9]*|[.,][0-9]+)"
_UNIT = r"[^\s0-9,;±+\-−–][^\s0-9,;±]*"
_READING = re.compile(
    rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})?"
    rf"(?:\s*(?:±|\+/-|\+-)\s*(?P<off>{_NUMBER})\s*(?P<off_unit>{_UNIT})?)?"
    r"(?:\s*;\s*|\s*,?\s+|\s*,?\s*$)"
)


@dataclass(frozen=True)
class WrittenReading:
    """A reading as it was written: its length, and what it may be off by where that was said."""

    length: Length
    plus_minus: Length | None = None


def parse_readings(text: str, default_unit: str | None = None) -> tuple[WrittenReading, ...]:
    """Read several readings.

    Parameters
    ----------
    text : str
        Such as ``1.31 1.32 1.30 mm``, ``1,31 mm; 1,32 mm``, ``1.31 ± 0.01 mm``. Readings stand
        apart by spaces, commas with a space, or semicolons. A reading without a unit has that of
        the next reading that has one.
    default_unit : str, optional
        Unit where none follows; without it that is an error.

    Raises
    ------
    LengthError
        Naming the part that was not understood.
    """
    found = _split(text)
    unit = default_unit
    readings = []
    for match in reversed(found):
        unit = match["off_unit"] or match["unit"] or unit
        own = match["unit"] or unit
        length = parse_length(f"{match['number']} {own or ''}")
        off = match["off"]
        plus_minus = parse_length(f"{off} {match['off_unit'] or own}") if off else None
        if plus_minus is not None and plus_minus.value <= 0:
            raise LengthError(f"{match[0].strip()!r}: what stands after ± must be more than 0")
        readings.append(WrittenReading(length, plus_minus))
    return tuple(reversed(readings))


def _split(text: str) -> list[re.Match[str]]:
    """Cut a line into readings; LengthError names the first part that is none."""
    text, place = text.strip(), 0
    found: list[re.Match[str]] = []
    while place < len(text):
        match = _READING.match(text, place)
        if match is None:
            if found:  # a unit that is none often hides in the reading before
                parse_length(f"{found[-1]['number']} {found[-1]['unit'] or 'mm'}")
            raise LengthError(
                f"{text[place:].split()[0]!r} is not a reading: write numbers and a unit, "
                "like 1.31 1.32 1.30 mm"
            )
        found.append(match)
        place = match.end()
    if not found:
        raise LengthError("no readings: write numbers and a unit, like 1.31 1.32 1.30 mm")
    return found
