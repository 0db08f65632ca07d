"""Many photos from few: each trimmed by a few pixels and stored anew, so that no two are alike.

python -m tests.reading.archive.variants BENCH DIR --count 2000

BENCH is a folder that `python -m fixtures.make` made. DIR gets photos/, manifest.csv and a book.
"""

from __future__ import annotations

import argparse
import csv
import random
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

from PIL import Image

from reading.book import Book
from reading.gauge import Gauge, ZeroCheck
from reading.length import parse_length
from vision.scale import Scale

SEED = 20261125
MOST_TRIMMED_PX = 6
QUALITY = (80, 93)  # of JPEG, from and below
DATE_TIME, EXIF_IFD, DATE_TIME_ORIGINAL = 0x0132, 0x8769, 0x9003  # Exif 2.32, 4.6.4 and 4.6.5
PARTS = ("pin", "rod", "sheet", "wire")
FIRST_DAY = datetime(2022, 1, 3, 8)
# What a scale is told by in truth.csv; each gets a gauge of its own.
ENGRAVED = ("pitch", "divisions", "unit", "start", "vernier")


def make(bench: Path, folder: Path, count: int) -> None:
    """Make the photos by gauge and part, the manifest, and the book with every gauge."""
    rng = random.Random(SEED)
    with (bench / "truth.csv").open(newline="") as file:
        truth = list(csv.DictReader(file))
    gauges: dict[tuple[str, ...], str] = {}
    rows = []
    for number in range(count):
        row = truth[number % len(truth)]
        scale = tuple(row[name] for name in ENGRAVED)
        gauge = gauges.setdefault(scale, f"G{len(gauges):02d}")
        part = PARTS[number // len(truth) % len(PARTS)]
        taken = FIRST_DAY + timedelta(hours=13 * number)
        name = f"{gauge}/{part}/{number:05d}.jpg"
        path = folder / "photos" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        _store(bench / row["file"], path, rng, taken)
        rows.append((name, gauge, part))
    with (folder / "manifest.csv").open("w", newline="") as file:
        csv.writer(file).writerows([("photo", "gauge", "part"), *rows])
    _book(folder / "book.sqlite", gauges)


def _store(source: Path, target: Path, rng: random.Random, taken: datetime) -> None:
    """Trim a picture and store it anew, dated."""
    with Image.open(source) as opened:
        picture = opened.convert("RGB")
        exif = opened.getexif()
    left, top, right, low = (rng.randrange(MOST_TRIMMED_PX) for _ in range(4))
    picture = picture.crop((left, top, picture.width - right, picture.height - low))
    exif.get_ifd(EXIF_IFD)[DATE_TIME_ORIGINAL] = taken.strftime("%Y:%m:%d %H:%M:%S")
    picture.save(target, "JPEG", quality=rng.randrange(*QUALITY), exif=exif.tobytes())


def _book(path: Path, gauges: dict[tuple[str, ...], str]) -> None:
    """Enter the gauges, each with two zero checks."""
    with Book(path, create=True) as book:
        for (pitch, divisions, unit, start, vernier), name in gauges.items():
            exact = [parse_length(text, unit).to(unit).value for text in (pitch, start)]
            parts = int(float(vernier)) if vernier else None
            book.add_gauge(Gauge(name, Scale(exact[0], int(divisions), unit, exact[1], parts)))
            for year, zero in ((2021, "0.001"), (2023, "0.002")):
                book.record_zero(ZeroCheck(name, datetime(year, 6, 1), Decimal(zero), 0.001))


if __name__ == "__main__":
    told = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    told.add_argument("bench", type=Path)
    told.add_argument("folder", type=Path)
    told.add_argument("--count", type=int, default=2000)
    given = told.parse_args()
    make(given.bench, given.folder, given.count)
