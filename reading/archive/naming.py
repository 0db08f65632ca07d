"""Which gauge and part a photo is of: from a manifest, from folder names, or from neither."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from reading.archive.names import shown
from reading.dates import parse_when
from reading.problem import Problem
from reading.tables import csv_lines

# Headings of a manifest, in any case; the first is the one that we write.
HEADINGS = {
    "photo": ("photo", "file", "filename", "path", "picture", "image"),
    "gauge": ("gauge", "gauge id", "instrument"),
    "part": ("part", "work", "workpiece", "item", "what"),
    "on": ("on", "date", "taken", "time"),
}
FIELDS = ("gauge", "part")  # what a pattern can name
_PIECE = re.compile(r"\{(\w+)\}|(\*\*)|(\*)|([^{}*]+)|(.)")


@dataclass(frozen=True)
class Named:
    """What is known of a photo before it is read; None where nothing was said."""

    gauge: str | None = None
    part: str | None = None
    on: datetime | None = None


@dataclass(frozen=True)
class Naming:
    """How photos come by their gauges: the manifest first, then the pattern, then the default."""

    manifest: Mapping[str, Named] = field(default_factory=dict)
    pattern: re.Pattern[str] | None = None
    default: Named = Named()

    def line_of(self, name: str) -> str | None:
        """Give the photo by which the manifest lists a name as shown: its path or bare name."""
        bare = name.rpartition("/")[2]
        return name if name in self.manifest else bare if bare in self.manifest else None

    def of(self, name: str) -> Named:
        """Say what is known of the photo of a name as shown."""
        listed = self.manifest.get(self.line_of(name) or "", Named())
        found = self.pattern.match(name) if self.pattern else None
        # A ZIP may be named as its gauge or part is.
        by_name = {k: v.removesuffix(".zip") for k, v in found.groupdict().items()} if found else {}
        return Named(
            listed.gauge or by_name.get("gauge") or self.default.gauge,
            listed.part or by_name.get("part") or self.default.part,
            listed.on or self.default.on,
        )


def parse_pattern(text: str) -> re.Pattern[str]:
    """Turn a pattern of folder names like ``{gauge}/{part}/*`` into what finds the names in a path.

    ``{gauge}`` and ``{part}`` stand for a folder's or file's name or a piece of it, ``*`` for
    anything within one name, ``**`` for any folders. It is held against the path below the archive
    from its start; what follows is free.

    Raises
    ------
    Problem
        If it names neither, one twice, or anything else.
    """
    out, named = [], []
    for name, any_folders, within, plain, odd in _PIECE.findall(text):
        if name:
            if name not in FIELDS or name in named:
                raise Problem(f"--pattern {text}: {{gauge}} and {{part}}, once each, nothing else")
            named.append(name)
            out.append(f"(?P<{name}>[^/]+?)")
        elif odd:
            raise Problem(f"--pattern {text}: {odd} has no partner")
        else:
            out.append(".*" if any_folders else "[^/]*" if within else re.escape(plain))
    if not named:
        raise Problem(f"--pattern {text}: it names no gauge; like {{gauge}}/{{part}}/*")
    if text.endswith("}"):  # a piece at the end reaches to the end of that name
        out.append("(?=/|$)")
    return re.compile("".join(out))


def read_manifest(path: Path) -> dict[str, Named]:
    """Read a CSV file that says which gauge, part and date a photo has.

    The photo is its path below the archive, or its bare name. Names with odd bytes are written as
    results write them.

    Raises
    ------
    Problem
        If the file can't be read, has no photo column, or a line can't be understood.
    """
    lines = csv_lines(path)
    columns = _columns(path, lines[0] if lines else [])
    known: dict[str, Named] = {}
    for number, line in enumerate(lines[1:], start=2):
        cells = {name: line[at].strip() for name, at in columns.items() if at < len(line)}
        name = cells.get("photo", "").removeprefix("./")
        if not name:
            continue
        try:
            on = parse_when(cells["on"], end_of_day=True) if cells.get("on") else None
        except Problem as problem:
            raise Problem(f"{path}, line {number}: {problem}") from None
        named = Named(cells.get("gauge") or None, cells.get("part") or None, on)
        if known.setdefault(name, named) != named:
            raise Problem(f"{path}, line {number}: {shown(name)} is listed twice, and differs")
    return known


def _columns(path: Path, header: list[str]) -> dict[str, int]:
    """Find the columns by their headings."""
    places: dict[str, int] = {}
    for at, heading in enumerate(header):
        for name, words in HEADINGS.items():
            if heading.strip().lower().replace("_", " ") in words:
                places.setdefault(name, at)
    if "photo" not in places:
        raise Problem(
            f"{path}: no column for the photo; headings: photo, gauge, and if you like part, on"
        )
    return places
