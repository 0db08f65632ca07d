"""Looking at the photos of one command: progress, what can't be used, what was sighted."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from reading import batch, formats
from reading.batch import EdgeSet
from reading.correct import correct, refused
from reading.gauge import Gauge
from reading.result import PhotoRecord, Unusable, When
from reading.terminal import DONE, REFUSED, USER_ERROR, Say
from vision.scale import Scale
from vision.sighting import Refusal, Sighting

Done = TypeVar("Done")
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
    workers = batch.worker_count(len(photos))
    looks = batch.look_at_all(photos, scale, workers, edge_set_mm, near_divisions)
    yield from counted(looks, len(photos))


def counted(done: Iterable[Done], total: int) -> Iterator[Done]:
    """Pass on what comes of photos; count it on stderr if a terminal watches and there is much."""
    began, watched = time.monotonic(), total >= PROGRESS_FROM and sys.stderr.isatty()
    for count, one in enumerate(done, start=1):
        if watched:
            rate = count / max(time.monotonic() - began, 1e-3)
            minutes, seconds = divmod(round((total - count) / rate), 60)
            left = f", {minutes} min {seconds:02} s left" if count < total else "\n"
            line = f"\r{'':60}\r{count} of {total} photos, {rate:.1f} a second{left}"
            print(line, end="", file=sys.stderr, flush=True)
        yield one


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
