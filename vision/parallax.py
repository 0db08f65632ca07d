"""The cylinder's formulas: roll out of the line's place, and the parallax that follows from it."""

from __future__ import annotations

import math


def roll_from_line(height: float, sleeve_radius: float) -> float:
    """Angle of the reference line about the axis, radians, 0 when it faces the camera.

    Parameters
    ----------
    height, sleeve_radius : float
        Distance of the line above the sleeve's middle, and the sleeve's radius, in one unit. A
        height beyond the radius is taken as the radius.

    Notes
    -----
    asin(height / radius), for a distant camera.
    """
    return math.asin(max(-1.0, min(1.0, height / sleeve_radius)))


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
