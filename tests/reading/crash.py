"""Two writers in one book, each killed at random moments: is all that was told still there?

python -m tests.reading.crash [KILLS [WRITES [SEED]]]
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from decimal import Decimal
from pathlib import Path

from reading.book import Book
from reading.gauge import Gauge
from reading.record import MEASUREMENT
from reading.soundness import faults
from vision.scale import Scale

ROOT = Path(__file__).parents[2]
WRITERS = ("one", "other")
EACH = 5  # readings of one measurement
WRITE_SECONDS = 0.004  # about as long as one write takes: a kill falls anywhere in it

# Makes measurements of EACH readings, telling each one that is in the book.
WRITER = """
import sys
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from reading.book import Book
from reading.record import MEASUREMENT, KeptReading, Record
name, first, last, each = sys.argv[2], *map(int, sys.argv[3:])
with Book(Path(sys.argv[1])) as book:
    for n in range(first, last):
        at = datetime(2026, 1, 1) + timedelta(minutes=n)
        seen = [KeptReading("G1", at, f"{name} {n}", Decimal(i), 0.003, who=name)
                for i in range(each)]
        book.keep(Record("G1", MEASUREMENT, at, {"n": n}, name), seen)
        print(n, flush=True)
"""


class Writer:
    """One writer that is started anew each time it was killed; `told` is what it said it wrote."""

    def __init__(self, path: Path, name: str, writes: int) -> None:
        self.path, self.name, self.writes = path, name, writes
        self.told: list[int] = []
        self.start(0)

    def start(self, first: int) -> None:
        """Start it at a write."""
        command = [sys.executable, "-c", WRITER, str(self.path), self.name]
        command += [str(first), str(self.writes), str(EACH)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)

    def kill_after(self, point: int, pause: float) -> None:
        """Let it go on until it has told so many writes, and kill it a moment later."""
        while len(self.told) < point and (line := self.process.stdout.readline()):
            self.told.append(int(line))
        time.sleep(pause)
        os.kill(self.process.pid, signal.SIGKILL)
        self.told += [int(line) for line in self.process.stdout.read().split()]
        self.process.stdout.close()
        self.process.wait(timeout=60)

    def finish(self) -> None:
        """Let it come to its end."""
        rest, _ = self.process.communicate(timeout=300)
        self.told += [int(line) for line in rest.split()]


def begin(path: Path) -> None:
    """Make a book with one gauge."""
    with Book(path, create=True) as book:
        book.add_gauge(Gauge("G1", Scale(Decimal("0.5"), 50)))


def kept(book: Book, name: str) -> list[int]:
    """Say which writes of a writer are in the book."""
    return [one.body["n"] for one in book.records("G1", MEASUREMENT) if one.who == name]


def wrong_after_kill(path: Path, writer: Writer) -> list[str]:
    """Open the book at once, the other one still writing, and say what is not as it must be."""
    with Book(path) as book:
        there, damage = kept(book, writer.name), faults(book)
    found = [f"check: {fault}" for fault in damage]
    if there != list(range(len(there))):
        found.append(f"{writer.name}: writes missing, twice or out of order")
    if lost := set(writer.told) - set(there):
        found.append(f"{writer.name}: told and lost: {sorted(lost)}")
    if len(there) - len(writer.told) > 1:  # at most the one that was not yet told
        found.append(f"{writer.name}: {len(there)} kept, {len(writer.told)} told")
    writer.told = there
    return found


def crash(path: Path, kills: int, writes: int, seed: int) -> list[str]:
    """Make so many writes with each of two writers, killing one or the other at random points.

    Returns
    -------
    list of str
        What was not as it must be; empty for a book that lost nothing.
    """
    rng = random.Random(seed)
    begin(path)
    writers = [Writer(path, name, writes) for name in WRITERS]
    found = []
    for point in sorted(rng.sample(range(1, writes), kills)):
        writer = rng.choice(writers)
        writer.kill_after(point, rng.uniform(0, WRITE_SECONDS))
        found += wrong_after_kill(path, writer)
        writer.start(len(writer.told))
    for writer in writers:
        writer.finish()
    with Book(path) as book:
        found += [f"check: {fault}" for fault in faults(book)]
        for writer in writers:
            if not kept(book, writer.name) == writer.told == list(range(writes)):
                found.append(f"{writer.name}: not every write is there once")
        if book.count("reading", "G1") != len(WRITERS) * EACH * writes:
            found.append("a measurement is there without all its readings")
        told = [event.what for event in book.history()]
    if told.count(MEASUREMENT) != len(WRITERS) * writes:
        found.append("the history does not tell of every measurement")
    return found


def main() -> None:
    """Kill many times and say what came out."""
    given = [int(word) for word in sys.argv[1:]]
    kills, writes, seed = (*given, *(250, 500, 1)[len(given) :])
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        found = crash(Path(folder) / "book.sqlite", kills, writes, seed)
    print("\n".join(found) or "nothing lost, check clean")
    print(f"{kills} kills in 2 × {writes} writes, {time.perf_counter() - begun:.0f} s")
    raise SystemExit(bool(found))


if __name__ == "__main__":
    main()
