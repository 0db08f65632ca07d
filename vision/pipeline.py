"""From a photo to a sighting or a refusal: the order of the stages, and nothing else."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from vision import closeup, combs, decide, lines, marks, mirror, silhouettes, teeth, thimble
from vision.closeup import Pose
from vision.decide import Findings, Posterior
from vision.evidence import evidence_of
from vision.finder import find
from vision.marks import Marks
from vision.photo import Photo
from vision.pixels import place_edge
from vision.reasons import reason
from vision.scale import KNOWN_SCALES, Scale
from vision.sighting import Alternative, Reason, Refusal, Sighting
from vision.thimble import Grating

if TYPE_CHECKING:
    from numpy.typing import NDArray

CLEAR_TOOTH = 0.35  # clearness from which a graduation is surely one
SHORT_LINE_PX = 8.0  # 0.7 mm: of 145 pictures read right on check, none had less than 12
LEAST_LINE = 0.6  # mean ridge of a reference line: 99 in 100 of those have more than 0.68
NEXT_TURN = 0.25  # share of the best reading's probability that leaves its whole turn open
ACCEPT = 0.6  # confidence from which a reading is given at all: below, one in three is wrong
LEAST_PX_PER_DIVISION = (
    2.4  # below, neighbouring lines run together (sampling theorem, and a little)
)
LEAST_QUALITY = 0.25  # of a close-up that may hold a scale although the network doubts it
PRESENT = 0.5  # probability of a scale being there
MOST_POSES = 3  # places of a photo that are looked at closely
STARTS_MM = {Decimal(0): 0.76, Decimal(25): 0.12, Decimal(50): 0.07, Decimal(75): 0.05}
# How far off the fitted pose a first look may be to stand. With 300 pictures of tune read either
# way, 72 % were accepted; 7 of them were wrong, and 8 where 0.015 and 0.03 were allowed
NEAR_TURN_RAD, NEAR_SHARE = 0.10, 0.20
MIRRORED = 0.5  # probability from which a picture is called mirrored; below, it is doubted
GOOD_LOOK = 0.55  # quality of a close-up from which no other place is tried
REVERSED_LOG_RATIO = 4.0  # evidence for numbers that run the other way
LEAST_BEVEL_PX = 12.0  # of close-up beside the edge in which divisions could be seen at all
LEAST_EVENNESS = 0.3  # of the thimble's grating; below, no divisions were seen
FITTED_COHERENCE = 0.25  # from which the divisions tell the size of the thimble
ANOTHER_PITCH = (
    6.0  # log-evidence by which another pitch must be likelier to contradict a named one
)
# By how much another grating must fit better to contradict a named scale. Rightly named, none of
# 119 pictures of tune came above 0.01; named 25 or 100 instead of 50, nineteen in twenty above 0.17
MISMATCH = 0.20


@dataclass(frozen=True)
class Look:
    """A close-up of one place: what the network marked there and what was fitted to it."""

    pose: Pose
    matrix: NDArray[np.float64]
    grey: NDArray[np.uint8]
    marks: Marks
    findings: Findings | None
    missing: str  # code of what was not found, if anything

    @property
    def quality(self) -> float:
        """How much of a scale this looks like, 0 to 1."""
        if self.findings is None:
            return 0.05 * self.marks.present
        bevel = self.findings.bevel
        best = max(thimble.grating(bevel, n).evenness for n in thimble.GRATINGS)
        seen = min(self.findings.axis.strength, 1.0) * min(1.0, 0.3 + self.findings.edge.strength)
        return (0.5 + 0.5 * self.marks.present) * math.sqrt(max(seen, 0.0)) * best


def look(grey: NDArray[np.uint8], pose: Pose) -> Look:
    """Look closely at one place, once more from where the first look puts the scale."""
    first = _look_once(grey, pose)
    if first.findings is None:
        return first
    better = _refined(first)
    turned = abs(better.angle_rad - pose.angle_rad)
    grown = abs(math.log(better.sleeve_diameter_px / pose.sleeve_diameter_px))
    moved = math.hypot(better.x - pose.x, better.y - pose.y) / pose.sleeve_diameter_px
    if turned < NEAR_TURN_RAD and grown < NEAR_SHARE and moved < NEAR_SHARE:
        return first
    second = _look_once(grey, better)
    return second if second.quality > 0.8 * first.quality else first


def _look_once(grey: NDArray[np.uint8], pose: Pose) -> Look:
    matrix = closeup.photo_to_closeup(pose)
    cut = closeup.cut(grey, matrix)
    inside = closeup.inside(grey.shape, matrix)
    seen = marks.read_marks(cut).within(inside)
    rough = lines.fit_edge(seen.ridge("edge"), closeup.ORIGIN[1])
    line = lines.less_vernier(seen.ridge("reference_line"), seen.ridge("vernier"))
    axis = lines.fit_axis(line, -rough.across if rough else 0.0)
    edge = lines.fit_edge(seen.ridge("edge"), axis.y0) if axis else None
    if axis is None or edge is None:
        return Look(pose, matrix, cut, seen, None, "line_hidden" if axis is None else "cut_off")
    axis = replace(axis, x_edge=edge.x0, y0=float(axis.y_at(edge.x0)))
    edge = place_edge(grey, matrix, axis, edge)
    outline = silhouettes.fit_outline(seen.ridge("silhouette"), axis, edge)
    bevel = thimble.unroll(seen.ridge("division"), axis, edge, outline)
    found, shear = teeth.find_teeth(seen.ridge("graduation"), axis, edge)
    over_x = lines.over_sleeve_x(edge, outline)
    numerals = marks.numerals(seen)
    level = inside[int(np.clip(axis.y0, 0, closeup.SIZE[1] - 1))]
    outside = np.flatnonzero(~level[: max(int(edge.x0), 1)])
    findings = Findings(
        axis,
        edge,
        outline,
        bevel,
        found,
        shear,
        combs.find_combs(found, over_x),
        [n for n in numerals if n.on == "sleeve" and n.x < edge.x0 + 4],
        [n for n in numerals if n.on == "thimble" and n.x > edge.x0 + 4],
        float(outside[-1] + 1 if outside.size else 0),
        over_x,
        float(np.flatnonzero(level)[-1] if level.any() else 0),
    )
    return Look(pose, matrix, cut, seen, findings, "")


def _refined(seen: Look) -> Pose:
    """Pose that the fitted lines give."""
    assert seen.findings is not None
    f = seen.findings
    back = closeup.invert(seen.matrix)
    x, y = closeup.move(back, np.array([[f.edge.x0, f.axis.y0]]))[0]
    shrink = seen.pose.sleeve_diameter_px / closeup.SLEEVE_DIAMETER_PX
    fits = [thimble.fit_cylinder(f.bevel, n) for n in thimble.GRATINGS]
    radius, _, coherence = max(fits, key=lambda fit: fit[2])
    known = coherence > FITTED_COHERENCE or (
        f.outline.top is not None and f.outline.low is not None
    )
    diameter = seen.pose.sleeve_diameter_px
    if known:
        diameter = 2 * (radius - f.outline.step) * shrink
    angle = seen.pose.angle_rad + math.atan(f.axis.slope)
    return Pose(float(x), float(y), angle, float(diameter), seen.pose.probability)


def sight(
    photo: Photo,
    scale: Scale | None,
    *,
    edge_set_mm: tuple[float, float] | None = None,
    near_divisions: float | None = None,
) -> Sighting | Refusal:
    """Read the scale in a photo.

    Parameters
    ----------
    photo : Photo
    scale : Scale or None
        What is engraved, or None to infer it from the picture.
    edge_set_mm : (mean, standard deviation), optional
        The gauge's own set of the edge in mm, where its record has it.
    near_divisions : float, optional
        Where the gauge is known to stand to within half a turn, in divisions above its start: 0 for
        closed faces. Leaves no doubt about the whole turn.

    Returns
    -------
    Sighting or Refusal
    """
    best = _best_look(photo.grey)
    if best is None:
        return Refusal((reason("no_gauge"),))
    if best.quality < LEAST_QUALITY and best.marks.present < PRESENT:
        return Refusal((reason("no_gauge"),), evidence=evidence_of(best.matrix, None))
    if best.findings is None:
        return Refusal((reason(best.missing),), evidence=evidence_of(best.matrix, None))
    mirrored = _mirrored_probability(best, scale)
    if mirrored > MIRRORED:
        return Refusal((reason("mirrored"),), evidence=evidence_of(best.matrix, best.findings))
    # However sure one look is: of 63 surer than 0.99 (tune), the other shook 2 that were wrong
    again = _look_once(photo.grey, _aside(best.pose)).findings
    looks = [best.findings] + ([again] if again else [])
    return _decided(best, looks, Known(scale, edge_set_mm, near_divisions), 1.0 - mirrored)


def _best_look(grey: NDArray[np.uint8]) -> Look | None:
    """Look closely at the likeliest places until one is good; the best of them."""
    best: Look | None = None
    for place in find(grey)[:MOST_POSES]:
        seen = look(grey, place.pose)
        if best is None or seen.quality > best.quality:
            best = seen
        if best.quality > GOOD_LOOK:
            break
    return best


def _mirrored_probability(seen: Look, scale: Scale | None) -> float:
    """How likely the close-up is a mirror image; looks at it flipped where that is in doubt."""
    if scale is None:
        scale = _likely_scale(seen.findings)
    if not mirror.doubtful(seen.marks, seen.findings, scale):
        return 0.0
    upright = Pose(*closeup.ORIGIN, 0.0, closeup.SLEEVE_DIAMETER_PX)
    flipped = _look_once(np.ascontiguousarray(seen.grey[::-1]), upright)
    return mirror.mirrored_probability(
        seen.marks, seen.findings, flipped.marks, flipped.findings, scale
    )


def _likely_scale(found: Findings | None) -> Scale:
    """Give a scale of the trade with as many divisions as the thimble seems to have."""
    fits = {s: thimble.fit_cylinder(found.bevel, s.divisions)[2] for s in KNOWN_SCALES if found}
    return max(fits or KNOWN_SCALES, key=lambda s: fits.get(s, 0.0))


def _aside(pose: Pose) -> Pose:
    """A pose a little beside another: what is seen from both is not an accident of the pixels."""
    shift = 0.035 * pose.sleeve_diameter_px
    return Pose(
        pose.x + shift,
        pose.y - shift,
        pose.angle_rad + 0.02,
        pose.sleeve_diameter_px * 0.93,
        pose.probability,
    )


@dataclass(frozen=True)
class Known:
    """What is known of the gauge before its photo is looked at."""

    scale: Scale | None
    edge_set_mm: tuple[float, float] | None
    near_divisions: float | None


@dataclass(frozen=True)
class Weighed:
    """All looks weighed under the likeliest scale."""

    posterior: Posterior
    share: float  # probability of that scale among those tried
    first_log_evidence: float  # of the first look alone, under that scale


def _decided(
    seen: Look, looks: list[Findings], known: Known, upright_probability: float
) -> Sighting | Refusal:
    """Decide between a sighting and a refusal; `looks` are the findings of `seen` and beside it."""
    weighed = _weighed(looks, known)
    chosen = weighed.posterior
    evidence = evidence_of(seen.matrix, looks[0], chosen)
    shrink = seen.pose.sleeve_diameter_px / closeup.SLEEVE_DIAMETER_PX
    px = chosen.grating.radius * shrink * 2 * math.pi / chosen.scale.divisions
    probability = chosen.probability
    share = weighed.share * upright_probability
    confidence = share * decide.within_one_division(chosen.shown, probability, chosen.shown[0])
    alternatives = tuple(
        _alternative(chosen.scale, s, share * float(p))
        for s, p in zip(chosen.shown[: decide.MOST_ALTERNATIVES], probability, strict=False)
        if p > 1e-4
    )
    reasons = _objections(seen, looks[0], weighed, known, px)
    open_turn = _turn_is_open(chosen.shown, probability, chosen.scale.divisions)
    if (open_turn or confidence < ACCEPT) and not reasons:
        reasons = [reason(_doubt(looks[0], chosen, open_turn))]
    if reasons:
        return Refusal(tuple(reasons), chosen.scale, alternatives, px, evidence)
    best = _alternative(chosen.scale, float(chosen.shown[0]), confidence)
    return Sighting(
        chosen.scale,
        known.scale is not None,
        weighed.share if known.scale is None else 1.0,
        best.turns,
        best.division,
        chosen.u_division,
        confidence,
        px,
        chosen.grating.roll_rad,
        chosen.parallax_divisions,
        alternatives,
        evidence,
    )


def _weighed(looks: list[Findings], known: Known) -> Weighed:
    """Weigh one or two looks under the named scale, or under every scale of the trade."""
    candidates = [(known.scale, 1.0)] if known.scale else list(_customary_scales())
    named = known.scale is not None
    firsts, posteriors = [], []
    for tried, _ in candidates:
        each = [decide.weigh(f, tried, known.edge_set_mm, named=named) for f in looks]
        merged = decide.merge(*each) if len(each) == 2 else each[0]
        firsts.append(each[0].log_evidence)
        posteriors.append(decide.within_half_a_turn(merged, known.near_divisions))
    evidences = np.array([p.log_evidence for p in posteriors])
    evidences += np.log([share for _, share in candidates])
    shares = np.exp(evidences - evidences.max())
    best = int(np.argmax(evidences))
    return Weighed(posteriors[best], float(shares.max() / shares.sum()), firsts[best])


def _customary_scales() -> Iterator[tuple[Scale, float]]:
    """Yield the trade's scales with the range starts that sleeves are numbered from."""
    for scale in KNOWN_SCALES:
        for start, share in STARTS_MM.items():
            if scale.unit == "mm":
                yield replace(scale, start=start), share
        if scale.unit == "in":
            yield scale, 1.0


def _alternative(scale: Scale, shown: float, probability: float) -> Alternative:
    turns = math.floor(shown / scale.divisions)
    return Alternative(turns, float(shown - turns * scale.divisions), probability)


def _objections(seen: Look, f: Findings, weighed: Weighed, known: Known, px: float) -> list[Reason]:
    """What forbids a reading, whatever its probability."""
    chosen, out = weighed.posterior, []
    if px < LEAST_PX_PER_DIVISION:
        out.append(reason("too_small", px, LEAST_PX_PER_DIVISION))
    if f.edge.x0 - f.axis.first_x < SHORT_LINE_PX or f.axis.strength < LEAST_LINE:
        out.append(reason("line_hidden"))
    if chosen.grating.evenness < LEAST_EVENNESS:
        out.append(reason(_why_no_lines(seen, f)))
    if known.scale is None:
        if weighed.share < ACCEPT:
            out.append(reason("scale_ambiguous", weighed.share, ACCEPT))
    elif _another_grating(f, chosen.grating) or _another_pitch(f, weighed, known):
        out.append(reason("scale_mismatch"))
    if (
        not chosen.scale.reversed
        and len(f.on_thimble) > 1
        and decide.numbers_run_backwards(f, chosen.scale) > REVERSED_LOG_RATIO
    ):
        out.append(reason("reversed_numbers"))
    if known.near_divisions is None and _sleeve_is_bare(f):
        out.append(reason("sleeve_unread"))
    return out


def _another_grating(f: Findings, on: Grating) -> bool:
    """Tell whether the thimble speaks clearly for other divisions than the named ones."""
    others = [thimble.fit_cylinder(f.bevel, n)[2] for n in thimble.GRATINGS if n != on.divisions]
    return max(others) > on.coherence + MISMATCH


def _another_pitch(f: Findings, weighed: Weighed, known: Known) -> bool:
    """Tell whether the first look speaks clearly for another pitch of the trade than the named."""
    named = weighed.posterior.scale
    rivals = [
        replace(rival, start=named.start, reversed=named.reversed)
        for rival in KNOWN_SCALES
        if (rival.unit, rival.divisions) == (named.unit, named.divisions)
        and rival.pitch != named.pitch
    ]
    enough = weighed.first_log_evidence + ANOTHER_PITCH
    return any(decide.weigh(f, r, known.edge_set_mm).log_evidence > enough for r in rivals)


def _turn_is_open(
    shown: NDArray[np.float64], probability: NDArray[np.float64], divisions: int
) -> bool:
    """Tell whether a reading one whole turn from the best is nearly as likely."""
    turn = np.abs(np.abs(shown - shown[0]) - divisions) < 0.5
    return bool(probability[turn].sum() > NEXT_TURN * probability[0])


def _why_no_lines(seen: Look, f: Findings) -> str:
    """Tell glare, blur and a bare drum apart beside the edge."""
    x, y = int(f.edge.x0), int(f.axis.y0)
    part = seen.grey[max(y - 40, 0) : y + 40, max(x - 30, 0) : x + 30]
    if part.size == 0 or f.visible_to_x < f.edge.x0 + LEAST_BEVEL_PX:
        return "cut_off"
    if np.mean(part > 250) > 0.5 or np.mean(part < 4) > 0.5:
        return "glare"
    sharp = float(np.abs(np.diff(part.astype(np.float32), axis=0)).mean())
    return "no_divisions" if sharp > 6.0 else "blurred"


def _sleeve_is_bare(f: Findings) -> bool:
    """Tell whether neither a graduation nor a number of the sleeve was clearly seen."""
    clear = any(t.clearness > CLEAR_TOOTH for t in f.teeth)
    return not clear and not any(p.heat > 0.25 for p in f.on_sleeve)


def _doubt(f: Findings, chosen: Posterior, open_turn: bool) -> str:
    """Why no reading stands out: the code of the reason."""
    if not any(p.heat > 0.25 for p in f.on_thimble):
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
