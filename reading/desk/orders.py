"""What a person types at the desk, understood: text -> values."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from reading.archive import eyes
from reading.archive.columns import READ, Row
from reading.desk.decisions import ACCEPT, CORRECT, REJECT, Decision
from reading.length import Length, parse_length
from reading.problem import Problem

HELP = """\
  1, 2 …      the choice of that number is what the photo shows
  a           the tool's reading is right
  c LENGTH    it shows this instead, like: c 7.78 mm
  r           it can't be read, or is no reading: reject it
  s           leave it for later
  u           undo your last decision
  @NAME       go to a photo, also one that was decided on
  o           open the picture
  q           quit; what was decided is kept
After a # stands a note: 2 # edge seen clearly"""
LATER, UNDO, OPEN, QUIT, HELP_WANTED = "s", "u", "o", "q", "?"


@dataclass(frozen=True)
class GoTo:
    """Go to a photo, by its name as shown."""

    photo: str


Order = Decision | GoTo | str


def understood(text: str, row: Row) -> Order:
    """Understand one line for the photo that is on the desk.

    Returns
    -------
    Decision, GoTo, or one of `LATER`, `UNDO`, `OPEN`, `QUIT`, `HELP_WANTED`

    Raises
    ------
    Problem
        Naming what was not understood, and what would be.
    """
    if text.strip().startswith("@"):
        return GoTo(text.strip()[1:])
    order, _, note = (part.strip() for part in text.partition("#"))
    word, _, rest = order.partition(" ")
    match word.lower():
        case "s" | "u" | "o" | "q" | "?" if not rest:
            return word.lower()
        case "a" if not rest:
            return _accepted(row, note)
        case "r" if not rest:
            return Decision(REJECT, note=note)
        case "c" if rest:
            length = parse_length(rest, eyes.unit_of(row))
            return Decision(CORRECT, length.value, length.unit, note)
        case number if number.isdecimal() and not rest:
            return _chosen(row, int(number), note)
    raise Problem(f"{text.strip()!r} is not understood: a number, a, c LENGTH, r, s, u, o, q or ?")


def _accepted(row: Row, note: str) -> Decision:
    """Accept the tool's reading."""
    if row["status"] != READ:
        raise Problem("a: the tool refused this photo, choose a number or give c LENGTH")
    length = read_length(row)
    return Decision(ACCEPT, length.value, length.unit, note)


def _chosen(row: Row, number: int, note: str) -> Decision:
    """Take one of the choices; the tool's own reading among them is accepted."""
    found = eyes.alternatives(row)
    if not 1 <= number <= len(found):
        raise Problem(f"{number}: {_there_are(len(found))}")
    length: Decimal = found[number - 1][0]
    same = row["status"] == READ and length == read_length(row).value
    return Decision(ACCEPT if same else CORRECT, length, eyes.unit_of(row), note)


def read_length(row: Row) -> Length:
    """Give what the tool read, as shown."""
    return Length(eyes.in_unit(row["shown_mm"], row), eyes.unit_of(row))


def _there_are(count: int) -> str:
    return f"there are choices 1 to {count}" if count else "there are no choices, give c LENGTH"
