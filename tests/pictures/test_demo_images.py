"""The demo images: each is read right or refused. They are examples; no accuracy follows."""

from __future__ import annotations

import csv
from decimal import Decimal
from pathlib import Path

import pytest

from vision.photo import load
from vision.pipeline import sight
from vision.scale import Scale
from vision.sighting import Refusal

FOLDER = Path(__file__).parents[2] / "demo_images"
with (FOLDER / "truth.csv").open(newline="") as file:
    ROWS = list(csv.DictReader(file))


def scale_of(row: dict[str, str]) -> Scale:
    pitch, unit = row["pitch"].split()
    start = Decimal(row["start"].split()[0])
    vernier = int(row["vernier"]) if row["vernier"] else None
    return Scale(Decimal(pitch), int(row["divisions"]), unit, start, vernier)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["file"])
def test_it_is_read_right_or_refused(row: dict[str, str]) -> None:
    scale = scale_of(row)
    seen = sight(load(FOLDER / row["file"]), scale)
    if isinstance(seen, Refusal):
        assert all(reason.remedy for reason in seen.reasons)
        return
    assert row["status"] != "negative"
    above_start = Decimal(row["shown"].split()[0]) - scale.start
    assert abs(seen.shown_divisions - float(above_start / scale.least_count)) < 0.5


def test_two_of_them_can_not_be_read_and_most_others_are() -> None:
    negatives = [row["file"] for row in ROWS if row["status"] == "negative"]
    assert sorted(negatives) == ["blurred.jpg", "no-gauge.jpg"]
    # so that refusing everything would fail: the clearest must be read
    for name in ("strip.jpg", "rod.jpg", "turned.jpg"):
        row = next(r for r in ROWS if r["file"] == name)
        assert not isinstance(sight(load(FOLDER / name), scale_of(row)), Refusal)
