"""What came of one photo with a known reading. Values only."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from reading.qualify.known import NEGATIVE, READABLE

ACCEPTED_AT, SURE_AT = 0.5, 0.95  # confidence from which a reading counts as accepted, as sure
WRONG_DIVISIONS = 1.0  # a reading farther off than this is wrong
LOW_CONFIDENCE = "low confidence"


@dataclass(frozen=True)
class Outcome:
    """What came of one photo; `error_divisions` is reading minus truth, turns included.

    `confidence` is None where the photo was refused, the error where there is no reading or
    nothing to read. `parallax_left` is the parallax, in divisions, that was not taken off; NaN
    where it is not known. `rank` says which of the alternatives, from 1, is within one division of
    the truth. `row` is the photo's row of the truth file.
    """

    file: str
    status: str
    kind: str = ""
    negative_kind: str = ""
    px_per_division: float = math.nan
    roll_deg: float = math.nan
    divisions: int = 50
    confidence: float | None = None
    error_divisions: float | None = None
    u_division: float | None = None
    parallax_left: float = math.nan
    reasons: tuple[str, ...] = ()
    rank: int | None = None
    row: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def readable(self) -> bool:
        """Whether the photo ought to be read."""
        return self.status == READABLE

    @property
    def negative(self) -> bool:
        """Whether any reading of it is false."""
        return self.status == NEGATIVE

    @property
    def accepted(self) -> bool:
        """Whether a person would be shown a reading as one to go by."""
        return self.confidence is not None and self.confidence >= ACCEPTED_AT

    @property
    def sure(self) -> bool:
        """Whether the reading is one that nobody is asked to look at again."""
        return self.confidence is not None and self.confidence >= SURE_AT

    @property
    def wrong(self) -> bool:
        """Whether there is a reading that is more than a division off, or should not be there."""
        if self.confidence is None:
            return False
        return self.error_divisions is None or abs(self.error_divisions) > WRONG_DIVISIONS

    @property
    def turns_off(self) -> int:
        """Whole turns that the reading is off."""
        return 0 if self.error_divisions is None else round(self.error_divisions / self.divisions)

    @property
    def why_not(self) -> str:
        """The first reason why there is no accepted reading."""
        return self.reasons[0] if self.reasons else LOW_CONFIDENCE
