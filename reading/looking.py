"""Looking at the photos of one command: progress, what can't be used, what was sighted."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from reading import batch, formats
from reading.batch import EdgeSet
from reading.correct import correct, refused
from reading.gauge import Gauge
from reading.result import PhotoRecord, Unusable, When
from reading.terminal import DONE, REFUSED, USER_ERROR, Say
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

PROGRESS_FROM = 6  # more than a handful of photos
PICTURE_PX = 1400  # a page's width at 200 dpi
Picture = tuple[str, bytes]  # caption, JPEG data


def look_with_progress(
    photos: Sequence[Path],
    scale: Scale | None,
    edge_set_mm: EdgeSet | None = None,
    near_divisions: float | None = None,
) -> Iterator[batch.Look | Unusable]:
    """Look at photos, counting them on stderr when a terminal watches and there are many."""
    watched = len(photos) >= PROGRESS_FROM and sys.stderr.isatty()
    workers = batch.worker_count(len(photos))
    looks = batch.look_at_all(photos, scale, workers, edge_set_mm, near_divisions)
    for count, seen in enumerate(looks, start=1):
        if watched:
            end = "\n" if count == len(photos) else ""
            print(f"\r{count} of {len(photos)} photos", end=end, file=sys.stderr, flush=True)
        yield seen


def report_unread(seen: Sequence[batch.Look | Unusable], say: Say, complain: Say) -> int:
    """Say which photos of a command could not be used or read; give the exit code so far."""
    code = DONE
    for one in seen:
        if isinstance(one, Unusable):
            complain(one.message)
            code = USER_ERROR
        elif isinstance(one.seen, Refusal):
            say(formats.to_text(refused(one.photo, one.seen)))
            code = code or REFUSED
    return code


def sighted(
    seen: Sequence[batch.Look | Unusable],
) -> list[tuple[PhotoRecord, Sighting]]:
    """Pick the photos that were sighted, with what was sighted in them."""
    return [
        (one.photo, one.seen)
        for one in seen
        if isinstance(one, batch.Look) and isinstance(one.seen, Sighting)
    ]


def pictures(seen: Sequence[batch.Look | Unusable], gauge: Gauge, when: When) -> list[Picture]:
    """Draw what was seen on every photo that was sighted, for a page."""
    from reading.overlays import overlay_jpeg

    found = []
    for photo, sighting in sighted(seen):
        caption = formats.caption(correct(photo, sighting, when, gauge))
        data = overlay_jpeg(Path(photo.name), sighting, caption, PICTURE_PX)
        found.append((photo.name, data))
    return found
