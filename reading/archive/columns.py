"""What a row of results holds: every column and its type, and how a result becomes one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from reading import formats
from reading.archive import codes, seen
from reading.batch import Look
from reading.correct import LOW_CONFIDENCE
from reading.length import convert
from reading.result import Correction, Reading, Refused, Result, Unusable

Cell = str | int | float | bytes | None
Row = dict[str, Cell]
TEXT, INTEGER, REAL, LIST, BYTES = "TEXT", "INTEGER", "REAL", "LIST", "BLOB"


@dataclass(frozen=True)
class Column:
    """One column: its name and type; a LIST is kept as JSON. `compared` is off for what may differ
    between two runs that read the same: timings, and which run it was."""

    name: str
    kind: str
    compared: bool = True


# The first columns are those of `datumline read --format json`, but for its hand reading and curve.
COLUMNS = (
    Column("photo", TEXT),
    Column("status", TEXT),
    Column("codes", TEXT),
    Column("eyes", TEXT),
    Column("reasons", LIST),
    Column("gauge", TEXT),
    Column("part", TEXT),
    Column("pitch_mm", REAL),
    Column("divisions", INTEGER),
    Column("unit", TEXT),
    Column("sleeve_mm", REAL),
    Column("thimble_division", REAL),
    Column("shown_mm", REAL),
    Column("shown_uncertainty_mm", REAL),
    Column("zero_error_mm", REAL),
    Column("zero_check_date", TEXT),
    Column("zero_check_age_days", INTEGER),
    Column("zero_check_number", INTEGER),
    Column("corrected_mm", REAL),
    Column("expanded_uncertainty_mm", REAL),
    Column("confidence", REAL),
    Column("parallax_divisions", REAL),
    Column("px_per_division", REAL),
    Column("alternatives", LIST),
    Column("warnings", LIST),
    Column("dated", TEXT),
    Column("dated_by", TEXT),
    Column("sha256", TEXT),
    Column("size_bytes", INTEGER),
    Column("program", TEXT),
    Column("weights", TEXT),
    Column("scale_asked", TEXT),
    Column("gauge_state", TEXT),
    Column("seen", BYTES),
    Column("read_at", TEXT, compared=False),
    Column("fetch_s", REAL, compared=False),
    Column("read_s", REAL, compared=False),
)
NAMES = tuple(column.name for column in COLUMNS)
COMPARED = tuple(column.name for column in COLUMNS if column.compared)
LEFT_OUT = (
    *("hand_mm", "hand_against", "hand_difference_divisions", "hand_agrees", "slips"),
    *("calibration_error_mm", "calibration_date"),
)
READ, REFUSED = "read", "refused"
# Why a person should look: the picture was refused, the reading is unsure, the file is unusable.
EYES_REFUSED, EYES_UNSURE, EYES_UNUSABLE = "refused", "unsure", "unusable"


def fault_row(name: str, code: str, detail: str = "") -> Row:
    """Make the row of a file that can't be read, by its code."""
    row: Row = dict.fromkeys(NAMES)
    reason: dict[str, object] = {"code": code, "message": codes.message(code, detail)}
    row |= {"photo": name, "status": REFUSED, "codes": code, "sha256": ""}
    row |= {"reasons": formats.json_text([reason]), "alternatives": "[]", "warnings": "[]"}
    row["eyes"] = None if code in codes.NO_EYES else EYES_UNUSABLE
    return row


def result_row(name: str, result: Result, looked: Look | None) -> Row:
    """Make the row of a result, with what was seen; where a person should look, with all evidence.

    Parameters
    ----------
    name : str
        The photo's name in the archive, as shown.
    result : Result
    looked : Look or None
        What was seen in the photo, None for one that could not be opened.
    """
    row: Row = dict.fromkeys(NAMES)
    row |= {key: _cell(value) for key, value in formats.record(result).items() if key in row}
    reasons = formats.record(result)["reasons"]
    assert isinstance(reasons, list)
    row |= {"photo": name, "codes": " ".join(one["code"] for one in reasons) or None}
    row["eyes"] = _eyes(result)
    if isinstance(result, Reading) and isinstance(result.correction, Correction):
        row["zero_check_number"] = result.correction.check.number
    if looked is not None:
        row["sha256"] = looked.photo.sha256
        row["seen"] = seen.pack(looked.seen, evidence=row["eyes"] is not None)
    return row


def _eyes(result: Result) -> str | None:
    match result:
        case Reading(sighting=sighting):
            return EYES_UNSURE if sighting.confidence < LOW_CONFIDENCE else None
        case Refused():
            return EYES_REFUSED
        case Unusable():
            return EYES_UNUSABLE


def _cell(value: object) -> Cell:
    """Turn a value of `formats.record` into a cell; a list becomes JSON."""
    match value:
        case Decimal():
            return float(value)
        case list():
            return formats.json_text(value)
        case None | str() | int() | float():
            return value
        case _:
            raise TypeError(f"no cell for {value!r}")


def decided_mm(row: Row) -> tuple[float, float | None] | None:
    """Give what a person decided that a photo shows, in mm, and that less the zero error.

    None without such a decision, and for what is less the zero error where that is not known.
    """
    if row["decided_shown"] is None:
        return None
    shown = convert(Decimal(str(row["decided_shown"])), str(row["decided_unit"]), "mm")
    if row["zero_error_mm"] is None:
        return float(shown), None
    return float(shown), float(shown - Decimal(repr(row["zero_error_mm"])))


def same(one: Mapping[str, object], other: Mapping[str, object]) -> bool:
    """Tell whether two rows say the same, timings aside."""
    return all(one[name] == other[name] for name in COMPARED)
