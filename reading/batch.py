"""Many photos, on all cores, in their order; one bad file is one row. The one caller of `sight`."""

from __future__ import annotations

import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from reading.problem import Problem
from reading.result import PhotoRecord, Unusable
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

if TYPE_CHECKING:
    from vision.photo import Photo

Job = TypeVar("Job")
Done = TypeVar("Done")
POOL_FROM = 4  # fewer photos than this are read before a second process has started
EdgeSet = tuple[float, float]  # mean and standard deviation, in mm; see `gauges.edge_set`
AHEAD_PER_WORKER = 4  # photos handed out before their turn, so that memory stays bounded


@dataclass(frozen=True)
class Look:
    """One photo that could be opened, and what was seen in it."""

    photo: PhotoRecord
    seen: Sighting | Refusal


def look(
    path: Path,
    scale: Scale | None,
    edge_set_mm: EdgeSet | None = None,
    near_divisions: float | None = None,
) -> Look | Unusable:
    """Look at one photo.

    Parameters
    ----------
    path : Path
        The photo's file; its name in the answer is the path as given.
    scale : Scale or None
        The scale in the picture, None to infer it.
    edge_set_mm : (mean, standard deviation), optional
        How far this gauge's edge stands past where a reading puts it, where that is known.
    near_divisions : float, optional
        Where it is known to stand to within half a turn, as closed faces and setting rods are.
    """
    from vision.photo import PhotoError, load

    try:
        photo = load(path)
    except PhotoError as error:
        return Unusable(str(path), str(error))
    return look_at(photo, scale, edge_set_mm, near_divisions)


def look_at(
    photo: Photo,
    scale: Scale | None,
    edge_set_mm: EdgeSet | None = None,
    near_divisions: float | None = None,
) -> Look:
    """Look at a photo that is loaded; the rest is as in `look`."""
    from reading.dates import local
    from vision.pipeline import sight

    taken = None if photo.taken is None else local(photo.taken)
    record = PhotoRecord(str(photo.path), photo.sha256, taken)
    known: dict[str, Any] = {"edge_set_mm": edge_set_mm, "near_divisions": near_divisions}
    known = {name: value for name, value in known.items() if value is not None}
    return Look(record, sight(photo, scale, **known))


def worker_count(photos: int) -> int:
    """Say how many processes look at so many photos: one a core, one for a few photos."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return 1 if photos < POOL_FROM else min(cores or 1, photos)


def look_at_all(
    paths: Sequence[Path],
    scale: Scale | None,
    workers: int,
    edge_set_mm: EdgeSet | None = None,
    near_divisions: float | None = None,
) -> Iterator[Look | Unusable]:
    """Look at photos with some processes; the answers come in the order of `paths`."""
    work = partial(look, scale=scale, edge_set_mm=edge_set_mm, near_divisions=near_divisions)
    yield from on_all_cores(work, paths, workers)


def on_all_cores(work: Callable[[Job], Done], jobs: Iterable[Job], workers: int) -> Iterator[Done]:
    """Do jobs with so many processes; what comes of them comes in their order.

    Raises
    ------
    Problem
        If a process is killed from outside, as for want of memory.
    """
    if workers <= 1:
        yield from map(work, jobs)
        return
    # Fresh processes, not copies of this one: threads of libraries do not survive copying.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        waiting: deque[Future[Done]] = deque()
        try:
            for job in jobs:
                waiting.append(pool.submit(_on_one_core, work, job))
                if len(waiting) >= AHEAD_PER_WORKER * workers:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        except BrokenProcessPool as error:
            raise Problem(
                "a process that was reading photos was stopped, likely for want of memory: "
                "give fewer or smaller photos at once"
            ) from error
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _on_one_core(work: Callable[[Job], Done], job: Job) -> Done:
    """Do one job, leaving the other cores to the other processes."""
    import cv2

    cv2.setNumThreads(1)
    return work(job)
