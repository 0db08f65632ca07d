"""Combs: spacings that explain the graduations found on the sleeve.

Places along the sleeve are counted in pitches from the edge, negative to its left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from vision.scale import Scale
from vision.teeth import Tooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SLEEVE_RADIUS_MM = 7.0  # middle of common gauges (common practice)
SLEEVE_RADIUS_SPREAD = 0.22  # standard deviation of its logarithm
TOOTH_SIGMA_PX = 0.4  # how far a found graduation lies from its place: 0.25 rms on tune
EDGE_SIGMA_PX = 0.8  # and so near to the edge that its shadow may hide half of it
NEAR_EDGE_PX = 5.0
MISSED = (0.8, 4.0)  # minus log-likelihood that a graduation in view goes unseen: faint, clear
MISSED_NEXT = 0.8  # and for each one beside it: what hides one hides its neighbours
STRAY = (0.5, 4.5)  # minus log-likelihood of a found line that is no graduation: faint, clear
FADED = 0.45  # share of the usual length below which a line is hardly a graduation
LOST_PX = (2.0, 4.0)  # nearer to the edge a graduation is easily lost, farther it is not
PITCHES_PX = (3.1, 24.0)  # spacings looked for: those of the trade's sleeves, and a little
# Perspective: over 200 px, 17 mm of a common sleeve, the scale changes by 17 mm / distance times
# the sine of the angle at which the gauge is seen; 170 mm is common, 100 to 400 mm are not rare
STRETCH_OVER_PX = 200.0
STRETCH_PER_SINE = 0.10
STRETCH_SPREAD = (0.02, 0.06)  # standard deviation: of any picture, and per unit of the sine
SIDES_APART_PX = 0.5  # standard deviation of what lines above stand off those below: uneven lean
STRETCHES = np.linspace(-2.5, 2.5, 11)  # standard deviations looked at
LEAST_SPREAD = 0.5  # of a comb's misses, in standard deviations: fewer teeth may agree by chance
FEW = 4  # teeth below which the customary spacing has a say
MOST_COMBS = 8


@dataclass(frozen=True)
class Comb:
    """A spacing that explains the teeth: place = d / (pitch_px - bend d) pitches, d = x - edge.

    `phase` is the distance from the last graduation to the edge in pitches, 0 to 1. Lines above
    the reference line stand `aside_px` farther right than where they meet it, those below farther
    left.
    """

    pitch_px: float
    bend: float
    phase: float
    log_likelihood: float
    teeth: int
    u_phase: float
    aside_px: float = 0.0

    def place(self, x: float, edge_x: float) -> float:
        """Pitches from the edge to x, negative to the left."""
        d = x - edge_x
        return d / (self.pitch_px - self.bend * d)

    def x_of(self, place: float, edge_x: float) -> float:
        """Where a place in pitches from the edge is seen; the inverse of `place`."""
        return edge_x + self.pitch_px * place / (1.0 + self.bend * place)


def between(pair: tuple[float, float], share: float) -> float:
    """Mix a pair of costs, of what is faint and of what is clear."""
    return pair[0] + (pair[1] - pair[0]) * share


@lru_cache(maxsize=8)
def missed(teeth: tuple[Tooth, ...]) -> float:
    """What it costs to miss a graduation: more where the others are clear."""
    return between(MISSED, float(np.median([t.clearness for t in teeth])) if teeth else 0.0)


def tooth_sigma_px(from_edge_px: Floats) -> Floats:
    """How far found graduations lie from their places, by their distance from the edge."""
    return np.where(from_edge_px < NEAR_EDGE_PX, EDGE_SIGMA_PX, TOOTH_SIGMA_PX)


def sides(teeth: tuple[Tooth, ...]) -> Floats:
    """On which side of the reference line the teeth stand: 1 above, -1 below, 0 across."""
    return np.array([(t.above - t.below) / (t.above + t.below) for t in teeth])


@lru_cache(maxsize=256)
def belonging(
    teeth: tuple[Tooth, ...], edge_x: float, comb: Comb
) -> tuple[NDArray[np.intp], NDArray[np.bool_], Floats]:
    """Number the teeth from the last one uncovered (0, -1, ...); which fit, and their misses.

    The misses are in standard deviations. What is given is kept: arrays are not to be written to.
    """
    d = np.array([t.x for t in teeth]) - edge_x
    d = d - comb.aside_px * sides(teeth)
    place = d / (comb.pitch_px - comb.bend * d) + comb.phase
    index = np.round(place)
    local_px = comb.pitch_px / (1.0 + comb.bend * (index - comb.phase)) ** 2
    miss = (place - index) * local_px / tooth_sigma_px(-d)
    stray = np.array([between(STRAY, t.clearness) for t in teeth])
    fits = (0.5 * miss**2 < stray) & (index <= 0)
    found = index.astype(np.intp), fits, miss
    for values in found:
        values.setflags(write=False)
    return found


def _scored(teeth: tuple[Tooth, ...], edge_x: float, comb: Comb) -> tuple[float, int]:
    """Log-likelihood of the teeth under a comb, and how many belong to it."""
    index, fits, miss = belonging(teeth, edge_x, comb)
    stray = np.array([between(STRAY, t.clearness) for t in teeth])
    value = -float(np.where(fits, 0.5 * miss**2, stray).sum())
    if not fits.any():
        return value, 0
    cost = missed(teeth)
    length = np.array([t.above + t.below for t in teeth])[fits]
    faded = 1.0 - np.minimum(length / (FADED * np.median(length)), 1.0)
    value -= float((cost * faded).sum())
    found = np.unique(index[fits])
    gaps = np.diff(found) - 1
    value -= float((cost + MISSED_NEXT * (gaps[gaps > 0] - 1)).sum())
    behind = int(-found[-1])  # graduations that should stand between the last found and the edge
    if behind:
        lost = np.interp(comb.phase * comb.pitch_px, LOST_PX, (0.0, 1.0))
        value -= float(lost) * cost + (behind - 1) * cost
    return value, int(fits.sum())


def find_combs(
    teeth: tuple[Tooth, ...], edge_x: float, facing_sine: float = 0.0
) -> tuple[Comb, ...]:
    """Propose combs that explain three teeth or more, best first.

    `facing_sine` is the sine of the angle between the axis and the picture's plane, as the edge's
    arc shows it: positive where the sleeve's far end leans towards the camera.
    """
    if len(teeth) < 3:
        return ()
    x = np.array([t.x for t in teeth])
    weight = np.sqrt(np.array([t.above + t.below for t in teeth]))
    d = x - edge_x
    pitches = np.exp(np.arange(math.log(PITCHES_PX[0]), math.log(PITCHES_PX[1]), 0.004))
    stretch = expected_stretch(facing_sine)
    tried = stretch[0] + stretch[1] * STRETCHES
    bends = tried[None, :] * pitches[:, None] / STRETCH_OVER_PX
    place = d / (pitches[:, None, None] - bends[:, :, None] * d)
    z = (weight * np.exp(2j * math.pi * place)).sum(axis=2) / weight.sum()
    strength = np.abs(z).max(axis=1)
    order = [
        i
        for i in range(len(pitches))
        if strength[i] >= strength[max(i - 3, 0) : i + 4].max() and strength[i] > 0.45
    ]
    combs = []
    for i in sorted(order, key=lambda i: -strength[i])[:20]:
        j = int(np.argmax(np.abs(z[i])))
        phase = -float(np.angle(z[i, j])) / (2 * math.pi)
        comb = _refined(teeth, edge_x, (float(pitches[i]), float(bends[i, j]), phase), stretch)
        if comb is not None:
            combs.append(comb)
    combs.sort(key=lambda c: -c.log_likelihood)
    kept: list[Comb] = []
    for comb in combs:
        if all(abs(math.log(comb.pitch_px / k.pitch_px)) > 0.01 for k in kept):
            kept.append(comb)
    return tuple(kept[:MOST_COMBS])


def expected_stretch(facing_sine: float) -> tuple[float, float]:
    """How much perspective stretches the spacing over `STRETCH_OVER_PX`: mean and spread."""
    least, share = STRETCH_SPREAD
    return STRETCH_PER_SINE * facing_sine, math.hypot(least, share * facing_sine)


def _refined(
    teeth: tuple[Tooth, ...],
    edge_x: float,
    start: tuple[float, float, float],
    stretch: tuple[float, float],
) -> Comb | None:
    """Refine a comb's (pitch, bend, phase) by least squares on the teeth that belong to it."""
    pitch_px, bend, phase = start
    seen = np.array([t.x for t in teeth]) - edge_x
    side = sides(teeth)
    u, aside = 0.2, 0.0
    for _ in range(3):
        d = seen - aside * side
        place = d / (pitch_px - bend * d) + phase
        index = np.round(place)
        local_px = pitch_px / (1.0 + bend * (index - phase)) ** 2
        sigma = tooth_sigma_px(-d)
        miss = np.abs(place - index) * local_px
        ok = miss < np.maximum(3.0 * sigma, 0.12 * local_px)
        if ok.sum() < 3:
            return None
        fit = _fitted(np.stack([seen, index, side])[:, ok], sigma[ok], stretch)
        if fit is None:
            return None
        pitch_px, bend, phase, u, aside = fit
    # count the teeth anew from the edge: tooth 0 is the last one uncovered
    phase -= math.floor(phase)
    comb = Comb(pitch_px, bend, phase, 0.0, 0, min(max(u, 0.02), 0.4), aside)
    value, used = _scored(teeth, edge_x, comb)
    value -= 0.5 * (aside / SIDES_APART_PX) ** 2
    return replace(comb, log_likelihood=value, teeth=used)


def _fitted(
    placed: Floats, sigma: Floats, stretch: tuple[float, float]
) -> tuple[float, float, float, float, float] | None:
    """Fit d = pitch q / (1 + bend q) + aside s, q = k - phase, to rows of d, k and the side s.

    Gives pitch, bend, phase, its uncertainty, and aside. Multiplied out, d = a + b k + c k d + e s
    is linear in its unknowns; perspective holds c.
    """
    d, k, s = placed
    spacing = (d.max() - d.min()) / max(k.max() - k.min(), 1.0)
    size = np.abs(k * d).max() + 1.0
    expected = np.array([0.0, 0.0, -stretch[0] * spacing / STRETCH_OVER_PX * size, 0.0])
    u_stretch = stretch[1] * spacing / STRETCH_OVER_PX * size + 1e-9
    hold = np.diag([1e-9, 1e-6, u_stretch**-2, SIDES_APART_PX**-2])
    design = np.stack([np.ones(len(k)), k, k * d / size, s], axis=1)
    weight = 1.0 / sigma**2
    normal = (design.T * weight) @ design + hold
    solved = np.linalg.solve(normal, design.T @ (weight * d) + hold @ expected)
    rest = (d - design @ solved) / sigma
    a, b, c, aside = solved / np.array([1.0, 1.0, size, 1.0])
    # d (1 - c k) = a + b k: the edge, d = 0, is at k = -a / b; there dd/dk = b / (1 - c k)
    if abs(b) < 1.0:  # neighbouring graduations never lie within a pixel
        return None
    phase = -a / b
    at_edge = 1.0 - c * phase
    pitch = b / at_edge
    if not PITCHES_PX[0] - 0.1 < pitch < 2 * PITCHES_PX[1]:
        return None
    spread = math.sqrt(max(float(rest @ rest) / max(len(k) - 2, 1), LEAST_SPREAD**2))
    slope = np.array([-1.0, -phase, 0.0, 0.0]) / b
    u = spread * math.sqrt(float(slope @ np.linalg.solve(normal, slope)))
    return float(pitch), float(-c / at_edge), float(phase), u, float(aside)


def customary_combs(
    scale: Scale, teeth: tuple[Tooth, ...], edge_x: float, radius_px: float
) -> tuple[Comb, ...]:
    """Combs of customary spacing, for a sleeve that shows hardly any graduation."""
    out = []
    clear = sorted(teeth, key=lambda t: -t.clearness)[:2]
    for step in np.linspace(-2.2, 2.2, 33):
        radius_mm = SLEEVE_RADIUS_MM * math.exp(SLEEVE_RADIUS_SPREAD * step)
        pitch_px = float(scale.pitch_mm) * radius_px / radius_mm
        phases = {((edge_x - t.x) / pitch_px) % 1.0 for t in clear} or {0.0}
        for phase in sorted(phases):
            comb = Comb(pitch_px, 0.0, phase, 0.0, 0, 0.5)
            value, used = _scored(teeth, edge_x, comb) if teeth else (0.0, 0)
            u = TOOTH_SIGMA_PX / pitch_px if teeth else 0.5
            out.append(Comb(pitch_px, 0.0, phase, value - 1.2, used, max(u, 0.02)))
    return tuple(out)


def spacing_log_prior(comb: Comb, scale: Scale, radius_px: float) -> float:
    """Log-prior of a comb's spacing: the sleeve's radius that it implies is a customary one."""
    radius_mm = float(scale.pitch_mm) * radius_px / comb.pitch_px
    off = math.log(radius_mm / SLEEVE_RADIUS_MM) / SLEEVE_RADIUS_SPREAD
    return -0.5 * off * off
