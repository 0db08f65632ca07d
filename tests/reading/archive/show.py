"""Show what an archive of many photos takes: killing, memory, two cores, cost, cluster, hostility.

python -m tests.reading.archive.show WHAT DIR

DIR was made by tests.reading.archive.variants. WHAT is kill, memory, speed, cost, cluster or
hostile; each prints its figures.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from reading.archive.asked import Options, asked_of, request_of
from reading.archive.columns import COMPARED
from reading.archive.reader import Task, read
from reading.archive.run import Request
from reading.archive.store import Store
from reading.archive.walk import walk
from reading.archive.workers import read_all
from tests.project.console import ROOT
from tests.reading.archive import hostile
from tests.reading.archive.test_resume import children_of, rows_in

KILLS, SEED = 10, 20261125
SPEED_PHOTOS, SPEED_ROUNDS, WARM = 120, 3, 6
COST_PHOTOS = 60
CLUSTER_PHOTOS, PARTITION = 300, 10
TINY = 50_000
COMMAND = [sys.executable, "-c", "from reading.cli import main; main()", "archive"]


def command(folder: Path, results: Path, *more: str, photos: Path | None = None) -> list[str]:
    """Write the command that reads the archive of a folder."""
    named = ["--manifest", str(folder / "manifest.csv"), "--book", str(folder / "book.sqlite")]
    root = str(photos or folder / "photos")
    return [*COMMAND, root, "--results", str(results), *named, *more]


def started(line: list[str]) -> subprocess.Popen[bytes]:
    """Start a command in a group of its own."""
    return subprocess.Popen(line, cwd=ROOT, start_new_session=True)


def rows_of(results: Path) -> dict[str, tuple[object, ...]]:
    """Give what is compared of every row, by photo."""
    with Store(results) as store:
        return {
            str(row["photo"]): tuple(row[column] for column in COMPARED) for row in store.current()
        }


def names_in(photos: Path) -> set[str]:
    """List the photos of a folder."""
    return {path.relative_to(photos).as_posix() for path in photos.rglob("*.jpg")}


def compare(one: Path, other: Path, wanted: set[str] | None = None) -> str:
    """Say whether two results hold the same rows, timings aside."""
    ours, theirs = rows_of(one), rows_of(other)
    if wanted is not None:
        ours = {name: row for name, row in ours.items() if name in wanted}
    differ = [name for name in ours.keys() | theirs.keys() if ours.get(name) != theirs.get(name)]
    return f"{len(ours)} and {len(theirs)} rows, {len(differ)} differ {sorted(differ)[:3]}"


def kill(folder: Path) -> None:
    """Kill the run ten times at random, and let it end; then count."""
    results, wanted = folder / "killed.sqlite", names_in(folder / "photos")
    points = sorted(random.Random(SEED).sample(range(1, len(wanted) - 10), KILLS))
    line = command(folder, results)
    for number, point in enumerate(points):
        process = started(line)
        while rows_in(results) < point and process.poll() is None:
            time.sleep(0.05)
        if process.poll() is not None:
            raise SystemExit("it ended before it could be killed")
        (os.killpg if number % 2 else os.kill)(process.pid, signal.SIGKILL)
        process.wait()
        print(f"killed -9 at {rows_in(results)} rows", flush=True)
    code = started(line).wait()
    with closing(sqlite3.connect(results)) as open_file:
        ask = open_file.execute
        there = {row[0] for row in ask("SELECT photo FROM photo")}
        most = ask("SELECT max(n) FROM (SELECT count(*) n FROM reading GROUP BY photo)")
        total = ask("SELECT count(*) FROM reading").fetchone()[0]
        runs = ask("SELECT count(*), count(finished) FROM run").fetchone()
        print(
            f"exit code {code}; {len(wanted)} photos, {len(there)} on record, "
            f"{len(wanted - there)} lost, {total} readings, at most {most.fetchone()[0]} a photo, "
            f"(runs, finished) = {runs}"
        )


def memory(folder: Path) -> None:
    """Read all without a break, and watch the memory of the run and of its readers."""
    results, total = folder / "whole.sqlite", len(names_in(folder / "photos"))
    process = started(command(folder, results))
    begun, seen = time.perf_counter(), []
    while process.poll() is None:
        done = rows_in(results)
        sizes = [_resident_mb(process.pid), *map(_resident_mb, children_of(process.pid))]
        if done:
            seen.append((done, sizes[0], max(sizes[1:], default=0.0)))
        time.sleep(1.0)
    print(f"{total} photos in {time.perf_counter() - begun:.0f} s, load {os.getloadavg()}")
    for name, column in (("the run", 1), ("its largest reader", 2)):
        first = [one[column] for one in seen if 20 <= one[0] <= 200]
        last = [one[column] for one in seen if one[0] > total - 200]
        print(
            f"{name}: median {statistics.median(first):.1f} MB over the first 200, "
            f"{statistics.median(last):.1f} MB over the last 200"
        )
    with closing(sqlite3.connect(results)) as open_file:
        print(
            open_file.execute("SELECT status, eyes, count(*) FROM reading GROUP BY 1, 2").fetchall()
        )


def _resident_mb(pid: int) -> float:
    """Give the memory that a process holds."""
    try:
        with open(f"/proc/{pid}/statm") as file:
            return int(file.read().split()[1]) * resource.getpagesize() / 1e6
    except OSError:
        return 0.0


def speed(folder: Path) -> None:
    """Read the same photos with one process and with two, in turns, once the processes run.

    The clock tells the speed-up where the machine is free. Where it is not, the processor's time
    does: what readers and run spend on a photo, and how much of the time readers have a photo.
    """
    request = request_of(_options(folder))
    names = sorted(names_in(folder / "photos"))
    found = {one.name: one for one in walk(folder / "photos")}
    wanted = [found[name] for name in random.Random(SEED).sample(names, SPEED_PHOTOS)]
    tasks = [Task(one, request.naming.of(one.name)) for one in wanted]
    turns: dict[int, list[Turn]] = {1: [], 2: []}
    for turn in range(SPEED_ROUNDS):
        for workers in (1, 2) if turn % 2 else (2, 1):
            turns[workers].append(_turn(tasks, request, workers))
            print(f"{workers} processes: {turns[workers][-1]}", flush=True)
    clock = [one.wall_s / two.wall_s for one, two in zip(turns[1], turns[2], strict=True)]
    spent = [one.free_s(1) / two.free_s(2) for one, two in zip(turns[1], turns[2], strict=True)]
    for words, ratios in (("the clock", clock), ("the processor's time", spent)):
        told = ", ".join(f"{one:.2f}" for one in ratios)
        print(f"speed-up by {words}: {told}; median {statistics.median(ratios):.2f}")


@dataclass(frozen=True)
class Turn:
    """What one photo took, in the mean: by the clock, of the readers' and the run's processor.

    `busy` is the share of the time in which readers had a photo in hand.
    """

    wall_s: float
    readers_s: float
    run_s: float
    busy: float
    load: float

    def free_s(self, workers: int) -> float:
        """Say what a photo would take by the clock if nobody else used the cores.

        With as many readers as cores the run itself takes its time from them.
        """
        own = self.run_s if workers == 2 else 0.0
        return (self.readers_s + own) / workers / self.busy


def _turn(tasks: list[Task], request: Request, workers: int) -> Turn:
    """Read photos once, and take the times from when all processes run to when one has none left.

    Their number counts as it flows: what is in hand at the start and at the end is alike.
    """
    last = len(tasks) - 2 * workers
    for number, _ in enumerate(read_all(iter(tasks), request.settings, workers), start=1):
        if number == WARM:
            begun, before, own = time.perf_counter(), _spent(os.getpid()), time.process_time()
        if number == last:
            wall = time.perf_counter() - begun
            spent = [after - then for after, then in zip(_spent(os.getpid()), before, strict=True)]
            own = time.process_time() - own
    count, busy = last - WARM, min(1.0, sum(spent) / wall / workers)
    return Turn(wall / count, spent[0] / count, own / count, busy, os.getloadavg()[0])


def _spent(pid: int) -> tuple[float, float]:
    """Give the seconds that a process's readers ran, and that they waited for a core (proc(5))."""
    told = [Path(f"/proc/{child}/schedstat").read_text().split() for child in children_of(pid)]
    return sum(int(one[0]) for one in told) / 1e9, sum(int(one[1]) for one in told) / 1e9


def _options(folder: Path) -> Options:
    return Options(manifest=folder / "manifest.csv", book=folder / "book.sqlite")


def cost(folder: Path) -> None:
    """Compare the processor's time for a photo with decoding it, in turns, in one process."""
    import cv2

    cv2.setNumThreads(1)
    options = _options(folder)
    request = request_of(options)
    there = list(walk(folder / "photos"))
    found = random.Random(SEED).sample(there, min(COST_PHOTOS, len(there)))
    ratios, sizes, spent = [], [], []
    with tempfile.TemporaryDirectory() as name, Store(Path(name) / "r.db", create=True) as store:
        run, _ = store.begin(asked_of("", request, options))
        for number, one in enumerate(found):
            begun = time.process_time()
            row = read(Task(one, request.naming.of(one.name)), request.settings)
            read_s = time.process_time() - begun
            store.keep(run, row, one)
            whole_s = time.process_time() - begun
            times = []
            for _ in range(9):
                begun = time.process_time()
                grey = cv2.imread(one.source.path, cv2.IMREAD_GRAYSCALE)
                times.append(time.process_time() - begun)
            if number >= WARM:
                ratios.append(whole_s / statistics.median(times))
                sizes.append(grey.size / 1e6)
                spent.append((read_s, whole_s - read_s))
    print(
        f"{len(ratios)} photos of {statistics.median(sizes):.2f} megapixels: "
        f"{statistics.median(ratios):.0f} times decoding (quartiles "
        f"{statistics.quantiles(ratios)[0]:.0f} to {statistics.quantiles(ratios)[2]:.0f}); reading "
        f"{1000 * statistics.median(one for one, _ in spent):.0f} ms, keeping its row "
        f"{1000 * statistics.median(one for _, one in spent):.1f} ms of processor"
    )


def cluster(folder: Path) -> None:
    """Read some of the photos on a cluster of two workers, kill one of them, and compare."""
    from distributed import LocalCluster

    photos, results = folder / "some", folder / "cluster.sqlite"
    shutil.rmtree(photos, ignore_errors=True)
    names = sorted(names_in(folder / "photos"))
    wanted = set(random.Random(SEED).sample(names, CLUSTER_PHOTOS))
    for name in wanted:
        (photos / name).parent.mkdir(parents=True, exist_ok=True)
        os.link(folder / "photos" / name, photos / name)
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as running:
        more = ("--cluster", running.scheduler_address, "--partition", str(PARTITION))
        process = started(command(folder, results, *more, photos=photos))
        while rows_in(results) < CLUSTER_PHOTOS // 3:
            time.sleep(0.2)
        worker = next(iter(running.workers.values()))
        print(f"worker {worker.pid} killed -9 at {rows_in(results)} rows", flush=True)
        os.kill(worker.pid, signal.SIGKILL)
        print(f"exit code {process.wait()}")
    print(compare(folder / "killed.sqlite", results, wanted))


def hostility(folder: Path) -> None:
    """Read an archive of everything that can be wrong, with 50,000 tiny files."""
    root, results = folder / "hostile", folder / "hostile.sqlite"
    sound = next((folder / "photos").rglob("*.jpg")).read_bytes()
    wanted = hostile.make(root, sound, tiny=TINY)
    os.chmod(root, 0o755)
    begun = time.perf_counter()
    code = started([*COMMAND, str(root), "--results", str(results)]).wait()
    spent = time.perf_counter() - begun
    with Store(results) as store:
        codes = {str(row["photo"]): row["codes"] for row in store.current()}
    wrong = [name for name, code in wanted.items() if code and codes.get(name) != code]
    counted = Counter(str(code) for code in codes.values())
    print(f"exit code {code}; {len(wanted)} files, {len(codes)} rows in {spent:.0f} s")
    print(f"missing {sorted(wanted.keys() - codes.keys())}, coded otherwise {wrong}")
    print(", ".join(f"{code} {n}" for code, n in counted.most_common()))
    (root / "locked").chmod(0o700)


SHOWN = {
    "kill": kill,
    "memory": memory,
    "speed": speed,
    "cost": cost,
    "cluster": cluster,
    "hostile": hostility,
}

if __name__ == "__main__":
    told = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    told.add_argument("what", choices=SHOWN)
    told.add_argument("folder", type=Path)
    given = told.parse_args()
    SHOWN[given.what](given.folder)
