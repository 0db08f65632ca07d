"""The cylinder's formulas: angles out of heights, and the parallax that follows from the roll."""

from __future__ import annotations

import math

FARTHEST = 0.95  # of a radius, 72 degrees: farther round a mark is a hair's breadth wide


def angle_at(height: float, radius: float) -> float:
    """Angle about the axis of a cylinder's surface that is seen at a height, radians.

    0 faces the camera: of the sleeve at the reference line this is the roll.

    Parameters
    ----------
    height, radius : float
        Distance above the cylinder's middle, and its radius, in one unit. A height beyond
        `FARTHEST` of the radius is taken as that.

    Notes
    -----
    asin(height / radius), for a distant camera.
    """
    return math.asin(max(-FARTHEST, min(FARTHEST, height / radius)))


def parallax_divisions(
    roll_rad: float, sleeve_radius: float, thimble_radius: float, divisions: int
) -> float:
    """Correct a straight look at a reference line that is turned out of the view.

    Parameters
    ----------
    roll_rad : float
        Angle of the reference line about the axis, radians, 0 when it faces the camera.
    sleeve_radius, thimble_radius : float
        Radii at the reference line and at the edge, in one unit, 0 < sleeve <= thimble.
    divisions : int
        Divisions on the whole thimble.

    Returns
    -------
    float
        Seen minus true, in divisions counted along growing angle.

    Raises
    ------
    ValueError
        If the radii are not 0 < sleeve <= thimble.

    Notes
    -----
    (asin(Rs sin roll / Rt) - roll) N / 2 pi, for a distant camera: the line at radius Rs is seen at
    the same height as the thimble's surface, of radius Rt, at a smaller angle.
    """
    if not 0 < sleeve_radius <= thimble_radius:
        raise ValueError(f"radii {sleeve_radius} and {thimble_radius}: 0 < sleeve <= thimble")
    seen = math.asin(sleeve_radius * math.sin(roll_rad) / thimble_radius)
    return (seen - roll_rad) * divisions / (2 * math.pi)
