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
CUSTOMARY = -1.2  # log-likelihood of a comb that no teeth bear out
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


def between(pair: tuple[float, float], share: Floats) -> Floats:
    """Mix a pair of costs, of what is faint and of what is clear."""
    return np.asarray(pair[0] + (pair[1] - pair[0]) * share)


@dataclass(frozen=True, eq=False)
class Measured:
    """Teeth as arrays, (T,): place and length, which part is above, how clear, cost as a stray."""

    x: Floats
    length: Floats
    side: Floats  # of the reference line on which they stand: 1 above, -1 below, 0 across
    clearness: Floats
    stray: Floats


@lru_cache(maxsize=8)
def measured(teeth: tuple[Tooth, ...]) -> Measured:
    """Give teeth as arrays, which are not to be written to."""
    x, above, below, clear = np.array([(t.x, t.above, t.below, t.clearness) for t in teeth]).T
    length = above + below
    arrays = x, length, (above - below) / length, clear, between(STRAY, clear)
    for values in arrays:
        values.setflags(write=False)
    return Measured(*arrays)


@lru_cache(maxsize=8)
def missed(teeth: tuple[Tooth, ...]) -> float:
    """What it costs to miss a graduation: more where the others are clear."""
    usual = np.median(measured(teeth).clearness) if teeth else 0.0
    return float(between(MISSED, np.asarray(usual)))


def tooth_sigma_px(from_edge_px: Floats) -> Floats:
    """How far found graduations lie from their places, by their distance from the edge."""
    return np.where(from_edge_px < NEAR_EDGE_PX, EDGE_SIGMA_PX, TOOTH_SIGMA_PX)


@lru_cache(maxsize=16)
def belonging(
    teeth: tuple[Tooth, ...], edge_x: float, tried: tuple[Comb, ...]
) -> tuple[NDArray[np.intp], NDArray[np.bool_], Floats]:
    """Number the teeth from the last one uncovered (0, -1, ...); which fit, and their misses.

    All (C, T), for each comb that is tried; the misses are in standard deviations. What is given is
    kept: arrays are not to be written to.
    """
    of = measured(teeth)
    rows = [(c.pitch_px, c.bend, c.phase, c.aside_px) for c in tried]
    pitch_px, bend, phase, aside_px = np.array(rows).T[:, :, None]
    d = of.x - edge_x - aside_px * of.side
    place = d / (pitch_px - bend * d) + phase
    index = np.round(place)
    local_px = pitch_px / (1.0 + bend * (index - phase)) ** 2
    miss = (place - index) * local_px / tooth_sigma_px(-d)
    fits = (0.5 * miss**2 < of.stray) & (index <= 0)
    found = index.astype(np.intp), fits, miss
    for values in found:
        values.setflags(write=False)
    return found


def median_of(values: Floats, among: NDArray[np.bool_]) -> Floats:
    """Median along the last axis of the values that count; infinite where none does."""
    ordered = np.sort(np.where(among, values, np.inf), axis=-1)
    count = among.sum(axis=-1, keepdims=True)
    middle = np.concatenate([np.maximum(count - 1, 0) // 2, count // 2], axis=-1)
    return np.asarray(np.take_along_axis(ordered, middle, axis=-1).mean(axis=-1))


def _scored(
    teeth: tuple[Tooth, ...], edge_x: float, tried: tuple[Comb, ...]
) -> tuple[Floats, NDArray[np.intp]]:
    """Log-likelihood of the teeth under each comb, (C,), and how many belong to it, (C,)."""
    index, fits, miss = belonging(teeth, edge_x, tried)
    of = measured(teeth)
    value = -np.where(fits, 0.5 * miss**2, of.stray).sum(axis=1)
    cost = missed(teeth)
    usual = median_of(of.length, fits)
    faded = 1.0 - np.minimum(of.length / (FADED * usual[:, None]), 1.0)
    value -= cost * (faded * fits).sum(axis=1)
    found = np.sort(np.where(fits, index, 1), axis=1)  # 1: none, behind all others
    gaps = np.where(found[:, 1:] <= 0, np.diff(found, axis=1) - 1, 0)
    value -= np.where(gaps > 0, cost + MISSED_NEXT * (gaps - 1), 0.0).sum(axis=1)
    # graduations that should stand between the last found and the edge
    behind = -np.max(index, axis=1, where=fits, initial=int(index.min()))
    until_edge = np.array([c.phase * c.pitch_px for c in tried])
    lost = np.interp(until_edge, LOST_PX, (0.0, 1.0)) * cost + (behind - 1) * cost
    value -= np.where(fits.any(axis=1) & (behind > 0), lost, 0.0)
    return value, fits.sum(axis=1)


def find_combs(
    teeth: tuple[Tooth, ...], edge_x: float, facing_sine: float = 0.0
) -> tuple[Comb, ...]:
    """Propose combs that explain three teeth or more, best first.

    `facing_sine` is the sine of the angle between the axis and the picture's plane, as the edge's
    arc shows it: positive where the sleeve's far end leans towards the camera.
    """
    if len(teeth) < 3:
        return ()
    of = measured(teeth)
    weight, d = np.sqrt(of.length), of.x - edge_x
    pitches = np.exp(np.arange(math.log(PITCHES_PX[0]), math.log(PITCHES_PX[1]), 0.004))
    stretch = expected_stretch(facing_sine)
    tried = stretch[0] + stretch[1] * STRETCHES
    bends = tried[None, :] * pitches[:, None] / STRETCH_OVER_PX
    place = d / (pitches[:, None, None] - bends[:, :, None] * d)
    turned = 2 * math.pi * place
    z = (np.cos(turned) @ weight + 1j * (np.sin(turned) @ weight)) / weight.sum()
    strength = np.abs(z).max(axis=1)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(strength, 3), 7).max(axis=1)
    order = np.flatnonzero((strength >= around) & (strength > 0.45)).tolist()
    refined = []
    for i in sorted(order, key=lambda i: -strength[i])[:20]:
        j = int(np.argmax(np.abs(z[i])))
        phase = -float(np.angle(z[i, j])) / (2 * math.pi)
        start = (float(pitches[i]), float(bends[i, j]), phase)
        refined.append(_refined(of.x - edge_x, of.side, start, stretch))
    combs = _weighed(teeth, edge_x, tuple(comb for comb in refined if comb is not None))
    kept: list[Comb] = []
    for comb in sorted(combs, key=lambda c: -c.log_likelihood):
        if all(abs(math.log(comb.pitch_px / k.pitch_px)) > 0.01 for k in kept):
            kept.append(comb)
    return tuple(kept[:MOST_COMBS])


def expected_stretch(facing_sine: float) -> tuple[float, float]:
    """How much perspective stretches the spacing over `STRETCH_OVER_PX`: mean and spread."""
    least, share = STRETCH_SPREAD
    return STRETCH_PER_SINE * facing_sine, math.hypot(least, share * facing_sine)


def _refined(
    seen: Floats,
    side: Floats,
    start: tuple[float, float, float],
    stretch: tuple[float, float],
) -> Comb | None:
    """Refine a comb's (pitch, bend, phase) by least squares on the teeth that belong to it.

    `seen` are the teeth's places from the edge, px, `side` on which side of the line they stand.
    """
    pitch_px, bend, phase = start
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
    log_prior = -0.5 * (aside / SIDES_APART_PX) ** 2
    return Comb(pitch_px, bend, phase, log_prior, 0, min(max(u, 0.02), 0.4), aside)


def _weighed(teeth: tuple[Tooth, ...], edge_x: float, tried: tuple[Comb, ...]) -> list[Comb]:
    """Give combs the teeth's log-likelihoods besides their own, and how many belong to them."""
    if not tried:
        return []
    values, used = _scored(teeth, edge_x, tried)
    return [
        replace(comb, log_likelihood=comb.log_likelihood + value, teeth=count)
        for comb, value, count in zip(tried, values.tolist(), used.tolist(), strict=True)
    ]


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
    clear = sorted(teeth, key=lambda t: -t.clearness)[:2]
    tried: list[Comb] = []
    for step in np.linspace(-2.2, 2.2, 33).tolist():
        radius_mm = SLEEVE_RADIUS_MM * math.exp(SLEEVE_RADIUS_SPREAD * step)
        pitch_px = float(scale.pitch_mm) * radius_px / radius_mm
        u = max(TOOTH_SIGMA_PX / pitch_px, 0.02) if teeth else 0.5
        phases = {((edge_x - t.x) / pitch_px) % 1.0 for t in clear} or {0.0}
        tried += [Comb(pitch_px, 0.0, phase, CUSTOMARY, 0, u) for phase in sorted(phases)]
    return tuple(_weighed(teeth, edge_x, tuple(tried)) if teeth else tried)


def spacing_log_prior(comb: Comb, scale: Scale, radius_px: float) -> float:
    """Log-prior of a comb's spacing: the sleeve's radius that it implies is a customary one."""
    radius_mm = float(scale.pitch_mm) * radius_px / comb.pitch_px
    off = math.log(radius_mm / SLEEVE_RADIUS_MM) / SLEEVE_RADIUS_SPREAD
    return -0.5 * off * off
