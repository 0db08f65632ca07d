"""Looking at the photos of a class: each is read once, drawn on, and made comparable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from reading import batch
from reading.correct import correct, date_reading, refused
from reading.known import KnownGauge
from reading.looking import counted
from reading.result import Reading, Refused, Unusable
from vision.sighting import Refusal, Sighting

if TYPE_CHECKING:
    from reading.marking.likeness import Print
    from vision.photo import Photo

# What is enough to read the lines on paper, so that a class of 60 can be kept and sent.
CLOSEUP_PX, CLOSEUP_QUALITY = 800, 70  # as wide as a page: 113 dpi
PHOTO_PX, PHOTO_QUALITY = 360, 75  # a third of a page: 150 dpi


@dataclass(frozen=True)
class UsedGauge(KnownGauge):
    """The gauge that a student used; `unknown` is a name that the book does not have."""

    unknown: str = ""


@dataclass(frozen=True)
class Job:
    """One photo to look at, and where its pictures go: names that begin so."""

    file: Path
    used: UsedGauge
    pictures: Path
    now: datetime


@dataclass(frozen=True)
class Seen:
    """What came of one photo: its result, its pictures for a page, and what it is known again by.

    `closeup` shows the whole photo where no close-up could be cut; `photo` is small.
    """

    result: Reading | Refused | Unusable
    closeup: Path | None = None
    photo: Path | None = None
    known_by: Print | None = field(default=None, repr=False, compare=False)


def see(job: Job) -> Seen:
    """Look at one photo, correct its reading, and draw what was seen.

    The pictures are painted anew from grey pixels, so that nothing the camera wrote is in them.
    """
    from reading.marking.likeness import print_of
    from vision.photo import PhotoError, load

    used = job.used
    try:
        photo = load(job.file)
    except PhotoError as error:
        return Seen(Unusable(job.file.name, str(error).replace(f"{job.file}: ", "")))
    looked = batch.look_at(photo, used.scale, used.edge_set_mm)
    result: Reading | Refused
    if isinstance(looked.seen, Refusal):
        result = refused(looked.photo, looked.seen, used.gauge)
    else:
        when = date_reading(looked.photo, None, job.now)
        result = correct(looked.photo, looked.seen, when, used.gauge, used.checks, used.zero_days)
    closeup, small = _save_pictures(photo, looked.seen, job.pictures)
    return Seen(result, closeup, small, print_of(photo.grey, looked.seen))


def _save_pictures(photo: Photo, seen: Sighting | Refusal, begin: Path) -> tuple[Path, Path]:
    """Save a photo's close-up and the photo itself, both with what was seen in it."""
    from reading.overlays import to_jpeg
    from vision.overlay import draw_closeup, draw_photo

    closeup, small = (begin.with_name(f"{begin.name}-{one}.jpg") for one in ("closeup", "photo"))
    closeup.write_bytes(to_jpeg(draw_closeup(photo.grey, seen), CLOSEUP_PX, CLOSEUP_QUALITY))
    small.write_bytes(to_jpeg(draw_photo(photo.grey, seen), PHOTO_PX, PHOTO_QUALITY))
    return closeup, small


def see_all(jobs: Sequence[Job]) -> Iterator[Seen]:
    """Look at photos on all cores, in their order, counting them where a terminal watches."""
    workers = batch.worker_count(len(jobs))
    yield from counted(batch.on_all_cores(see, jobs, workers), len(jobs))
