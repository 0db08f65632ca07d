"""Archives of made-up files, and running through them."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest

from reading.archive.asked import Options
from reading.archive.command import ArchiveRequest, read_archive
from reading.archive.store import Store
from reading.book import Book
from reading.gauge import Gauge, ZeroCheck
from tests.reading.archive import quick
from vision.scale import Scale


@pytest.fixture
def archive(tmp_path):
    """Make a folder of made-up photos: ``archive({"a.jpg": content, ...})``."""
    root = tmp_path / "archive"

    def make(files):
        for name, data in files.items():
            path = root / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        return root

    return make


@pytest.fixture
def results(tmp_path):
    return tmp_path / "results.sqlite"


@pytest.fixture
def go(results):
    """Read an archive with the quick reader and one process; give the lines that were said."""

    def run(root, options=None, **changes):
        said = []
        wanted = ArchiveRequest(str(root), changes.pop("results", results), 1, **changes)
        assert read_archive(wanted, options or Options(), said.append, quick.look) == 0
        return said

    return run


@pytest.fixture
def log(tmp_path, monkeypatch):
    """Give the file that gets a line for every photo that is opened and read."""
    path = tmp_path / "log"
    path.touch()
    monkeypatch.setenv(quick.LOG, str(path))
    return path


@pytest.fixture
def rows(results):
    """Give the rows that hold, by photo."""

    def of(path=results):
        with Store(path) as store:
            return {row["photo"]: row for row in store.current()}

    return of


@pytest.fixture
def book(tmp_path):
    """Make a book with a gauge L07 and its zero checks: ``book("+0.02", ...)``."""
    path = tmp_path / "book.sqlite"

    def add(*zeros, name="L07"):
        with Book(path, create=True) as opened:
            if name not in [one.identifier for one in opened.gauges()]:
                opened.add_gauge(Gauge(name, Scale(Decimal("0.5"), 50)))
            for month, zero in enumerate(zeros, start=1):
                at = datetime(2025, month, 1)
                opened.record_zero(ZeroCheck(name, at, Decimal(zero), 0.003))
        return path

    return add


def photos(count: int, folder: str = "") -> dict[str, bytes]:
    """Name and fill so many made-up photos."""
    return {f"{folder}{n:04d}.jpg": quick.photo(n) for n in range(count)}


def lines_of(path: Path) -> list[str]:
    """Give the lines of a file."""
    return path.read_text().splitlines()
