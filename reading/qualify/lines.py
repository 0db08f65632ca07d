"""Figures as text and as JSON; only words and rounding."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from reading.qualify.bounds import LEVEL, Share
from reading.qualify.calibration import Bin
from reading.qualify.figures import Figures, Group, Quantile
from reading.qualify.goals import Goal, goals, percent
from reading.qualify.outcome import ACCEPTED_AT, SURE_AT
from vision.reasons import REASONS

TEXT_WIDTH, JSON_PLACES = 100, 6
GIVEN, NONE = "given", "none"
MODE_WORDS = {GIVEN: "scale given", NONE: "nothing given"}
Table = tuple[Sequence[str], Sequence[Sequence[str]]]  # head, rows

GROUP_HEAD = (
    *("photos", "accepted", "at least", "median", "p95", "at most", "off > 1", "at most"),
    *("turns off", "sure", "off > 1", "at most", "turns off"),
)
INTRODUCTION = (
    f"Accepted: a confidence of {ACCEPTED_AT} or more; sure: of {SURE_AT} or more. Off > 1: more "
    "than one division off, of the accepted and of the sure. Errors are in divisions, turns "
    f"included. What shares and percentiles are at least or at most is exact, one-sided, "
    f"{100 * LEVEL:.0f} % (Clopper and Pearson; order statistics), and holds for photos like these "
    "and no others."
)
HARD_NOTE = "Hard photos, in which no one could be sure, are in no other figure but calibration."


def text_table(table: Table) -> str:
    """Lay out rows under their heads, the first column to the left, the others to the right."""
    cells = [[str(cell) for cell in row] for row in (table[0], *table[1])]
    widths = [max(len(row[i]) for row in cells) for i in range(len(table[0]))]
    return "\n".join(
        "  ".join(
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    )


def summary(found: Figures) -> str:
    """Say the main thing in one or two sentences."""
    one, sure = found.readable, found.readable.sure_wrong
    text = f"{one.accepted.k} of {one.photos} readable photos accepted"
    if one.accepted.k:
        text += f"; more than one division off: {one.wrong.k or 'none'} of them"
    if not sure.n:
        return f"{text}."
    return (
        f"{text}, {sure.k or 'none'} of the {sure.n} sure ones. With {100 * LEVEL:.0f} % "
        f"confidence at most {percent(sure.upper, 2)} of such sure readings are."
    )


def goal_table(lines: Sequence[Goal]) -> Table:
    """What is aimed at, measured, proved, and whether it is reached."""
    rows = [(one.what, one.goal, one.measured, one.bound, one.verdict) for one in lines]
    return ("", "goal", "measured", f"bound, {100 * LEVEL:.0f} %", ""), rows


def group_table(name: str, groups: Sequence[Group]) -> Table:
    """One line of figures for each group."""
    return (name, *GROUP_HEAD), [_group_row(one) for one in groups]


def _group_row(one: Group) -> tuple[str, ...]:
    return (
        *(one.name, str(one.photos), percent(one.accepted.value)),
        *(percent(one.accepted.lower), value_text(one.median.value), value_text(one.p95.value)),
        *(_upper(one.p95), *_count(one.wrong), str(one.turns_wrong.k)),
        *(str(one.sure_wrong.n), *_count(one.sure_wrong), str(one.sure_turns_wrong.k)),
    )


def value_text(value: float) -> str:
    """Write a value in divisions; a dash for none."""
    return "–" if math.isnan(value) else f"{value:.3f}"


def _upper(quantile: Quantile) -> str:
    if not quantile.n:
        return "–"
    return f"{quantile.upper:.3f}" if quantile.upper < math.inf else "too few"


def _count(share: Share) -> tuple[str, str]:
    return (str(share.k), percent(share.upper, 2)) if share.n else ("–", "–")


def size_groups(found: Figures) -> list[Group]:
    """The groups of the table by size: all, large ones, each class, hard ones if there are any."""
    groups = [found.readable, found.large, *(one for one in found.by_size if one.photos)]
    return [*groups, found.hard] if found.hard.photos else groups


def negative_table(found: Figures) -> Table:
    """How many photos that can't be read were accepted all the same."""
    rows = [
        (name, str(share.n), str(share.k), percent(share.upper, 1))
        for name, share in found.negatives
    ]
    return ("negatives", "photos", "accepted", "at most"), rows


def bin_table(bins: Sequence[Bin]) -> Table:
    """Confidence against the share that was right."""
    rows = [
        (
            *(f"{one.low:.1f} to {one.high:.1f}", str(one.readings)),
            *(f"{one.mean_confidence:.3f}", f"{one.right:.3f}"),
            f"{one.right_lower:.3f} to {one.right_upper:.3f}",
        )
        for one in bins
    ]
    return ("confidence", "readings", "mean", "right", "right, bounds"), rows


def calibration_lines(found: Figures) -> list[str]:
    """The figures that sum calibration up."""
    risk, ratio = found.risk, found.normalised
    out = [f"expected calibration error {value_text(found.calibration_error)}"]
    if risk.risk:
        out.append(
            f"area under risk against coverage {risk.area:.4f}; {risk.ideal_area:.4f} if every "
            "wrong reading had the lowest confidence"
        )
    if not math.isnan(ratio.sd):
        out.append(
            f"error / stated uncertainty of {len(ratio.values)} accepted readings that are right: "
            f"standard deviation {ratio.sd:.2f}, mean {ratio.mean:+.2f}, "
            f"{percent(ratio.beyond_two)} beyond 2"
        )
    if found.parallax.n:
        out.append(
            f"parallax within 15° of roll, median of {found.parallax.n}: "
            f"{found.parallax_uncorrected.value:.3f} as seen, {found.parallax.value:.3f} left"
        )
    return out


def refusal_table(found: Figures, *, sentences: bool = False) -> Table:
    """Why photos that can be read were not accepted, and whether the truth led all the same."""
    rows = []
    for one in found.refusals:
        sentence = REASONS.get(one.reason, ("",))[0] if sentences else ""
        why = f"{one.reason}: {sentence}" if sentence else one.reason
        rows.append((why, str(one.photos), str(one.truth_first)))
    return ("readable but not accepted", "photos", "truth likeliest"), rows


def to_text(found: Figures, mode: str) -> str:
    """Write all tables."""
    parts = [
        f"{found.photos} photos, {MODE_WORDS[mode]}: {summary(found)}",
        text_table(goal_table(goals(found, mode))),
        text_table(group_table("", size_groups(found))),
        *(text_table(group_table(name, groups)) for name, groups in found.by_column),
        text_table(negative_table(found)),
        "\n".join([text_table(bin_table(found.bins)), *calibration_lines(found)]),
        text_table(refusal_table(found)),
        "\n".join(textwrap.wrap(f"{INTRODUCTION} {HARD_NOTE}", TEXT_WIDTH)),
    ]
    return "\n\n".join(parts)


def to_json(every: dict[str, Figures]) -> str:
    """Write the figures of each mode, goals and bounds included, as one JSON object on one line."""
    out = {mode: {**_plain(one), "goals": _plain(goals(one, mode))} for mode, one in every.items()}
    return json.dumps(out, ensure_ascii=False)


def _plain(value: Any) -> Any:
    """Turn values into what JSON has: null for what is no number, rounded to what is worth it."""
    match value:
        case float():
            return round(value, JSON_PLACES) if math.isfinite(value) else None
        case Share():
            bounds = {"share": value.value, "lower": value.lower, "upper": value.upper}
            return {"k": value.k, "n": value.n} | {key: _plain(one) for key, one in bounds.items()}
        case tuple():
            return [_plain(one) for one in value]
    if is_dataclass(value):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    return value
