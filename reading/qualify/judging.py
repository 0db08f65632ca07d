"""What was seen in a photo against its truth: an outcome, and a row of what was read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal, localcontext
from typing import Any

from reading.qualify.known import Known
from reading.qualify.outcome import WRONG_DIVISIONS, Outcome
from reading.result import Unusable
from vision.scale import Scale
from vision.sighting import Alternative, Refusal, Sighting

UNUSABLE, CRASHED = "unusable_file", "crashed"
SHOWN_ALTERNATIVES = 4
COLUMNS = (
    *("file", "status", "negative_kind", "kind", "px_per_division", "px_read", "truth", "shown"),
    *("error_divisions", "turns_off", "confidence", "u_division", "reasons", "alternatives"),
    *("truth_rank", "scale_read", "roll_deg", "roll_read_deg", "parallax_divisions"),
    *("parallax_read", "blur_px", "contrast"),
)


@dataclass(frozen=True)
class Judged:
    """A photo's outcome, what was read as text under `COLUMNS`, and a picture of it (JPEG data)."""

    outcome: Outcome
    cells: dict[str, str]
    picture: bytes = field(default=b"", repr=False)


def judge(known: Known, seen: Sighting | Refusal | Unusable) -> Judged:
    """Compare what was seen in a photo with the truth."""
    facts: dict[str, Any] = {
        "file": known.file,
        "status": known.status,
        "kind": known.kind,
        "negative_kind": known.row.get("negative_kind") or "",
        "px_per_division": known.number("px_per_division"),
        "roll_deg": known.number("roll_deg"),
        "divisions": known.scale.divisions,
        "row": known.row,
    }
    reads: dict[str, str] = {}
    match seen:
        case Unusable(message=message):
            code = CRASHED if seen.name == CRASHED else UNUSABLE
            outcome = Outcome(**facts, reasons=(code,))
            reads = {"reasons": f"{code}: {message}"}
        case Refusal():
            codes = tuple(one.code for one in seen.reasons)
            _fill(facts, "px_per_division", seen.px_per_division)
            outcome = Outcome(**facts, reasons=codes, rank=_rank(known, seen))
            reads = {"reasons": " ".join(codes)}
        case Sighting():
            _fill(facts, "px_per_division", seen.px_per_division)
            _fill(facts, "roll_deg", math.degrees(seen.roll_rad))
            outcome = _outcome_of_sighting(known, seen, facts)
            reads = _sighting_cells(seen)
    if not isinstance(seen, Unusable) and seen.scale is not None:
        reads["alternatives"] = "; ".join(
            f"{_shown_text(seen.scale, one.turns, one.division)}: {one.probability:.3f}"
            for one in seen.alternatives[:SHOWN_ALTERNATIVES]
        )
    return Judged(outcome, _cells(known, outcome) | reads)


def _fill(facts: dict[str, Any], name: str, value: float | None) -> None:
    """Take what was seen where the truth says nothing."""
    if math.isnan(facts[name]) and value is not None:
        facts[name] = value


def _outcome_of_sighting(known: Known, seen: Sighting, facts: dict[str, Any]) -> Outcome:
    off = None
    if known.shown is not None and known.status != "negative":
        off = off_divisions(known, seen.scale, seen.turns, seen.division)
    return Outcome(
        **facts,
        confidence=seen.confidence,
        error_divisions=off,
        u_division=seen.u_division,
        parallax_left=known.number("parallax_divisions") - seen.parallax_divisions,
        rank=_rank(known, seen),
    )


def off_divisions(known: Known, scale: Scale, turns: int, division: float) -> float:
    """Reading minus truth, in divisions of the true scale, turns included."""
    if known.shown is None:
        raise ValueError("nothing to compare with")
    from_start = scale.to_mm(scale.pitch) * (turns + Decimal(repr(division)) / scale.divisions)
    truth = known.shown.to("mm").value
    reading = from_start + scale.to_mm(scale.start)
    if not known.start_engraved:  # where the range begins stands on the frame alone
        truth, reading = truth - known.scale.to_mm(known.scale.start), from_start
    with localcontext(prec=28):
        return float((reading - truth) / known.scale.to_mm(known.scale.least_count))


def _rank(known: Known, seen: Sighting | Refusal) -> int | None:
    """Which alternative, from 1, is within a division of the truth."""
    if known.shown is None or seen.scale is None:
        return None
    alternatives: Sequence[Alternative] = seen.alternatives
    for place, one in enumerate(alternatives, 1):
        off = off_divisions(known, seen.scale, one.turns, one.division)
        if abs(off) <= WRONG_DIVISIONS:
            return place
    return None


def _shown_text(scale: Scale, turns: int, division: float) -> str:
    """Write a reading in the scale's unit."""
    value = float(scale.start) + float(scale.pitch) * (turns + division / scale.divisions)
    return f"{value:.5f} {scale.unit}" if scale.unit == "in" else f"{value:.4f} mm"


def _sighting_cells(seen: Sighting) -> dict[str, str]:
    return {
        "shown": _shown_text(seen.scale, seen.turns, seen.division),
        "confidence": f"{seen.confidence:.4f}",
        "u_division": f"{seen.u_division:.4f}",
        "scale_read": f"{seen.scale.pitch} {seen.scale.unit} / {seen.scale.divisions}",
        "px_read": f"{seen.px_per_division:.2f}",
        "roll_read_deg": f"{math.degrees(seen.roll_rad):.2f}",
        "parallax_read": f"{seen.parallax_divisions:.4f}",
    }


def _cells(known: Known, outcome: Outcome) -> dict[str, str]:
    cells = {column: known.row.get(column) or "" for column in COLUMNS} | {
        "truth": known.row["shown"],
        "shown": "",
        "status": known.status,
        "kind": known.kind,
        "truth_rank": "" if outcome.rank is None else str(outcome.rank),
    }
    if outcome.error_divisions is not None:
        cells["error_divisions"] = f"{outcome.error_divisions:.4f}"
        cells["turns_off"] = str(outcome.turns_off)
    return cells
