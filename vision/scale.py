"""What is engraved on a gauge: pitch, divisions, unit, range start, vernier."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

MM_PER_IN = Decimal("25.4")  # exact by definition of the international inch (1959)


@dataclass(frozen=True)
class Scale:
    """The engraved scale of one gauge, exact, in the unit it is engraved in.

    Parameters
    ----------
    pitch : Decimal
        Spindle travel in one turn of the thimble, in `unit`.
    divisions : int
        Divisions on the whole thimble.
    unit : str
        ``"mm"`` or ``"in"``.
    start : Decimal
        Lower end of the range, in `unit`; the sleeve's first graduation stands for it.
    vernier : int or None
        Parts of the vernier on the sleeve, None where there is none.
    reversed : bool
        True for depth and groove gauges, whose numbers run the other way.

    Raises
    ------
    ValueError
        If a value is out of its range; the message names value and bound.
    """

    pitch: Decimal
    divisions: int
    unit: str = "mm"
    start: Decimal = Decimal(0)
    vernier: int | None = None
    reversed: bool = False

    def __post_init__(self) -> None:
        if self.unit not in ("mm", "in"):
            raise ValueError(f"unit {self.unit!r}: mm or in")
        if not self.pitch > 0:
            raise ValueError(f"pitch {self.pitch}: must be greater than 0")
        if not 2 <= self.divisions <= 1000:
            raise ValueError(f"{self.divisions} divisions: 2 to 1000 allowed")
        if self.start < 0:
            raise ValueError(f"range start {self.start}: must be 0 or more")
        if self.vernier is not None and self.vernier < 2:
            raise ValueError(f"vernier of {self.vernier} parts: 2 or more, or none")

    @property
    def least_count(self) -> Decimal:
        """Pitch / divisions, in `unit` (common practice), without the vernier."""
        return self.pitch / self.divisions

    @property
    def pitch_mm(self) -> Decimal:
        """Pitch in millimetres, exact."""
        return self.to_mm(self.pitch)

    def to_mm(self, length: Decimal) -> Decimal:
        """Turn a length in `unit` into millimetres, exactly."""
        return length * MM_PER_IN if self.unit == "in" else length


# The scales met in the trade (common practice), likeliest first: what is tried where none is named
KNOWN_SCALES: tuple[Scale, ...] = (
    Scale(Decimal("0.5"), 50),
    Scale(Decimal("1"), 100),
    Scale(Decimal("0.025"), 25, "in"),
    Scale(Decimal("0.5"), 100),
    Scale(Decimal("1"), 50),
)
