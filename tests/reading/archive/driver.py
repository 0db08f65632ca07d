"""Reads an archive of made-up files, to be killed: python -m tests.reading.archive.driver."""

from __future__ import annotations

import sys
from pathlib import Path

from reading.archive.asked import Options
from reading.archive.command import ArchiveRequest, read_archive
from tests.reading.archive import quick


def main() -> None:
    """Read the archive and results that the command line names, with so many processes."""
    root, results, workers = sys.argv[1:4]
    wanted = ArchiveRequest(root, Path(results), int(workers))
    sys.exit(read_archive(wanted, Options(), print, quick.look))


if __name__ == "__main__":
    main()
