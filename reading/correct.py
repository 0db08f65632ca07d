"""Sighting + gauge + zero check -> reading. The one place where floats become exact decimals."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from importlib.metadata import PackageNotFoundError, version
from typing import Protocol

from reading.dates import lies_ahead
from reading.gauge import Gauge, ZeroCheck, in_force
from reading.notices import Notice, notice
from reading.result import (
    FROM_CLOCK,
    FROM_PHOTO,
    FROM_USER,
    Correction,
    LengthAlternative,
    NoCorrection,
    PhotoRecord,
    Reading,
    Refused,
    When,
)
from reading.uncertainty import steps_per_division
from vision.scale import Scale
from vision.sighting import Alternative, Refusal, Sighting


class FromPhoto(Protocol):
    """A reading that may be from a photo: where from, and how sure; None for one by hand."""

    @property
    def source(self) -> str:
        """The photo's name."""

    @property
    def confidence(self) -> float | None:
        """Probability of being within one division."""


ZERO_CHECK_DAYS = 365  # a zero check older than a year is called old (common practice)
LOW_CONFIDENCE = 0.95  # below the usual level of 95 % (common practice) a person should look


def program_version() -> str:
    """Give this program's version, from what is installed."""
    try:
        return version("datumline")
    except PackageNotFoundError:
        return "not installed"


def whole_steps(scale: Scale, turns: int, division: float) -> tuple[int, Decimal]:
    """Round a float division to the printed step, exactly, and carry a full thimble into the turns.

    Parameters
    ----------
    scale : Scale
    turns : int
        Whole pitches uncovered.
    division : float
        Division at the line, in divisions.

    Returns
    -------
    turns : int
        One more than given where the division rounds up to a whole turn.
    division : Decimal
        0 or more and less than `scale.divisions`.

    Notes
    -----
    The step is the vernier's part where there is one, otherwise a tenth of a division: what a
    person estimates between two divisions (common practice). Halves go to the even step.
    """
    per_division = steps_per_division(scale)
    steps = round(Decimal(repr(float(division))) * per_division)
    carried, steps = divmod(steps, per_division * scale.divisions)
    return turns + carried, steps * (Decimal(1) / per_division)


def as_length(scale: Scale, turns: int, division: float) -> Decimal:
    """Give the shown length of (turns, division) in the scale's unit, rounded to the step."""
    turns, exact = whole_steps(scale, turns, division)
    return scale.start + turns * scale.pitch + exact * scale.least_count


def as_lengths(scale: Scale, alternatives: Sequence[Alternative]) -> tuple[LengthAlternative, ...]:
    """Turn alternatives into lengths, in their order."""
    return tuple(
        LengthAlternative(as_length(scale, one.turns, one.division), one.probability)
        for one in alternatives
    )


def date_reading(photo: PhotoRecord, on: datetime | None, now: datetime) -> When:
    """Date a reading: by what the user says, else by the photo, else by the clock."""
    if on is not None:
        return When(on, FROM_USER)
    if photo.taken is not None:
        return When(photo.taken, FROM_PHOTO)
    return When(now, FROM_CLOCK)


def choose_correction(
    gauge: Gauge | None, checks: Sequence[ZeroCheck], at: datetime
) -> Correction | NoCorrection:
    """Find the zero check in force at `at` among a gauge's checks, or say why there is none."""
    if gauge is None:
        return NoCorrection("no_gauge")
    check = in_force(checks, at)
    if check is None:
        return NoCorrection("zero_check_later" if checks else "no_zero_check")
    return Correction(check, (at - check.at).days)


def correct(
    photo: PhotoRecord,
    sighting: Sighting,
    when: When,
    gauge: Gauge | None = None,
    checks: Sequence[ZeroCheck] = (),
    zero_days: int = ZERO_CHECK_DAYS,
) -> Reading:
    """Make the reading of a sighting, corrected by the zero check in force at its time.

    Parameters
    ----------
    photo : PhotoRecord
    sighting : Sighting
    when : When
        What the reading is dated by.
    gauge : Gauge, optional
        The gauge in the picture; its scale must be the sighting's.
    checks : sequence of ZeroCheck
        All zero checks of that gauge.
    zero_days : int
        How old a zero check may be before the reading says so.

    Raises
    ------
    ValueError
        If the sighting was made with another scale than the gauge's.

    Notes
    -----
    corrected = shown - zero error, the sign as in trade practice: a closed gauge that shows more
    than nothing has a positive zero error.
    """
    if gauge is not None and _engraved(gauge.scale) != _engraved(sighting.scale):
        raise ValueError(f"gauge {gauge.identifier}: the sighting has another scale")
    scale = gauge.scale if gauge is not None else sighting.scale
    turns, division = whole_steps(scale, sighting.turns, sighting.division)
    correction = choose_correction(gauge, checks, when.at)
    reading = Reading(
        photo=photo,
        sighting=sighting,
        when=when,
        gauge=gauge,
        turns=turns,
        division=division,
        correction=correction,
        alternatives=as_lengths(scale, sighting.alternatives),
        notices=correction_notices(correction, when, zero_days) + sighting_notices(sighting),
        program=program_version(),
    )
    return _with_range_notices(reading)


def refused(photo: PhotoRecord, refusal: Refusal, gauge: Gauge | None = None) -> Refused:
    """Record a refused photo, its alternatives as lengths where the scale is known."""
    scale = refusal.scale
    lengths = as_lengths(scale, refusal.alternatives) if scale is not None else ()
    return Refused(photo, refusal, gauge, lengths)


def _engraved(scale: Scale) -> tuple[Decimal, int, str, Decimal]:
    """Give what a sighting and a gauge's record must agree in."""
    return scale.pitch, scale.divisions, scale.unit, scale.start


def correction_notices(
    correction: Correction | NoCorrection, when: When, zero_days: int = ZERO_CHECK_DAYS
) -> tuple[Notice, ...]:
    """Say what is wanting about the zero check."""
    match correction:
        case NoCorrection(code):
            return (notice(code),)
        case Correction(_, age_days):
            found = []
            if when.source == FROM_CLOCK:
                found.append(notice("time_unknown"))
            if age_days > zero_days:
                found.append(notice("zero_check_old", days=age_days))
            return tuple(found)


def date_notices(at: datetime, now: datetime) -> tuple[Notice, ...]:
    """Say where something is dated ahead of the clock."""
    if not lies_ahead(at, now):
        return ()
    return (notice("dated_ahead", date=f"{at:%Y-%m-%d %H:%M}"),)


def sighting_notices(sighting: Sighting) -> tuple[Notice, ...]:
    """Say what is wanting about the picture."""
    found = []
    if sighting.confidence < LOW_CONFIDENCE:
        found.append(notice("low_confidence", confidence=sighting.confidence))
    if not sighting.scale_given:
        scale = sighting.scale
        text = f"{scale.pitch} {scale.unit}, {scale.divisions} divisions"
        found.append(notice("scale_inferred", scale=text))
    return tuple(found)


def unsure_readings(readings: Iterable[FromPhoto]) -> list[Notice]:
    """Name photos that are unsure."""
    return [
        notice("photo_unsure", photo=one.source, confidence=one.confidence)
        for one in readings
        if one.confidence is not None and one.confidence < LOW_CONFIDENCE
    ]


def _with_range_notices(reading: Reading) -> Reading:
    """Add a warning where the reading lies outside the gauge's range."""
    end = reading.gauge.end if reading.gauge is not None else None
    if reading.shown < reading.scale.start:
        return replace(reading, notices=(*reading.notices, notice("below_range")))
    if end is not None and reading.shown > end:
        return replace(reading, notices=(*reading.notices, notice("beyond_range")))
    return reading
