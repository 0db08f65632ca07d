"""Files that are there whole or not at all."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from reading.problem import Problem


@contextlib.contextmanager
def whole(target: Path) -> Iterator[Path]:
    """Give a place to write a file in, and put it in its own place once it is complete.

    What was there before stays if anything fails.

    Raises
    ------
    Problem
        Naming the file, if it can't be written.
    """
    part = target.with_name(target.name + ".part")
    try:
        if target.is_dir():
            raise IsADirectoryError(21, "Is a directory")
        yield part
        part.replace(target)
    except OSError as error:
        raise Problem(
            f"{target}: can't be written ({error.strerror}): close it, or choose another place"
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
