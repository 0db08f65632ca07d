"""Reads photos with known readings on all cores, in order, each with its own scale."""

from __future__ import annotations

import multiprocessing
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import TypeVar

from reading.batch import Look, look, worker_count
from reading.problem import Problem
from reading.qualify.judging import CRASHED, Judged, judge
from reading.qualify.known import Known
from reading.result import Unusable
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

Job = TypeVar("Job")
Done = TypeVar("Done")
CHUNK = 4  # photos handed out at once
PICTURE_PX = 420  # widest, of what is shown of a photo that went wrong
PROGRESS_EVERY = 5


def read_all(
    known: Sequence[Known], given: bool, *, pictures: bool = False, workers: int | None = None
) -> list[Judged]:
    """Read photos and judge each.

    Parameters
    ----------
    known : sequence of Known
    given : bool
        Whether the reader is told each photo's scale.
    pictures : bool
        Whether to draw what was seen where it went wrong.
    workers : int, optional
        Processes; as many as there are cores where not given.
    """
    jobs = [(one, given, pictures) for one in known]
    return list(on_all_cores(_read_one, jobs, workers))


def on_all_cores(
    work: Callable[[Job], Done], jobs: Sequence[Job], workers: int | None = None
) -> Iterator[Done]:
    """Do jobs with some processes, in order, counting on stderr when a terminal watches.

    Raises
    ------
    Problem
        If a process is killed from outside, as for want of memory.
    """
    count = worker_count(len(jobs)) if workers is None else workers
    if count <= 1:
        yield from _counted(map(work, jobs), len(jobs))
        return
    # Fresh processes, not copies of this one: threads of libraries do not survive copying.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(count, mp_context=context) as pool:
        try:
            yield from _counted(pool.map(work, jobs, chunksize=CHUNK), len(jobs))
        except BrokenProcessPool as error:
            raise Problem(
                "a process that was reading photos was stopped, likely for want of memory: "
                "qualify with fewer photos at once"
            ) from error
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _counted(done: Iterator[Done], total: int) -> Iterator[Done]:
    watched = sys.stderr.isatty()
    for count, one in enumerate(done, 1):
        if watched and (count % PROGRESS_EVERY == 0 or count == total):
            end = "\n" if count == total else ""
            print(f"\r{count} of {total} photos", end=end, file=sys.stderr, flush=True)
        yield one


def look_or_say_why(path: Path, scale: Scale | None) -> Look | Unusable:
    """Look at one photo; a fault of the program is an answer, so that the rest is still read."""
    try:
        return look(path, scale)
    except Exception:
        last = traceback.format_exc().strip().splitlines()
        return Unusable(CRASHED, " | ".join(last[-3:]))


def _read_one(job: tuple[Known, bool, bool]) -> Judged:
    """Read one photo on one core."""
    import cv2

    cv2.setNumThreads(1)
    known, given, pictures = job
    found = look_or_say_why(known.path, known.scale if given else None)
    if isinstance(found, Unusable):
        return judge(known, found)
    judged = judge(known, found.seen)
    if pictures and worth_showing(judged):
        return Judged(judged.outcome, judged.cells, _picture(known, found.seen))
    return judged


def worth_showing(judged: Judged) -> bool:
    """Whether a photo went wrong: read wrongly, or readable and not accepted."""
    outcome = judged.outcome
    return outcome.wrong or (outcome.readable and not outcome.accepted)


def _picture(known: Known, seen: Sighting | Refusal) -> bytes:
    from reading.overlays import overlay_jpeg

    return overlay_jpeg(known.path, seen, (), PICTURE_PX)
