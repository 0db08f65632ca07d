"""Taking readings: from photos of a known gauge, or from what a person typed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reading.batch import Look
from reading.book import Book
from reading.correct import LOW_CONFIDENCE, as_length, date_notices, date_reading
from reading.dates import check_done
from reading.gauge import Gauge
from reading.gauges import edge_set
from reading.length import as_entered
from reading.looking import look_with_progress, report_unread, sighted
from reading.measurement.parsing import parse_readings
from reading.measurement.result import OneReading
from reading.notices import Notice
from reading.problem import Problem
from reading.record import KeptReading
from reading.result import (
    FROM_USER,
    CalibrationShare,
    Correction,
    NoCorrection,
    PhotoRecord,
    Reading,
    When,
)
from reading.terminal import DONE, REFUSED, Say
from reading.uncertainty import rectangular, resolution, shown_budget
from vision.sighting import Sighting


@dataclass(frozen=True)
class Wanted:
    """Where readings come from: photos or typed text, one of the two; and their date if given."""

    photos: tuple[Path, ...] = ()
    typed: str | None = None
    on: datetime | None = None
    now: datetime | None = None

    def __post_init__(self) -> None:
        if bool(self.photos) == (self.typed is not None):
            raise Problem('give photos, or --readings "1.31 1.32 1.30 mm"; one of the two')


@dataclass(frozen=True)
class Taken:
    """Readings in the gauge's unit, what they are dated by, and what was seen in the photos."""

    readings: tuple[OneReading, ...]
    when: When
    looks: tuple[Look, ...] = ()
    warned: tuple[Notice, ...] = ()  # about their date


def take(gauge: Gauge, wanted: Wanted, book: Book, say: Say, complain: Say) -> Taken | int:
    """Take readings, or say which photos can't be read and give the exit code."""
    now = wanted.now or datetime.now()
    if wanted.typed is not None:
        when = When(wanted.on or now, FROM_USER)
        readings = typed_readings(gauge, wanted.typed)
        return Taken(readings, when, warned=date_notices(when.at, now))
    seen = list(look_with_progress(wanted.photos, gauge.scale, known_edge_set(book, gauge)))
    code = report_unread(seen, say, complain)
    if code == REFUSED:
        complain("Nothing was recorded: every photo must be read.")
    if code != DONE:
        return code
    looks = tuple(one for one in seen if isinstance(one, Look))
    newest = max((one.photo for one in looks), key=lambda photo: photo.taken or datetime.min)
    readings = tuple(from_sighting(gauge, *one) for one in sighted(seen))
    when = date_reading(newest, wanted.on, now)
    check_done(f"{newest.name}, of {when.at:%Y-%m-%d},", when.at, now)
    return Taken(readings, when, looks, date_notices(when.at, now))


def typed_readings(gauge: Gauge, text: str) -> tuple[OneReading, ...]:
    """Turn what was typed into readings in the gauge's unit."""
    unit = gauge.scale.unit
    return tuple(
        OneReading(
            as_entered(one.length, unit),
            f"{one.length} typed",
            half_width=None if one.plus_minus is None else as_entered(one.plus_minus, unit),
        )
        for one in parse_readings(text, unit)
    )


def from_sighting(gauge: Gauge, photo: PhotoRecord, seen: Sighting) -> OneReading:
    """Turn a sighting into a reading in the gauge's unit."""
    return OneReading(
        as_length(gauge.scale, seen.turns, seen.division),
        photo.name,
        photo,
        shown_budget(gauge.scale, seen.u_division).combined,
        confidence=seen.confidence,
        edge_set_pitches=seen.evidence.edge_set_pitches,
    )


def known_edge_set(book: Book, gauge: Gauge) -> tuple[float, float] | None:
    """Give the edge's set that a gauge's accepted photos have taught, in mm; None before that."""
    learned = edge_set.learn(book.edge_sets(gauge.identifier, edge_set.MOST_PHOTOS))
    return None if learned is None else learned.for_next_mm(gauge.scale)


def kept(
    gauge: Gauge,
    at: datetime,
    readings: Sequence[OneReading],
    who: str,
    *,
    correction: Correction | NoCorrection | None = None,
    calibration: CalibrationShare | None = None,
) -> list[KeptReading]:
    """Make the book's rows of readings, with what was taken off them; see `KeptReading`.

    Only sure ones teach the edge's set.
    """
    return [
        KeptReading(
            gauge.identifier,
            at,
            one.source,
            one.shown,
            one.u_picture or rectangular(resolution(gauge.scale)),
            one.photo.sha256 if one.photo else None,
            one.confidence,
            one.edge_set_pitches if (one.confidence or 0) >= LOW_CONFIDENCE else None,
            correction.check.number if isinstance(correction, Correction) else None,
            who,
            calibration.number if calibration else None,
        )
        for one in readings
    ]


def kept_reading(reading: Reading, who: str) -> KeptReading:
    """Make the book's row of a reading that a person accepted; only a sure one teaches the edge."""
    if reading.gauge is None:
        raise ValueError(f"{reading.photo.name}: a reading without a gauge can't be kept")
    sighting, correction = reading.sighting, reading.correction
    edge = sighting.evidence.edge_set_pitches
    return KeptReading(
        reading.gauge.identifier,
        reading.when.at,
        reading.photo.name,
        reading.shown,
        reading.shown_uncertainty.combined,
        reading.photo.sha256,
        sighting.confidence,
        edge if sighting.confidence >= LOW_CONFIDENCE else None,
        correction.check.number if isinstance(correction, Correction) else None,
        who,
        reading.calibration.number if reading.calibration else None,
    )
