"""How sleeves of the trade are numbered: where a range begins, and how common each number is."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from vision.numerals import VALUES
from vision.scale import Scale

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Guesses at how common range starts are (common practice): most gauges are for 25 mm, and each
# further step is rarer. Of those for 100 mm and more all starts to 300 mm share alike.
SHORT_STARTS_MM = {0: 0.76, 25: 0.10, 50: 0.05, 75: 0.04}
LONG_STARTS_MM, LONG_SHARE = range(100, 300, 25), 0.05
# Of 4214 numbers on sleeves that the numerals network was shown (`fixtures/training`), less their
# hundreds: what it has learnt to expect where it sees nothing
LEARNT_SHARES = {
    **{0: 0.313, 1: 0.056, 2: 0.041, 3: 0.033, 4: 0.029, 6: 0.013, 7: 0.013, 8: 0.006, 9: 0.003},
    **{5: 0.105, 10: 0.067, 15: 0.038, 20: 0.021, 25: 0.047, 30: 0.016, 35: 0.014, 40: 0.009},
    **{45: 0.006, 50: 0.046, 55: 0.019, 60: 0.014, 65: 0.007, 70: 0.005, 75: 0.036, 80: 0.014},
    **{85: 0.013, 90: 0.008, 95: 0.004},
}
LEARNT_RARE = 0.0005  # share of each other number, so that none counts as impossible
# Of the same numbers, those with none to three hundreds
LEARNT_HUNDREDS = np.array([0.825, 0.085, 0.087, 0.003])
FIVES = 0.95  # share of metric sleeves with a number each 5 mm; on the others each mm has one
TRAVEL_MM, TENTHS = 25, 10  # a sleeve's usual length


@dataclass(frozen=True)
class Printed:
    """The number that a sleeve may have at its first graduation, and the start this stands for.

    Both in the scale's unit; `share` of such gauges are numbered so.
    """

    number: float
    start: Decimal
    share: float


def printed_on(scale: Scale) -> tuple[Printed, ...]:
    """Give where a known gauge's numbers begin: at its range start, or at 0 all the same."""
    numbers = sorted({float(scale.start), 0.0})
    return tuple(Printed(number, scale.start, 1.0 / len(numbers)) for number in numbers)


def customary(scale: Scale) -> tuple[Printed, ...]:
    """Give where the numbers of the trade's sleeves begin, where nothing is known of the gauge."""
    if scale.unit == "in":
        return printed_on(scale)
    each = LONG_SHARE / len(LONG_STARTS_MM)
    shares = SHORT_STARTS_MM | dict.fromkeys(LONG_STARTS_MM, each)
    return tuple(Printed(float(mm), Decimal(mm), share) for mm, share in shares.items())


@lru_cache(maxsize=1)
def learnt_shares() -> NDArray[np.float64]:
    """Shares of the numbers 0 to 99, (100,), among those the network learnt from on sleeves."""
    shares = np.full(VALUES, LEARNT_RARE)
    shares[list(LEARNT_SHARES)] = list(LEARNT_SHARES.values())
    return shares / shares.sum()


@lru_cache(maxsize=2)
def log_share_over_learnt(unit: str) -> NDArray[np.float64]:
    """Logarithm of how much commoner each number, (100,), is on a sleeve of any one range start.

    Commoner than where the network learnt: its probabilities hold what it met there, mostly zeros.
    On a given sleeve all numbers as far as it is uncovered are met alike.
    """
    values = np.arange(VALUES)
    if unit == "in":
        common = np.where(values <= TENTHS, 1.0, LEARNT_RARE) / (TENTHS + 1)
    else:
        each_mm = (1.0 - FIVES) / (TRAVEL_MM + 1)
        common = each_mm + np.where(values % 5 == 0, FIVES / (TRAVEL_MM / 5 + 1), 0.0)
    return np.asarray(np.log(common) - np.log(learnt_shares()))
