"""What was handed in: the list, and where each of its photos lies, in a folder or a ZIP."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from reading.archive.codes import FileFault
from reading.archive.codes import message as fault_message
from reading.archive.place import Fault, Found
from reading.archive.reader import opened
from reading.archive.walk import walk
from reading.marking.columns import Columns, find_columns
from reading.marking.written import Entry
from reading.problem import Problem
from reading.tables import Cell, read_table

TABLE_ENDINGS = (".csv", ".xlsx", ".tsv")
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif")
MOST_FILES = 20_000  # of a class
MOST_UNPACKED_BYTES = 20_000_000_000  # photos of a class, unpacked from a ZIP
_CHUNK_BYTES = 1 << 20
_OF_A_SYSTEM = ("__MACOSX",)


@dataclass(frozen=True)
class Observation:
    """One row of the list. `number` counts rows from 1; `file` is None where no photo was found."""

    number: int
    student: str
    photo: str
    gauge: str
    entry: Entry
    order: str = ""
    thing: str = ""
    marker: str = ""
    file: Path | None = None
    trouble: str = ""

    @property
    def place(self) -> tuple[str, str, str]:
        """What tells this observation from all others, however the list is sorted."""
        return self.student, self.photo, self.order


@dataclass(frozen=True)
class HandedIn:
    """All observations, how the columns were understood, and files that could not be opened."""

    observations: tuple[Observation, ...]
    columns: tuple[str, ...]
    asks_correction: bool
    faults: tuple[str, ...] = ()


@dataclass
class Files:
    """The files of a folder or ZIP by name; members of a ZIP are unpacked when they are asked for.

    Unpacked files lie in `room` under numbers of ours, never under a name from the ZIP.
    """

    room: Path
    found: dict[str, Found] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    unpacked: dict[str, Path] = field(default_factory=dict)
    bytes_left: int = MOST_UNPACKED_BYTES

    def add(self, root: Path) -> None:
        """List a folder or ZIP; what may not be unpacked is noted."""
        if not root.exists():
            raise Problem(f"{root}: no such folder or ZIP")
        if root.is_file() and root.suffix.lower() != ".zip":
            raise Problem(f"{root}: give a folder or a ZIP with the photos")
        for one in walk(root):
            if isinstance(one, Fault):
                self.faults.append(f"{one.name}: {fault_message(one.code, one.detail)}")
            elif not set(PurePosixPath(one.name).parts) & set(_OF_A_SYSTEM):
                self.found[one.name] = one
            if len(self.found) > MOST_FILES:
                raise Problem(f"{root}: more than {MOST_FILES} files: give one class at a time")

    def path(self, name: str) -> Path:
        """Give a file on this machine; FileFault if it can't be unpacked."""
        one = self.found[name]
        if one.source.member is None:
            return Path(one.source.path)
        if name not in self.unpacked:
            target = self.room / f"{len(self.unpacked)}{PurePosixPath(name).suffix.lower()[:6]}"
            with ExitStack() as stack:
                source = stack.enter_context(opened(one.source))
                out = stack.enter_context(target.open("wb"))
                while chunk := source.read(_CHUNK_BYTES):
                    self.bytes_left -= len(chunk)
                    if self.bytes_left < 0 or shutil.disk_usage(self.room).free < len(chunk) * 8:
                        raise FileFault("zip_bomb", "more than a class's photos take")
                    out.write(chunk)
            self.unpacked[name] = target
        return self.unpacked[name]

    def find(self, student: str, photo: str) -> str:
        """Find a photo by its name, in the student's folder first; Problem, if not just one."""
        wanted = PurePosixPath(photo.replace("\\", "/"))
        fits = [name for name in self.found if _named(PurePosixPath(name), wanted)]
        own = [name for name in fits if _of_student(PurePosixPath(name), student)]
        whole = [name for name in own or fits if PurePosixPath(name).match(str(wanted))]
        for names in (own, whole, fits):
            if len(names) == 1:
                return names[0]
        if fits:
            raise Problem(f"{len(fits)} files are called {photo}: name its folder in the list too")
        raise Problem(f"no photo called {photo} was handed in")


def _named(path: PurePosixPath, wanted: PurePosixPath) -> bool:
    """Say whether a file has a name, whatever the case, its ending left out or not."""
    name = wanted.name.casefold()
    if not name or path.suffix.lower() not in PHOTO_ENDINGS:
        return False
    return name in (path.name.casefold(), path.stem.casefold())


def _of_student(path: PurePosixPath, student: str) -> bool:
    """Say whether a folder on the way bears the student's name, in any order of its words."""
    words = _words(student)
    return any(words and words <= _words(folder) for folder in path.parts[:-1])


def _words(text: str) -> frozenset[str]:
    letters = "".join(letter if letter.isalnum() else " " for letter in text.casefold())
    return frozenset(letters.split())


def take_in(given: Path, photos: Path | None, room: Path) -> HandedIn:
    """Read what was handed in.

    Parameters
    ----------
    given : Path
        The list (CSV or XLSX), or a folder or ZIP with one folder a student, each with a list of
        that student's own.
    photos : Path or None
        Folder or ZIP with the photos; without it they lie beside the list.
    room : Path
        An empty folder for what is unpacked.

    Raises
    ------
    Problem
        If the list can't be used.
    """
    files = Files(room)
    if given.is_dir() or given.suffix.lower() == ".zip":
        files.add(given)
        if photos is not None:
            files.add(photos)
        rows, columns = _own_lists(files)
    else:
        header, *table = read_table(given)
        known = find_columns(header, str(given))
        files.add(photos or given.absolute().parent)
        rows, columns = [(known, row, known.cell(row, "student").text) for row in table], [known]
    observations = tuple(
        _observation(number, one, files) for number, one in enumerate(rows, start=1)
    )
    twice = _first_twice(observations)
    if twice is not None:
        raise Problem(
            f"{given}: row {twice.number} of {twice.student!r} with photo {twice.photo!r} is there "
            "twice: give the repeats an order of their own"
        )
    asks = any({"corrected", "zero"} & set(one.taken) for one in columns)
    lines = dict.fromkeys(line for one in columns for line in one.lines())
    return HandedIn(observations, tuple(lines), asks, tuple(files.faults))


def _own_lists(files: Files) -> tuple[list[tuple[Columns, Sequence[Cell], str]], list[Columns]]:
    """Read the list in each student's folder; the folder's name is the student's."""
    rows: list[tuple[Columns, Sequence[Cell], str]] = []
    columns: list[Columns] = []
    lists = sorted(
        name for name in files.found if PurePosixPath(name).suffix.lower() in TABLE_ENDINGS
    )
    for name in lists:
        try:
            header, *table = read_table(files.path(name))
            known = find_columns(header, name, needs_student=len(PurePosixPath(name).parts) < 2)
        except (Problem, FileFault) as error:
            files.faults.append(f"{name}: {error}")
            continue
        folder = PurePosixPath(name).parent.name
        columns.append(known)
        rows += [(known, row, known.cell(row, "student").text or folder) for row in table]
    if not rows:
        said = f" ({files.faults[0]})" if files.faults else ""
        raise Problem(f"no list of readings was found in the students' folders{said}")
    return rows, columns


def _observation(
    number: int, row: tuple[Columns, Sequence[Cell], str], files: Files
) -> Observation:
    """Make one observation of a row, with its photo where there is one."""
    columns, cells, student = row
    photo = columns.cell(cells, "photo").text
    file, trouble = None, ""
    try:
        if not student:
            raise Problem("no student is named in this row")
        if not photo:
            raise Problem("no photo is named in this row")
        file = files.path(files.find(student, photo))
    except FileFault as fault:
        trouble = f"{photo}: {fault_message(fault.code, fault.detail)}"
    except (Problem, OSError) as error:
        trouble = str(error)
    return Observation(
        number,
        student,
        photo,
        columns.cell(cells, "gauge").text,
        columns.entry(cells),
        columns.cell(cells, "order").text,
        columns.cell(cells, "object").text,
        columns.cell(cells, "marker").text,
        file,
        trouble,
    )


def _first_twice(observations: Iterable[Observation]) -> Observation | None:
    """Find the first observation that can't be told from an earlier one."""
    seen: set[tuple[str, str, str]] = set()
    for one in observations:
        if one.place in seen:
            return one
        seen.add(one.place)
    return None


def by_student(observations: Iterable[Observation]) -> Iterator[tuple[str, list[Observation]]]:
    """Give each student's observations, students in the order of their first."""
    groups: dict[str, list[Observation]] = {}
    for one in observations:
        groups.setdefault(one.student, []).append(one)
    yield from groups.items()
