"""A page for one student: each photo, the working, the slip, and how not to make it again."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from reading.length import plain, trimmed
from reading.marking.catalogue import Slip
from reading.marking.habits import Habit
from reading.marking.marked import EYES, LEFT_OUT, Marked
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
    parts = [html.paragraph(_total(student), "result")]
    for habit in habits:
        parts.append(html.paragraph(_habit(habit)))
    for number, one in enumerate(student.marked, start=1):
        parts += _observation(number, one)
    return html.page(f"Micrometer readings of {student.name}", parts, CAUTION)


def _total(student: Student) -> str:
    """Say how many points there are in all."""
    waiting = f" ({student.waiting} not marked yet)" if student.waiting else ""
    if not student.out_of:
        return f"No marks yet{waiting}"
    return f"{trimmed(student.points)} of {trimmed(student.out_of)} points{waiting}"


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
        parts += [html.paragraph(_headline(one)), *_slips(one), _points(one)]
    if one.decision is not None and one.decision.note:
        parts.append(html.paragraph(f"Your instructor writes: {one.decision.note}"))
    if one.status != EYES:
        parts.append(html.working(working(one)))
    # What an unsure photo seems to show is no business of the student's.
    if one.seen is not None and one.seen.picture is not None and one.status != EYES:
        words = f"Your photo, and what was seen in it ({observation.photo})"
        parts.append(html.jpeg(one.seen.picture.read_bytes(), words))
    return parts


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
    truth, entry = one.truth, one.observation.entry
    written = [
        ("sleeve", entry.sleeve.text),
        ("division", entry.division.text),
        ("reading", entry.reading.text),
        ("zero error", entry.zero.text),
        ("corrected", entry.corrected.text),
    ]
    yours = ", ".join(f"{name} {text}" for name, text in written if text)
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
