"""What the book keeps beside gauges and zero checks: dated records, and readings. Values only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

FACTS, PITCH, BACKLASH = "facts", "pitch", "backlash"
CALIBRATION, MEASUREMENT = "calibration", "measurement"
KINDS = (FACTS, PITCH, BACKLASH, CALIBRATION, MEASUREMENT)


@dataclass(frozen=True)
class Signed:
    """Who did something, and what they noted."""

    who: str = ""
    note: str = ""


@dataclass(frozen=True)
class Record:
    """Something found out about a gauge, or with it; a newer one takes its place, none is lost.

    `at` is local time without a zone. `body` holds what JSON can hold, decimals as text; what is in
    it is the business of the module that makes the kind. `number` is the book's own count.
    """

    gauge: str
    kind: str
    at: datetime
    body: Mapping[str, object]
    who: str = ""
    note: str = ""
    number: int | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r}: one of {', '.join(KINDS)}")
        if self.at.tzinfo is not None:
            raise ValueError("time of a record: local time without a zone")


@dataclass(frozen=True)
class KeptReading:
    """A reading that a person accepted, in the gauge's unit, as the gauge showed it.

    `sha256` is the photo's, None for a typed reading. `edge_set_pitches` is how far the thimble's
    edge stood past where the reading puts it. `zero_check` is the number of the check that was
    taken off it, `calibration` that of the record whose curve was; None where none was.
    """

    gauge: str
    at: datetime
    source: str
    shown: Decimal
    u: float
    sha256: str | None = None
    confidence: float | None = None
    edge_set_pitches: float | None = None
    zero_check: int | None = None
    who: str = ""
    calibration: int | None = None


@dataclass(frozen=True)
class Event:
    """One line of the book's history, with the content hashes of the photos behind it."""

    number: int
    recorded: str
    who: str
    what: str
    gauge: str | None
    subject: int | None
    note: str
    photos: tuple[str, ...] = ()


def newest(records: Iterable[Record], at: datetime) -> Record | None:
    """Pick the newest record not later than `at`; of two at one time the one recorded last."""
    earlier = [one for one in records if one.at <= at]
    return max(earlier, key=lambda one: (one.at, one.number or 0), default=None)
