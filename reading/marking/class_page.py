"""The instructor's page: how the class did, which slips, which gauges, who should be seen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from statistics import fmean, median

from reading.length import plain, trimmed
from reading.marking.agreement import COVERED, kappa, limits_of_agreement
from reading.marking.catalogue import BY_CODE
from reading.marking.decisions import RIGHT, WRONG
from reading.marking.diagnosis import Prior
from reading.marking.habits import Habit
from reading.marking.marked import EYES, LEFT_OUT, Marked, slips_of
from reading.marking.marks import leading
from reading.marking.results import Student, provisional
from reading.marking.student_page import MOST_NAMED, VERDICTS, wrote
from reading.notices import CAUTION
from reading.pages import html
from reading.pages.drawing import Dot, Drawing, Mark, Stroke, Words, svg
from reading.pages.plot import INK, Frame, Level, axis
from reading.result import LengthAlternative, Reading

BARS = 10  # of the distribution: steps of ten percent
SEEN_BELOW = 50  # percent: who has less should be seen (common practice)
SEEN_FROM = 2  # times the same slip
_RIGHT_WORDS = ("right", "r", "yes", "y", "true", "1", "correct", "within", "ok", "✓")
_WRONG_WORDS = ("wrong", "w", "no", "n", "false", "0", "incorrect", "x", "✗")
FEWEST_OF_A_GAUGE = 3
MOST_SHOWN = 3  # readings that a photo may show: the others hardly ever count
UNDECIDABLE = "trust needs a photo that was read, and reads a value that was handed in"
_COPIES = {"seen_twice", "nearly_the_same"}


def class_page(
    students: Sequence[Student],
    habits: dict[str, list[Habit]],
    prior: Prior,
    notes: Sequence[str] = (),
) -> str:
    """Lay the class's page out; `notes` stand high on it."""
    everything = [one for student in students for one in student.marked]
    marks = html.drawing(svg(_distribution(students)), "Students by percent of their points")
    parts = [
        html.paragraph(summary(everything), "result"),
        *(html.paragraph(note) for note in notes),
        *html.sections(
            [
                ("Who should be seen", [_to_be_seen(students, habits)]),
                ("For your eyes", _eyes(everything)),
                ("Marks", [marks, _students(students)]),
                ("Slips", [_slips(everything, prior)]),
                ("Gauges", [_gauges(everything)]),
                ("Students against photos", _agreement(everything)),
            ]
        ),
    ]
    return html.page("The class", parts, CAUTION)


def summary(everything: Sequence[Marked]) -> str:
    """Count observations by status."""
    counts = Counter(one.status for one in everything)
    words = {
        "right": "right",
        "within": "within the tolerance",
        "wrong": "wrong",
        EYES: "for your eyes",
        LEFT_OUT: "left out",
    }
    told = [f"{counts[key]} {name}" for key, name in words.items() if counts[key]]
    return f"{len(everything)} observations: {', '.join(told)}"


def _to_be_seen(students: Sequence[Student], habits: dict[str, list[Habit]]) -> str:
    """Name students with few points, with one slip again and again, or with a habit."""
    lines = []
    for student in sorted(students, key=lambda one: (one.percent is None, one.percent or 0)):
        why = []
        if student.percent is not None and student.percent < SEEN_BELOW:
            why.append(f"{trimmed(student.percent)} % of the points")
        counts = Counter(code for one in student.marked for code in slips_of(one))
        why += [
            f"{count} times: {BY_CODE[code].sentence}"
            for code, count in counts.most_common()
            if count >= SEEN_FROM
        ]
        why += [
            f"all {one.readings} {one.divisions:+.1f} divisions: {one.slip.sentence}"
            for one in habits.get(student.name, [])
        ]
        if why:
            lines.append(f"{student.name} (no. {student.number}): {'; '.join(why)}")
    return html.items(lines) or html.paragraph("Nobody in particular.")


def _distribution(students: Sequence[Student]) -> Drawing:
    """Draw how many students have how many percent."""
    percents = [float(one.percent) for one in students if one.percent is not None]
    counts = Counter(min(int(one // (100 / BARS)), BARS - 1) for one in percents)
    width, height, left, low = 720, 220, 40, 190
    each = (width - 2 * left) / BARS
    tallest = max([*counts.values(), 1])
    marks: list[Mark] = [Stroke(((left, low), (width - left, low)))]
    for place in range(BARS + 1):
        marks.append(Words((left + place * each, low + 16), f"{place * 100 // BARS} %", "middle"))
    for place, count in sorted(counts.items()):
        x, top = left + place * each + 4, low - 150 * count / tallest
        wide = each - 8
        box = ((x, low), (x, top), (x + wide, top), (x + wide, low))
        marks += [Stroke(box, INK), Words((x + wide / 2, top - 4), str(count), "middle")]
    return Drawing(width, height, tuple(marks))


def _students(students: Sequence[Student]) -> str:
    rows = [
        (
            one.number,
            one.name,
            f"{trimmed(one.points)} of {trimmed(one.out_of)}",
            "" if one.percent is None else f"{trimmed(one.percent)} %",
            one.waiting or "",
        )
        for one in students
    ]
    return html.table(("no.", "student", "points", "", "wait for you"), rows)


def _slips(everything: Sequence[Marked], prior: Prior) -> str:
    """Count slips among closed observations; the order of suspicion is stated with them."""
    closed = Counter(code for one in everything for code in slips_of(one))
    waiting = Counter(code for one in everything if one.status == EYES for code in provisional(one))
    rows = [
        (BY_CODE[code].sentence, closed[code] or "", waiting[code] or "", BY_CODE[code].source)
        for code in sorted({*closed, *waiting}, key=lambda code: (-closed[code], code))
    ]
    unnamed = sum(one.status == "wrong" and not slips_of(one) for one in everything)
    rows += [("no usual slip leads to the number", unnamed, "", "")] if unnamed else []
    table = html.table(("slip, the likeliest of each", "times", "waiting", "described in"), rows)
    note = f"Where several slips fit, the likeliest stands here. Their order: {prior.origin}."
    return table + html.paragraph(note)


def _differences(everything: Iterable[Marked]) -> list[tuple[Marked, float]]:
    """Pair sure observations with how far they are off, in divisions."""
    return [
        (one, float(one.judgement.off_divisions))
        for one in everything
        if one.judgement is not None and one.sure_photo and one.status not in (EYES, LEFT_OUT)
    ]


def _gauges(everything: Sequence[Marked]) -> str:
    """Show how each gauge was read; one that reads off stands out by its middle difference."""
    groups: dict[str, list[tuple[Marked, float]]] = {}
    for one, off in _differences(everything):
        groups.setdefault(one.observation.gauge or "not named", []).append((one, off))
    rows = []
    for gauge, pairs in sorted(groups.items()):
        near = [off for one, off in pairs if one.status != "wrong"]
        wrong = sum(one.status == "wrong" for one, _ in pairs)
        middle = median(near) if len(near) >= FEWEST_OF_A_GAUGE else None
        odd = "look at its zero" if middle is not None and abs(middle) >= 0.5 else ""
        said = "" if middle is None else f"{middle:+.2f}"
        rows.append((gauge, len(pairs), f"{wrong} ({100 * wrong / len(pairs):.0f} %)", said, odd))
    header = ("gauge", "observations", "wrong", "middle difference of the others, divisions", "")
    return html.table(header, rows)


def _agreement(everything: Sequence[Marked]) -> list[str]:
    """Draw differences over means, and give limits of agreement and kappa."""
    pairs = _differences(everything)
    kept = [(one, off) for one, off in pairs if one.status != "wrong"]
    parts = []
    limits = limits_of_agreement([off for _, off in kept])
    if limits is not None:
        points = [(_mean_mm(one), off) for one, off in kept]
        levels = (
            Level(limits.mean, f"mean {limits.mean:+.2f}"),
            Level(limits.low, f"{limits.low:+.2f}"),
            Level(limits.high, f"{limits.high:+.2f}"),
        )
        words = ("mean of student and photo, mm", "student − photo, divisions")
        frame = Frame(
            axis([x for x, _ in points]),
            axis([y for _, y in points] + [one.value for one in levels]),
            words,
        )
        marks: list[Mark] = [mark for level in levels for mark in frame.level(level)]
        marks += [Dot(frame.place(*point), INK, 2.5) for point in points]
        said = (
            f"Bland-Altman: {limits.n} observations without a slip; mean difference "
            f"{limits.mean:+.3f}, standard deviation {limits.sd:.3f}, 95 % limits of agreement "
            f"{limits.low:+.3f} to {limits.high:+.3f} divisions (mean ± {COVERED} s)"
        )
        parts.append(html.drawing(svg(frame.sheet(marks)), said))
    wrong = [off for one, off in pairs if one.status == "wrong"]
    if wrong:
        parts.append(
            html.paragraph(
                f"Not in the plot: {len(wrong)} with a slip, mean difference "
                f"{fmean(wrong):+.1f} divisions."
            )
        )
    return parts + [html.paragraph(line) for line in kappa_lines(everything)]


def _mean_mm(one: Marked) -> float:
    """Give the mean of what the student handed in and what it should be, in mm."""
    if one.judgement is None or one.truth is None or one.sheet is None or one.sheet.final is None:
        raise ValueError(f"{one.observation.photo}: not judged")
    mean = (one.sheet.final.value + one.judgement.should_be) / 2
    return float(one.truth.scale.to_mm(mean))


def kappa_lines(everything: Sequence[Marked]) -> list[str]:
    """Say how the tool's verdicts agree with a second marker's, and with the decisions."""
    lines = []
    for who, pairs in (("second marker", _second(everything)), ("instructor", _own(everything))):
        if pairs:
            agreed = sum(one == other for one, other in pairs)
            value = kappa(pairs)
            said = "not defined (all verdicts alike)" if value is None else f"{value:.2f}"
            lines.append(
                f"Right or wrong, tool against {who}: {agreed} of {len(pairs)} alike, "
                f"Cohen's kappa {said}."
            )
    return lines


def _verdict(one: Marked) -> str:
    """Give the tool's own right or wrong; empty where it has none."""
    if one.judgement is None or one.truth is None:
        return ""
    return WRONG if one.judgement.verdict == "wrong" else RIGHT


def _second(everything: Sequence[Marked]) -> list[tuple[str, str]]:
    pairs = []
    for one in everything:
        word = one.observation.marker.strip().lower()
        theirs = RIGHT if word in _RIGHT_WORDS else WRONG if word in _WRONG_WORDS else ""
        if theirs and _verdict(one):
            pairs.append((_verdict(one), theirs))
    return pairs


def _own(everything: Sequence[Marked]) -> list[tuple[str, str]]:
    return [
        (_verdict(one), one.decision.word)
        for one in everything
        if one.decision is not None and one.decision.word in (RIGHT, WRONG) and _verdict(one)
    ]


def _eyes(everything: Sequence[Marked]) -> list[str]:
    """Show what needs eyes with all that an instructor decides from, what is open first."""
    cases = sorted((one for one in everything if one.reasons), key=lambda one: one.status != EYES)
    if not cases:
        return [html.paragraph("Nothing.")]
    return [
        html.paragraph("A picture that is clicked grows. Decide in decisions.csv."),
        *(html.beside(_pictures(one), _case(one)) for one in cases),
    ]


def _pictures(one: Marked) -> list[tuple[str, bytes]]:
    """Give the close-up, and the whole photo where it is to be known again."""
    copied = bool(_COPIES & {reason.code for reason in one.reasons})
    found = []
    if one.seen is not None and one.seen.closeup is not None:
        found.append((one.observation.photo, one.seen.closeup.read_bytes()))
    if one.seen is not None and one.seen.photo is not None and copied:
        found.append(("the whole photo", one.seen.photo.read_bytes()))
    return found


def _case(one: Marked) -> list[str]:
    """Say whose observation it is, why it is shown, what it seems to be, and what was decided."""
    observation, decision = one.observation, one.decision
    about = [observation.student, f"no. {observation.order}" if observation.order else ""]
    about += [observation.thing, f"gauge {observation.gauge}" if observation.gauge else ""]
    decided = "open" if decision is None else " ".join((decision.word, decision.note)).strip()
    decided += f", but {UNDECIDABLE}" if one.undecidable else ""
    says = _would_say(one)
    return [
        html.heading(", ".join(part for part in about if part), 3),
        *(html.paragraph(reason.message) for reason in one.reasons),
        html.paragraph(f"Wrote: {wrote(one) or 'nothing'}."),
        *(html.paragraph(text) for text in (_may_show(one), says) if text),
        html.paragraph(f"Decision: {decided}."),
    ]


def _may_show(one: Marked) -> str:
    """List what the photo may show, with probabilities that are cut off and never rounded up."""
    result = one.seen.result if one.seen is not None else None
    if not isinstance(result, Reading):
        return ""
    likely = result.alternatives[:MOST_SHOWN] or (
        LengthAlternative(result.shown, result.sighting.confidence),
    )
    told = [
        f"{plain(other.shown)} ({_cut(other.probability)})"
        for other in likely
        if other.probability > 0
    ]
    return f"The photo shows, in {result.scale.unit}: {', or '.join(told)}."


def _cut(probability: float) -> str:
    """Write a probability with two decimals, cut off."""
    cut = int(100 * probability) / 100
    return f"{cut:.2f}" if cut else "less than 0.01"


def _would_say(one: Marked) -> str:
    """Say in the catalogue's words how the observation would be marked by the photo."""
    judgement = one.judgement
    if judgement is None or one.truth is None:
        return ""
    fits = [
        ", and ".join(slip.sentence for slip in fit.slips)
        for fit in leading(judgement.explanations)
        if fit.slips
    ]
    fits += [slip.sentence for slip in judgement.form if slip.sentence not in " ".join(fits)]
    should = f"{plain(judgement.should_be)} {one.truth.scale.unit}"
    said = f"The tool would say: {VERDICTS[judgement.verdict]}, it should be {should}"
    return said + (f"; {', or '.join(fits[:MOST_NAMED])}." if fits else ".")
