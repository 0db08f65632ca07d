"""A sample of an archive that a person reads blind, and what it says of all of it."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from math import floor
from pathlib import Path

from reading.archive.columns import READ, Row
from reading.archive.store import Store
from reading.length import convert, parse_length
from reading.problem import Problem
from reading.qualify.bounds import LEVEL, Share
from reading.tables import csv_records

STRATA = {"gauge": ("gauge",), "part": ("part",), "gauge,part": ("gauge", "part"), "none": ()}
UNREADABLE = ("unreadable", "?", "x")  # what a person enters for a picture that can't be read
FORM = ("number", "reading", "unit")  # columns of the form to fill in
WITHIN_DIVISIONS = 1.0  # farther off is wrong: the error that the tool's confidence speaks of


@dataclass(frozen=True)
class Answer:
    """What a person read in one picture of a sample, against what was read in it, in mm.

    `off_divisions` is None where the person could not read it.
    """

    place: int
    photo: str
    stratum: str
    ours_mm: float
    theirs_mm: float | None
    off_divisions: float | None


@dataclass(frozen=True)
class Verdict:
    """What an audit says: each answer, the archive's error rate with its bounds, and what is left.

    A picture that the person could not read counts as wrong in `rate`: that is on the safe side.
    """

    audit: int
    population: int
    left: int
    answers: tuple[Answer, ...]
    within_divisions: float
    rate: Share

    @property
    def wrong(self) -> tuple[Answer, ...]:
        """The answers that count as wrong."""
        return tuple(one for one in self.answers if is_wrong(one, self.within_divisions))


def is_wrong(answer: Answer, within_divisions: float) -> bool:
    """Tell whether an answer differs from the archive's reading, or could not be given."""
    return answer.off_divisions is None or answer.off_divisions > within_divisions


def draw(store: Store, count: int, seed: int, by: str, who: str, *, sure_only: bool = False) -> int:
    """Draw a sample among the photos that were read, and give its number.

    `sure_only` leaves out those that need eyes anyway.

    Every photo has the same chance to be drawn, and every stratum the share that it has in the
    archive, up to one photo: whole places of the strata laid end to end, at steps from a random
    start, then photos at random within each (systematic allocation, Cochran, "Sampling Techniques",
    chapter 8). The bounds of `Share` hold: where shares differ between strata a count
    scatters less than the binomial (Hoeffding, Ann. Math. Statist. 27 (1956)). The same archive
    and seed give the same sample.

    Raises
    ------
    Problem
        If `by` is none of `STRATA`, or fewer than `count` photos were read.
    """
    if by not in STRATA:
        raise Problem(f"--by {by}: one of {', '.join(STRATA)}")
    strata: dict[str, list[int]] = defaultdict(list)
    where = "status = ?" + (" AND reading.eyes IS NULL" if sure_only else "")
    for row in store.current(where, READ):
        strata[stratum_of(row, by)].append(int(row["number"] or 0))
    population = sum(map(len, strata.values()))
    if not 1 <= count <= population:
        raise Problem(f"--count {count}: 1 to {population}, the photos that were read")
    rng = random.Random(seed)
    drawn = []
    for name, size in _allocated(strata, count, rng):
        drawn += [(name, number) for number in sorted(rng.sample(strata[name], size))]
    rng.shuffle(drawn)
    now = datetime.now().isoformat(timespec="seconds")
    with store.change() as change:
        cells = (now, who, seed, by, population)
        done = change.execute(
            "INSERT INTO audit (at, who, seed, strata, population) VALUES (?, ?, ?, ?, ?)", cells
        )
        audit = int(done.lastrowid or 0)
        change.executemany(
            "INSERT INTO audit_photo (audit, place, reading, stratum) VALUES (?, ?, ?, ?)",
            [(audit, place, number, name) for place, (name, number) in enumerate(drawn, start=1)],
        )
    return audit


def stratum_of(row: Row, by: str) -> str:
    """Name the stratum of a photo."""
    return " / ".join(str(row[column] or "-") for column in STRATA[by]) or "all"


def _allocated(
    strata: Mapping[str, Sequence[int]], count: int, rng: random.Random
) -> Iterator[tuple[str, int]]:
    """Share a sample among strata by their size: each gets its share rounded down or up, in the
    mean exactly."""
    population = sum(map(len, strata.values()))
    start, before = rng.random(), 0
    for name in sorted(strata):
        after = before + len(strata[name])
        low, high = (floor(count * end / population + start) for end in (before, after))
        yield name, high - low
        before = after


def sample(store: Store, audit: int | None) -> tuple[int, list[Row]]:
    """Give the number and the photos of an audit, the newest where none is named, by place."""
    known = [int(row["number"] or 0) for row in store.select("SELECT number FROM audit ORDER BY 1")]
    if not known:
        raise Problem("no audit was drawn yet (datumline archive sample)")
    if audit is not None and audit not in known:
        raise Problem(f"audit {audit}: there is {', '.join(map(str, known))}")
    number = known[-1] if audit is None else audit
    rows = store.select(
        "SELECT audit_photo.place, audit_photo.stratum, reading.*, path, member, remote "
        "FROM audit_photo JOIN reading ON reading.number = audit_photo.reading "
        "LEFT JOIN photo ON photo.photo = coalesce((SELECT there.photo FROM photo AS there "
        "JOIN reading AS now ON now.number = there.reading WHERE now.sha256 = reading.sha256 "
        "ORDER BY there.run DESC, there.photo LIMIT 1), reading.photo) "  # it may have been moved
        "WHERE audit = ? ORDER BY place",
        number,
    )
    return number, rows


def read_form(path: Path) -> dict[int, str]:
    """Read a form that was filled in: answers by place; empty ones are left for later.

    Raises
    ------
    Problem
        If it can't be read, or a line is not understood.
    """
    answers = {}
    for number, line in csv_records(path):
        text = line.get("reading", "").strip()
        if not text:
            continue
        bare = not any(letter.isalpha() or letter in "\"'?" for letter in text)
        answer = f"{text} {line.get('unit', '').strip() or 'mm'}" if bare else text
        try:
            place = int(line.get("number") or "")
            if text.lower() not in UNREADABLE:
                parse_length(answer)
        except ValueError:
            raise Problem(f"{path}, line {number}: no number of a picture") from None
        except Problem as problem:
            raise Problem(f"{path}, line {number}: {problem}") from None
        answers[place] = answer
    return answers


def enter(store: Store, audit: int | None, answers: Mapping[int, str], who: str) -> int:
    """Enter what a person read; the newest answer to a picture counts. Give the audit's number."""
    number, rows = sample(store, audit)
    known = {int(row["place"] or 0) for row in rows}
    for place in answers:
        if place not in known:
            raise Problem(f"picture {place}: audit {number} has pictures 1 to {len(known)}")
    now = datetime.now().isoformat(timespec="seconds")
    with store.change() as change:
        change.executemany(
            "INSERT INTO audit_answer (audit, place, at, who, answer) VALUES (?, ?, ?, ?, ?)",
            [(number, place, now, who, text) for place, text in sorted(answers.items())],
        )
    return number


def judge(store: Store, audit: int | None, within_divisions: float = WITHIN_DIVISIONS) -> Verdict:
    """Compare what was entered with what was read; Problem while nothing was entered."""
    number, rows = sample(store, audit)
    given = {
        int(row["place"] or 0): str(row["answer"])
        for row in store.select(
            "SELECT place, answer FROM audit_answer WHERE audit = ? ORDER BY number", number
        )
    }
    answers = tuple(
        compared(row, given[place]) for row in rows if (place := int(row["place"] or 0)) in given
    )
    if not answers:
        raise Problem(f"audit {number}: nothing was entered yet (datumline archive audit)")
    population = store.select("SELECT population FROM audit WHERE number = ?", number)[0]
    wrong = sum(is_wrong(one, within_divisions) for one in answers)
    return Verdict(
        number,
        int(population["population"] or 0),
        len(rows) - len(answers),
        answers,
        within_divisions,
        Share(wrong, len(answers)),
    )


def compared(row: Row, answer: str) -> Answer:
    """Compare one answer with our reading, as shown: nobody can see the zero error in a picture."""
    ours = Decimal(repr(row["shown_mm"]))
    place, name, stratum = int(row["place"] or 0), str(row["photo"]), str(row["stratum"])
    if answer.lower() in UNREADABLE:
        return Answer(place, name, stratum, float(ours), None, None)
    length = parse_length(answer, "mm")
    theirs = convert(length.value, length.unit, "mm")
    division = Decimal(repr(row["pitch_mm"])) / int(row["divisions"] or 1)
    return Answer(
        place, name, stratum, float(ours), float(theirs), float(abs(ours - theirs) / division)
    )


def percent(share_wrong: float) -> str:
    """Write a share in percent, to two figures where it is small."""
    value = 100 * share_wrong
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def verdict_lines(verdict: Verdict) -> list[str]:
    """Say what an audit found."""
    rate, level = verdict.rate, round(100 * LEVEL)
    low, high = map(percent, rate.between)
    within = f"{verdict.within_divisions:g} division{'s' if verdict.within_divisions != 1 else ''}"
    lines = [
        f"audit {verdict.audit}: {rate.k} of {rate.n} readings wrong (not within {within}): "
        f"{percent(rate.value)} %",
        f"  the error rate of the {verdict.population} readings lies between "
        f"{low} and {high} % ({level} %, Clopper-Pearson)",
        f"  and is at most {percent(rate.upper)} % ({level} %, one-sided)",
    ]
    if verdict.left:
        lines.append(f"  {verdict.left} pictures of the sample have no answer yet")
    for one in verdict.wrong:
        theirs = "unreadable" if one.theirs_mm is None else f"{one.theirs_mm:g} mm"
        lines.append(f"  {one.place}  {one.photo}: {one.ours_mm:g} mm here, {theirs} by eye")
    return lines
