"""Photos with known readings: a truth file in, one record a photo out.

A truth file is CSV (commas, semicolons or tabs), one row a photo, columns in any order and any
others left alone. Names and what they mean, the first two needed:

- ``file`` or ``photo``: beside the truth file, or in a folder below it.
- ``shown`` or ``reading``: what the gauge shows, not corrected, as in ``7.78 mm``; a bare number
  needs ``unit``. Empty where there is nothing to read.
- ``pitch`` and ``divisions``, with ``start``, ``vernier``, ``reversed`` where they apply. Rows
  without take the scale named for the whole folder, or that of their ``gauge``, a name in the book.
- ``readable``: yes or no. No means that a reading would be false. Or ``status``: readable, hard
  (no one could be sure; counted apart) or negative.
- ``px_per_division``, ``roll_deg``, ``parallax_divisions`` (seen minus true): where they are known
  from elsewhere; pixels and roll are otherwise taken from what was seen.
- ``start_engraved``: no where the sleeve counts from 0 though the range starts higher.
- ``kind``, ``negative_kind``: names for groups of photos.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from reading.length import Length, parse_length
from reading.problem import Problem
from reading.tables import csv_records
from vision.scale import Scale

TRUTH_NAME = "truth.csv"
READABLE, HARD, NEGATIVE = "readable", "hard", "negative"
SYNONYMS = {"photo": "file", "picture": "file", "reading": "shown"}
YES, NO = ("1", "yes", "y", "true"), ("0", "no", "n", "false")
Row = Mapping[str, str]
FindScale = Callable[[str], Scale]  # a gauge's name -> its scale; Problem if it isn't known


@dataclass(frozen=True)
class Known:
    """One photo and its truth; `shown` is None where there is nothing to read."""

    path: Path
    scale: Scale
    shown: Length | None
    status: str
    row: Row

    @property
    def file(self) -> str:
        """The photo's name as the truth file has it."""
        return self.row["file"]

    @property
    def start_engraved(self) -> bool:
        """Whether the sleeve's numbers begin at the range's start."""
        return _yes(self.row, "start_engraved", True)

    @property
    def kind(self) -> str:
        """What kind of gauge it is: as the truth file says, else pitch and divisions."""
        scale = self.scale
        parts = f", vernier {scale.vernier}" if scale.vernier else ""
        return self.row.get("kind") or f"{scale.pitch} {scale.unit} / {scale.divisions}{parts}"

    def number(self, column: str) -> float:
        """A number that the truth file gives, NaN where it gives none."""
        text = self.row.get(column) or "nan"
        try:
            return float(text.replace(",", "."))
        except ValueError as error:
            raise Problem(f"{self.file}: {column} {text!r} is not a number") from error


def read_truth(
    folder: Path,
    truth: Path | None = None,
    scale: Scale | None = None,
    find_scale: FindScale | None = None,
) -> list[Known]:
    """Read a folder's truth file.

    Parameters
    ----------
    folder : Path
        Where the photos lie.
    truth : Path, optional
        The file; ``truth.csv`` in the folder where not given.
    scale : Scale, optional
        Of the photos whose rows name none.
    find_scale : callable, optional
        Looks up a gauge by its name.

    Raises
    ------
    Problem
        If there is no such file, or a row can't be understood; the row is named.
    """
    source = truth or folder / TRUTH_NAME
    rows = list(csv_records(source))
    if not rows:
        raise Problem(f"{source}: no photos in it: write one row a photo")
    known = []
    for number, row in rows:
        clean = _clean(row)
        try:
            known.append(known_from(folder, clean, scale, find_scale))
        except Problem as problem:
            raise Problem(
                f"{source}, line {number} ({clean.get('file') or 'no file'}): {problem}"
            ) from problem
    return known


def known_from(
    folder: Path, row: Row, scale: Scale | None = None, find_scale: FindScale | None = None
) -> Known:
    """Understand one row, its columns named as above; Problem if it can't be."""
    for column in ("file", "shown"):
        if row.get(column) is None:
            raise Problem(f"no column {column!r}: add it")
    if not row["file"]:
        raise Problem("no photo is named")
    found = _scale(row, scale, find_scale)
    text = row["shown"]
    shown = parse_length(text, _unit(row)) if text else None
    known = Known(folder / row["file"], found, shown, _status(row, shown), row)
    if shown is None and known.status != NEGATIVE:
        raise Problem("readable, but what it shows is not given")
    for column in ("px_per_division", "roll_deg", "parallax_divisions"):
        known.number(column)  # says at once what is not understood
    return known


def _clean(row: Row) -> dict[str, str]:
    """Bring columns to the names above, and cut what stands around values."""
    out: dict[str, str] = {}
    for name, value in row.items():
        key = name.strip().lower().replace(" ", "_")
        out[SYNONYMS.get(key, key)] = value.strip()
    return out


def _unit(row: Row) -> str | None:
    return row.get("unit") or None


def _yes(row: Row, column: str, default: bool) -> bool:
    text = (row.get(column) or "").lower()
    if text and text not in YES + NO:
        raise Problem(f"{column} {text!r}: yes or no")
    return text in YES if text else default


def _status(row: Row, shown: Length | None) -> str:
    """Say whether the photo can be read: by either column, else by whether it shows something."""
    status = (row.get("status") or "").lower()
    if status and status not in (READABLE, HARD, NEGATIVE):
        raise Problem(f"status {status!r}: {READABLE}, {HARD} or {NEGATIVE}")
    return status or (READABLE if _yes(row, "readable", shown is not None) else NEGATIVE)


def _scale(row: Row, scale: Scale | None, find_scale: FindScale | None) -> Scale:
    """Find the scale: in the row, the one for all, or by the gauge's name."""
    if row.get("pitch") and row.get("divisions"):
        return _engraved(row)
    if row.get("pitch") or row.get("divisions"):
        raise Problem("pitch and divisions go together")
    if scale is not None:
        return scale
    if row.get("gauge") and find_scale is not None:
        return find_scale(row["gauge"])
    raise Problem(
        "no scale: add columns pitch and divisions, or gauge, or name one for all "
        "(--pitch and --divisions, or --gauge)"
    )


def _engraved(row: Row) -> Scale:
    """Make the scale that the row describes."""
    pitch = parse_length(row["pitch"], _unit(row))
    unit = "in" if pitch.unit == "in" else "mm"
    start = parse_length(row.get("start") or "0", unit).to(unit)
    try:
        return Scale(
            pitch.to(unit).value,
            int(row["divisions"]),
            unit,
            start.value,
            int(row["vernier"]) if row.get("vernier") else None,
            _yes(row, "reversed", False),
        )
    except ValueError as error:
        raise Problem(str(error)) from error
