"""What photos of one gauge are read and corrected with, as the book has it."""

from __future__ import annotations

from dataclasses import dataclass

from reading.batch import EdgeSet
from reading.book import Book
from reading.correct import ZERO_CHECK_DAYS
from reading.gauge import Gauge, ZeroCheck
from reading.gauges.care import zero_days
from reading.measurement.taking import known_edge_set
from vision.scale import Scale


@dataclass(frozen=True)
class KnownGauge:
    """A gauge as far as it is known; `scale` alone where it is in no book, None to infer it."""

    scale: Scale | None = None
    gauge: Gauge | None = None
    checks: tuple[ZeroCheck, ...] = ()
    edge_set_mm: EdgeSet | None = None
    zero_days: int = ZERO_CHECK_DAYS


def known_of(book: Book, gauge: Gauge) -> KnownGauge:
    """Take all that the book has of a gauge for its photos."""
    return KnownGauge(
        gauge.scale,
        gauge,
        book.zero_checks(gauge.identifier),
        known_edge_set(book, gauge),
        zero_days(book, gauge),
    )
