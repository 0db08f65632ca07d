"""What a run is asked for: the gauges of the book, the manifest and the pattern, put together."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reading import batch
from reading.archive.identity import libraries, weights_identity
from reading.archive.names import shown
from reading.archive.naming import Named, Naming, parse_pattern, read_manifest
from reading.archive.reader import Known, LookAt, Settings, scale_text
from reading.archive.run import Request
from reading.archive.store import Asked
from reading.book import Book, BookError, book_path
from reading.commands import asked_scale
from reading.correct import program_version
from reading.gauge import Gauge
from reading.known import KnownGauge, known_of


@dataclass(frozen=True)
class Options:
    """What was typed, apart from where the photos lie."""

    manifest: Path | None = None
    pattern: str | None = None
    gauge: str | None = None
    pitch: str | None = None
    divisions: int | None = None
    start: str | None = None
    on: datetime | None = None
    book: Path | None = None
    again: bool = False
    trust_times: bool = False


def request_of(options: Options, look: LookAt = batch.look) -> Request:
    """Find everything that photos are read with.

    Raises
    ------
    Problem
        If options contradict each other, or a file or the book can't be used.
    """
    scale = asked_scale(options.gauge, options.pitch, options.divisions, options.start)
    manifest = read_manifest(options.manifest) if options.manifest else {}
    pattern = parse_pattern(options.pattern) if options.pattern else None
    naming = Naming(manifest, pattern, Named(options.gauge, None, options.on))
    by_gauge: dict[str | None, Known] = {None: Known(scale)}
    if options.gauge or "gauge" in (pattern.groupindex if pattern else ()) or _names_any(manifest):
        by_gauge |= known_gauges(options.book)
    if options.gauge is not None and options.gauge not in by_gauge:
        raise BookError(f"gauge {options.gauge} is not in the book {book_path(options.book)}")
    settings = Settings(by_gauge, program_version(), weights_identity(), look)
    return Request(naming, settings, options.again, options.trust_times)


def _names_any(manifest: dict[str, Named]) -> bool:
    return any(named.gauge for named in manifest.values())


def known_gauges(book: Path | None) -> dict[str | None, Known]:
    """Take every gauge of the book, with its zero checks and its edge's set."""
    found: dict[str | None, Known] = {}
    with Book(book_path(book)) as opened:
        for gauge in opened.gauges():
            known = known_of(opened, gauge)
            found[gauge.identifier] = Known(**vars(known), state=_state(gauge, known))
    return found


def _state(gauge: Gauge, known: KnownGauge) -> str:
    """Give what tells a gauge's record and zero checks from any others, short."""
    told = [scale_text(gauge.scale), str(gauge.end), str(known.zero_days)]
    told += [
        f"{one.number} {one.at.isoformat()} {one.zero_error} {one.u!r}" for one in known.checks
    ]
    return hashlib.sha256("\n".join(told).encode()).hexdigest()[:16]


def asked_of(root: str, request: Request, options: Options) -> Asked:
    """Say what a run is, so that it can be told whether a stopped one goes on."""
    by_gauge = sorted(
        (name or "", scale_text(known.scale), known.state)
        for name, known in request.settings.by_gauge.items()
    )
    words = {
        "gauges": hashlib.sha256(repr(by_gauge).encode()).hexdigest()[:16],
        "manifest": hashlib.sha256(repr(request.naming.manifest).encode()).hexdigest()[:16],
        "pattern": options.pattern,
        "gauge": options.gauge,
        "on": options.on.isoformat() if options.on else None,
        "again": options.again,
        "trust_times": options.trust_times,
    }
    settings = request.settings
    text = json.dumps(words, sort_keys=True)
    return Asked(shown(root), settings.program, settings.weights, libraries(), text)
