"""Marks as tables: a row an observation, a row a student. Numbers come from their exact values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from reading.length import plain, trimmed
from reading.marking.catalogue import BY_CODE
from reading.marking.marked import EYES, LEFT_OUT, Marked, slips_of
from reading.marking.marks import leading
from reading.marking.scheme import ITEMS
from reading.problem import Problem
from reading.result import Reading
from reading.tables import read_table

ROW_HEADER = (
    "number", "student", "order", "gauge", "photo", "reading written", "corrected written",
    "photo shows", "zero error", "should be", "unit", "confidence", "off by divisions", "status",
    "slips", "fits too", *ITEMS, "points", "out of", "why a person looks", "decision",
)  # fmt: skip
STUDENT_HEADER = ("number", "student", "page", "points", "out of", "percent", "waiting", "slips")
_FIRST_NUMBER = 1


@dataclass(frozen=True)
class Student:
    """A student with a number that stays, and all observations."""

    number: int
    name: str
    marked: tuple[Marked, ...]

    @property
    def points(self) -> Decimal:
        """Points of all closed observations."""
        return sum((one.points for one in self.marked if one.points is not None), Decimal(0))

    @property
    def out_of(self) -> Decimal:
        """The most that could be had in them."""
        closed = [one for one in self.marked if one.points is not None]
        return sum((out_of(one) for one in closed), Decimal(0))

    @property
    def waiting(self) -> int:
        """How many observations wait for the instructor."""
        return sum(one.status == EYES for one in self.marked)

    @property
    def percent(self) -> Decimal | None:
        """Points in percent; None where nothing is closed."""
        return round(100 * self.points / self.out_of, 1) if self.out_of else None


def out_of(marked: Marked) -> Decimal:
    """Give the most points that an observation could have."""
    return marked.judgement.out_of if marked.judgement is not None else Decimal(0)


def numbered(groups: Iterable[tuple[str, Sequence[Marked]]], before: Path) -> list[Student]:
    """Give students their numbers: those of an earlier run, new ones after the highest."""
    known = _numbers(before)
    following = max(known.values(), default=_FIRST_NUMBER - 1) + 1
    students = []
    for name, marked in groups:
        if name not in known:
            known[name], following = following, following + 1
        students.append(Student(known[name], name, tuple(marked)))
    return students


def _numbers(path: Path) -> dict[str, int]:
    """Read the numbers that an earlier run gave."""
    if not path.exists():
        return {}
    try:
        header, *rows = read_table(path)
        names = [cell.text for cell in header]
        number, student = names.index("number"), names.index("student")
        return {row[student].text: int(row[number].text) for row in rows}
    except (Problem, ValueError, IndexError) as error:
        raise Problem(
            f"{path}: no students.csv of an earlier run: move it away, or choose another --out"
        ) from error


def observation_rows(students: Sequence[Student]) -> list[list[object]]:
    """Give a row for each observation, in the order of the list."""
    rows = [(one, student) for student in students for one in student.marked]
    rows.sort(key=lambda pair: pair[0].observation.number)
    return [_row(one, student) for one, student in rows]


def _row(one: Marked, student: Student) -> list[object]:
    entry, judgement, truth = one.observation.entry, one.judgement, one.truth
    result = one.seen.result if one.seen is not None else None
    reading = result if isinstance(result, Reading) else None
    closed = one.status not in (EYES, LEFT_OUT)
    items = {item.name: item.points for item in one.items}
    return [
        student.number,
        one.observation.student,
        one.observation.order,
        one.observation.gauge,
        one.observation.photo,
        entry.reading.text,
        entry.corrected.text,
        plain(reading.shown) if reading else "",
        plain(truth.zero_error, signed=True) if truth and truth.zero_error is not None else "",
        plain(judgement.should_be) if judgement and truth else "",
        truth.scale.unit if truth else "",
        f"{reading.sighting.confidence:.3f}" if reading else "",
        plain(round(judgement.off_divisions, 1), signed=True) if judgement and truth else "",
        one.status,
        " + ".join(slips_of(one) if closed else provisional(one)),
        " | ".join(fits_too(one)),
        *("" if items.get(name) is None else _figure(items[name]) for name in ITEMS),
        "" if one.points is None else _figure(one.points),
        "" if one.points is None else _figure(out_of(one)),
        " ".join(reason.message for reason in one.reasons),
        one.decision.word if one.decision is not None else "",
    ]


def provisional(one: Marked) -> tuple[str, ...]:
    """Give the slips that the tool would name, whether or not the case is closed."""
    return tuple(slip.code for slip in one.judgement.slips) if one.judgement is not None else ()


def fits_too(one: Marked) -> list[str]:
    """Give what else leads to the numbers written."""
    if one.judgement is None:
        return []
    others = leading(one.judgement.explanations)[1:]
    return [" + ".join(other.codes) for other in others]


def student_rows(students: Sequence[Student], pages: Sequence[str]) -> list[list[object]]:
    """Give a row for each student, by number."""
    rows = []
    for student, page in zip(students, pages, strict=True):
        slips = dict.fromkeys(code for one in student.marked for code in slips_of(one))
        rows.append(
            [
                student.number,
                student.name,
                page,
                _figure(student.points),
                _figure(student.out_of),
                "" if student.percent is None else _figure(student.percent),
                student.waiting,
                "; ".join(BY_CODE[code].sentence for code in slips),
            ]
        )
    return sorted(rows, key=lambda row: int(str(row[0])))


def _figure(value: Decimal | None) -> str:
    return "" if value is None else trimmed(value)
