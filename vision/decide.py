"""One joint decision over (turns, division) that weighs every piece of evidence.

Numbers on the thimble say which whole division stands at the line; numbers and graduations on the
sleeve say where the edge stands; both must agree to within the set of the edge. Everything stays a
likelihood until here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from vision import sleeve, thimble
from vision.lines import Axis, Edge, Outline
from vision.marks import Numeral
from vision.parallax import parallax_divisions
from vision.scale import Scale
from vision.sleeve import Comb, Tooth
from vision.thimble import Bevel, Grating

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# The edge past where the reading puts it, mean and spread: it was -0.04 to +0.36 mm over eighteen
# photographs of gauges, +0.10 in the middle
EDGE_SET_MM = (0.13, 0.10)
STRAY_SET_MM = 0.35  # spread on a gauge that is set unlike any of those
STRAY_SHARE = 0.03
U_PLACE_PX = 0.9  # how well the edge is placed on the comb (close-up px; fitted on tune and check)
U_ROLL_DIVISIONS = 0.12  # per unit of the roll's sine: rms error on tune and check, rolled views
GRATING_WEIGHT = 20.0  # log-likelihood of a scale per unit of its grating's coherence
SHARPENED = 1.3  # power that calibrates the weights: least log loss on 145 pictures of `check`
KEPT = 80  # states of the sleeve that are followed up
MOST_ALTERNATIVES = 6
KEPT_READINGS = 300  # of each look, when two are put together


@dataclass(frozen=True, eq=False)
class Findings:
    """All that was measured in one close-up."""

    axis: Axis
    edge: Edge
    outline: Outline
    bevel: Bevel
    teeth: tuple[Tooth, ...]
    shear: float  # of the graduations against the edge, px a px
    combs: tuple[Comb, ...]
    on_sleeve: list[Numeral]
    on_thimble: list[Numeral]
    visible_from_x: float  # close-up px; left of it lies no picture


@dataclass(frozen=True)
class Posterior:
    """Readings under one scale with their log-weights, best first, and what they rest on.

    `shown` counts divisions above the range start, as a straight look at the reference line would
    find them (parallax taken off).
    """

    scale: Scale
    shown: Floats
    log_weight: Floats
    grating: Grating
    u_division: float
    parallax_divisions: float
    edge_set_pitches: float
    comb: Comb | None

    @property
    def log_evidence(self) -> float:
        """Logarithm of the summed weights."""
        return _log_sum(self.log_weight)

    @property
    def probability(self) -> Floats:
        """Calibrated probability of each reading, given the scale."""
        sharpened = SHARPENED * (self.log_weight - self.log_weight.max())
        return np.asarray(np.exp(sharpened - _log_sum(sharpened)))


def _log_sum(values: Floats) -> float:
    top = float(values.max())
    return top + math.log(float(np.exp(values - top).sum()))


@lru_cache(maxsize=32)
def _thimble_states(f: Findings, divisions: int, downwards: bool) -> tuple[Grating, Floats]:
    """The grating of the divisions, and the log-likelihood of each whole one at the line."""
    on = thimble.grating(f.bevel, divisions, f.axis.u_y0)
    offsets = thimble.numeral_offsets(f.on_thimble, on, f.outline.widening, f.axis, f.edge)
    return on, thimble.whole_log_likelihood(f.on_thimble, offsets, on, downwards)


def _sleeve_states(
    f: Findings, scale: Scale, radius_px: float, named: bool
) -> tuple[Floats, Floats, Floats, list[Comb]]:
    """States of the sleeve: uncovered pitches, their uncertainty, log-likelihood, comb of each.

    A `named` gauge may have its range start on the frame and 0 on the sleeve.
    """
    combs = list(f.combs)
    if len(f.teeth) < 4 or not combs:
        combs += sleeve.customary_combs(scale, f.teeth, f.edge.x0, radius_px)
    most = round(sleeve.MAX_TRAVEL_MM / float(scale.pitch_mm))
    shown, spread, value, which = [], [], [], []
    starts = {float(scale.start), 0.0} if named else {float(scale.start)}
    for comb in combs:
        first = 0 if comb.teeth else -1
        uncovered = np.arange(first, most + 1, dtype=np.float64) + comb.phase
        places = [
            comb.place(sleeve.straight_x(n.x, n.y, f.axis, f.edge, f.shear), f.edge.x0)
            for n in f.on_sleeve
        ]
        numbers = [
            sleeve.number_log_likelihood(
                f.on_sleeve, places, uncovered, scale, s, comb.pitch_px / float(scale.pitch_mm)
            )
            for s in sorted(starts)
        ]
        total = np.logaddexp.reduce(numbers, axis=0) - math.log(len(starts))
        total = total + comb.log_likelihood + sleeve.spacing_log_prior(comb, scale, radius_px)
        total = total + sleeve.first_log_likelihood(
            comb, f.teeth, uncovered, f.edge.x0, f.visible_from_x
        )
        total = total + sleeve.long_log_likelihood(comb, f.teeth, uncovered, f.edge.x0, scale)
        shown.append(uncovered)
        spread.append(np.full(len(uncovered), comb.u_phase))
        value.append(total)
        which += [comb] * len(uncovered)
    shown_all, value_all = np.concatenate(shown), np.concatenate(value)
    best = np.argsort(-value_all)[:KEPT]
    return shown_all[best], np.concatenate(spread)[best], value_all[best], [which[i] for i in best]


def _set_log_likelihood(
    miss_mm: Floats, spread_mm: Floats, mean_mm: float, own_mm: float
) -> Floats:
    """Log-likelihood of the edge's set being what the picture would make it."""
    sigma = np.sqrt(own_mm**2 + spread_mm**2)
    usual = np.exp(-0.5 * ((miss_mm - mean_mm) / sigma) ** 2) / sigma
    stray = np.exp(-0.5 * ((miss_mm - mean_mm) / STRAY_SET_MM) ** 2) / STRAY_SET_MM
    return np.asarray(np.log((1 - STRAY_SHARE) * usual + STRAY_SHARE * stray + 1e-12))


def weigh(
    f: Findings, scale: Scale, edge_set_mm: tuple[float, float] | None = None, *, named: bool = True
) -> Posterior:
    """Weigh all readings under one scale.

    Parameters
    ----------
    named : bool
        Whether the scale is that of a known gauge, or one that is tried.
    edge_set_mm : (mean, standard deviation), optional
        The gauge's own, where it is known; otherwise as gauges usually have it.
    """
    n, pitch_mm = scale.divisions, float(scale.pitch_mm)
    grating, wholes = _thimble_states(f, n, scale.reversed)
    parallax = parallax_divisions(grating.roll_rad, grating.sleeve_radius, grating.radius, n)
    if scale.reversed:
        parallax = -parallax
    fraction = grating.fraction if not scale.reversed else 1.0 - grating.fraction
    division = np.arange(n) + fraction - parallax
    uncovered, spread, on_sleeve, combs = _sleeve_states(f, scale, grating.sleeve_radius, named)
    mean, own = edge_set_mm or EDGE_SET_MM
    gap = uncovered[:, None] - division[None, :] / n - mean / pitch_mm
    nearest = np.round(gap)
    turns = nearest[:, :, None] + np.array([-1.0, 0.0, 1.0])
    miss = (uncovered[:, None, None] - turns - (division / n)[None, :, None]) * pitch_mm
    total = on_sleeve[:, None, None] + wholes[None, :, None]
    place = U_PLACE_PX / np.array([c.pitch_px for c in combs])
    spread_mm = np.hypot(spread, place)[:, None, None] * pitch_mm
    total = total + _set_log_likelihood(miss, spread_mm, mean, own)
    short = (turns < 0) & ((turns < -1) | (division / n < 0.6)[None, :, None])
    total = total - 8.0 * short - 1.5 * (turns < 0)
    keys = np.round(turns * n + np.arange(n)[None, :, None]).astype(int)
    flat_keys, flat = keys.ravel(), total.ravel()
    readings, inverse = np.unique(flat_keys, return_inverse=True)
    top = flat.max()
    summed = np.bincount(inverse.ravel(), np.exp(flat - top))
    weight = np.log(summed + 1e-300) + top + GRATING_WEIGHT * grating.coherence
    order = np.argsort(-weight)
    best = int(np.argmax(flat))
    state = best // (n * 3)
    u_gap = min(1.0, f.outline.u_step / max(f.outline.step, 1.0))
    u_roll = U_ROLL_DIVISIONS * abs(math.sin(grating.roll_rad))
    u = math.sqrt(grating.u_fraction**2 + (parallax * u_gap) ** 2 + u_roll**2)
    return Posterior(
        scale,
        readings[order].astype(float) + fraction - parallax,
        weight[order],
        grating,
        u,
        parallax if not scale.reversed else -parallax,
        float(miss.ravel()[best] / pitch_mm),
        combs[state],
    )


def merge(one: Posterior, other: Posterior) -> Posterior:
    """Put two looks at one scale together: what only one of them believes is half believed.

    Both must be under the same pitch and divisions; the fractions are averaged where they agree.
    """
    grid = one.shown[0] - math.floor(one.shown[0])
    believed: dict[int, float] = {}
    place: dict[int, list[float]] = {}
    for look in (one, other):
        share = look.log_weight - look.log_evidence - math.log(2.0)
        for shown, weight in zip(look.shown[:KEPT_READINGS], share, strict=False):
            key = round(float(shown) - grid)
            believed[key] = float(np.logaddexp(believed.get(key, -np.inf), weight))
            place.setdefault(key, []).append(float(shown))
    keys = sorted(believed, key=lambda k: -believed[k])
    shown = np.array([np.mean(place[k]) for k in keys])
    weight = np.array([believed[k] for k in keys])
    evidence = 0.5 * (one.log_evidence + other.log_evidence)
    spread = abs(place[keys[0]][0] - place[keys[0]][-1])
    u = math.hypot(0.5 * (one.u_division + other.u_division), 0.5 * spread)
    return replace(one, shown=shown, log_weight=weight + evidence, u_division=u)


def within_half_a_turn(one: Posterior, near_divisions: float | None) -> Posterior:
    """Keep the readings within half a turn of where the gauge is known to stand, if it is."""
    if near_divisions is None:
        return one
    kept = np.abs(one.shown - near_divisions) <= one.scale.divisions / 2
    if not kept.any():
        return one
    return replace(one, shown=one.shown[kept], log_weight=one.log_weight[kept])


def within_one_division(shown: Floats, probability: Floats, at: float) -> float:
    """Probability of all readings no more than one division from one of them."""
    off = np.abs(shown - at)
    # a neighbour is a whole division off: half of the time the fraction's error carries it beyond
    return float(
        probability[off < 0.5].sum() + 0.5 * probability[(off >= 0.5) & (off < 1.01)].sum()
    )


def numbers_run_backwards(f: Findings, scale: Scale) -> float:
    """Log-likelihood ratio of the thimble's numbers growing the other way against the usual one."""
    usual, other = (_thimble_states(f, scale.divisions, way)[1] for way in (False, True))
    return _log_sum(other) - _log_sum(usual)
