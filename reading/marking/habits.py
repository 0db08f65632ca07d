"""What shows only over several readings of one student: looking from the side, handling."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from reading.marking.catalogue import BY_CODE, Slip
from reading.marking.marked import Marked
from reading.result import Reading

FEWEST = 3  # readings from which a habit is told (common practice: three make a pattern)
# A person who looks squarely is off by a quarter of a division at random; see `diagnosis`.
LEAST_PARALLAX_DIVISIONS, MOST_PARALLAX_DIVISIONS = 0.3, 1.5
LEAST_FORCE_DIVISIONS, MOST_FORCE_DIVISIONS = 0.5, 5.0  # low by half a division to a few


@dataclass(frozen=True)
class Habit:
    """A slip that several readings show, and by how many divisions, in the middle."""

    slip: Slip
    divisions: float
    readings: int


def parallax(own: Iterable[Marked]) -> Habit | None:
    """Find readings that all lie off the photos to one side, by about a division or less."""
    offs = [
        float(one.judgement.off_divisions)
        for one in own
        if one.judgement is not None and one.sure_photo and not one.reasons
    ]
    offs = [off for off in offs if abs(off) <= MOST_PARALLAX_DIVISIONS]
    return _one_sided(offs, LEAST_PARALLAX_DIVISIONS, ("parallax", "parallax"))


def handling(own: Sequence[Marked], everyone: Sequence[Marked]) -> Habit | None:
    """Find a student whose photos themselves show less, or more, than the class's on each thing.

    Only where the list names the thing that was measured, and others measured it too.
    """
    offs = []
    for one in own:
        result = one.seen.result if one.seen is not None else None
        others = [
            value
            for other in everyone
            if other.observation.student != one.observation.student
            and other.observation.thing == one.observation.thing
            for value in [_length_mm(other)]
            if value is not None
        ]
        value = _length_mm(one)
        if one.observation.thing and value is not None and len(others) >= FEWEST:
            assert isinstance(result, Reading)
            least_count = float(result.scale.to_mm(result.scale.least_count))
            offs.append((value - median(others)) / least_count)
    offs = [off for off in offs if abs(off) <= MOST_FORCE_DIVISIONS]
    return _one_sided(offs, LEAST_FORCE_DIVISIONS, ("forced_shut", "wrong_approach"))


def _one_sided(offs: Sequence[float], least: float, codes: tuple[str, str]) -> Habit | None:
    """Name the first code where all lie low by `least` or more, the second where all lie high."""
    if len(offs) < FEWEST:
        return None
    if all(off <= -least for off in offs):
        return Habit(BY_CODE[codes[0]], median(offs), len(offs))
    if all(off >= least for off in offs):
        return Habit(BY_CODE[codes[1]], median(offs), len(offs))
    return None


def _length_mm(marked: Marked) -> float | None:
    """Give what a sure photo comes to, corrected; None where it can't be held against others."""
    result = marked.seen.result if marked.seen is not None else None
    if not isinstance(result, Reading) or not marked.sure_photo or result.corrected is None:
        return None
    return float(result.scale.to_mm(result.corrected))
