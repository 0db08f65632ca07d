"""The thimble's divisions on their cylinder: how finely, how many, and which stands at the line.

Angles are counted about the axis, upwards from the middle of the picture of the thimble, radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.lines import Axis, Edge, Outline
from vision.marks import Numeral

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

BAND_PX = (2.0, 13.0)  # how far behind the edge division lines are looked at
WIDEST_RAD = math.radians(75)
STEP_RAD = math.radians(0.2)
LINES_AROUND = 3.5  # divisions each side of the line that the fraction is taken from
NUMERAL_SIGMA_DIVISIONS = 0.30  # how far a number stands from its division
RADIUS_SIGMA = 0.05  # relative error of the radius at which the numbers lie
OUTLIER = 0.08  # share of numbers that are not what they seem


@dataclass(frozen=True)
class Unrolled:
    """The bevel beside the edge, unrolled: ridge probability against angle.

    `seen_line_rad` is the angle of the thimble's surface that is seen where the reference line
    points; `roll_rad` the true angle of the line.
    """

    angle_rad: Floats
    profile: Floats
    seen_line_rad: float
    roll_rad: float
    outline: Outline


@dataclass(frozen=True)
class Grating:
    """Divisions seen as a grating of `divisions` on the turn.

    `coherence` is how well the lines keep that spacing, 0 to 1; `fraction` the fractional part of
    the division at the line, as seen; `u_fraction` its standard uncertainty in divisions.
    """

    divisions: int
    coherence: float
    fraction: float
    u_fraction: float
    residual_divisions: float


def unroll(ridge: NDArray[np.float32], axis: Axis, edge: Edge, outline: Outline) -> Unrolled:
    """Sample the division ridges along the edge at even angles."""
    angle = np.arange(-WIDEST_RAD, WIDEST_RAD + STEP_RAD / 2, STEP_RAD)
    behind = np.linspace(*BAND_PX, 8)[:, None]
    radius = outline.thimble_radius + outline.widening * behind
    dy = outline.middle - radius * np.sin(angle)[None, :]
    x = edge.x_at(dy) + behind
    y = axis.y0 + axis.slope * (x - axis.x_edge) + dy
    samples = cv2.remap(
        ridge, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderValue=0.0
    )
    profile = samples.astype(np.float64).mean(axis=0)
    up = outline.middle  # the line stands this far above the middle
    roll = math.asin(max(-0.95, min(0.95, up / outline.sleeve_radius)))
    seen = math.asin(max(-0.95, min(0.95, up / outline.thimble_radius)))
    return Unrolled(angle, profile, seen, roll, outline)


def grating(bevel: Unrolled, divisions: int, u_line_px: float) -> Grating:
    """Measure the phase of a grating of known spacing at the reference line.

    The phase of the Fourier component at the divisions' spacing, through a Hann window centred on
    the line. `u_line_px` is the line's own standard uncertainty in px.
    """
    angle, profile = bevel.angle_rad, bevel.profile
    wide = profile * np.clip(np.cos(angle), 0, 1) * (np.abs(angle) < math.radians(60))
    total = wide.sum()
    turn = np.exp(1j * divisions * angle)
    # over a wide window a wrong radius bends the grating: measure coherence in pieces
    coherence = 0.0
    if total > 0:
        piece = max(2.5 * 2 * math.pi / divisions, math.radians(14))
        starts = np.arange(-math.radians(60), math.radians(60), piece)
        parts = [
            wide[(angle >= s) & (angle < s + piece)] @ turn[(angle >= s) & (angle < s + piece)]
            for s in starts
        ]
        coherence = float(sum(abs(p) for p in parts) / total)
    half = max(LINES_AROUND * 2 * math.pi / divisions, math.radians(10))
    off = (angle - bevel.seen_line_rad) / half
    window = np.where(np.abs(off) < 1, 0.5 + 0.5 * np.cos(math.pi * off), 0.0) * profile
    z = window @ turn
    mass = window.sum()
    local = float(abs(z) / mass) if mass > 1e-9 else 0.0
    at_line = divisions * bevel.seen_line_rad - float(np.angle(z))
    fraction = (at_line / (2 * math.pi)) % 1.0
    spacing = bevel.outline.thimble_radius * math.cos(bevel.seen_line_rad) * 2 * math.pi / divisions
    u = math.hypot(0.02, u_line_px / spacing) + 0.05 * (1.0 - min(local, 1.0)) ** 2
    weak = mass * STEP_RAD * divisions / (2 * math.pi)  # about the lines' summed strength
    u = min(0.3, u + 0.1 / (1.0 + 40.0 * weak))
    residual = math.sqrt(max(-2.0 * math.log(max(local, 1e-3)), 0.0)) / (2 * math.pi)
    return Grating(divisions, coherence, fraction, u, residual)


def numeral_offsets(
    numerals: list[Numeral], bevel: Unrolled, axis: Axis, edge: Edge, divisions: int
) -> Floats:
    """Divisions from the reference line, as seen, up to each number; (n,) array."""
    out = []
    for peak in numerals:
        line_y = float(axis.y_at(peak.x))
        dy = peak.y - line_y
        behind = max(peak.x - float(edge.x_at(dy)), 0.0)
        radius = bevel.outline.thimble_radius + bevel.outline.widening * behind
        sine = (bevel.outline.middle - dy) / radius
        angle = math.asin(max(-0.99, min(0.99, sine)))
        seen = math.asin(max(-0.99, min(0.99, bevel.outline.middle / radius)))
        out.append((angle - seen) * divisions / (2 * math.pi))
    return np.array(out)


def whole_log_likelihood(
    numerals: list[Numeral],
    offsets: Floats,
    fraction: float,
    divisions: int,
    downwards: bool = False,
) -> Floats:
    """Log-likelihood of each whole division m at the line, m + fraction being shown; (divisions,).

    Each number votes with all its class probabilities; a few may be wrong. The radius at which the
    numbers lie is a common unknown. `downwards` tries numbers that grow the other way.
    """
    whole = np.arange(divisions)
    if not numerals:
        return np.zeros(divisions)
    sign = -1.0 if downwards else 1.0
    shown = whole + (fraction if not downwards else (1.0 - fraction))
    classes = np.arange(min(100, divisions))
    table = np.stack([np.exp(n.log_probability[: len(classes)]) for n in numerals])
    stretches = np.linspace(-2, 2, 9)
    total = np.full((len(stretches), divisions), 0.0)
    for row, stretch in enumerate(stretches):
        total[row] -= 0.5 * stretch**2
        for i, peak in enumerate(numerals):
            reach = offsets[i] * (1 + RADIUS_SIGMA * stretch)
            sigma = math.hypot(NUMERAL_SIGMA_DIVISIONS, 0.02 * abs(offsets[i]))
            miss = shown[:, None] + sign * reach - classes[None, :]
            miss = (miss + divisions / 2) % divisions - divisions / 2
            near = np.exp(-0.5 * (miss / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
            good = near @ table[i]
            share = OUTLIER + (1 - peak.heat) * 0.5
            total[row] += np.log(share / divisions + (1 - share) * good)
    peak_value = total.max(axis=0)
    return np.asarray(peak_value + np.log(np.exp(total - peak_value).mean(axis=0)))
