"""Reads photos with known readings on all cores, in order, each with its own scale."""

from __future__ import annotations

import traceback
from collections.abc import Sequence
from pathlib import Path

from reading.batch import Look, look, on_all_cores, worker_count
from reading.looking import counted
from reading.qualify.judging import CRASHED, Judged, judge
from reading.qualify.known import Known
from reading.result import Unusable
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

PICTURE_PX = 420  # widest, of what is shown of a photo that went wrong


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
    count = worker_count(len(jobs)) if workers is None else workers
    return list(counted(on_all_cores(_read_one, jobs, count), len(jobs)))


def look_or_say_why(path: Path, scale: Scale | None) -> Look | Unusable:
    """Look at one photo; a fault of the program is an answer, so that the rest is still read."""
    try:
        return look(path, scale)
    except Exception:
        last = traceback.format_exc().strip().splitlines()
        return Unusable(CRASHED, " | ".join(last[-3:]))


def _read_one(job: tuple[Known, bool, bool]) -> Judged:
    """Read one photo, and draw it where that is worth a look."""
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
