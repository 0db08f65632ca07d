"""What the user can put right: one line that names the thing and the fix."""

from __future__ import annotations

import re

# The system libraries that opencv-python loads and a bare Debian lacks, and the packages with them.
_SYSTEM_LIBRARY = re.compile(r"(libGL|libgthread|libglib|libxcb|libX11)[\w.+-]*")
DEBIAN_PACKAGES = ("libgl1", "libglib2.0-0", "libxcb1")


class Problem(Exception):  # noqa: N818 (not an error of ours)
    """Arguments or files that can't be used; `str` of it is one ready line (exit code 2)."""


def missing_library(error: ImportError) -> Problem | None:
    """Make the line for a system library that OpenCV misses; None for any other import error."""
    found = _SYSTEM_LIBRARY.search(str(error))
    if found is None:
        return None
    return Problem(
        f"OpenCV misses the system library {found.group(0)}: "
        f"on Debian run  apt-get install {' '.join(DEBIAN_PACKAGES)}"
    )
