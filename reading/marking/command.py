"""What `datumline mark` does: take in, look, mark, write."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from reading.book import Book, book_path
from reading.known import known_of
from reading.marking import habits as told
from reading.marking.class_page import UNDECIDABLE, class_page, kappa_lines, summary
from reading.marking.decisions import keep_open, read_decisions
from reading.marking.diagnosis import Prior
from reading.marking.eyes import Hours
from reading.marking.handed_in import Observation, by_student, take_in
from reading.marking.marked import EYES, Marked, Rules, learn, mark, tells
from reading.marking.marks import Asked
from reading.marking.photos import Job, Seen, UsedGauge, see_all
from reading.marking.results import (
    ROW_HEADER,
    STUDENT_HEADER,
    Student,
    numbered,
    observation_rows,
    student_rows,
)
from reading.marking.scheme import Scheme
from reading.marking.student_page import student_page
from reading.marking.written import writes_a_unit
from reading.pages.html import save
from reading.problem import Problem
from reading.result import Reading, Refused
from reading.tables import needed, write_csv, write_xlsx
from reading.terminal import DONE, REFUSED, Say
from vision.scale import Scale

LONGEST_NAME = 60  # letters of a student's name in a file's name


@dataclass(frozen=True)
class MarkRequest:
    """What `datumline mark` was asked for."""

    given: Path
    photos: Path | None
    out: Path
    scheme: Scheme
    book: Path | None = None
    gauge: str | None = None  # for rows that name none
    scale: Scale | None = None  # for rows without a gauge of the book
    hours: Hours | None = None
    decisions: Path | None = None
    learn: bool = False
    names: bool = False
    xlsx: bool = False
    now: datetime = field(default_factory=datetime.now)


def run(request: MarkRequest, say: Say) -> int:
    """Mark a class, and give the exit code: 3 while anything waits for the instructor."""
    out = request.out
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Problem(f"{out}: no folder can be made there ({error.strerror})") from error
    if request.xlsx:
        needed(out / "marks.xlsx")
    decisions_file = request.decisions or out / "decisions.csv"
    decisions = read_decisions(decisions_file)
    with tempfile.TemporaryDirectory(prefix="datumline-") as name:
        room = Path(name)
        handed_in = take_in(request.given, request.photos, room)
        say("\n".join(f"column {line}" for line in handed_in.columns))
        for fault in handed_in.faults:
            say(f"not opened: {fault}")
        gauges = _gauges(handed_in.observations, request)
        seen = _look(handed_in.observations, gauges, room, request.now)
        asked = Asked(
            handed_in.asks_correction,
            any(
                writes_a_unit(one.entry) and one.entry.heading_unit is None
                for one in handed_in.observations
            ),
        )
        rules = Rules(request.scheme, asked, request.hours)
        marked = mark(handed_in.observations, seen, gauges, decisions, rules)
        prior = Prior()
        if request.learn:
            prior = learn(marked)
            rules = Rules(request.scheme, asked, request.hours, prior)
            marked = mark(handed_in.observations, seen, gauges, decisions, rules)
        undated = _undated(marked) if request.hours is not None else ""
        students = _write(marked, prior, request, [undated] if undated else [])
    if undated:
        say(undated)
    return _tell(students, prior, decisions_file, request, say)


def _gauges(observations: Sequence[Observation], request: MarkRequest) -> list[UsedGauge]:
    """Find the gauge of each row: in the book by its name, else the scale that was given."""
    names = [one.gauge or request.gauge or "" for one in observations]
    known: dict[str, UsedGauge] = {}
    path = book_path(request.book)
    if any(names) and (path.exists() or request.scale is None):
        with Book(path) as book:
            for gauge in book.gauges():
                if gauge.identifier in names:
                    known[gauge.identifier] = UsedGauge(**vars(known_of(book, gauge)))
    gauges = []
    for name in names:
        unknown = name if name and name not in known and request.scale is None else ""
        gauges.append(known.get(name) or UsedGauge(request.scale, unknown=unknown))
    return gauges


def _look(
    observations: Sequence[Observation], gauges: Sequence[UsedGauge], room: Path, now: datetime
) -> list[Seen | None]:
    """Look at every photo that was found, once."""
    jobs = {
        place: Job(one.file, used, room / f"picture-{place}", now)
        for place, (one, used) in enumerate(zip(observations, gauges, strict=True))
        if one.file is not None
    }
    seen = dict(zip(jobs, see_all(list(jobs.values())), strict=True))
    return [seen.get(place) for place in range(len(observations))]


def _undated(marked: Sequence[Marked]) -> str:
    """Say how many photos can't be held against the lab's hours; empty for none."""
    results = [one.seen.result for one in marked if one.seen is not None]
    count = sum(isinstance(one, Reading | Refused) and one.photo.taken is None for one in results)
    if not count:
        return ""
    photos = "1 photo has no time of its" if count == 1 else f"{count} photos have no time of their"
    return f"--hours: {photos} own, so the hours could not be checked."


def _write(
    marked: Sequence[Marked], prior: Prior, request: MarkRequest, notes: Sequence[str]
) -> list[Student]:
    """Write tables and pages; `notes` go on the class's page."""
    by_place = {one.observation.place: one for one in marked}
    groups = [
        (name, [by_place[one.place] for one in own])
        for name, own in by_student(one.observation for one in marked)
    ]
    out = request.out
    students = numbered(groups, out / "students.csv")
    habits = {
        one.name: [
            habit
            for habit in (told.parallax(one.marked), told.handling(one.marked, marked))
            if habit is not None
        ]
        for one in students
    }
    pages = [_page_name(one, request.names) for one in students]
    for student, page in zip(students, pages, strict=True):
        save(student_page(student, habits[student.name]), out / page)
    rows = observation_rows(students)
    write_csv(out / "marks.csv", ROW_HEADER, rows)
    if request.xlsx:
        write_xlsx(out / "marks.xlsx", "marks", ROW_HEADER, rows)
    write_csv(out / "students.csv", STUDENT_HEADER, student_rows(students, pages))
    save(class_page(students, habits, prior, notes), out / "class.html")
    return students


def _page_name(student: Student, named: bool) -> str:
    """Name a student's page by number alone, or with the name where that was asked for."""
    if not named:
        return f"student-{student.number:03}.html"
    name = "".join(one if one.isalnum() or one in " -_" else "_" for one in student.name)
    return f"student-{student.number:03} {name.strip()[:LONGEST_NAME]}.html"


def _tell(
    students: Sequence[Student], prior: Prior, decisions: Path, request: MarkRequest, say: Say
) -> int:
    """Say how it went, and what to do next."""
    marked = [one for student in students for one in student.marked]
    cases = [
        (one.observation.place, " ".join(reason.message for reason in one.reasons), tells(one))
        for one in marked
        if one.reasons
    ]
    waiting = keep_open(decisions, cases)
    say(summary(marked))
    for line in kappa_lines(marked):
        say(line)
    say(f"order of the slips: {prior.origin}")
    say(f"{request.out / 'class.html'}: the class; {len(students)} pages for students beside it")
    stuck = sum(one.undecidable for one in marked)
    if stuck:
        say(
            f"{decisions}: {stuck} can't be marked as decided: {UNDECIDABLE}. Write right, wrong, "
            "marks or out, or for a photo what it reads."
        )
    if waiting:
        verb = "waits" if waiting == 1 else "wait"
        say(
            f"{decisions}: {waiting} {verb} for your eyes. Write trust, reads, right, wrong, marks "
            "or out under decision, then run the same command again."
        )
    return REFUSED if any(one.status == EYES for one in marked) else DONE
