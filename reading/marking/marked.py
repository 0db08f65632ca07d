"""From what was handed in and what was seen to marks: one value for each observation."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal

from reading.gauge import in_force
from reading.length import plain
from reading.marking.catalogue import BY_CODE, SLIPS
from reading.marking.decisions import MARKS, OUT, READS, RIGHT, WRONG, Decision, Place
from reading.marking.diagnosis import Prior, Truth, chance_of_misreading
from reading.marking.eyes import Hours, Reason, reason, same_files
from reading.marking.handed_in import Observation
from reading.marking.likeness import alike
from reading.marking.marks import WRONG as IS_WRONG
from reading.marking.marks import Asked, Item, Judgement, judge, leading
from reading.marking.photos import Seen, UsedGauge
from reading.marking.scheme import Scheme
from reading.marking.written import Sheet, explain_unreadable, read_entry
from reading.problem import Problem
from reading.result import FROM_PHOTO, Reading, Refused, Unusable
from vision.scale import KNOWN_SCALES

EYES, LEFT_OUT = "eyes", "out"
PRIOR_STRENGTH = 20.0  # decided marks that weigh as much as the default order; by judgement
MOST_TOLD = 3  # slips that are named with what was learned
U_READ_BY_PERSON = 0.1  # divisions: what a person tells apart by eye (common practice)


@dataclass(frozen=True)
class Marked:
    """One observation with all that is known of it.

    `reasons` say why a person has to look; where there are any and nothing was decided, there are
    no marks, and the judgement is what the tool would say.
    """

    observation: Observation
    seen: Seen | None
    used: UsedGauge
    sheet: Sheet | None = None
    truth: Truth | None = None
    judgement: Judgement | None = None
    reasons: tuple[Reason, ...] = ()
    decision: Decision | None = None

    @property
    def status(self) -> str:
        """Give right, within, wrong, eyes or out."""
        if self.decision is not None and self.decision.word in (RIGHT, WRONG, OUT):
            return LEFT_OUT if self.decision.word == OUT else self.decision.word
        if self.judgement is None or (self.reasons and self.decision is None):
            return EYES
        return self.judgement.verdict

    @property
    def undecidable(self) -> bool:
        """Whether what was decided needs a reading or a value that is not there."""
        return self.decision is not None and self.status == EYES

    @property
    def items(self) -> tuple[Item, ...]:
        """Give the items of the scheme, as decided; none while the case is open."""
        if self.status in (EYES, LEFT_OUT) or self.judgement is None:
            return ()
        return self.judgement.items

    @property
    def points(self) -> Decimal | None:
        """The points; None while the case is open, or left out."""
        if self.decision is not None and self.decision.points is not None:
            return self.decision.points
        if self.status in (EYES, LEFT_OUT) or self.judgement is None:
            return None
        return self.judgement.points

    @property
    def sure_photo(self) -> bool:
        """Whether the photo's own reading can be held against the student's."""
        unsure = {"photo_missing", "photo_unusable", "photo_refused", "other_gauge"}
        unsure |= {"low_confidence", "gauge_unknown"}
        return not unsure & {one.code for one in self.reasons} and self.truth is not None


@dataclass(frozen=True)
class Rules:
    """How a class is marked."""

    scheme: Scheme
    asked: Asked
    hours: Hours | None = None
    prior: Prior = field(default_factory=Prior)


def mark(
    observations: Sequence[Observation],
    seen: Sequence[Seen | None],
    gauges: Sequence[UsedGauge],
    decisions: Mapping[Place, Decision],
    rules: Rules,
) -> tuple[Marked, ...]:
    """Mark every observation; the three sequences go together.

    The same input gives the same marks, whatever was marked before.
    """
    shared = _shared(observations, seen)
    found = []
    for place, (observation, one, used) in enumerate(zip(observations, seen, gauges, strict=True)):
        marked = Marked(observation, one, used, decision=decisions.get(observation.place))
        found.append(_judged(marked, shared.get(place, ()), rules))
    return tuple(found)


def _judged(marked: Marked, shared: Sequence[Reason], rules: Rules) -> Marked:
    """Read the sheet, judge it where it can be, and say what needs eyes."""
    reasons = [*_photo_reasons(marked, rules), *shared]
    truth, decision = _truth(marked), marked.decision
    scale = truth.scale if truth is not None else marked.used.scale or KNOWN_SCALES[0]
    sheet = None
    try:
        sheet = read_entry(marked.observation.entry, scale)
    except Problem as problem:
        reasons.append(reason("not_understood", explain_unreadable(problem).rstrip(".")))
    judgement = None
    if sheet is not None and sheet.final is None:
        reasons.append(reason("nothing_written"))
    elif sheet is not None and truth is not None:
        sheet = replace(sheet, either=not rules.asked.zero_correction)
        judgement = judge(sheet, truth, rules.scheme, rules.asked, rules.prior)
        by_person = decision is not None and decision.word == READS
        if judgement.verdict == IS_WRONG and not by_person:
            reasons += _misread(marked, sheet, truth, (judgement.evidence, rules.scheme.misread))
    if decision is not None and decision.word in (RIGHT, WRONG, MARKS):
        judgement = _as_decided(judgement or _by_hand(rules, sheet), decision)
    return replace(marked, sheet=sheet, truth=truth, judgement=judgement, reasons=tuple(reasons))


def _truth(marked: Marked) -> Truth | None:
    """Give what the gauge showed: as the instructor read it, else as the photo was read."""
    result = marked.seen.result if marked.seen is not None else None
    reading = result if isinstance(result, Reading) else None
    if marked.decision is not None and marked.decision.length is not None:
        scale = reading.scale if reading else marked.used.scale or KNOWN_SCALES[0]
        above = (marked.decision.length.to(scale.unit).value - scale.start) / scale.least_count
        turns, division = divmod(float(above), scale.divisions)
        zero = reading.zero_error if reading else _zero_error(marked)
        return Truth(scale, int(turns), division, U_READ_BY_PERSON, zero)
    if reading is None:
        return None
    u_division = reading.sighting.u_division
    return Truth(
        reading.scale, reading.turns, float(reading.division), u_division, reading.zero_error
    )


def _zero_error(marked: Marked) -> Decimal | None:
    """Give the zero error of a photo that was not read: in force at its time, else the newest."""
    result = marked.seen.result if marked.seen is not None else None
    taken = result.photo.taken if isinstance(result, Refused) else None
    check = in_force(marked.used.checks, taken or datetime.max)
    return None if check is None else check.zero_error


def _by_hand(rules: Rules, sheet: Sheet | None) -> Judgement:
    """Give all points of what was asked for, where only the instructor can tell."""
    counts = {"zero_correction": rules.asked.zero_correction, "unit": rules.asked.unit}
    items = tuple(
        Item(name, points if counts.get(name, True) else None, points)
        for name, points in rules.scheme.points.items()
        if points
    )
    written = sheet.final.value if sheet is not None and sheet.final else Decimal(0)
    return Judgement(RIGHT, Decimal(0), written, (), (), items)


def _as_decided(judgement: Judgement, decision: Decision) -> Judgement:
    """Give the items as the instructor's word has them."""
    if decision.word == RIGHT:
        items = tuple(
            one if one.points is None else replace(one, points=one.out_of, why="")
            for one in judgement.items
        )
        return replace(judgement, items=items)
    if decision.word == WRONG:
        lost = ("sleeve", "division", "final_value")
        items = tuple(
            replace(one, points=Decimal(0), why="decided by the instructor")
            if one.name in lost
            else one
            for one in judgement.items
        )
        return replace(judgement, items=items)
    return judgement


def _photo_reasons(marked: Marked, rules: Rules) -> list[Reason]:
    """Say what of the photo needs eyes."""
    observation, found = marked.observation, []
    if marked.used.unknown:
        found.append(reason("gauge_unknown", marked.used.unknown))
    if observation.trouble:
        found.append(reason("photo_missing", observation.trouble.rstrip(".")))
    match marked.seen.result if marked.seen is not None else None:
        case Unusable(_, message):
            found.append(reason("photo_unusable", f"{observation.photo}: {message}"))
        case Refused(refusal=refusal):
            for one in refusal.reasons[:2]:
                other = one.code in ("scale_mismatch", "reversed_numbers")
                code = "other_gauge" if other else "photo_refused"
                found.append(reason(code, f"{one.message} [{one.code}]"))
        case Reading() as reading:
            if reading.sighting.confidence < rules.scheme.confidence:
                # Cut off, not rounded: what falls short must not look as if it reached the limit.
                least, cut = rules.scheme.confidence, int(100 * reading.sighting.confidence) / 100
                found.append(reason("low_confidence", f"{cut:.2f}, and {least:g} is needed"))
            taken = reading.when
            outside = rules.hours is not None and not rules.hours.hold(taken.at)
            if taken.source == FROM_PHOTO and outside:
                found.append(reason("outside_hours", f"{taken.at:%Y-%m-%d %H:%M}"))
    return found


def _misread(
    marked: Marked, sheet: Sheet, truth: Truth, known: tuple[float, float]
) -> list[Reason]:
    """Say whether the photo may show what the student wrote after all."""
    result = marked.seen.result if marked.seen is not None else None
    if not isinstance(result, Reading):
        return []
    others = [
        (one.turns, one.division, one.probability)
        for one in result.sighting.alternatives
        if abs(one.turns * truth.scale.divisions + one.division - truth.shown_divisions) > 1
    ]
    evidence, most = known
    if chance_of_misreading(sheet, truth, others, evidence) < most:
        return []
    named = ", ".join(
        f"{plain(one.shown)} {truth.scale.unit}"
        for one in result.alternatives[1:3]
        if one.probability > 0
    )
    return [reason("photo_may_differ", f"it may be {named}; look at the sleeve's last line")]


def _shared(
    observations: Sequence[Observation], seen: Sequence[Seen | None]
) -> dict[int, list[Reason]]:
    """Find photos that were handed in twice, the same or nearly so."""
    hashes = [
        (observation.student, observation.photo, _sha256(one))
        for observation, one in zip(observations, seen, strict=True)
    ]
    found: dict[int, list[Reason]] = {}
    same = same_files(hashes)
    for place, others in same.items():
        found[place] = [reason("seen_twice", _who(observations, others))]
    prints = [
        (place, one.known_by)
        for place, one in enumerate(seen)
        if one is not None and one.known_by is not None and one.known_by.whole.any()
    ]
    near: dict[int, list[int]] = {}
    for i, j in alike([one for _, one in prints]):
        first, second = prints[i][0], prints[j][0]
        if observations[first].place[:2] != observations[second].place[:2]:
            near.setdefault(first, []).append(second)
            near.setdefault(second, []).append(first)
    for place, others in near.items():
        other = [one for one in others if one not in same.get(place, [])]
        if other:
            said = reason("nearly_the_same", _who(observations, other))
            found.setdefault(place, []).append(said)
    return found


def _sha256(seen: Seen | None) -> str:
    """Give a photo's content hash, empty where there is none."""
    if seen is None or isinstance(seen.result, Unusable):
        return ""
    return seen.result.photo.sha256


def _who(observations: Sequence[Observation], places: Sequence[int]) -> str:
    return ", ".join(f"{observations[one].student} ({observations[one].photo})" for one in places)


def learn(marked: Sequence[Marked]) -> Prior:
    """Learn the order of suspicion from what is decided in a class.

    Notes
    -----
    Counted are slips that the instructor named, and sure photos where one single slip explains all
    that was written. The default order counts as much as `PRIOR_STRENGTH` decided marks, so that
    a few don't turn it over.
    """
    counts: Counter[str] = Counter()
    for one in marked:
        if one.decision is not None and one.decision.slip:
            counts[one.decision.slip] += 1
        elif one.judgement is not None and one.status == IS_WRONG:
            fits = leading(one.judgement.explanations)
            if len(fits) == 1 and len(fits[0].slips) == 1:
                counts[fits[0].codes[0]] += 1
    default = Prior()
    weights = {
        slip.code: PRIOR_STRENGTH * default.share(slip) + counts[slip.code] for slip in SLIPS
    }
    if not counts:
        return replace(default, origin=f"{default.origin}; no mark to learn from is decided yet")
    often = ", ".join(
        f"{BY_CODE[code].sentence} ({n})" for code, n in counts.most_common(MOST_TOLD)
    )
    origin = f"learned from {counts.total()} decided marks of this class, most often: {often}"
    return Prior(weights, origin)


def slips_of(marked: Marked) -> tuple[str, ...]:
    """Give the codes of an observation's slips, as decided or as likeliest; only once closed."""
    if marked.decision is not None and marked.decision.slip:
        return (marked.decision.slip,)
    right = marked.decision is not None and marked.decision.word in (RIGHT, OUT)
    if marked.judgement is None or marked.status in (EYES, LEFT_OUT) or right:
        return ()
    return tuple(slip.code for slip in marked.judgement.slips)


def tells(marked: Marked) -> str:
    """Say in a few words what the tool says about an observation."""
    if marked.judgement is None or marked.truth is None:
        return ""
    names = ", ".join(slip.code for slip in marked.judgement.slips)
    should = f"{plain(marked.judgement.should_be)} {marked.truth.scale.unit}"
    return f"{marked.judgement.verdict}, should be {should}" + (f"; {names}" if names else "")
