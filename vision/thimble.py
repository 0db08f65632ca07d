"""The thimble's divisions on their cylinder: how finely, how many, and which stands at the line.

Angles are counted about the axis, upwards from the middle of the picture of the thimble, radians.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.closeup import SLEEVE_DIAMETER_PX
from vision.divisions import Cylinder, Strip, placed
from vision.lines import Axis, Edge, Outline
from vision.numerals import Numeral
from vision.parallax import angle_at

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

BAND_PX = (2.0, 13.0)  # how far behind the edge division lines are looked at
STEP_PX = 0.5
SEARCH_EVERY = 2  # rows that the search for the cylinder looks at: a px, as the ridges have
GRATINGS = (25, 50, 100)  # divisions of the trade's thimbles
COHERENT = 0.25  # coherence from which the divisions tell where the middle lies
FAINT = 0.03  # ridge probability below which a row says nothing
WIDEST_RAD = math.radians(62)  # divisions farther round are too crowded to help
LINES_AROUND = 3.5  # divisions each side of the line that the fraction is taken from
# How far numbers stand from their divisions, each by itself and all alike: in divisions, as they
# are engraved, and in px, as the network places them (tune: 1.3 to 1.8 px each, 1.2 to 1.8 alike)
NUMERAL_OWN, NUMERAL_COMMON = (0.1, 1.5), (0.05, 1.2)
CORRELATED = 0.8  # numbers read by one network err together: their evidence counts for less
SHIFTS = np.linspace(-2.0, 2.0, 5)  # of all numbers alike, in standard deviations
RADIUS_SIGMA = 0.08  # relative error of the radius at which the numbers lie
BEVEL_PX = 55.0  # behind the edge the thimble widens about so far, then runs level
OUTLIER = 0.05  # share of numbers that are not what they seem
NOT_ENGRAVED = 0.005  # belief in numbers of the thimble below which those that it lacks say nothing
U_PHASE_DIVISIONS = 0.012  # of the phase of clear divisions: 0.007 to 0.015 on tune, by size
U_SEEN_DIVISIONS = 0.006  # of the phase by the photo's own pixels, besides what their fit says
# Resultant of the divisions' phases from which their lines are looked up in the photo. A hundred
# divisions, 5 px apart, have less: looked up, they came out no better (tune)
LEAST_PHASE = 0.3
U_SILHOUETTE_PX = 1.2
STRAY_SILHOUETTE = 7.0  # minus log-likelihood that a silhouette is something else
U_RADIUS = 0.16  # relative spread of the finder's size, where a silhouette is not seen
RIDGE_SIGMA_PX = 1.3  # half-width of the ridges that the network draws along lines
COHERENCE_LOG = 30.0  # log-likelihood of a cylinder per unit of its grating's coherence


@dataclass(frozen=True, eq=False)
class Bevel:
    """The bevel beside the edge: ridge probability against px below the reference line.

    `strip` is what the photo itself shows there, if it is at hand.
    """

    dy: Floats
    profile: Floats
    outline: Outline
    strip: Strip | None = None

    @cached_property
    def cylinders(self) -> dict[int, tuple[float, float, float]]:
        """Radius, middle and coherence for each of the trade's gratings."""
        return {n: _fitted(self, n) for n in GRATINGS}


@dataclass(frozen=True)
class Grating:
    """Divisions seen as a grating of `divisions` on a cylinder.

    `radius` is the thimble's at its edge and `middle` the axis' place below the reference line, px;
    `coherence` is how well the lines keep their spacing, 0 to 1, and `evenness` the same beside
    the line, over what ridges of their width allow at that spacing; `fraction` the fractional part
    of the division at the line, as seen, and `u_fraction` its standard uncertainty in divisions;
    `lean` is how much farther up than the cylinder says the lines run a px behind the edge, px.
    """

    divisions: int
    radius: float
    middle: float
    sleeve_radius: float
    coherence: float
    evenness: float
    fraction: float
    u_fraction: float
    residual_divisions: float
    lean: float = 0.0

    @property
    def seen_line_rad(self) -> float:
        """Angle of the thimble's surface that is seen where the reference line points."""
        return angle_at(self.middle, self.radius)

    @property
    def roll_rad(self) -> float:
        """True angle of the reference line about the axis."""
        return angle_at(self.middle, self.sleeve_radius)


def unroll(
    ridge: NDArray[np.float32],
    axis: Axis,
    edge: Edge,
    outline: Outline,
    strip: Strip | None = None,
) -> Bevel:
    """Sample the division ridges along the edge and fit the trade's gratings to them.

    The lines behind the edge fan out from the thimble's middle: where they themselves tell it
    better than the outline did, they are sampled once more.
    """
    bevel = _sampled(ridge, axis, edge, outline, outline.middle)
    _, middle, coherence = max(bevel.cylinders.values(), key=lambda fit: fit[2])
    if coherence > COHERENT and abs(middle - outline.middle) > U_SILHOUETTE_PX:
        bevel = _sampled(ridge, axis, edge, outline, middle)
    return replace(bevel, strip=strip)


def _sampled(
    ridge: NDArray[np.float32], axis: Axis, edge: Edge, outline: Outline, middle: float
) -> Bevel:
    """Sample the division ridges along the edge, following the fan of the lines behind it."""
    reach = 1.1 * SLEEVE_DIAMETER_PX
    dy = np.arange(-reach, reach, STEP_PX)
    behind = np.linspace(*BAND_PX, 8)[:, None]
    grown = 1.0 + outline.widening * behind / (outline.radius + outline.step)
    fanned = middle + (dy[None, :] - middle) * grown
    x = edge.x_at(dy)[None, :] + behind
    y = axis.y0 + axis.slope * (x - axis.x_edge) + fanned
    samples = cv2.remap(
        ridge, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderValue=0.0
    )
    profile = samples.astype(np.float64).mean(axis=0)
    seen = profile > FAINT
    return Bevel(dy[seen], profile[seen], outline)


def _turn(bevel: Bevel, radius: Floats, middle: Floats) -> tuple[Floats, Floats]:
    """Angles of the rows on cylinders (..., n) and the weight of each row's light there."""
    sine = (middle[..., None] - bevel.dy) / radius[..., None]
    angle = np.arcsin(np.clip(sine, -1.0, 1.0))
    weight = bevel.profile * (np.abs(angle) < WIDEST_RAD)
    return angle, weight


def _coherences(bevel: Bevel, divisions: int, radius: Floats, middle: Floats) -> Floats:
    """How well the lines keep their spacing on each of some cylinders.

    In single precision, whose 1e-5 of a division is far below what lines allow: ten times as fast.
    """
    rows = bevel.dy[::SEARCH_EVERY]
    r, m, dy = (v.astype(np.float32) for v in (radius[..., None], middle[..., None], rows))
    farthest = np.float32(math.sin(WIDEST_RAD))
    sine = (m - dy) / r
    light = bevel.profile[::SEARCH_EVERY].astype(np.float32)
    weight = light * (np.abs(sine) < farthest)
    phase = np.float32(divisions) * np.arcsin(np.clip(sine, -farthest, farthest))
    along, across = (weight * wave(phase) for wave in (np.cos, np.sin))
    return np.asarray(
        np.hypot(along.sum(axis=-1), across.sum(axis=-1)) / (float(light.sum()) + 1e-9)
    )


def fit_cylinder(bevel: Bevel, divisions: int) -> tuple[float, float, float]:
    """Find radius and middle on which the divisions are evenly spaced, and their coherence.

    The positions of evenly engraved lines follow R sin(theta); the silhouettes hold R and the
    middle where they are seen.
    """
    return bevel.cylinders.get(divisions) or _fitted(bevel, divisions)


def _fitted(bevel: Bevel, divisions: int) -> tuple[float, float, float]:
    """Fit one grating: far about what the outline says, and near it where that was well seen."""
    o = bevel.outline
    seen = o.top is not None and o.low is not None
    start = (o.radius + o.step, o.middle)
    fits = [_searched(bevel, divisions, start, U_RADIUS * 2.5, 0.75 * o.radius)]
    if seen:
        fits.append(_searched(bevel, divisions, start, 3.0 * U_SILHOUETTE_PX / o.radius, 4.0))
    return max(fits, key=lambda fit: fit[0])[1]


def _searched(
    bevel: Bevel, divisions: int, start: tuple[float, float], wide: float, reach: float
) -> tuple[float, tuple[float, float, float]]:
    """Search radius (relative reach `wide`) and middle (`reach` px); the score and the fit."""
    radius, middle = start
    score, coherence = 0.0, 0.0
    for steps in ((int(wide / 0.02) + 5, 17), (9, 13), (9, 13)):
        r = radius * np.exp(np.linspace(-wide, wide, steps[0]))[:, None]
        m = middle + np.linspace(-reach, reach, steps[1])[None, :]
        rr, mm = np.broadcast_arrays(r, m)
        even = _coherences(bevel, divisions, rr, mm)
        scores = COHERENCE_LOG * even + _silhouette_log(bevel.outline, rr, mm)
        i, j = np.unravel_index(int(np.argmax(scores)), scores.shape)
        radius, middle = float(rr[i, j]), float(mm[i, j])
        score, coherence = float(scores[i, j]), float(even[i, j])
        wide, reach = 2.5 * wide / steps[0], 2.5 * reach / steps[1]
    return score, (radius, middle, coherence)


def _silhouette_log(o: Outline, radius: Floats, middle: Floats) -> Floats:
    """Log-likelihood of cylinders given the silhouettes, each of which may be something else."""
    value = -0.5 * (np.log(radius / (o.radius + o.step)) / U_RADIUS) ** 2
    for line, side in ((o.top, -1.0), (o.low, 1.0)):
        if line is not None:
            off = (middle + side * (radius - o.step) - line) / U_SILHOUETTE_PX
            value = value - np.minimum(0.5 * off * off, STRAY_SILHOUETTE)
    if o.top is None and o.low is None:
        value = value - 0.5 * (middle / (0.4 * radius)) ** 2
    return np.asarray(value)


def grating(bevel: Bevel, divisions: int, u_line_px: float = 0.1) -> Grating:
    """Measure a grating of known spacing and its phase at the reference line.

    The phase of the Fourier component at the divisions' spacing, through a Hann window centred on
    the line. `u_line_px` is the line's own standard uncertainty in px.
    """
    radius, middle, coherence = fit_cylinder(bevel, divisions)
    angle, weight = _turn(bevel, np.array(radius), np.array(middle))
    line = angle_at(middle, radius)
    half = max(LINES_AROUND * 2 * math.pi / divisions, math.radians(10))
    off = (angle - line) / half
    window = np.where(np.abs(off) < 1, 0.5 + 0.5 * np.cos(math.pi * off), 0.0) * weight
    z = window @ np.exp(1j * divisions * angle)
    mass = window.sum()
    local = float(abs(z) / mass) if mass > 1e-9 else 0.0
    fraction = ((divisions * line - float(np.angle(z))) / (2 * math.pi)) % 1.0
    spacing = radius * math.cos(line) * 2 * math.pi / divisions
    strength = mass * STEP_PX / spacing  # about the lines' summed ridge, in line spacings
    most = math.exp(-0.5 * (2 * math.pi * RIDGE_SIGMA_PX / spacing) ** 2)
    even = min(1.0, local / max(most, 0.05))
    on = Cylinder(radius, middle, bevel.outline.widening, divisions, line)
    seen = placed(bevel.strip, on, fraction) if bevel.strip and local > LEAST_PHASE else None
    if seen is None:
        u = math.hypot(U_PHASE_DIVISIONS, u_line_px / spacing) + 0.05 * (1.0 - min(local, 1.0)) ** 2
        u += 0.1 / (1.0 + 40.0 * strength)
    else:
        fraction = (fraction - seen.shift) % 1.0
        u = math.hypot(U_SEEN_DIVISIONS, seen.u_shift, u_line_px / spacing) + 0.05 * (1 - even) ** 2
    residual = math.sqrt(max(-2.0 * math.log(max(local, 1e-3)), 0.0)) / (2 * math.pi)
    sleeve = max(radius - bevel.outline.step, 0.5 * radius)
    lean = seen.lean if seen else 0.0
    return Grating(
        divisions, radius, middle, sleeve, coherence, even, fraction, min(0.3, u), residual, lean
    )


def numeral_offsets(
    numerals: list[Numeral], on: Grating, widening: float, axis: Axis, edge: Edge
) -> Floats:
    """Divisions from the reference line, as seen, up to each number; (n,) array."""
    out = []
    for peak in numerals:
        dy = peak.y - float(axis.y_at(peak.x))
        behind = max(peak.x - float(edge.x_at(dy)), 0.0)
        grown = on.radius + widening * min(behind, BEVEL_PX)
        angle = angle_at(on.middle - dy - on.lean * min(behind, BEVEL_PX), grown)
        out.append((angle - on.seen_line_rad) * on.divisions / (2 * math.pi))
    return np.array(out)


def whole_log_likelihood(
    numerals: list[Numeral], offsets: Floats, on: Grating, downwards: bool = False
) -> Floats:
    """Log-likelihood of each whole division m at the line, m + fraction being shown; (divisions,).

    Each number votes with all its class probabilities; a few may be wrong. The radius at which the
    numbers lie, and how far they all stand from their divisions, are unknown. `downwards` tries
    numbers that grow the other way.
    """
    divisions = on.divisions
    if not numerals:
        return np.zeros(divisions)
    spacing = on.radius * math.cos(on.seen_line_rad) * 2 * math.pi / divisions
    place, common = (math.hypot(d, px / spacing) for d, px in (NUMERAL_OWN, NUMERAL_COMMON))
    sign, fraction = (-1.0, 1.0 - on.fraction) if downwards else (1.0, on.fraction)
    # standard deviations of both unknowns, and their likelihood
    stretches, shifts = (v.ravel() for v in np.meshgrid(np.linspace(-2.4, 2.4, 13), SHIFTS))
    whole = np.arange(divisions)
    total = np.repeat(-0.5 * (stretches**2 + shifts**2)[:, None], divisions, axis=1)
    for peak, offset in zip(numerals, offsets, strict=True):
        reach = sign * (offset * (1 + RADIUS_SIGMA * stretches) + common * shifts)
        sigma = math.hypot(place, 0.02 * abs(offset))
        # what number m - k is engraved there, m being at the line, depends on k alone: a sum over k
        # that goes round, by its Fourier transform
        miss = (whole + fraction + reach[:, None] + divisions / 2) % divisions - divisions / 2
        near = np.exp(-0.5 * (miss / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))
        table = np.zeros(divisions)
        table[: len(peak.log_probability)] = np.exp(peak.log_probability[:divisions])
        engraved = table.sum()
        table = (table + NOT_ENGRAVED / divisions) / (engraved + NOT_ENGRAVED)
        good = np.fft.irfft(np.fft.rfft(near, axis=1) * np.fft.rfft(table), divisions, axis=1)
        share = 1 - (1 - OUTLIER) * peak.stands
        total += np.log(share / divisions + (1 - share) * good)
        total += math.log(share + (1 - share) * engraved)
    top = total.max(axis=0)
    return np.asarray(CORRELATED * (top + np.log(np.exp(total - top).mean(axis=0))))
