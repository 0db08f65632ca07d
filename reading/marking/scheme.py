"""The scheme of marks: a TOML file in, a value out; what is wrong with it is named by its key."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from reading.problem import Problem

ITEMS = ("sleeve", "division", "zero_correction", "final_value", "unit", "decimals")
DEFAULT = Path(__file__).with_name("scheme.toml")
MOST_POINTS = Decimal(1000)
MOST_TOLERANCE_DIVISIONS = Decimal(20)


@dataclass(frozen=True)
class Scheme:
    """What is marked, and how; see ``scheme.toml``, which holds the defaults."""

    tolerance_divisions: Decimal
    carry_forward: bool
    extra_decimals: int
    points: Mapping[str, Decimal] = field(hash=False)
    confidence: float
    misread: float


def load_scheme(path: Path | None = None) -> Scheme:
    """Read a scheme; keys that a file leaves out are the default's.

    Raises
    ------
    Problem
        Naming file, key and what is allowed.
    """
    default = _parsed(DEFAULT)
    if path is None:
        return _scheme(default, DEFAULT.name)
    given = _parsed(path)
    for table, known in ((given, default), *_tables(given, default, path)):
        for key in table:
            if key not in known:
                raise Problem(f"{path}: {key}: no key of a scheme (known: {', '.join(known)})")
    merged = default | given
    merged |= {key: default[key] | given.get(key, {}) for key in ("points", "eyes")}
    return _scheme(merged, str(path))


def _parsed(path: Path) -> dict[str, Any]:
    """Read a TOML file, decimals exact."""
    try:
        with path.open("rb") as file:
            return tomllib.load(file, parse_float=Decimal)
    except OSError as error:
        raise Problem(f"{path}: can't be read ({error.strerror})") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Problem(f"{path}: not TOML: {' '.join(str(error).split())}") from error


def _tables(
    given: dict[str, Any], default: dict[str, Any], path: Path
) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """Pair the tables of a file with the default's."""
    pairs = []
    for key in ("points", "eyes"):
        table = given.get(key, {})
        if not isinstance(table, dict):
            raise Problem(f"{path}: {key}: a table, as [{key}] with its keys below")
        pairs.append((table, default[key]))
    return pairs


def _scheme(values: dict[str, Any], name: str) -> Scheme:
    """Check every value."""

    def number(key: str, value: object, most: Decimal) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise Problem(f"{name}: {key}: a number, not {value!r}")
        if (isinstance(value, Decimal) and not value.is_finite()) or not 0 <= value <= most:
            raise Problem(f"{name}: {key} = {value}: from 0 to {most}")
        return Decimal(value)

    if not isinstance(values["carry_forward"], bool):
        raise Problem(f"{name}: carry_forward: true or false, not {values['carry_forward']!r}")
    extra = number("extra_decimals", values["extra_decimals"], Decimal(6))
    if extra != int(extra):
        raise Problem(f"{name}: extra_decimals = {extra}: a whole number")
    points = {key: number(f"points.{key}", values["points"][key], MOST_POINTS) for key in ITEMS}
    if not any(points.values()):
        raise Problem(f"{name}: points: give at least one item more than 0")
    return Scheme(
        number("tolerance_divisions", values["tolerance_divisions"], MOST_TOLERANCE_DIVISIONS),
        values["carry_forward"],
        int(extra),
        points,
        float(number("eyes.confidence", values["eyes"]["confidence"], Decimal(1))),
        float(number("eyes.misread", values["eyes"]["misread"], Decimal(1))),
    )
