"""Which slips fit one hand reading; the slips themselves stand in the marking room's catalogue."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal

from reading.marking.catalogue import ORDER, SLIPS, Slip, Stage
from reading.marking.steps import Shown, Steps
from reading.result import HandComparison, Reading, SlipFit

__all__ = ["SLIPS", "Shown", "Slip", "compare", "diagnose"]

HALF_DIVISION = Decimal("0.5")  # a hand reading is to the nearest division (common practice)
EXPANDED = Decimal(2)  # coverage of what the picture may be off by, k = 2 (GUM 6.3.3)


def diagnose(value: Decimal, shown: Shown) -> tuple[SlipFit, ...]:
    """Name every slip that leads to a hand value.

    Parameters
    ----------
    value : Decimal
        The hand reading, in the scale's unit.
    shown : Shown
        What the gauge shows.

    Returns
    -------
    tuple of SlipFit
        Nearest first, then in the catalogue's order; one entry a code. A slip fits when what it
        leads to is within half a division of the value. Slips made before the zero correction are
        also tried with the correction then made rightly.
    """
    fits = []
    for slip in SLIPS:
        for steps in slip.rule(Steps.right(shown)):
            unit = shown.scale.least_count * min(steps.factor, Decimal(1))
            for ends, then_corrected in _ends(slip, steps):
                gives = ends * steps.factor
                off = abs(value - gives) / unit
                if off <= HALF_DIVISION:
                    fits.append(
                        SlipFit(slip.code, slip.sentence, gives, float(off), then_corrected)
                    )
    return _ranked(fits)


def _ends(slip: Slip, steps: Steps) -> list[tuple[Decimal, bool]]:
    """Give the values that a working may end in, and whether it was corrected after the slip."""
    if slip.stage == Stage.ZERO:
        return [] if steps.corrected is None else [(steps.corrected, False)]
    if not steps.zero or steps.corrected is None:
        return [(steps.reading, False)]
    return [(steps.reading, False), (steps.corrected, True)]


def _ranked(fits: Iterable[SlipFit]) -> tuple[SlipFit, ...]:
    """Order fits by how near they come, then as the catalogue has them; one a code, the nearest."""
    nearest: dict[str, SlipFit] = {}
    for fit in sorted(fits, key=lambda fit: (round(fit.off_divisions, 1), ORDER[fit.code])):
        nearest.setdefault(fit.code, fit)
    return tuple(nearest.values())


def compare(value: Decimal, reading: Reading) -> HandComparison:
    """Hold a hand reading against the photo's, and find the slips where they disagree.

    Notes
    -----
    A hand reading to the nearest division is off by up to half a division, and the picture by
    twice its standard uncertainty: within both together they agree. It is compared with the shown
    and with the corrected reading, and the nearer counts; where a calibration's curve was taken off
    too, also with what is corrected for the zero error alone, as a person at the gauge works it.
    """
    scale = reading.scale
    u_division = Decimal(repr(float(reading.sighting.u_division)))
    known = [("corrected", reading.corrected), ("corrected", reading.after_zero)]
    candidates = [(name, length) for name, length in known if length is not None]
    candidates.append(("shown", reading.shown))
    against, reference = min(candidates, key=lambda candidate: abs(value - candidate[1]))
    difference = (value - reference) / scale.least_count
    agrees = abs(difference) <= HALF_DIVISION + EXPANDED * u_division
    slips: tuple[SlipFit, ...] = ()
    if not agrees:
        limit = HALF_DIVISION + EXPANDED * u_division
        slips = _ranked(
            fit for shown in _as_read_by_hand(reading, limit) for fit in diagnose(value, shown)
        )
    return HandComparison(value, against, difference, agrees, slips)


def _as_read_by_hand(reading: Reading, limit: Decimal) -> Iterable[Shown]:
    """Give the reading at every whole division that a person may have seen at the line."""
    scale = reading.scale
    low, high = math.ceil(reading.division - limit), math.floor(reading.division + limit)
    for whole in range(low, high + 1):
        carried, division = divmod(whole, scale.divisions)
        yield Shown(scale, reading.turns + carried, division, reading.zero_error)
