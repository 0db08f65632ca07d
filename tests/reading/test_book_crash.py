"""Killed at any moment, and with two writers at once, a book loses nothing that was told."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from reading.book import Book
from reading.gauge import Gauge
from reading.record import MEASUREMENT
from vision.scale import Scale

ROOT = Path(__file__).parents[2]
WRITES = 500
KILLS = 12
SEED = 20261125  # where in the run of writes the killing falls

# Makes measurements of 5 readings each, telling each one that is in the book.
WRITER = """
import sys
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from reading.book import Book
from reading.record import MEASUREMENT, KeptReading, Record
name, first, last = sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
with Book(Path(sys.argv[1])) as book:
    for n in range(first, last):
        at = datetime(2026, 1, 1) + timedelta(minutes=n)
        seen = [KeptReading("G1", at, f"{name} {n}", Decimal(i), 0.003, who=name) for i in range(5)]
        book.keep(Record("G1", MEASUREMENT, at, {"n": n}, name), seen)
        print(n, flush=True)
"""


def writer(path, name, first, last):
    command = [sys.executable, "-c", WRITER, str(path), name, str(first), str(last)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)


def kept(book, name):
    return [one.body["n"] for one in book.records("G1", MEASUREMENT) if one.who == name]


@pytest.fixture
def path(tmp_path):
    with Book(tmp_path / "book.sqlite", create=True) as book:
        book.add_gauge(Gauge("G1", Scale(Decimal("0.5"), 50)))
    return tmp_path / "book.sqlite"


def test_killed_at_random_points_of_500_writes_beside_another_writer(path):
    rng = random.Random(SEED)
    points = sorted(rng.sample(range(1, WRITES), KILLS))
    other = writer(path, "steady", 0, WRITES)
    told, at = [], 0
    for point in points:
        process = writer(path, "killed", at, WRITES)
        while len(told) < point:
            told.append(int(process.stdout.readline()))
        os.kill(process.pid, signal.SIGKILL)
        told += [int(line) for line in process.stdout.read().split()]
        process.stdout.close()
        assert process.wait(timeout=60) == -signal.SIGKILL
        with Book(path) as book:  # opened at once, the other one still writing
            there = kept(book, "killed")
            assert set(told) <= set(there)  # what was told is kept
            assert len(there) - len(told) <= 1  # at most the one not yet told
            told, at = list(there), len(there)
    last = writer(path, "killed", at, WRITES)
    last.communicate(timeout=100)
    steady, _ = other.communicate(timeout=100)
    with Book(path) as book:
        assert kept(book, "killed") == list(range(WRITES))
        assert kept(book, "steady") == [int(line) for line in steady.split()] == list(range(WRITES))
        assert book.count("reading", "G1") == 2 * 5 * WRITES
        assert book.faults() == []
        events = book.history()
    assert sum(one.what == MEASUREMENT for one in events) == 2 * WRITES
    assert sum(one.what == "reading" for one in events) == 2 * 5 * WRITES
