"""Wire gauges: the numbers that stand for a bare wire's diameter, exactly as they are defined."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from vision.scale import MM_PER_IN

MM_PER_MIL = float(MM_PER_IN) / 1000

# Imperial Standard Wire Gauge: diameters in mils, 7/0 to 50. Order in Council of 23 August 1883;
# later BS 3737:1964 (withdrawn). No. 28 is 14.8 mil; some printed tables have 14.9.
_SWG_ZEROS = (500, 464, 432, 400, 372, 348, 324)  # 7/0, 6/0 ... 2/0, 0
_SWG_MILS = (
    *(300, 276, 252, 232, 212, 192, 176, 160, 144, 128, 116, 104, 92, 80, 72, 64, 56, 48, 40),
    *(36, 32, 28, 24, 22, 20, 18, 16.4, 14.8, 13.6, 12.4, 11.6, 10.8, 10, 9.2, 8.4, 7.6, 6.8, 6),
    *(5.2, 4.8, 4.4, 4, 3.6, 3.2, 2.8, 2.4, 2, 1.6, 1.2, 1),
)  # 1 to 50

# Birmingham gauge: diameters in mils, 5/0 to 36, from engineers'
# handbooks.
_BWG_ZEROS = (500, 454, 425, 380, 340)  # 5/0 ... 2/0, 0
_BWG_MILS = (
    *(300, 284, 259, 238, 220, 203, 180, 165, 148, 134, 120, 109, 95, 83, 72, 65, 58, 49, 42, 35),
    *(32, 28, 25, 22, 20, 18, 16, 14, 13, 12, 10, 9, 8, 7, 5, 4),
)  # 1 to 36

AWG_MM_AT_36 = 0.127  # 0.005 in exactly (ASTM B258)
AWG_RATIO = 92 ** (1 / 39)  # from one number to the next; 4/0 is then 0.46 in exactly (ASTM B258)
AWG_FINEST = 50


def _name(number: int) -> str:
    """Write 0 as 0 and -1, -2 ... as 2/0, 3/0 ..."""
    return str(number) if number >= 0 else f"{1 - number}/0"


def _table(zeros: tuple[float, ...], mils: tuple[float, ...]) -> dict[str, float]:
    """Give the diameters in mm by name, thickest first."""
    first = 1 - len(zeros)
    return {_name(first + i): mil * MM_PER_MIL for i, mil in enumerate(zeros + mils)}


# Diameters in mm by number, thickest first.
WIRE_GAUGES: Mapping[str, Mapping[str, float]] = {
    "SWG": _table(_SWG_ZEROS, _SWG_MILS),
    "AWG": {_name(n): AWG_MM_AT_36 * AWG_RATIO ** (36 - n) for n in range(-3, AWG_FINEST + 1)},
    "BWG": _table(_BWG_ZEROS, _BWG_MILS),
}
FULL_NAMES = {
    "SWG": "Imperial Standard Wire Gauge",
    "AWG": "American Wire Gauge",
    "BWG": "Birmingham gauge",
}


@dataclass(frozen=True)
class WireNumber:
    """One number of one wire gauge and its diameter."""

    gauge: str  # a key of `WIRE_GAUGES`
    number: str
    diameter_mm: float


@dataclass(frozen=True)
class WireMatch:
    """Which numbers of one wire gauge a diameter may stand for.

    `nearest` is the nearest in ratio, None outside the table. `possible` holds every number that is
    nearest to some diameter within the uncertainty, thickest first.
    """

    diameter_mm: float
    expanded_mm: float
    nearest: WireNumber | None
    possible: tuple[WireNumber, ...]

    @property
    def off_mm(self) -> float:
        """Diameter minus the nearest number's own; 0 outside the table."""
        return self.diameter_mm - self.nearest.diameter_mm if self.nearest else 0.0

    @property
    def has_the_size(self) -> bool:
        """Whether the nearest number's own diameter lies within the uncertainty."""
        return self.nearest is not None and abs(self.off_mm) <= self.expanded_mm

    @property
    def singled_out(self) -> bool:
        """Whether the whole interval has one nearest number."""
        return self.nearest is not None and self.possible == (self.nearest,)


def nearest(gauge: str, diameter_mm: float) -> WireNumber | None:
    """Find the number whose diameter is nearest in ratio.

    Parameters
    ----------
    gauge : str
        A key of `WIRE_GAUGES`.
    diameter_mm : float
        Bare diameter.

    Returns
    -------
    WireNumber or None
        None where the diameter lies beyond an end of the table by more than half a step.

    Notes
    -----
    The numbers run in ratios, so a wire lies between two of them by their geometric mean: 1.22 mm
    is AWG 16, though in millimetres AWG 17 is a hair nearer.
    """
    if diameter_mm <= 0:
        return None
    sizes = list(WIRE_GAUGES[gauge].items())
    number, size = min(sizes, key=lambda one: abs(math.log(one[1] / diameter_mm)))
    for end, neighbour in ((sizes[0], sizes[1]), (sizes[-1], sizes[-2])):
        half_step = abs(math.log(end[1] / neighbour[1])) / 2
        if number == end[0] and abs(math.log(diameter_mm / size)) > half_step:
            return None
    return WireNumber(gauge, number, size)


def match(gauge: str, diameter_mm: float, expanded_mm: float) -> WireMatch:
    """Find the nearest number, and every number that the uncertainty leaves possible.

    Parameters
    ----------
    gauge : str
    diameter_mm, expanded_mm : float
        Bare diameter and its expanded uncertainty.
    """
    names = list(WIRE_GAUGES[gauge])
    ends = [nearest(gauge, diameter_mm + sign * expanded_mm) for sign in (1, -1)]
    known = [names.index(one.number) for one in ends if one is not None]
    if not known:
        return WireMatch(diameter_mm, expanded_mm, nearest(gauge, diameter_mm), ())
    first, last = min(known), max(known)
    if ends[0] is None:  # reaches beyond the thickest
        first = 0
    if ends[1] is None:
        last = len(names) - 1
    possible = tuple(
        WireNumber(gauge, name, WIRE_GAUGES[gauge][name]) for name in names[first : last + 1]
    )
    return WireMatch(diameter_mm, expanded_mm, nearest(gauge, diameter_mm), possible)


def area_mm2(diameter_mm: float) -> float:
    """Give a round wire's cross-section, π d² / 4."""
    return math.pi * diameter_mm**2 / 4
