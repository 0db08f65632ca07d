"""What speaks against giving a reading, as reasons: what forbids any, and what leaves it open."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import cv2
import numpy as np

from vision import decide, thimble
from vision.decide import Findings, Posterior
from vision.gap import BELIEVED
from vision.reasons import reason
from vision.sighting import Reason
from vision.teeth import CLEAR_TOOTH, SURE_HEAT
from vision.thimble import Grating
from vision.weighing import Known, Weighed, rival_log_ratio

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Share of the best reading's probability that leaves its whole turn open
NEXT_TURN = 0.2
# Confidence from which a reading is given at all: of 1214 pictures of tune 1048 were accepted, 8
# of them wrong
ACCEPT = 0.9
# Without a named scale: probability from which no other scale is left, and from which no other
# range start is. Below, where hardly a graduation or a number was seen, they may only say which is
# commonest. Of 1214 pictures of tune 864 were accepted and 9 wrong
SCALE_CLEAR, START_CLEAR = 0.98, 0.985
LEAST_PX_PER_DIVISION = (
    2.4  # below, neighbouring lines run together (sampling theorem, and a little)
)
# Below, half-millimetre lines of a sleeve stand less than 2 px apart (sampling theorem; a division
# of fifty is about a millimetre round the thimble): pitches can't be told apart, whatever fits
LEAST_PX_UNNAMED = 4.0
REVERSED_LOG_RATIO = 4.0  # evidence for numbers that run the other way
LEAST_BEVEL_PX = 12.0  # of close-up beside the edge in which divisions could be seen at all
LEAST_EVENNESS = 0.3  # of the thimble's grating; below, no divisions were seen
ANOTHER_PITCH = (
    6.0  # log-evidence by which another pitch must be likelier to contradict a named one
)
# By how much another grating must fit better to contradict a named scale. Rightly named, none of
# 119 pictures of tune came above 0.01; named 25 or 100 instead of 50, nineteen in twenty above 0.17
MISMATCH = 0.20
SMALL_SLEEVE_PX = LEAST_PX_PER_DIVISION * 50 / math.pi  # its diameter, of fifty divisions so small
# How steep the steepest edges of a close-up are, as a share of the step across them a px. Readable
# pictures of tune have 0.17 or more; those blurred until no line is found 0.08 to 0.09
BLUNT = 0.10
EDGE_PX = 17  # window in which a step shows its full height
FINE_PX = 0.8  # noise finer than this is smoothed away before
STEEPEST = 99.0  # percentile, of the places with at least half of the close-up's full steps


def against(
    grey: NDArray[np.uint8], f: Findings, weighed: Weighed, known: Known, px_per_division: float
) -> list[Reason]:
    """List what forbids a reading, whatever its probability.

    Parameters
    ----------
    grey : (256, 544) uint8 array
        The close-up that `f` was found in.
    f : Findings
        Of the first look.
    weighed : Weighed
        All looks.
    known : Known
    px_per_division : float
        In the photo, at the reference line.
    """
    chosen, out = weighed.posterior, []
    if px_per_division < LEAST_PX_PER_DIVISION:
        out.append(reason("too_small", px_per_division, LEAST_PX_PER_DIVISION))
    if is_cut_off(f):
        out.append(reason("cut_off"))
    elif chosen.grating.evenness < LEAST_EVENNESS:
        out.append(reason(_why_no_divisions(grey, f)))
    if known.scale is None:
        sure = weighed.share * chosen.start_probability
        if px_per_division < LEAST_PX_UNNAMED:
            out.append(reason("scale_ambiguous"))
        elif weighed.share < SCALE_CLEAR or chosen.start_probability < START_CLEAR:
            out.append(reason("scale_ambiguous", sure, SCALE_CLEAR))
    elif _another_grating(f, chosen.grating) or rival_log_ratio(f, weighed, known) > ANOTHER_PITCH:
        out.append(reason("scale_mismatch"))
    if (
        not chosen.scale.reversed
        and len(f.on_thimble) > 1
        and decide.numbers_run_backwards(f, chosen.scale) > REVERSED_LOG_RATIO
    ):
        out.append(reason("reversed_numbers"))
    if known.near_divisions is None and _sleeve_is_bare(f):
        out.append(reason("sleeve_unread"))
    return list(dict.fromkeys(out))


def doubts(
    grey: NDArray[np.uint8],
    f: Findings,
    chosen: Posterior,
    confidence: float,
    trusted: tuple[float, float],
) -> list[Reason]:
    """Give the reason why no reading stands out, if none does.

    `trusted` are the probabilities of the picture not being mirrored and of what was taken for the
    reference line being it: factors of `confidence`.
    """
    upright, line = trusted
    hidden = line < min(upright, ACCEPT)
    open_turn = _turn_is_open(chosen.shown, chosen.probability, chosen.scale.divisions)
    if not hidden and (open_turn or confidence < ACCEPT * upright * line):
        return [reason(_doubt(f, chosen, open_turn))]
    if confidence >= ACCEPT:
        return []
    if not hidden:
        return [reason("uncertain")]
    return [reason("blurred" if is_blurred(grey) else "line_hidden")]


def why_nothing(grey: NDArray[np.uint8], sleeve_diameter_px: float, missing: str) -> str:
    """Code of why a scale that is surely there shows no line or edge: `missing`, or what hides it.

    `grey` is the close-up, `sleeve_diameter_px` the sleeve's in the photo.
    """
    if sleeve_diameter_px < SMALL_SLEEVE_PX:
        return "too_small"
    return "blurred" if is_blurred(grey) else missing


def is_cut_off(f: Findings) -> bool:
    """Tell whether the reference line leads out of the photo before it meets a division."""
    return f.at_line >= BELIEVED and f.visible_to_x < f.edge.x0 + thimble.BAND_PX[0]


def is_blurred(grey: NDArray[np.uint8]) -> bool:
    """Tell whether nothing in a close-up, of whatever contrast, has a sharp edge."""
    smooth = cv2.GaussianBlur(grey, (0, 0), FINE_PX).astype(np.float32)
    window = np.ones((EDGE_PX, EDGE_PX), np.uint8)
    step = cv2.dilate(smooth, window) - cv2.erode(smooth, window)
    slope = np.hypot(np.gradient(smooth, axis=0), np.gradient(smooth, axis=1))
    whole = np.s_[EDGE_PX // 2 : -(EDGE_PX // 2), EDGE_PX // 2 : -(EDGE_PX // 2)]
    step, slope = step[whole], slope[whole]
    full = step >= max(0.5 * float(np.percentile(step, 98.0)), 1.0)
    return bool(full.any() and np.percentile(slope[full] / step[full], STEEPEST) < BLUNT)


def _another_grating(f: Findings, on: Grating) -> bool:
    """Tell whether the thimble speaks clearly for other divisions than the named ones."""
    others = [thimble.fit_cylinder(f.bevel, n)[2] for n in thimble.GRATINGS if n != on.divisions]
    return max(others) > on.coherence + MISMATCH


def _turn_is_open(shown: Floats, probability: Floats, divisions: int) -> bool:
    """Tell whether a reading one whole turn from the best is nearly as likely."""
    turn = np.abs(np.abs(shown - shown[0]) - divisions) < 0.5
    return bool(probability[turn].sum() > NEXT_TURN * probability[0])


def _why_no_divisions(grey: NDArray[np.uint8], f: Findings) -> str:
    """Tell glare, blur and a bare drum apart beside the edge."""
    x, y = int(f.edge.x0), int(f.axis.y0)
    part = grey[max(y - 40, 0) : y + 40, max(x - 30, 0) : x + 30]
    if part.size == 0 or f.visible_to_x < f.edge.x0 + LEAST_BEVEL_PX:
        return "cut_off"
    if np.mean(part > 250) > 0.5 or np.mean(part < 4) > 0.5:
        return "glare"
    sharp = float(np.abs(np.diff(part.astype(np.float32), axis=0)).mean())
    return "no_divisions" if sharp > 6.0 else "blurred"


def _sleeve_is_bare(f: Findings) -> bool:
    """Tell whether neither a graduation nor a number of the sleeve was clearly seen."""
    clear = any(t.clearness > CLEAR_TOOTH for t in f.teeth)
    return not clear and not any(p.heat > SURE_HEAT for p in f.on_sleeve)


def _doubt(f: Findings, chosen: Posterior, open_turn: bool) -> str:
    """Why no reading stands out: the code of the reason."""
    if not any(p.heat > SURE_HEAT for p in f.on_thimble):
        return "thimble_unread"
    if _sleeve_is_bare(f):
        return "sleeve_unread"
    if open_turn:
        return "turn_ambiguous"
    if len(chosen.shown) > 1:
        apart = abs(chosen.shown[0] - chosen.shown[1]) / chosen.scale.divisions
        if round(apart) >= 1 and abs(apart - round(apart)) < 0.5 / chosen.scale.divisions:
            return "turn_ambiguous" if round(apart) == 1 else "sleeve_unread"
    return "uncertain"
