"""What a person has to look at before anybody is marked, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time

from reading.dates import parse_when
from reading.problem import Problem

# code: sentence. Codes are stable; texts may improve.
REASONS: dict[str, str] = {
    "photo_missing": "{detail}.",
    "photo_unusable": "{detail}",
    "photo_refused": "The photo could not be read: {detail}",
    "other_gauge": "The photo seems to show another gauge than the one named: {detail}",
    "low_confidence": "The photo's reading has a confidence of {detail}.",
    "photo_may_differ": "The photo may also show what the student wrote ({detail}).",
    "seen_twice": "The very same photo was handed in by {detail}.",
    "nearly_the_same": "Nearly the same picture was handed in by {detail}.",
    "outside_hours": "The photo was taken {detail}, outside the hours given.",
    "gauge_unknown": "The gauge {detail} is not in the book.",
    "nothing_written": "No value was handed in.",
    "not_understood": "What was written could not be read: {detail}.",
}


@dataclass(frozen=True)
class Reason:
    """Why a person has to look: its stable code and its sentence."""

    code: str
    message: str


def reason(code: str, detail: str = "") -> Reason:
    """Make the reason of a code; KeyError for one that is not there."""
    return Reason(code, REASONS[code].format(detail=detail))


@dataclass(frozen=True)
class Hours:
    """When the lab was open: from and to on every day, or from one moment to another."""

    begin: time | datetime
    end: time | datetime

    def hold(self, moment: datetime) -> bool:
        """Say whether a moment lies within."""
        if isinstance(self.begin, datetime) and isinstance(self.end, datetime):
            return self.begin <= moment <= self.end
        at = moment.time()
        begin, end = _clock(self.begin), _clock(self.end)
        return begin <= at <= end if begin <= end else at >= begin or at <= end


def _clock(moment: time | datetime) -> time:
    return moment.time() if isinstance(moment, datetime) else moment


def parse_hours(text: str) -> Hours:
    """Read ``09:00..12:30``, or ``2026-11-25 09:00..2026-11-25 12:30``.

    Raises
    ------
    Problem
        Naming the text and the forms that are wanted.
    """
    begin, dots, end = text.partition("..")
    try:
        if not dots:
            raise ValueError(text)
        if "-" in begin:
            hours = Hours(parse_when(begin), parse_when(end, end_of_day=True))
            if hours.begin > hours.end:  # type: ignore[operator]
                raise ValueError(text)
            return hours
        return Hours(*(time.fromisoformat(one.strip().zfill(5)) for one in (begin, end)))
    except (ValueError, Problem) as error:
        raise Problem(
            f"--hours {text!r}: write 09:00..12:30, or 2026-11-25 09:00..2026-11-25 12:30"
        ) from error


def same_files(handed_in: Sequence[tuple[str, str, str]]) -> dict[int, list[int]]:
    """Find photos that were handed in twice.

    Parameters
    ----------
    handed_in : sequence of (student, photo, SHA-256)
        One for each observation; the hash is empty where there is no photo.

    Returns
    -------
    dict of int to list of int
        Observation -> the others with its very photo, under another name or of another student.
        Several rows of one student that name one photo are no copies.
    """
    places: dict[str, list[int]] = {}
    for place, (_, _, sha256) in enumerate(handed_in):
        if sha256:
            places.setdefault(sha256, []).append(place)
    found = {}
    for together in places.values():
        for place in together:
            others = [one for one in together if handed_in[one][:2] != handed_in[place][:2]]
            if others:
                found[place] = others
    return found
