"""What a photo came to: a reading, a refused photo, or a file that can't be used. Values only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from reading.gauge import Gauge, ZeroCheck
from reading.notices import Notice
from reading.uncertainty import (
    Budget,
    Component,
    result_budget,
    shown_budget,
    steps_per_division,
)
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

# Where the time of a reading came from.
FROM_PHOTO, FROM_USER, FROM_CLOCK = "photo", "given", "clock"


@dataclass(frozen=True)
class PhotoRecord:
    """Which photo: its name as given, its content's SHA-256 (hex), and when it was taken."""

    name: str
    sha256: str
    taken: datetime | None = None


@dataclass(frozen=True)
class When:
    """The time that a reading is dated by, local, and where it came from."""

    at: datetime
    source: str


@dataclass(frozen=True)
class Correction:
    """The zero check that is taken off, and how many whole days old it was."""

    check: ZeroCheck
    age_days: int


@dataclass(frozen=True)
class NoCorrection:
    """Why no zero error is taken off: a code of `notices.NOTICES`."""

    code: str


@dataclass(frozen=True)
class CalibrationShare:
    """What is known of the gauge's own error at this length, in the scale's unit.

    `error` is taken off (0 where only a bound is known), `u` is the standard uncertainty left.
    `zero_cancels` where the calibration had the zero check that is taken off here: an error in it
    goes into both with opposite signs. `at` and the book's `number` are of the calibration whose
    curve gave `error`, None where only a bound is known.
    """

    error: Decimal
    u: float
    origin: str
    zero_cancels: bool = False
    at: datetime | None = None
    number: int | None = None

    @property
    def component(self) -> Component:
        """What it adds to an uncertainty."""
        return Component("calibration", self.u, self.origin)


@dataclass(frozen=True)
class LengthAlternative:
    """One possible shown reading, exact and in the scale's unit, and its probability."""

    shown: Decimal
    probability: float


@dataclass(frozen=True)
class SlipFit:
    """A slip that would have led to the hand reading.

    `gives` is what the slip leads to, `off_divisions` how far the hand reading is from that.
    `then_corrected` says that the zero error was taken off rightly after the slip.
    """

    code: str
    sentence: str
    gives: Decimal
    off_divisions: float
    then_corrected: bool = False


@dataclass(frozen=True)
class HandComparison:
    """A hand reading against the photo's.

    `value` is exact, in the scale's unit. `against` says which it is compared with, ``"shown"`` or
    ``"corrected"``: the nearer. `difference_divisions` is hand minus that. `slips` holds every slip
    that fits, likeliest first; empty when it `agrees`, and when none fits.
    """

    value: Decimal
    against: str
    difference_divisions: Decimal
    agrees: bool
    slips: tuple[SlipFit, ...] = ()


@dataclass(frozen=True)
class Reading:
    """A sighting turned into exact lengths in the scale's unit, and corrected where that can be.

    `turns` and `division` are the sighting's, rounded to the printed step: the vernier's part where
    there is one, otherwise a tenth of a division. All lengths follow from them exactly.
    """

    photo: PhotoRecord
    sighting: Sighting
    when: When
    gauge: Gauge | None
    turns: int
    division: Decimal
    correction: Correction | NoCorrection
    alternatives: tuple[LengthAlternative, ...]
    notices: tuple[Notice, ...]
    program: str  # version of this program
    hand: HandComparison | None = None
    calibration: CalibrationShare | None = None  # its error, where the curve is taken off too

    @property
    def scale(self) -> Scale:
        """The scale that was read, as the gauge's record has it where there is one."""
        return self.gauge.scale if self.gauge is not None else self.sighting.scale

    @property
    def sleeve(self) -> Decimal:
        """The last graduation uncovered, the range's start included."""
        return self.scale.start + self.turns * self.scale.pitch

    @property
    def shown(self) -> Decimal:
        """Sleeve + division x least count."""
        return self.sleeve + self.division * self.scale.least_count

    @property
    def step(self) -> Decimal:
        """What the last printed figure of `shown` counts in."""
        return self.scale.least_count / steps_per_division(self.scale)

    @property
    def zero_error(self) -> Decimal | None:
        """The zero error that is taken off; None without a check."""
        match self.correction:
            case Correction(check):
                return check.zero_error
            case NoCorrection():
                return None

    @property
    def after_zero(self) -> Decimal | None:
        """Shown - zero error, exactly; None without a check."""
        return None if self.zero_error is None else self.shown - self.zero_error

    @property
    def corrected(self) -> Decimal | None:
        """Shown - zero error - the calibration's error, exactly; None without a check."""
        if self.after_zero is None or self.calibration is None:
            return self.after_zero
        return self.after_zero - self.calibration.error

    @property
    def shown_uncertainty(self) -> Budget:
        """How well `shown` gives what the scale shows."""
        return shown_budget(self.scale, self.sighting.u_division)

    @property
    def uncertainty(self) -> Budget:
        """How well `corrected` gives the length; without a check the zero error is not in it."""
        curve, u_zero = self.calibration, None
        if isinstance(self.correction, Correction) and not (curve and curve.zero_cancels):
            u_zero = self.correction.check.u
        budget = result_budget(self.scale, self.sighting.u_division, u_zero)
        if curve is None:
            return budget
        return replace(budget, components=(*budget.components, curve.component))


@dataclass(frozen=True)
class Refused:
    """A photo that can't be read, and what it may show where the scale is known."""

    photo: PhotoRecord
    refusal: Refusal
    gauge: Gauge | None = None
    alternatives: tuple[LengthAlternative, ...] = ()


@dataclass(frozen=True)
class Unusable:
    """A file that is no photo, or none that can be opened: its name and the ready line."""

    name: str
    message: str


Result = Reading | Refused | Unusable
UNUSABLE_CODE = "unusable_file"  # its reason code in outputs; no code of vision's
