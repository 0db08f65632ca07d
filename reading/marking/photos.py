"""Looking at the photos of a class: each is read once, drawn on, and made comparable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from reading import batch
from reading.correct import correct, date_reading, refused
from reading.formats import caption
from reading.gauge import Gauge, ZeroCheck
from reading.looking import counted
from reading.result import Reading, Refused, Unusable
from vision.scale import Scale
from vision.sighting import Refusal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

PICTURE_PX = 1000  # width of a picture on a page: sharp on paper at half a page


@dataclass(frozen=True)
class Tool:
    """The gauge that a student used, as far as it is known."""

    scale: Scale | None = None
    gauge: Gauge | None = None
    checks: tuple[ZeroCheck, ...] = ()
    edge_set_mm: batch.EdgeSet | None = None
    unknown: str = ""  # a name that the book does not have


@dataclass(frozen=True)
class Job:
    """One photo to look at, and where its picture goes."""

    file: Path
    tool: Tool
    picture: Path
    now: datetime


@dataclass(frozen=True)
class Seen:
    """What came of one photo: its result, its picture for a page, its fingerprint."""

    result: Reading | Refused | Unusable
    picture: Path | None = None
    fingerprint: NDArray[np.float32] | None = field(default=None, repr=False, compare=False)


def see(job: Job) -> Seen:
    """Look at one photo, correct its reading, and draw what was seen.

    The picture is painted anew from grey pixels, so that nothing the camera wrote is in it.
    """
    from reading.marking.likeness import fingerprint
    from reading.overlays import overlay_jpeg
    from vision.photo import load

    tool = job.tool
    looked = batch.look(job.file, tool.scale, tool.edge_set_mm)
    if isinstance(looked, Unusable):
        return Seen(Unusable(job.file.name, looked.message.replace(f"{job.file}: ", "")))
    result: Reading | Refused
    if isinstance(looked.seen, Refusal):
        result = refused(looked.photo, looked.seen, tool.gauge)
    else:
        when = date_reading(looked.photo, None, job.now)
        result = correct(looked.photo, looked.seen, when, tool.gauge, tool.checks)
    job.picture.write_bytes(overlay_jpeg(job.file, looked.seen, caption(result), PICTURE_PX))
    return Seen(result, job.picture, fingerprint(load(job.file).grey))


def see_all(jobs: Sequence[Job]) -> Iterator[Seen]:
    """Look at photos on all cores, in their order, counting them where a terminal watches."""
    workers = batch.worker_count(len(jobs))
    yield from counted(batch.on_all_cores(see, jobs, workers), len(jobs))
