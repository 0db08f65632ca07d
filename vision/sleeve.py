"""The sleeve's graduations as a comb, and how many pitches of it the edge has uncovered.

Places along the sleeve are counted in pitches from the edge, negative to its left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision.lines import Axis, Edge
from vision.marks import Numeral
from vision.scale import Scale

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

REACH_PX = 50  # rows each side of the line in which graduations are looked for
TILT_HOLD = 400.0  # px^3: with less ridge than this the lean of the lines is not to be known
LEAST_LINE_PX = 2.5  # summed ridge of the faintest line that counts
SLEEVE_RADIUS_MM = 7.0  # middle of common gauges (common practice)
SLEEVE_RADIUS_SPREAD = 0.22  # standard deviation of its logarithm
TOOTH_SIGMA_PX = 0.55  # how far a found graduation lies from its place
MISSED = (0.8, 2.6)  # minus log-likelihood that a graduation in view goes unseen: faint, clear
STRAY = (0.3, 2.6)  # minus log-likelihood of a found line that is no graduation: faint, clear
HIDDEN = 4.5  # minus log-likelihood that something hides the first graduations
HIDDEN_EACH = 0.25  # and for each one more
CLEAR_PX = 14.0  # summed ridge of a clear graduation
NUMBER_SIGMA_MM = 0.12  # how far a number is engraved from its graduation
NUMBER_SIGMA_PX = 1.5  # how well the network places its middle
COVERED_MM = 1.1  # nearer to the edge than this the thimble may hide part of a number
LONG_SHARE = 0.25  # a numbered graduation is at least this much longer than its neighbours
ASIDE_MM = np.array([0.0, -0.15, 0.15, -0.3, 0.3, -0.45, 0.45, -0.7, 0.7])  # all numbers, together
ASIDE_SHARES = np.array([0.5, 0.12, 0.12, 0.06, 0.06, 0.04, 0.04, 0.03, 0.03])
LEAST_LOG_PROBABILITY = -5.3  # of a value that is worth weighing: 1 in 200
OUTLIER = 0.08
MAX_TRAVEL_MM = 26.5  # common travel of a micrometer screw and a little more


@dataclass(frozen=True)
class Tooth:
    """A graduation line found: its place on the straightened sleeve, px, and its summed ridge."""

    x: float
    above: float
    below: float

    @property
    def clearness(self) -> float:
        """0 for a hint of a line, 1 for a clear graduation."""
        return min(1.0, max(0.0, (self.above + self.below - LEAST_LINE_PX) / CLEAR_PX))


def _between(pair: tuple[float, float], share: float) -> float:
    return pair[0] + (pair[1] - pair[0]) * share


def _missed(teeth: tuple[Tooth, ...]) -> float:
    """What it costs to miss a graduation: more where the others are clear."""
    return _between(MISSED, float(np.median([t.clearness for t in teeth])) if teeth else 0.0)


@dataclass(frozen=True)
class Comb:
    """A spacing that explains the teeth: place = d / (pitch_px - bend d) pitches, d = x - edge.

    `phase` is the distance from the last graduation to the edge in pitches, 0 to 1.
    """

    pitch_px: float
    bend: float
    phase: float
    log_likelihood: float
    teeth: int
    u_phase: float

    def place(self, x: float, edge_x: float) -> float:
        """Pitches from the edge to x, negative to the left."""
        d = x - edge_x
        return d / (self.pitch_px - self.bend * d)

    def x_of(self, place: float, edge_x: float) -> float:
        """Where a place in pitches from the edge is seen; the inverse of `place`."""
        return edge_x + self.pitch_px * place / (1.0 + self.bend * place)


def straightened(
    ridge: NDArray[np.float32], axis: Axis, edge: Edge, shear: float = 0.0
) -> NDArray[np.float32]:
    """Resample a ridge map so that rows run along the line and columns along the edge's arc.

    `shear` leans the columns further, px a px: under perspective the graduations of a rolled sleeve
    do not quite follow the edge.
    """
    dy = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float64)[:, None]
    x = np.arange(ridge.shape[1], dtype=np.float64)[None, :]
    source_x = x + (edge.lean + shear) * dy + edge.bend * dy * dy
    source_y = axis.y0 + axis.slope * (source_x - axis.x_edge) + dy
    return np.asarray(
        cv2.remap(
            ridge,
            source_x.astype(np.float32),
            source_y.astype(np.float32),
            cv2.INTER_LINEAR,
            borderValue=0.0,
        )
    )


def straight_x(x: float, y: float, axis: Axis, edge: Edge, shear: float) -> float:
    """Place on the straightened sleeve of a close-up point."""
    dy = y - float(axis.y_at(x))
    return x - (edge.lean + shear) * dy - edge.bend * dy * dy


def find_teeth(
    ridge: NDArray[np.float32], axis: Axis, edge: Edge
) -> tuple[tuple[Tooth, ...], float]:
    """Find graduations on the sleeve, rightmost first, and the shear that sets them upright."""
    clean = np.where(ridge > 0.1, ridge, 0.0).astype(np.float32)
    shear = 0.0
    for _ in range(2):
        level = straightened(clean, axis, edge, shear)
        shear += _tilt(level, _teeth_of(level, edge.x0))
    return _teeth_of(straightened(clean, axis, edge, shear), edge.x0), shear


def _teeth_of(level: NDArray[np.float32], edge_x: float) -> tuple[Tooth, ...]:
    """Find upright lines in a straightened map."""
    above, below = level[:REACH_PX].sum(axis=0), level[REACH_PX:].sum(axis=0)
    soft = np.convolve(above + below, [0.25, 0.5, 0.25], mode="same")
    teeth = []
    for x in range(min(int(edge_x + 3), len(soft) - 2), 1, -1):
        here = soft[x]
        if here < LEAST_LINE_PX or here < soft[x - 1] or here <= soft[x + 1]:
            continue
        curve = soft[x - 1] - 2 * here + soft[x + 1]
        shift = 0.5 * (soft[x - 1] - soft[x + 1]) / curve if curve < 0 else 0.0
        lo, hi = max(x - 1, 0), x + 2
        teeth.append(Tooth(x + float(shift), float(above[lo:hi].max()), float(below[lo:hi].max())))
    return tuple(teeth)


def _tilt(level: NDArray[np.float32], teeth: tuple[Tooth, ...]) -> float:
    """How far the lines lean on average, px a px: one regression within all lines together."""
    rows = np.arange(-REACH_PX, REACH_PX + 1, dtype=np.float64)[:, None]
    both = spread = 0.0
    for tooth in teeth:
        x = round(tooth.x)
        lo, hi = max(x - 2, 0), min(x + 3, level.shape[1])
        # halves stand close by on the other side of the line: look at the tooth's own side
        own = np.ones_like(rows)
        if tooth.above > 1.5 * tooth.below:
            own = (rows < -1).astype(np.float64)
        elif tooth.below > 1.5 * tooth.above:
            own = (rows > 1).astype(np.float64)
        weight = level[:, lo:hi].astype(np.float64) * own
        mass = weight.sum()
        if mass < LEAST_LINE_PX:
            continue
        columns = np.arange(lo, hi, dtype=np.float64)[None, :]
        mean_row, mean_x = (weight * rows).sum() / mass, (weight * columns).sum() / mass
        both += float((weight * (rows - mean_row) * (columns - mean_x)).sum())
        spread += float((weight * (rows - mean_row) ** 2).sum())
    return both / (spread + TILT_HOLD)


def _score(
    teeth: tuple[Tooth, ...], edge_x: float, pitch_px: float, bend: float, phase: float
) -> tuple[float, int]:
    """Log-likelihood of the teeth under a comb, and how many belong to it."""
    x = np.array([t.x for t in teeth])
    d = x - edge_x
    place = d / (pitch_px - bend * d) + phase
    index = np.round(place)
    local_px = pitch_px / (1.0 + bend * (index - phase)) ** 2
    miss_px = (place - index) * local_px
    fits = -0.5 * (miss_px / TOOTH_SIGMA_PX) ** 2
    stray = np.array([_between(STRAY, t.clearness) for t in teeth])
    belongs = (fits > -stray) & (index <= 0)
    value = float(np.where(belongs, fits, -stray).sum())
    if not belongs.any():
        return value, 0
    expected = np.arange(index[belongs].min(), 1)
    unseen = len(set(expected.tolist()) - set(index[belongs].tolist()))
    if phase * pitch_px < 2.0 and 0 not in index[belongs]:
        unseen = max(unseen - 1, 0)  # a line right at the edge is easily lost
    return value - _missed(teeth) * unseen, int(belongs.sum())


def find_combs(teeth: tuple[Tooth, ...], edge_x: float, most: int = 8) -> tuple[Comb, ...]:
    """Propose combs that explain three teeth or more, best first."""
    if len(teeth) < 3:
        return ()
    x = np.array([t.x for t in teeth])
    weight = np.sqrt(np.array([t.above + t.below for t in teeth]))
    d = x - edge_x
    pitches = np.exp(np.arange(math.log(3.3), math.log(46.0), 0.004))
    stretch = np.linspace(-0.12, 0.12, 13) if len(teeth) >= 6 else np.zeros(1)
    bends = stretch[None, :] * pitches[:, None] / 200.0
    place = d / (pitches[:, None, None] - bends[:, :, None] * d)
    z = (weight * np.exp(2j * math.pi * place)).sum(axis=2) / weight.sum()
    strength = np.abs(z).max(axis=1)
    order = [
        i
        for i in range(len(pitches))
        if strength[i] >= strength[max(i - 3, 0) : i + 4].max() and strength[i] > 0.45
    ]
    combs = []
    for i in sorted(order, key=lambda i: -strength[i])[:30]:
        j = int(np.argmax(np.abs(z[i])))
        comb = _refined(
            teeth,
            edge_x,
            float(pitches[i]),
            float(bends[i, j]),
            -float(np.angle(z[i, j])) / (2 * math.pi),
        )
        if comb is not None:
            combs.append(comb)
    combs.sort(key=lambda c: -c.log_likelihood)
    kept: list[Comb] = []
    for comb in combs:
        if all(abs(math.log(comb.pitch_px / k.pitch_px)) > 0.01 for k in kept):
            kept.append(comb)
    return tuple(kept[:most])


def _refined(
    teeth: tuple[Tooth, ...], edge_x: float, pitch_px: float, bend: float, phase: float
) -> Comb | None:
    """Refine a comb by least squares on the teeth that belong to it."""
    x = np.array([t.x for t in teeth])
    u = 0.2
    for _ in range(3):
        d = x - edge_x
        place = d / (pitch_px - bend * d) + phase
        index = np.round(place)
        ok = np.abs(place - index) * pitch_px < max(3.0 * TOOTH_SIGMA_PX, 0.12 * pitch_px)
        if ok.sum() < 3:
            return None
        # x = edge + pitch p - bend' p^2 with p = index - phase, linearised: fit c0 + c1 k + c2 k^2
        k = index[ok]
        few = ok.sum() < 6
        design = np.stack([np.ones(len(k)), k, k * k], axis=1)
        ridge = np.diag([1e-9, 1e-6, 1e9 if few else 1e-6])
        c = np.linalg.solve(design.T @ design + ridge, design.T @ x[ok])
        # tooth k stands at c0 + c1 k + c2 k^2; the edge at place `phase` beyond tooth 0
        q = np.array([c[2], c[1], c[0] - edge_x])
        if abs(q[1]) < 1.0:  # neighbouring graduations never lie within a pixel
            return None
        if abs(q[0]) < 1e-9:
            at_edge = -q[2] / q[1]
        else:
            root = q[1] ** 2 - 4 * q[0] * q[2]
            if root < 0:
                return None
            at_edge = (-q[1] + math.sqrt(root)) / (2 * q[0])
        pitch_px = float(c[1] + 2 * c[2] * at_edge)
        if not 3.0 < pitch_px < 50.0:
            return None
        bend = float(-c[2] / pitch_px)
        phase = float(at_edge)
        rest = x[ok] - design @ c
        spread = math.sqrt(max(float(rest @ rest) / max(len(k) - 2, 1), 0.1**2))
        reach = float(np.abs(k.mean()) / max(k.std(), 0.5))
        u = spread / pitch_px * math.sqrt((1 + reach**2) / len(k))
    # count the teeth anew from the edge: tooth 0 is the last one uncovered
    phase -= math.floor(phase)
    value, used = _score(teeth, edge_x, pitch_px, bend, phase)
    return Comb(pitch_px, bend, phase, value, used, min(max(u, 0.02), 0.4))


def customary_combs(
    scale: Scale, teeth: tuple[Tooth, ...], edge_x: float, radius_px: float
) -> tuple[Comb, ...]:
    """Combs of customary spacing, for a sleeve that shows hardly any graduation."""
    out = []
    for step in np.linspace(-2.0, 2.0, 17):
        radius_mm = SLEEVE_RADIUS_MM * math.exp(SLEEVE_RADIUS_SPREAD * step)
        pitch_px = float(scale.pitch_mm) * radius_px / radius_mm
        phases = [((edge_x - t.x) / pitch_px) % 1.0 for t in teeth[:1]] or [0.0]
        for phase in phases:
            value, used = _score(teeth, edge_x, pitch_px, 0.0, phase) if teeth else (0.0, 0)
            out.append(Comb(pitch_px, 0.0, phase, value - 1.2, used, 0.1 if teeth else 0.5))
    return tuple(out)


def spacing_log_prior(comb: Comb, scale: Scale, radius_px: float) -> float:
    """Log-prior of a comb's spacing: the sleeve's radius that it implies is a customary one."""
    radius_mm = float(scale.pitch_mm) * radius_px / comb.pitch_px
    off = math.log(radius_mm / SLEEVE_RADIUS_MM) / SLEEVE_RADIUS_SPREAD
    return -0.5 * off * off


def number_log_likelihood(
    numerals: list[Numeral],
    places: list[float],
    uncovered: Floats,
    scale: Scale,
    printed_start: float,
    px_per_mm: float,
) -> Floats:
    """Log-likelihood of each number of uncovered pitches, (K,), from the sleeve's numbers.

    `places` are the numbers' places in pitches from the edge; `printed_start` the number printed at
    the range's lower end. Numbers may all stand beside their graduations by the same length.
    """
    unit_mm = 1.0 if scale.unit == "mm" else 2.54
    pitch_mm = float(scale.pitch_mm)
    period = 100.0 if scale.unit == "mm" else 10.0
    total = np.log(ASIDE_SHARES)[:, None] + np.zeros((len(ASIDE_MM), len(uncovered)))
    for peak, place in zip(numerals, places, strict=True):
        likely = np.flatnonzero(peak.log_probability > LEAST_LOG_PROBABILITY)
        at_mm = (uncovered + place) * pitch_mm
        number = at_mm[:, None] / unit_mm + printed_start - likely[None, :]
        miss = ((number + period / 2) % period - period / 2) * unit_mm
        covered = -place * pitch_mm < COVERED_MM
        sigma = math.hypot(NUMBER_SIGMA_MM, NUMBER_SIGMA_PX / px_per_mm) + (0.4 if covered else 0.0)
        off = (miss[None, :, :] - ASIDE_MM[:, None, None]) / sigma
        near = np.exp(-0.5 * off * off) / (sigma * math.sqrt(2 * math.pi))
        good = near @ np.exp(peak.log_probability[likely])
        share = 1 - (1 - OUTLIER) * min(1.0, 1.25 * peak.heat)
        # a stray number lies anywhere within the travel
        total += np.log(share / MAX_TRAVEL_MM + (1 - share) * good)
        total = np.where(at_mm < -1.5, total - 3.0, total)  # nothing is printed before the start
    return np.asarray(np.logaddexp.reduce(total, axis=0))


def long_log_likelihood(
    comb: Comb, teeth: tuple[Tooth, ...], uncovered: Floats, edge_x: float, scale: Scale
) -> Floats:
    """Log-likelihood of each number of uncovered pitches, (K,), from which graduations are long.

    Every fifth millimetre, or every tenth of an inch, is longer than its neighbours on the same
    side (common practice).
    """
    cycle = 4 if scale.unit == "in" else round(5 / float(scale.pitch_mm))
    step = 2 if cycle == 10 else 1  # halves stand on the other side: compare like with like
    index = np.array([round(comb.place(t.x, edge_x) + comb.phase) for t in teeth])
    length = np.array([t.above + t.below for t in teeth])
    whole = np.round(uncovered - comb.phase)
    gain = np.zeros(cycle)
    for residue in range(cycle):
        like = (index - residue) % step == 0
        here = like & ((index - residue) % cycle == 0) & (index < 0)
        others = like & ~here & (index < 0)
        if not here.any() or others.sum() < 2:
            continue
        usual = float(np.median(length[others]))
        spread = float(np.median(np.abs(length[others] - usual))) + 0.05 * usual + 0.4
        excess = (float(np.median(length[here])) - usual) / spread
        wanted = LONG_SHARE * usual / spread
        gain[residue] = float(np.clip(0.8 * (excess - 0.5 * wanted), -2.0, 4.0))
    # tooth `index` is graduation whole + index: long where that is a multiple of the cycle
    return np.asarray(gain[(-whole.astype(int)) % cycle])


def first_log_likelihood(
    comb: Comb, teeth: tuple[Tooth, ...], uncovered: Floats, edge_x: float, visible_from_x: float
) -> Floats:
    """Log-likelihood of each number of uncovered pitches, (K,), from where graduations begin."""
    if not teeth:
        expected = np.maximum(np.floor(uncovered + 1e-6) + 1, 0)
        return np.asarray(-1.3 * np.minimum(expected, 4))
    index = [round(comb.place(t.x, edge_x) + comb.phase) for t in teeth]
    belong = [
        (i, t.clearness)
        for i, t in zip(index, teeth, strict=True)
        if abs(comb.place(t.x, edge_x) + comb.phase - i) * comb.pitch_px < 3 * TOOTH_SIGMA_PX
    ]
    leftmost = min((i for i, _ in belong), default=0)  # however faint: it is not missing
    clear = min((i for i, clearness in belong if clearness > 0.35), default=0)
    whole = np.round(uncovered - comb.phase)  # the last tooth's own number
    before = whole + leftmost  # graduations that should lie left of the leftmost found
    in_view = max(0.0, leftmost - comb.place(visible_from_x, edge_x) - comb.phase)
    missing = np.minimum(np.maximum(before, 0), max(math.floor(in_view), 0))
    # a lever or a finger may hide them all at once
    cost = np.minimum(_missed(teeth) * missing, HIDDEN + HIDDEN_EACH * missing) * (missing > 0)
    return np.asarray(-cost + np.maximum(2.0 * np.minimum(whole + clear, 0.0), -6.0))
