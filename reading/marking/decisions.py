"""The instructor's decisions: a CSV file that the program writes to and a person fills in.

Rows for what needs eyes are added; what a person wrote is kept as it is, whatever happens.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from reading.length import Length, parse_length
from reading.marking.catalogue import BY_CODE
from reading.problem import Problem
from reading.tables import read_table, write_csv

Place = tuple[str, str, str]  # student, photo, order
HEADER = (
    "student",
    "photo",
    "order",
    "why",
    "tool says",
    "decision",
    "value",
    "slip",
    "by",
    "note",
)
TRUST, READS, RIGHT, WRONG, MARKS, OUT = "trust", "reads", "right", "wrong", "marks", "out"
WORDS = {
    TRUST: "mark it by the photo as the tool read it",
    READS: "mark it by what you read off the photo yourself; write that under value",
    RIGHT: "all points",
    WRONG: "no point for sleeve, division and value",
    MARKS: "so many points; write them under value",
    OUT: "leave it out",
}


@dataclass(frozen=True)
class Decision:
    """What the instructor decided on one observation."""

    word: str
    length: Length | None = None
    points: Decimal | None = None
    slip: str = ""
    by: str = ""
    note: str = ""


def read_decisions(path: Path) -> dict[Place, Decision]:
    """Read what was decided; rows without a decision are still open.

    Raises
    ------
    Problem
        Naming the row and what is allowed.
    """
    return {
        place: decision
        for place, cells in _cells(path).items()
        for decision in [_decision(cells, f"{path}, {place[0]} {place[1]}")]
        if decision is not None
    }


def _cells(path: Path) -> dict[Place, dict[str, str]]:
    """Give the file's rows by what they belong to; none where there is no file yet."""
    if not path.exists():
        return {}
    try:
        header, *rows = read_table(path)
    except Problem:
        if path.stat().st_size < 1000:  # a header alone: nothing was to be decided
            return {}
        raise
    names = [cell.text.strip().lower() for cell in header]
    missing = [one for one in ("student", "photo", "decision") if one not in names]
    if missing:
        raise Problem(f"{path}: no column {missing[0]!r}: keep the headings as they were written")
    found = {}
    for row in rows:
        cells = dict.fromkeys(HEADER, "") | {
            name: cell.text for name, cell in zip(names, row, strict=False)
        }
        found[cells["student"], cells["photo"], cells["order"]] = cells
    return found


def _decision(cells: Mapping[str, str], where: str) -> Decision | None:
    """Understand one row."""
    word = cells["decision"].strip().lower()
    if not word:
        return None
    if word not in WORDS:
        raise Problem(f"{where}: decision {word!r}: one of {', '.join(WORDS)}")
    slip = cells["slip"].strip().lower()
    if slip and slip not in BY_CODE:
        raise Problem(f"{where}: slip {slip!r}: a code of the catalogue, like half_line_missed")
    length = points = None
    if word == READS:
        try:
            length = parse_length(cells["value"], "mm")
        except Problem as problem:
            raise Problem(f"{where}: value for {READS}: {problem}") from problem
    if word == MARKS:
        points = _points(cells["value"], where)
    return Decision(word, length, points, slip, cells["by"], cells["note"])


def _points(text: str, where: str) -> Decimal:
    try:
        points = Decimal(text.strip().replace(",", "."))
    except ArithmeticError as error:
        raise Problem(f"{where}: value {text!r} for {MARKS}: a number of points") from error
    if not (points.is_finite() and points >= 0):
        raise Problem(f"{where}: value {text!r} for {MARKS}: a number of points")
    return points


def keep_open(path: Path, cases: Sequence[tuple[Place, str, str]]) -> int:
    """Add what needs eyes to the file, and give the number of cases that are still open.

    Parameters
    ----------
    path : Path
        Made if there is none. Rows that a person filled in stay, also when their case is closed.
    cases : sequence of (place, why, what the tool says)
    """
    there = _cells(path)
    for place, why, says in cases:
        cells = there.setdefault(place, dict.fromkeys(HEADER, ""))
        cells |= dict(zip(("student", "photo", "order"), place, strict=True))
        cells |= {"why": why, "tool says": says}
    known = {place for place, _, _ in cases}
    kept = {
        place: cells
        for place, cells in there.items()
        if place in known or any(cells[one] for one in ("decision", "value", "slip", "note", "by"))
    }
    write_csv(path, HEADER, [[cells[name] for name in HEADER] for cells in kept.values()])
    return sum(not kept[place]["decision"].strip() for place in known)
