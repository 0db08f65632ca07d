"""From a photo to a sighting or a refusal: the order of the stages, and nothing else."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from vision import (
    closeup,
    combs,
    decide,
    divisions,
    gap,
    lines,
    marks,
    mirror,
    numerals,
    objections,
    silhouettes,
    teeth,
    thimble,
    trust,
)
from vision.closeup import Pose
from vision.decide import Findings
from vision.evidence import evidence_of
from vision.finder import find, pose_again
from vision.marks import Marks
from vision.photo import Photo
from vision.pixels import place_edge, place_line
from vision.reasons import reason
from vision.scale import KNOWN_SCALES, Scale
from vision.sighting import Alternative, Refusal, Sighting
from vision.weighing import Known, Weighed, weigh_looks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vision.finder import Found
    from vision.gap import Gap
    from vision.lines import Axis, Edge

    Placed = tuple[Axis, Edge]

LEAST_QUALITY = 0.25  # of a close-up that may hold a scale although the network doubts it
PRESENT = 0.5  # probability of a scale being there
MOST_POSES = 3  # places of a photo that are looked at closely
# How far off the fitted pose a first look may be to stand. With 300 pictures of tune read either
# way, 72 % were accepted; 7 of them were wrong, and 8 where 0.015 and 0.03 were allowed
NEAR_TURN_RAD, NEAR_SHARE = 0.10, 0.20
MIRRORED = 0.5  # probability from which a picture is called mirrored; below, it is doubted
GOOD_LOOK = 0.55  # quality of a close-up from which no other place is tried
# Where a photo is looked at from besides (`_beside`): once in any case, and from each further place
# while the reading stays open. OPEN are the reasons that say so
ASIDE = (0.035, -0.035, 0.02, 0.93)
FURTHER = ((-0.035, 0.035, -0.02, 1.07), (0.0, 0.0, -0.03, 0.86))
OPEN = frozenset(
    ("turn_ambiguous", "scale_ambiguous", "sleeve_unread", "thimble_unread", "uncertain")
)
FITTED_COHERENCE = 0.25  # from which the divisions tell the size of the thimble


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
        line = max(self.findings.axis.strength, self.findings.at_line)
        seen = min(line, 1.0) * min(1.0, 0.3 + self.findings.edge.strength)
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


def _look_once(grey: NDArray[np.uint8], pose: Pose, line: Axis | None = None) -> Look:
    """Look closely at one place; where the line is known it is not looked for."""
    matrix = closeup.photo_to_closeup(pose)
    cut = closeup.cut(grey, matrix)
    inside = closeup.inside(grey.shape, matrix)
    seen = marks.read_marks(cut).within(inside)
    if line is None:
        placed, beside, missing = _find_line(grey, matrix, seen)
    else:
        placed, beside, missing = _placed(grey, matrix, seen, line), None, "cut_off"
    if placed is None:
        return Look(pose, matrix, cut, seen, None, missing)
    axis, edge = placed
    outline = silhouettes.fit_outline(seen.ridge("silhouette"), axis, edge)
    strip = divisions.strip_of(grey, matrix, axis, edge)
    bevel = thimble.unroll(seen.ridge("division"), axis, edge, outline, strip)
    places = marks.places(seen)
    graduation = seen.ridge("graduation")
    found, shear = teeth.find_teeth(graduation, axis, edge)
    if len(found) < combs.FEW:  # a stroke of a number would weigh as much as they do
        found, shear = teeth.find_teeth(teeth.unlettered(graduation, places), axis, edge)
    over_x = lines.over_sleeve_x(edge, outline)
    level = inside[int(np.clip(axis.y0, 0, closeup.SIZE[1] - 1))]
    outside = np.flatnonzero(~level[: max(int(edge.x0), 1)])
    findings = Findings(
        axis,
        edge,
        outline,
        bevel,
        found,
        shear,
        combs.find_combs(found, over_x, lines.facing_sine(edge, outline)),
        numerals.read(grey, matrix, [n for n in places if n.on == "sleeve" and n.x < edge.x0 + 4]),
        numerals.read(grey, matrix, [n for n in places if n.on == "thimble" and n.x > edge.x0 + 4]),
        float(outside[-1] + 1 if outside.size else 0),
        over_x,
        float(np.flatnonzero(level)[-1] if level.any() else 0),
        beside,
    )
    return Look(pose, matrix, cut, seen, findings, "")


def _find_line(
    grey: NDArray[np.uint8], matrix: NDArray[np.float64], seen: Marks
) -> tuple[Placed | None, Gap | None, str]:
    """Find line and edge where the marks show them, or where the gap network sees the line instead.

    Gives them with what that network says beside them, or the code of what is missing.
    """
    ridge = lines.less_vernier(seen.ridge("reference_line"), seen.ridge("vernier"))
    rough = lines.fit_edge(seen.ridge("edge"), closeup.ORIGIN[1])
    slope = -rough.across if rough else 0.0
    axis = guess = lines.fit_axis(ridge, slope)
    if guess is None and rough:
        guess = lines.unseen_axis(rough.x0, closeup.ORIGIN[1], slope)
    if guess is None:
        return None, None, "line_hidden"
    placed = _placed(grey, matrix, seen, guess)
    if placed is None:
        return None, None, "cut_off" if axis else "line_hidden"
    beside = gap.look(grey, matrix, *placed)
    below = beside.line_px
    if axis and (beside.at_line >= gap.BELIEVED or below is None):
        return placed, beside, ""
    if below is None:
        return None, None, "line_hidden"
    first, edge = placed
    x, y = float(edge.x_at(below)), first.y0 + below
    moved = lines.fit_axis(ridge, slope, (x, y)) or lines.unseen_axis(x, y, slope)
    placed = _placed(grey, matrix, seen, moved)
    if placed is None:
        return None, None, "cut_off"
    return placed, gap.look(grey, matrix, *placed), ""


def _placed(
    grey: NDArray[np.uint8], matrix: NDArray[np.float64], seen: Marks, axis: Axis
) -> Placed | None:
    """Place a line and the edge it leads to by the photo's own pixels; None without an edge."""
    edge = lines.fit_edge(seen.ridge("edge"), axis.y0)
    if edge is None:
        return None
    axis = replace(axis, x_edge=edge.x0, y0=float(axis.y_at(edge.x0)))
    axis = place_line(grey, matrix, axis)
    return axis, place_edge(grey, matrix, axis, edge)


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
        cut_off = best.findings is not None and objections.is_cut_off(best.findings)
        code = "cut_off" if cut_off else "no_gauge"
        return Refusal((reason(code),), evidence=evidence_of(best.matrix, None))
    if best.findings is None:
        code = objections.why_nothing(best.grey, best.pose.sleeve_diameter_px, best.missing)
        return Refusal((reason(code),), evidence=evidence_of(best.matrix, None))
    mirrored = _mirrored_probability(best, scale)
    if mirrored > MIRRORED:
        return Refusal((reason("mirrored"),), evidence=evidence_of(best.matrix, best.findings))
    known = Known(scale, edge_set_mm, near_divisions)
    # However sure one look is: of 63 surer than 0.99 (tune), the other shook 2 that were wrong
    aside = _look_once(photo.grey, _beside(best.pose, ASIDE))
    other = (aside.findings, aside.matrix) if aside.findings is not None else None
    trusted = (1.0 - mirrored, trust.line_probability((best.findings, best.matrix), other))
    found = [look.findings for look in (best, aside) if look.findings is not None]
    decided = _decided(best, found, weigh_looks(found, known), known, trusted)
    for off in FURTHER:
        if not _is_open(decided) or math.prod(trusted) < objections.ACCEPT:
            break
        further = _look_once(photo.grey, _beside(best.pose, off)).findings
        if further is not None:
            found.append(further)
            decided = _decided(best, found, weigh_looks(found, known), known, trusted)
    return decided


def _best_look(grey: NDArray[np.uint8]) -> Look | None:
    """Look closely at the likeliest places until one is good; the best of them."""
    best = _best_of(grey, find(grey), None)
    if best is None or best.findings is not None or best.marks.present < PRESENT:
        return best
    return _best_of(grey, pose_again(grey, best.pose), best)


def _best_of(grey: NDArray[np.uint8], places: tuple[Found, ...], best: Look | None) -> Look | None:
    """Look at the likeliest of some places until one is good; the best of these and `best`."""
    for place in places[:MOST_POSES]:
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
    line = seen.findings.axis.flipped(closeup.SIZE[1]) if seen.findings else None
    flipped = _look_once(np.ascontiguousarray(seen.grey[::-1]), upright, line)
    return mirror.mirrored_probability(
        seen.marks, seen.findings, flipped.marks, flipped.findings, scale
    )


def _likely_scale(found: Findings | None) -> Scale:
    """Give a scale of the trade with as many divisions as the thimble seems to have."""
    fits = {s: thimble.fit_cylinder(found.bevel, s.divisions)[2] for s in KNOWN_SCALES if found}
    return max(fits or KNOWN_SCALES, key=lambda s: fits.get(s, 0.0))


def _beside(pose: Pose, off: tuple[float, float, float, float]) -> Pose:
    """A pose a little beside another: what is seen from both is not an accident of the pixels.

    `off`: x and y in sleeve diameters, turn in radians, and how many times as large a sleeve.
    """
    x, y, turn, larger = off
    diameter = pose.sleeve_diameter_px
    return Pose(
        pose.x + x * diameter,
        pose.y + y * diameter,
        pose.angle_rad + turn,
        diameter * larger,
        pose.probability,
    )


def _is_open(decided: Sighting | Refusal) -> bool:
    """Tell whether no reading stood out, with nothing else that speaks against one."""
    return isinstance(decided, Refusal) and {r.code for r in decided.reasons} <= OPEN


def _decided(
    seen: Look, looks: list[Findings], weighed: Weighed, known: Known, trusted: tuple[float, float]
) -> Sighting | Refusal:
    """Decide between a sighting and a refusal; `looks` are the findings of `seen` and beside it.

    `trusted` are the probabilities of the picture not being mirrored and of the line being it.
    """
    chosen = weighed.posterior
    evidence = evidence_of(seen.matrix, looks[0], chosen)
    shrink = seen.pose.sleeve_diameter_px / closeup.SLEEVE_DIAMETER_PX
    px = chosen.grating.radius * shrink * 2 * math.pi / chosen.scale.divisions
    probability = chosen.probability
    share = weighed.share * math.prod(trusted)
    confidence = share * decide.within_one_division(chosen.shown, probability, chosen.shown[0])
    alternatives = tuple(
        _alternative(chosen.scale, s, share * float(p))
        for s, p in zip(chosen.shown[: decide.MOST_ALTERNATIVES], probability, strict=False)
        if p > 1e-4
    )
    reasons = objections.against(seen.grey, looks[0], weighed, known, px)
    reasons = reasons or objections.doubts(seen.grey, looks[0], chosen, confidence, trusted)
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


def _alternative(scale: Scale, shown: float, probability: float) -> Alternative:
    turns = math.floor(shown / scale.divisions)
    return Alternative(turns, float(shown - turns * scale.divisions), probability)
