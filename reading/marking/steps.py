"""The way from the two scales to the value handed in, each step worked from those before it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from vision.scale import Scale

HALF_PITCH = Decimal("0.5")  # of sleeves with half-millimetre lines (common practice)


@dataclass(frozen=True)
class Shown:
    """What a gauge shows to a perfect reader: whole turns, division, zero error if known."""

    scale: Scale
    turns: int
    division: Decimal | int
    zero_error: Decimal | None = None

    @property
    def sleeve(self) -> Decimal:
        """Sleeve reading, the range's start included."""
        return self.scale.start + self.turns * self.scale.pitch

    @property
    def reading(self) -> Decimal:
        """Sleeve + division x least count."""
        return self.sleeve + self.division * self.scale.least_count

    @property
    def half_lines(self) -> bool:
        """Whether the sleeve has half-millimetre lines."""
        return self.scale.unit == "mm" and self.scale.pitch == HALF_PITCH


@dataclass(frozen=True)
class Steps:
    """A person's working, in the scale's unit: what each step came to.

    `zero` is the zero error as the person has it, `corrected` the reading with it taken off; both
    None where no zero error is known. `factor` multiplies every number that is then written down.
    """

    shown: Shown
    sleeve: Decimal
    division: Decimal
    thimble: Decimal
    reading: Decimal
    zero: Decimal | None
    corrected: Decimal | None
    factor: Decimal = Decimal(1)

    @classmethod
    def right(cls, shown: Shown) -> Steps:
        """Work it as it should be."""
        division = Decimal(shown.division)
        thimble = division * shown.scale.least_count
        zero = shown.zero_error
        corrected = None if zero is None else shown.reading - zero
        return cls(shown, shown.sleeve, division, thimble, shown.reading, zero, corrected)

    def with_sleeve(self, sleeve: Decimal) -> Steps:
        """Go on from another sleeve reading."""
        return replace(self, sleeve=sleeve).with_reading(sleeve + self.thimble)

    def with_division(self, division: Decimal) -> Steps:
        """Go on from another division."""
        thimble = division * self.shown.scale.least_count
        return replace(self, division=division).with_thimble(thimble)

    def with_thimble(self, thimble: Decimal) -> Steps:
        """Go on from another worth of the division."""
        return replace(self, thimble=thimble).with_reading(self.sleeve + thimble)

    def with_reading(self, reading: Decimal) -> Steps:
        """Go on from another sum."""
        corrected = None if self.zero is None else reading - self.zero
        return replace(self, reading=reading, corrected=corrected)

    def with_zero(self, zero: Decimal) -> Steps:
        """Go on from another zero error."""
        return replace(self, zero=zero, corrected=self.reading - zero)

    def with_corrected(self, corrected: Decimal) -> Steps:
        """End at another corrected reading."""
        return replace(self, corrected=corrected)

    def times(self, factor: Decimal) -> Steps:
        """Write everything down multiplied."""
        return replace(self, factor=factor)
