"""Zero checks: what photos of closed faces, or a person, say of a gauge's zero error."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from reading.correct import as_length, whole_steps
from reading.gauge import PHOTOS, TYPED, Gauge, ZeroCheck, ZeroPhoto
from reading.length import Length, as_entered, plain
from reading.problem import Problem
from reading.record import KeptReading
from reading.result import PhotoRecord
from reading.uncertainty import rectangular, resolution, shown_budget, steps_per_division
from vision.scale import Scale
from vision.sighting import Sighting

# Two candidates of one picture are the same place on the thimble when they agree so closely.
SAME_PLACE_DIVISIONS = Decimal("0.5")


@dataclass(frozen=True)
class CheckNote:
    """What goes with a zero check: its time, the setting rod, who made it, a note."""

    at: datetime
    rod: Decimal | None = None  # in the gauge's unit
    who: str = ""
    note: str = ""


def signed_divisions(sighting: Sighting, expected: Decimal = Decimal(0)) -> Decimal:
    """Tell how far a closed gauge stands from where it should, signed.

    Parameters
    ----------
    sighting : Sighting
        Of closed faces, or of a setting rod between them.
    expected : Decimal
        Where it should stand above the range's start, in divisions.

    Returns
    -------
    Decimal
        In divisions, less than half a turn either way.

    Raises
    ------
    Problem
        If the gauge stands half a turn or more away: such a picture shows no closed gauge.

    Notes
    -----
    With closed faces hardly any sleeve is in view, so the picture may leave the whole turn open: a
    closed gauge with division 47 of 50 at the line stands at -3 divisions, whether it was sighted
    as 47 after 0 turns or after -1. Of all readings that differ by whole turns the one of least
    size is taken, one turn either side of the sighting's own and any that it names itself.
    """
    scale = sighting.scale
    best = _total_divisions(scale, sighting.turns, sighting.division)
    named = [_total_divisions(scale, one.turns, one.division) for one in sighting.alternatives]
    turns_off = {-1, 0, 1} | {
        round((total - best) / scale.divisions)
        for total in named
        if _same_place(scale, total, best)
    }
    nearest = min((best + k * scale.divisions - expected for k in turns_off), key=abs)
    if 2 * abs(nearest) >= scale.divisions:
        off = plain(best * scale.least_count + scale.start)
        raise Problem(
            f"shows {off} {scale.unit}, half a turn or more from zero: "
            "close the faces by the ratchet (or name the rod, --rod) and take it again"
        )
    return nearest


def expected_divisions(scale: Scale, rod: Decimal | None) -> Decimal:
    """Where a closed gauge, or one on a setting rod, should stand above its start, in divisions."""
    return ((rod or scale.start) - scale.start) / scale.least_count


def from_photos(
    gauge: Gauge, photos: Sequence[tuple[PhotoRecord, Sighting]], about: CheckNote
) -> ZeroCheck:
    """Average the zero error over photos of closed faces.

    Raises
    ------
    Problem
        If a photo shows no closed gauge, or the same photo is given twice; or if the gauge's range
        does not start at nothing and no setting rod is named.

    Notes
    -----
    The mean is rounded to the printed step of one reading. Its standard uncertainty combines the
    least count (rectangular) with the larger of what the pictures claim for the mean and what their
    scatter shows, s / √n (GUM 4.2): the scatter has the pictures' own in it.
    """
    _check_rod(gauge, about.rod)
    _check_distinct(photos)
    scale = gauge.scale
    expected = expected_divisions(scale, about.rod)
    errors = []
    for record, sighting in photos:
        try:
            errors.append(signed_divisions(sighting, expected) * scale.least_count)
        except Problem as problem:
            raise Problem(f"{record.name}: {problem}") from problem
    n = len(errors)
    spread = statistics.stdev(float(error) for error in errors) if n > 1 else None
    claimed = math.hypot(*(shown_budget(scale, s.u_division).combined for _, s in photos)) / n
    u_mean = max(claimed, (spread or 0.0) / math.sqrt(n))
    return ZeroCheck(
        gauge.identifier,
        about.at,
        _mean(scale, errors),
        math.hypot(u_mean, rectangular(resolution(scale))),
        source=PHOTOS,
        photos=tuple(
            ZeroPhoto(record.name, record.sha256, error)
            for (record, _), error in zip(photos, errors, strict=True)
        ),
        spread=spread,
        rod=about.rod,
        who=about.who,
        note=about.note,
    )


def from_reading(gauge: Gauge, reading: Length, about: CheckNote) -> ZeroCheck:
    """Take a zero error that a person read, or a reading on a setting rod less the rod.

    Raises
    ------
    Problem
        If it is half a turn or more.

    Notes
    -----
    Its standard uncertainty is that of a reading to the nearest division (or vernier part):
    rectangular (GUM F.2.2.1).
    """
    scale = gauge.scale
    zero_error = as_entered(reading, scale.unit) - (about.rod or Decimal(0))
    if 2 * abs(zero_error) >= scale.pitch:
        raise Problem(
            f"{reading}: a zero error of half a turn or more ({plain(zero_error)} {scale.unit}); "
            "give what the closed gauge shows, with its sign, or name the setting rod (--rod)"
        )
    return ZeroCheck(
        gauge.identifier,
        about.at,
        zero_error,
        rectangular(resolution(scale)),
        source=TYPED,
        rod=about.rod,
        who=about.who,
        note=about.note,
    )


def closed_readings(
    gauge: Gauge, photos: Sequence[tuple[PhotoRecord, Sighting]], check: ZeroCheck
) -> list[KeptReading]:
    """Make the readings behind a zero check, with what they teach of the edge's set.

    Notes
    -----
    The closed gauge settles the whole turn. Where the sighting had another one, its edge stood by
    that much elsewhere against the reading.
    """
    scale, found = gauge.scale, []
    for (record, sighting), photo in zip(photos, check.photos, strict=True):
        shown = (check.rod or scale.start) + photo.zero_error
        seen = as_length(scale, sighting.turns, sighting.division)
        turns_off = round((seen - shown) / scale.pitch)
        edge = sighting.evidence.edge_set_pitches
        found.append(
            KeptReading(
                gauge.identifier,
                check.at,
                record.name,
                shown,
                shown_budget(scale, sighting.u_division).combined,
                record.sha256,
                sighting.confidence,
                None if edge is None else edge + turns_off,
                who=check.who,
            )
        )
    return found


def _total_divisions(scale: Scale, turns: int, division: float) -> Decimal:
    """Count (turns, division) in divisions above the range's start, rounded to the printed step."""
    turns, exact = whole_steps(scale, turns, division)
    return turns * scale.divisions + exact


def _same_place(scale: Scale, one: Decimal, other: Decimal) -> bool:
    """Tell whether two readings differ by whole turns only."""
    apart = (one - other) % scale.divisions
    return min(abs(apart), scale.divisions - abs(apart)) <= SAME_PLACE_DIVISIONS


def _mean(scale: Scale, errors: Sequence[Decimal]) -> Decimal:
    """Average exact lengths and round the mean to the printed step."""
    step = scale.least_count / steps_per_division(scale)
    return round(sum(errors, Decimal(0)) / len(errors) / step) * step


def _check_rod(gauge: Gauge, rod: Decimal | None) -> None:
    """Ask for the setting rod where the faces can't close."""
    if gauge.scale.start > 0 and rod is None:
        raise Problem(
            f"gauge {gauge.identifier} starts at {gauge.scale.start} {gauge.scale.unit}: "
            'name the setting rod between its faces, like --rod "25 mm"'
        )


def _check_distinct(photos: Sequence[tuple[PhotoRecord, Sighting]]) -> None:
    """Refuse one photo given twice: it would make the mean look surer than it is."""
    seen: dict[str, str] = {}
    for record, _ in photos:
        if record.sha256 in seen:
            raise Problem(f"{record.name}: the same photo as {seen[record.sha256]}, give it once")
        seen[record.sha256] = record.name
