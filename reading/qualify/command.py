"""What `datumline qualify` does, from parsed arguments to lines, a page and an exit code."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from reading.correct import program_version
from reading.pages import html
from reading.problem import Problem
from reading.qualify.figures import figures
from reading.qualify.judging import COLUMNS, CRASHED, UNUSABLE, Judged
from reading.qualify.known import Known
from reading.qualify.lines import GIVEN, NONE, to_json, to_text
from reading.qualify.looking import read_all
from reading.qualify.page import Pass, page
from reading.saving import whole
from reading.terminal import DONE, USER_ERROR, Say

MODES = {"given": (GIVEN,), "none": (NONE,), "both": (GIVEN, NONE)}
FORMATS = ("text", "json")


@dataclass(frozen=True)
class QualifyRequest:
    """What was asked for, apart from the photos."""

    scale: str = "given"
    by: tuple[str, ...] = ()
    out: Path | None = None
    readings: Path | None = None
    format: str = "text"
    pictures: bool = True
    title: str = "How well known readings are read"
    notes: tuple[str, ...] = ()
    workers: int | None = None

    def __post_init__(self) -> None:
        if self.scale not in MODES:
            raise Problem(f"--scale {self.scale}: one of {', '.join(MODES)}")
        if self.format not in FORMATS:
            raise Problem(f"--format {self.format}: one of {', '.join(FORMATS)}")


def qualify(known: Sequence[Known], request: QualifyRequest, say: Say, complain: Say) -> int:
    """Read photos with known readings, print the figures, and write what was asked for."""
    _check_columns(known, request.by)
    readings: list[Pass] = []
    for mode in MODES[request.scale]:
        judged = read_all(
            known,
            mode == GIVEN,
            pictures=request.pictures and request.out is not None,
            workers=request.workers,
        )
        found = figures([one.outcome for one in judged], request.by)
        readings.append(Pass(mode, found, judged))
        if request.format == "text":
            say(to_text(found, mode) + "\n")
    if request.format == "json":
        say(to_json({one.mode: one.figures for one in readings}))
    if request.readings is not None:
        write_rows(request.readings, readings)
    if request.out is not None:
        text = page(request.title, readings, request.notes, program_version())
        html.save(text, request.out)
        complain(f"{request.out}: the page")
    elif request.format == "text":
        say("A page with plots and every photo that went wrong: --out PAGE.html")
    return _complaints([one for reading in readings for one in reading.judged], complain)


def _check_columns(known: Sequence[Known], columns: Sequence[str]) -> None:
    for column in columns:
        if not any(column in one.row for one in known):
            there = ", ".join(sorted({name for one in known for name in one.row}))
            raise Problem(f"--by {column}: no such column in the truth file, which has {there}")


def _complaints(judged: Sequence[Judged], complain: Say) -> int:
    """Name the photos that could not be used or that crashed the program; give the exit code."""
    bad = [one for one in judged if one.outcome.reasons in ((UNUSABLE,), (CRASHED,))]
    for one in bad:
        complain(f"{one.outcome.file}: {one.cells['reasons']}")
    return USER_ERROR if bad else DONE


def write_rows(target: Path, readings: Sequence[Pass]) -> None:
    """Write what was read in each photo as CSV; Problem if it can't be written."""
    with whole(target) as part, part.open("w", newline="", encoding="utf-8") as file:
        out = csv.DictWriter(file, ("scale", *COLUMNS), lineterminator="\n")
        out.writeheader()
        for reading in readings:
            out.writerows({"scale": reading.mode} | one.cells for one in reading.judged)
