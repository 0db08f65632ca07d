"""What a run found otherwise than before, and why."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from reading.archive.columns import READ, Row
from reading.archive.store import Store

# Why a photo can read otherwise: the columns that tell, and the words for it; first the strongest.
CAUSES = (
    ("sha256", "the file changed"),
    ("gauge", "another gauge was named"),
    ("scale_asked", "another scale was named"),
    ("weights", "other networks"),
    ("program", "another version of the program"),
    ("zero_check_number", "another zero check is in force"),
    ("part", "another part was named"),
)
ENTERED = "the gauge was entered in the book"
OTHERWISE = "the gauge's record or the date changed"  # where only the state of the gauge tells
AGAIN = "it was tried again"  # a passing fault of the file
SHOWN = 20  # changes that a run lists by itself


@dataclass(frozen=True)
class Change:
    """One photo that says something else than before, or lies under another name.

    `divisions` is how far the shown reading moved, in divisions, where both were read. `was` is the
    name that it had before, where it was moved.
    """

    photo: str
    before: str
    now: str
    why: tuple[str, ...]
    divisions: float | None = None
    was: str | None = None


def changes_of(store: Store, run: int) -> Iterator[Change]:
    """Give what a run read otherwise than before, or found moved, by photo."""
    moves = {one.photo: one for one in store.moves(run)}
    for row in store.read_in(run):
        name = str(row["photo"])
        move = moves.get(name)
        number = int(row["number"] or 0)
        earlier = store.before(name, number) if move is None else store.reading(move.reading)
        if earlier is None:
            continue
        before, now = said(earlier), said(row)
        if before != now or move is not None:
            why = _why(earlier, row) if before != now else ()
            was = None if move is None else move.was
            yield Change(name, before, now, why, _moved(earlier, row), was)


def said(row: Row) -> str:
    """Write what a row comes to, short."""
    if row["status"] != READ:
        return f"refused ({row['codes']!s})"
    text = f"{row['shown_mm']!s} mm shown"
    if row["corrected_mm"] is not None:
        text += f", {row['corrected_mm']!s} mm corrected"
    return text + (" (unsure)" if row["eyes"] else "")


def summary_lines(store: Store, run: int) -> list[str]:
    """Say how much changed in a run, and list the first of it, the greatest moves first."""
    every = sorted(changes_of(store, run), key=lambda one: (-(one.divisions or 0.0), one.photo))
    moved = [one for one in every if one.was is not None]
    found = [one for one in every if one.before != one.now]
    lines = [f"  {len(moved)} moved or renamed, and known by their content"] if moved else []
    if found:
        why = Counter("; ".join(one.why) for one in found)
        counted = ", ".join(f"{n} as {words}" for words, n in why.most_common())
        lines.append(f"  {len(found)} read otherwise than before: {counted}")
    listed = found + [one for one in moved if one.before == one.now]
    lines += [f"    {line_of(one)}" for one in listed[:SHOWN]]
    if len(listed) > SHOWN:
        lines.append(f"    and {len(listed) - SHOWN} more: datumline archive changes")
    return lines


def line_of(change: Change) -> str:
    """Write a change for people."""
    name = change.photo if change.was is None else f"{change.photo}, moved from {change.was}"
    if change.before == change.now:
        return f"{name}: {change.now}"
    moved = f" [{change.divisions:.1f} divisions]" if change.divisions else ""
    return f"{name}: {change.before} -> {change.now}{moved}; {', '.join(change.why)}"


def to_json(change: Change) -> str:
    """Write a change as one line of JSON."""
    return json.dumps(
        {
            "photo": change.photo,
            "was": change.was,
            "before": change.before,
            "now": change.now,
            "why": list(change.why),
            "divisions": change.divisions,
        }
    )


def _why(before: Row, now: Row) -> tuple[str, ...]:
    """Name every cause that differs; a file that was never read has no content to differ in."""
    if before["codes"] == "unknown_gauge" and now["codes"] != "unknown_gauge":
        return (ENTERED,)
    found = tuple(
        words
        for column, words in CAUSES
        if before[column] != now[column] and (column != "sha256" or before[column])
    )
    if not found and before["gauge_state"] != now["gauge_state"]:
        return (OTHERWISE,)
    return found or (AGAIN,)


def _moved(before: Row, now: Row) -> float | None:
    """Say how far the shown reading moved, in divisions of the scale that holds now."""
    lengths = before["shown_mm"], now["shown_mm"]
    pitch, divisions = now["pitch_mm"], now["divisions"]
    if any(one is None for one in (*lengths, pitch, divisions)):
        return None
    step = float(pitch or 0) / float(divisions or 1)
    return round(abs(float(lengths[0] or 0) - float(lengths[1] or 0)) / step, 2)
