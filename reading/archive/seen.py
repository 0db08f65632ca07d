"""A sighting or refusal as bytes to keep, and back: correct it or draw it without reading anew."""

from __future__ import annotations

import json
import zlib
from dataclasses import asdict, replace
from decimal import Decimal
from typing import Any

from vision.scale import Scale
from vision.sighting import Alternative, Evidence, Numeral, Reason, Refusal, Sighting

_LEVEL = 6  # of compression, zlib's own default


def pack(seen: Sighting | Refusal, *, evidence: bool) -> bytes:
    """Write what was seen; `evidence` says whether to keep where it was seen."""
    if not evidence:
        seen = replace(seen, evidence=Evidence())
    text = json.dumps(asdict(seen), default=_plain, separators=(",", ":"), sort_keys=True)
    return zlib.compress(text.encode(), _LEVEL)


def unpack(data: bytes) -> Sighting | Refusal:
    """Read what `pack` wrote."""
    fields = json.loads(zlib.decompress(data))
    fields["scale"] = _scale(fields["scale"])
    fields["alternatives"] = tuple(Alternative(**one) for one in fields["alternatives"])
    fields["evidence"] = _evidence(fields["evidence"])
    if "reasons" in fields:
        fields["reasons"] = tuple(Reason(**one) for one in fields["reasons"])
        return Refusal(**fields)
    return Sighting(**fields)


def _plain(value: object) -> object:
    """Write a decimal as its text, and a number of NumPy as a number."""
    return str(value) if isinstance(value, Decimal) else float(value)  # type: ignore[arg-type]


def _scale(fields: dict[str, Any] | None) -> Scale | None:
    if fields is None:
        return None
    exact = {name: Decimal(fields[name]) for name in ("pitch", "start")}
    return Scale(**{**fields, **exact})


def _evidence(fields: dict[str, Any]) -> Evidence:
    numerals = tuple(
        Numeral(**{**one, "where": tuple(one["where"])}) for one in fields.pop("numerals")
    )
    return Evidence(**{name: _tuples(value) for name, value in fields.items()}, numerals=numerals)


def _tuples(value: Any) -> Any:
    """Turn lists, which is what JSON has, into tuples all the way down."""
    return tuple(_tuples(one) for one in value) if isinstance(value, list) else value
