"""A page for one student: each photo, the working, the slip, and how not to make it again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from decimal import Decimal

from reading.length import plain, trimmed
from reading.marking.catalogue import BY_CODE, Slip
from reading.marking.habits import Habit
from reading.marking.marked import EYES, LEFT_OUT, Marked, slips_of
from reading.marking.marks import leading
from reading.marking.results import Student
from reading.notices import CAUTION
from reading.pages import html
from reading.result import Reading

ITEM_WORDS = {
    "sleeve": "sleeve",
    "division": "division",
    "zero_correction": "zero correction",
    "final_value": "value",
    "unit": "unit",
    "decimals": "decimals",
}
VERDICTS = {"right": "right", "within": "right within the tolerance", "wrong": "not right"}
WAITS = "Your instructor looks at this one before it is marked."
MOST_NAMED = 3  # slips that fit equally: more would not help a student


def student_page(student: Student, habits: Sequence[Habit]) -> str:
    """Lay a student's page out."""
    practise = to_practise(student.marked)
    parts = [html.paragraph(_total(student), "result")]
    parts += [html.paragraph(practise)] if practise else []
    for habit in habits:
        parts.append(html.paragraph(_habit(habit)))
    for number, one in enumerate(student.marked, start=1):
        parts.append(html.together(_observation(number, one)))
    return html.page(f"Micrometer readings of {student.name}", parts, CAUTION)


def _total(student: Student) -> str:
    """Say how many points there are in all."""
    waiting = f" ({student.waiting} not marked yet)" if student.waiting else ""
    if not student.out_of:
        return f"No marks yet{waiting}"
    return f"{trimmed(student.points)} of {trimmed(student.out_of)} points{waiting}"


def to_practise(marked: Sequence[Marked]) -> str:
    """Say what went wrong how often, and what to do about the most frequent; empty for nothing."""
    wrong = [one for one in marked if slips_of(one)]
    if not wrong:
        return ""
    sure = Counter(code for one in wrong if not _ambiguous(one) for code in slips_of(one))
    told = [
        f"{BY_CODE[code].sentence}{f' ({count} times)' if count > 1 else ''}"
        for code, count in sure.most_common()
    ]
    unsure = sum(_ambiguous(one) for one in wrong)
    if unsure:
        told.append(f"{unsure} that may have come about in several ways, shown below")
    first = f" Begin with this: {BY_CODE[sure.most_common(1)[0][0]].avoid}" if sure else ""
    return f"To practise: {'; '.join(told)}.{first}"


def _ambiguous(one: Marked) -> bool:
    """Tell whether several slips lead to what was written, and nobody decided which it was."""
    decided = one.decision is not None and one.decision.slip
    return (
        not decided and one.judgement is not None and len(leading(one.judgement.explanations)) > 1
    )


def _habit(habit: Habit) -> str:
    side = "low" if habit.divisions < 0 else "high"
    return (
        f"Over {habit.readings} readings you are always {side}, by about "
        f"{abs(habit.divisions):.1f} divisions: it may be that {habit.slip.sentence}. "
        f"{habit.slip.avoid}"
    )


def _observation(number: int, one: Marked) -> list[str]:
    """Show one observation."""
    observation = one.observation
    title = f"Observation {observation.order or number}"
    about = [observation.thing, f"gauge {observation.gauge}" if observation.gauge else ""]
    said = ", ".join(part for part in (title, *about) if part)
    parts = [html.heading(said)]
    if one.status == EYES:
        parts.append(html.paragraph(WAITS))
    elif one.status == LEFT_OUT:
        parts.append(html.paragraph("This one is not counted."))
    elif one.judgement is not None:
        parts += [html.paragraph(_headline(one)), *_slips(one)]
    if one.decision is not None and one.decision.note:
        parts.append(html.paragraph(f"Your instructor writes: {one.decision.note}"))
    if one.status != EYES:
        points = [_points(one)] if one.items else []
        parts.append(html.beside(_own_photo(one), [*points, html.working(working(one))]))
    # What an unsure photo seems to show is no business of the student's.
    if one.seen is not None and one.seen.closeup is not None and one.status != EYES:
        parts.append(
            html.jpeg(
                one.seen.closeup.read_bytes(),
                "What was seen in your photo: not right? Tell your instructor.",
            )
        )
    return parts


def _own_photo(one: Marked) -> list[tuple[str, bytes]]:
    """Give the student's photo, small; no unsure one, where nobody can say yet what it shows."""
    if one.seen is None or one.seen.photo is None or one.status == EYES:
        return []
    return [(f"Your photo ({one.observation.photo})", one.seen.photo.read_bytes())]


def _headline(one: Marked) -> str:
    assert one.judgement is not None
    verdict = VERDICTS[one.status]
    points = "" if one.points is None else f": {trimmed(one.points)} points"
    return f"{verdict[0].upper()}{verdict[1:]}{points}."


def _slips(one: Marked) -> list[str]:
    """Say what went wrong and how to avoid it; all that fits is named."""
    judgement = one.judgement
    if judgement is None or (one.status == "right" and not judgement.form):
        return []
    fits = leading(judgement.explanations) if one.status != "right" else ()
    fits = tuple(fit for fit in fits if fit.slips)
    parts = []
    if one.status == "wrong" and not fits and not judgement.form:
        parts.append(
            "No usual slip leads to your number: compare your working with the one below, and ask."
        )
    if len(fits) > 1:
        parts.append("Your numbers fit more than one slip. You know best which it was:")
    texts = [_advice(fit.slips) for fit in fits[:MOST_NAMED]]
    spelled = {slip.code for fit in fits for slip in fit.slips}
    form = [_advice((slip,)) for slip in judgement.form if slip.code not in spelled]
    return [
        *(html.paragraph(part) for part in parts),
        html.items(texts),
        *(html.paragraph(text) for text in form),
    ]


def _advice(slips: Sequence[Slip]) -> str:
    """Name a slip, or two together, and the way out."""
    names = ", and ".join(slip.sentence for slip in slips)
    feedback = " ".join(slip.feedback for slip in slips)
    avoid = " ".join(slip.avoid for slip in slips)
    return f"{names[0].upper()}{names[1:]}. {feedback} Next time: {avoid}"


def _points(one: Marked) -> str:
    """Show the points by item."""
    rows = [
        (ITEM_WORDS[item.name], f"{trimmed(item.points)} of {trimmed(item.out_of)}", item.why)
        for item in one.items
        if item.points is not None
    ]
    return html.table(("item", "points", ""), rows)


def working(one: Marked) -> list[str]:
    """Write the right working beside what was written, line by line."""
    truth, yours = one.truth, wrote(one)
    if truth is None:
        return [f"You wrote: {yours}"]
    result = one.seen.result if one.seen is not None else None
    scale, unit = truth.scale, truth.scale.unit
    sleeve = scale.start + truth.turns * scale.pitch
    division = Decimal(repr(round(truth.division, 3)))
    division = result.division if isinstance(result, Reading) else division
    least = trimmed(scale.least_count)
    shown = sleeve + division * scale.least_count
    lines = [
        f"Least count: {scale.pitch} {unit} ÷ {scale.divisions} = {least} {unit}",
        f"Sleeve:      {plain(sleeve)} {unit}",
        f"Thimble:     {plain(division)} × {least} = {plain(division * scale.least_count)} {unit}",
        f"Shown:       {plain(sleeve)} + {plain(division * scale.least_count)} = "
        f"{plain(shown)} {unit}",
    ]
    zero = truth.zero_error
    if zero is not None:
        signed = plain(zero, signed=True)
        lines.append(f"Corrected:   {plain(shown)} − ({signed}) = {plain(shown - zero)} {unit}")
    return [*lines, f"You wrote:   {yours or 'nothing'}"]


def wrote(one: Marked) -> str:
    """List the numbers that were handed in, as written."""
    entry = one.observation.entry
    written = [
        ("sleeve", entry.sleeve.text),
        ("division", entry.division.text),
        ("reading", entry.reading.text),
        ("zero error", entry.zero.text),
        ("corrected", entry.corrected.text),
    ]
    return ", ".join(f"{name} {text}" for name, text in written if text)
