"""All looks at one scale, weighed under the named scale or under every scale of the trade."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vision import decide
from vision.decide import Findings, Posterior
from vision.numbering import customary, printed_on
from vision.scale import KNOWN_SCALES, Scale

# Guesses at how common the trade's scales are, in the order of `KNOWN_SCALES`: half a millimetre in
# fifty divisions is by far the commonest (common practice)
SCALE_SHARES = (0.60, 0.12, 0.18, 0.06, 0.04)
# Scales whose log-evidence is so near the best one's are weighed against each other without what
# the gap network says of pitches uncovered: it takes a nearly empty sleeve for one of the commonest
# pitch, which is in the shares above already. It has no more of a say than this
OPEN = 12.0


@dataclass(frozen=True)
class Known:
    """What is known of the gauge before its photo is looked at."""

    scale: Scale | None
    edge_set_mm: tuple[float, float] | None = None
    near_divisions: float | None = None


@dataclass(frozen=True)
class Weighed:
    """All looks weighed under the likeliest scale."""

    posterior: Posterior
    share: float  # probability of that scale among those tried
    first_log_evidence: float  # of the first look alone, under that scale


def weigh_looks(looks: list[Findings], known: Known) -> Weighed:
    """Weigh the findings of each look and put them together.

    Parameters
    ----------
    looks : list of Findings
        One or more, of the same scale in the same photo.
    known : Known
        With no scale in it, those of the trade are tried and the likeliest is kept.
    """
    named = known.scale is not None
    tried = [known.scale] if known.scale else KNOWN_SCALES
    weighed = [_weighed(looks, scale, known) for scale in tried]
    evidences = np.array([merged.log_evidence for merged, _ in weighed])
    evidences += 0.0 if named else np.log(SCALE_SHARES)
    rivals = np.flatnonzero(evidences > evidences.max() - OPEN)
    if len(rivals) > 1:
        for i in rivals:
            merged, _ = _weighed(looks, tried[i], known, counted=False)
            evidences[i] = merged.log_evidence + np.log(SCALE_SHARES[i])
    best = rivals[int(np.argmax(evidences[rivals]))]
    shares = np.exp(evidences - evidences[best])
    return Weighed(weighed[best][0], float(1.0 / shares[rivals].sum()), weighed[best][1])


def _weighed(
    looks: list[Findings], scale: Scale, known: Known, *, counted: bool = True
) -> tuple[Posterior, float]:
    """Weigh all looks under one scale; with the first look's own log-evidence."""
    printed = printed_on(scale) if known.scale else customary(scale)
    each = [
        decide.weigh(f, scale, known.edge_set_mm, printed=printed, counted=counted) for f in looks
    ]
    merged = decide.within_half_a_turn(decide.merge(each), known.near_divisions)
    return merged, each[0].log_evidence


def rival_log_ratio(f: Findings, weighed: Weighed, known: Known) -> float:
    """Log-evidence of the first look for the likeliest other pitch of the trade over the named one.

    Both are weighed alike, with the gauge's own edge set if it is known; minus infinity where the
    trade has no other pitch for as many divisions.
    """
    named = weighed.posterior.scale
    rivals = [
        replace(rival, start=named.start, reversed=named.reversed)
        for rival in KNOWN_SCALES
        if (rival.unit, rival.divisions) == (named.unit, named.divisions)
        and rival.pitch != named.pitch
    ]
    evidences = [decide.weigh(f, rival, known.edge_set_mm).log_evidence for rival in rivals]
    return max(evidences, default=-np.inf) - weighed.first_log_evidence
