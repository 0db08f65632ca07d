"""How long `gauge show` takes in a large book, against its own SQL alone on the same file.

python -m tests.reading.bench_book [FOLDER]
"""

from __future__ import annotations

import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from reading.book import Book
from reading.gauge import Gauge
from reading.gauges import care
from reading.soundness import faults
from vision.scale import Scale

GAUGES = 20
ZERO_CHECKS = 100_000
READINGS = 1_000_000
START = datetime(2000, 1, 1)
NOW = datetime(2026, 11, 25)
RUNS = 15
MOST_TIMES = 3.0  # the program may take so many times its SQL alone


def fill(path: Path) -> None:
    """Make the book; all but one tenth of its rows belong to the first gauge."""
    with Book(path, create=True) as book:
        for n in range(GAUGES):
            book.add_gauge(Gauge(f"G{n}", Scale(Decimal("0.5"), 50)))
    plain = sqlite3.connect(path)

    def dated(total: int) -> list[tuple[str, str]]:
        step = (NOW - START) / (total + 1)
        return [
            (
                f"G{n % GAUGES if n % 10 == 0 else 0}",
                (START + n * step).isoformat(timespec="microseconds"),
            )
            for n in range(total)
        ]

    plain.executemany(
        "INSERT INTO zero_check (gauge, at, zero_error, u, source, who, note, recorded)"
        " VALUES (?, ?, '0.02', 0.003, 'typed', 'bench', '', '2026-01-01')",
        dated(ZERO_CHECKS),
    )
    plain.executemany(
        "INSERT INTO reading (gauge, at, source, sha256, shown, u, edge_set_pitches, who, recorded)"
        " VALUES (?, ?, 'a.jpg', hex (randomblob (32)), '5.78', 0.003, 0.3, 'bench', '2026-01-01')",
        dated(READINGS),
    )
    plain.commit()
    plain.close()


def shown(path: Path) -> list[str]:
    """Open the book, show the first gauge, and give what is said."""
    said: list[str] = []
    with Book(path) as book:
        care.show(book, book.gauge("G0"), NOW, said.append)
    return said


def traced(path: Path) -> list[str]:
    """Give the SQL that showing a gauge runs, word for word."""
    statements: list[str] = []
    connect = sqlite3.connect

    def listening(*arguments: object, **options: object) -> sqlite3.Connection:
        connection = connect(*arguments, **options)  # type: ignore[call-overload]
        connection.set_trace_callback(statements.append)
        return connection

    sqlite3.connect = listening  # type: ignore[assignment]
    try:
        shown(path)
    finally:
        sqlite3.connect = connect
    return statements


def bare(path: Path, statements: list[str]) -> None:
    """Open the file and run SQL alone."""
    connection = sqlite3.connect(path)
    for statement in statements:
        connection.execute(statement).fetchall()
    connection.close()


def seconds(*jobs: Callable[[], object]) -> list[float]:
    """Give the median time of each job; they take turns, so that other work meets all alike."""
    for job in jobs:
        job()  # once for the file to be in memory
    times: list[list[float]] = [[] for _ in jobs]
    for _ in range(RUNS):
        for place, job in enumerate(jobs):
            begun = time.perf_counter()
            job()
            times[place].append(time.perf_counter() - begun)
    return [statistics.median(one) for one in times]


def main() -> None:
    """Fill a book, time, and say whether it is quick enough."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(sys.argv[1] if len(sys.argv) > 1 else folder) / "large.sqlite"
        begun = time.perf_counter()
        fill(path)
        made = time.perf_counter() - begun
        print(f"{path.stat().st_size / 1e6:.0f} MB made in {made:.0f} s")
        statements = traced(path)
        print("\n".join(shown(path)))
        program, alone = seconds(lambda: shown(path), lambda: bare(path, statements))
        command = [sys.executable, "-c", "from reading.cli import main; main()"]
        (whole,) = seconds(
            lambda: subprocess.run(
                [*command, "gauge", "show", "G0", "--book", str(path)],
                check=True,
                capture_output=True,
            )
        )
        print(f"{len(statements)} statements alone {1000 * alone:.1f} ms")
        print(f"gauge show {1000 * program:.1f} ms")
        print(f"the whole command, started anew: {1000 * whole:.0f} ms")
        print(f"{program / alone:.2f} times the SQL alone, {MOST_TIMES:g} allowed")
        begun = time.perf_counter()
        with Book(path) as book:
            print(f"faults: {faults(book)} in {time.perf_counter() - begun:.0f} s")
    if program > MOST_TIMES * alone:
        raise SystemExit("too slow")


if __name__ == "__main__":
    main()
