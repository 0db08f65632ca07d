"""A full measurement: its readings, how they lie, what was taken off, and its budget. Values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from reading.gauge import Gauge
from reading.length import how_many
from reading.measurement.conformity import Conformity
from reading.measurement.repeats import Outlier, Repeats, mean
from reading.measurement.temperature import Warmth, at_reference
from reading.measurement.wire import WireMatch
from reading.notices import Notice
from reading.problem import Problem
from reading.result import CalibrationShare, Correction, NoCorrection, PhotoRecord, When
from reading.uncertainty import Budget


@dataclass(frozen=True)
class OneReading:
    """One reading of the work, as the gauge showed it.

    `u_picture` is the standard uncertainty that a photo claims for it, `half_width` what a person
    said it may be off by; both in the scale's unit, None where there is none.
    """

    shown: Decimal
    source: str  # the photo's name, or the reading as it was typed
    photo: PhotoRecord | None = None
    u_picture: float | None = None
    half_width: Decimal | None = None
    confidence: float | None = None
    edge_set_pitches: float | None = None


@dataclass(frozen=True)
class Layout:
    """Where the readings were taken: so many places, each in so many directions.

    Readings come place by place, within a place direction by direction, repeats last.
    """

    places: int = 1
    directions: int = 1

    def __post_init__(self) -> None:
        if self.places < 1 or self.directions < 1:
            raise Problem("--places and --directions: 1 or more")

    def split(self, values: Sequence[Decimal]) -> tuple[tuple[tuple[Decimal, ...], ...], ...]:
        """Sort values by place and direction; Problem if they do not come out even."""
        cells = self.places * self.directions
        if len(values) % cells:
            raise Problem(
                f"{how_many(len(values), 'reading')} for {how_many(self.places, 'place')} in "
                f"{how_many(self.directions, 'direction')}: "
                f"give {cells}, or a whole multiple of {cells}"
            )
        each = len(values) // cells
        cell = [tuple(values[i * each : (i + 1) * each]) for i in range(cells)]
        return tuple(
            tuple(cell[p * self.directions : (p + 1) * self.directions]) for p in range(self.places)
        )


@dataclass(frozen=True)
class Roundness:
    """Greatest difference of diameters at one place, and its expanded uncertainty (k = 2)."""

    difference: Decimal
    expanded: float


@dataclass(frozen=True)
class Measurement:
    """Readings turned into one result; lengths in the gauge's unit, exact where they are decimals.

    `value` = ((mean shown - zero error) - calibration error), brought to 20 °C.
    """

    gauge: Gauge
    readings: tuple[OneReading, ...]
    layout: Layout
    when: When
    repeats: Repeats
    correction: Correction | NoCorrection
    budget: Budget
    level: float  # of confidence, such as 0.95
    calibration: CalibrationShare | None = None
    warmth: Warmth | None = None
    outlier: Outlier | None = None
    roundness: Roundness | None = None
    conformity: Conformity | None = None
    wires: tuple[WireMatch, ...] = ()
    notices: tuple[Notice, ...] = ()
    program: str = ""

    @property
    def mean_shown(self) -> Decimal:
        """Mean of all readings as shown."""
        return mean([one.shown for one in self.readings])

    @property
    def zero_error(self) -> Decimal:
        """The zero error taken off; 0 where there is none to take off."""
        match self.correction:
            case Correction(check):
                return check.zero_error
            case NoCorrection():
                return Decimal(0)

    @property
    def after_zero(self) -> Decimal:
        """Mean shown - zero error."""
        return self.mean_shown - self.zero_error

    @property
    def after_calibration(self) -> Decimal:
        """What is left when the calibration's error is taken off too."""
        return self.after_zero - (self.calibration.error if self.calibration else Decimal(0))

    @property
    def value(self) -> Decimal:
        """The result at 20 °C, not rounded."""
        if self.warmth is None:
            return self.after_calibration
        return at_reference(self.after_calibration, self.warmth)

    @property
    def unit(self) -> str:
        """The unit of every length here."""
        return self.gauge.scale.unit

    @property
    def at(self) -> datetime:
        """What the measurement is dated by."""
        return self.when.at
