"""Killed at random moments and started again: every photo once, and none read for nothing."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing

from reading.archive.columns import COMPARED
from tests.project.console import ROOT
from tests.reading.archive import quick
from tests.reading.archive.conftest import lines_of, photos

PHOTOS, KILLS, WORKERS = 200, 5, 2
SEED = 20261125
IN_HAND = 2 * WORKERS  # photos that processes may hold when they are killed


def rows_in(results):
    """Count the rows of a results file that another process may be writing."""
    if not results.exists():
        return 0
    try:
        with closing(sqlite3.connect(results, timeout=5)) as open_file:
            return open_file.execute("SELECT count(*) FROM photo").fetchone()[0]
    except sqlite3.OperationalError:  # no table yet
        return 0


def begin(root, results, log):
    command = [sys.executable, "-m", "tests.reading.archive.driver", root, results, str(WORKERS)]
    told = os.environ | {quick.LOG: str(log), quick.PAUSE: "0.03"}
    return subprocess.Popen(
        command, cwd=ROOT, env=told, start_new_session=True, stdout=subprocess.PIPE, text=True
    )


def test_killed_at_random_points_every_photo_is_read_once(archive, results, tmp_path, go, rows):
    root, log = archive(photos(PHOTOS)), tmp_path / "log"
    log.touch()
    rng = random.Random(SEED)
    for number, point in enumerate(sorted(rng.sample(range(1, PHOTOS - 60), KILLS))):
        process = begin(root, results, log)
        while rows_in(results) < point and process.poll() is None:
            time.sleep(0.005)
        assert process.poll() is None  # it was killed before it could end
        if number % 2:
            os.killpg(process.pid, signal.SIGKILL)  # with all its processes
        else:
            process.kill()
        process.communicate()
    before = rows_in(results)
    last = begin(root, results, log)
    said, _ = last.communicate()
    assert last.returncode == 0
    assert f"{before} had been read before it was stopped" in said  # and were not opened again
    found = rows()
    assert set(found) == {f"{n:04d}.jpg" for n in range(PHOTOS)}
    with closing(sqlite3.connect(results)) as open_file:
        per_photo = open_file.execute("SELECT count(*) FROM reading GROUP BY photo").fetchall()
        runs = open_file.execute("SELECT count(*), count(finished) FROM run").fetchall()
    assert set(per_photo) == {(1,)}
    assert runs == [(1, 1)]
    reads = Counter(lines_of(log))
    assert len(reads) == PHOTOS
    assert sum(reads.values()) - PHOTOS <= KILLS * (IN_HAND + 1)
    other = results.with_name("other.sqlite")
    go(root, results=other)
    for name, row in rows(other).items():  # as without any killing
        assert [row[column] for column in COMPARED] == [found[name][column] for column in COMPARED]


def test_a_reader_killed_from_outside_costs_nothing(archive, results, tmp_path, rows):
    root, log = archive(photos(60)), tmp_path / "log"
    process = begin(root, results, log)
    while rows_in(results) < 10:
        time.sleep(0.005)
    killed = 0
    for child in children_of(process.pid):
        os.kill(child, signal.SIGKILL)
        killed += 1
        break
    process.communicate()
    assert process.returncode == 0
    assert killed == 1
    assert len(rows()) == 60
    assert not any(row["codes"] for row in rows().values())


def children_of(pid):
    """List the processes that a process started to read photos."""
    found = []
    for status in sorted(path for path in os.listdir("/proc") if path.isdecimal()):
        try:
            with open(f"/proc/{status}/stat") as file:
                parent = int(file.read().rpartition(")")[2].split()[1])
            with open(f"/proc/{status}/cmdline") as file:
                words = file.read()
        except OSError:
            continue
        if parent == pid and "spawn_main" in words:
            found.append(int(status))
    return found
