"""Uncertainty as named components, combined and expanded (GUM, JCGM 100:2008)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from vision.scale import Scale

COVERAGE_FACTOR = 2.0  # k = 2, about 95 % (GUM 6.3.3)
STEPS_PER_DIVISION = 10  # a person estimates tenths of a division (common practice)


@dataclass(frozen=True)
class Component:
    """One independent source of doubt: its name, standard uncertainty, and where it comes from."""

    name: str
    u: float  # in the unit of the budget
    origin: str
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True)
class Budget:
    """Independent components in one unit; everything else follows from them."""

    unit: str
    components: tuple[Component, ...]
    k: float = COVERAGE_FACTOR

    @property
    def combined(self) -> float:
        """Combined standard uncertainty: root of the sum of squares (GUM 5.1.2)."""
        return math.hypot(*(component.u for component in self.components))

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom, u⁴ / Σ (uᵢ⁴ / νᵢ) (GUM G.4.1); may be infinite."""
        combined = self.combined
        doubt = sum((part.u / combined) ** 4 / part.degrees_of_freedom for part in self.components)
        return 1 / doubt if doubt else math.inf

    @property
    def expanded(self) -> float:
        """Expanded uncertainty, k times the combined one (GUM 6.2.1)."""
        return self.k * self.combined


def steps_per_division(scale: Scale) -> int:
    """Say in how many steps a division is told apart: the vernier's parts, or tenths by eye."""
    return scale.vernier or STEPS_PER_DIVISION


def rectangular(width: float) -> float:
    """Give the standard uncertainty of anything within an interval of `width` (GUM 4.3.7)."""
    return width / math.sqrt(12)


def resolution(scale: Scale) -> float:
    """Give the engraved resolution in the scale's unit: the vernier's where there is one."""
    return float(scale.least_count / (scale.vernier or 1))


def shown_budget(scale: Scale, u_division: float) -> Budget:
    """State how well the printed number gives what the scale shows.

    Notes
    -----
    What the picture gave, and the rounding to the printed step. The engraved least count is no
    part of it: the line was measured between the divisions.
    """
    step = float(scale.least_count) / steps_per_division(scale)
    return Budget(
        scale.unit,
        (
            _picture(scale, u_division),
            Component("rounding", rectangular(step), "rounded to the printed step"),
        ),
    )


def result_budget(scale: Scale, u_division: float, u_zero: float | None) -> Budget:
    """State how well the result gives the length between the faces.

    Parameters
    ----------
    scale : Scale
    u_division : float
        Standard uncertainty of the division at the line, in divisions.
    u_zero : float or None
        Standard uncertainty of the zero check, in the scale's unit; None without a check.

    Notes
    -----
    The engraved least count (or the vernier's) comes in as a rectangle of its own width (GUM
    F.2.2.1): a screw and its divisions are not trusted further than they are divided, however
    finely a picture measures between two of them. The rounding of the printed number lies inside
    that rectangle, so it is not counted a second time here.
    """
    components = [
        _picture(scale, u_division),
        Component("least count", rectangular(resolution(scale)), "rectangular, width / √12"),
    ]
    if u_zero is not None:
        components.append(Component("zero check", u_zero, "the zero check's own"))
    return Budget(scale.unit, tuple(components))


def _picture(scale: Scale, u_division: float) -> Component:
    """Give the picture's component, in the scale's unit."""
    return Component("picture", u_division * float(scale.least_count), "division at the line")
