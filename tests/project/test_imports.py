"""Imports point back along the flow: photo, sighting, reading, correction, record."""

from __future__ import annotations

import ast
import subprocess
import sys

import pytest

from tests.project.console import ROOT

ROOMS = ("vision", "reading", "fixtures")
MODULES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))
# What correction, the book and --help rest on: values without any array.
PLAIN = ("vision/scale.py", "vision/sighting.py", "vision/reasons.py")

# Of the bench, what reads its pictures with the shipped program.
READ_WITH_THE_PROGRAM = ("fixtures/report.py", "fixtures/corrupt.py", "fixtures/benchmark.py")
# Off the way of a reading, and imported when called: what states how well photos are read.
MAY_TAKE_SCIPY = "reading/qualify/bounds.py"


def name_of(path):
    return path.relative_to(ROOT).as_posix()


def imports(path):
    """List the modules that a file imports anywhere, but for those that only its types need."""
    tree = ast.parse(path.read_text())
    for_types = {
        id(node)
        for branch in ast.walk(tree)
        if isinstance(branch, ast.If) and ast.unparse(branch.test) == "TYPE_CHECKING"
        for node in ast.walk(branch)
    }
    found = []
    for node in ast.walk(tree):
        if id(node) in for_types:
            continue
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: relative import"
            found += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
    return found


def rooms(path):
    return {module.split(".")[0] for module in imports(path)} & {*ROOMS, "tests"}


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_rooms_import_only_what_lies_before_them(path):
    name = name_of(path)
    allowed = {
        "vision": {"vision"},
        "reading": {"reading", "vision"},
        "fixtures": {"fixtures"},
    }[name.split("/")[0]]
    if name in READ_WITH_THE_PROGRAM:
        allowed = set(ROOMS)
    if name.startswith("fixtures/training/"):
        allowed = {"fixtures", "vision"}
    assert rooms(path) <= allowed


# Where the networks look: what training must cut out of a photo as the program will
FRAMES = {"vision.closeup", "vision.gap", "vision.numerals"} | {
    f"vision.{name}"
    for name in (
        *("closeup.ORIGIN", "closeup.SIZE", "closeup.SLEEVE_DIAMETER_PX"),
        *("closeup.Pose", "closeup.photo_to_closeup"),
        *("gap.ORIGIN", "gap.SIZE", "gap.ZOOM", "gap.frame"),
        *("numerals.SIZE", "numerals.frame"),
    )
}


def test_training_takes_nothing_from_vision_but_the_frames_that_networks_see():
    for path in (ROOT / "fixtures" / "training").glob("*.py"):
        taken = {module for module in imports(path) if module.startswith("vision.")}
        assert taken <= FRAMES, name_of(path)


@pytest.mark.parametrize("name", PLAIN)
def test_plain_values_need_the_standard_library_alone(name):
    plain = {path.removesuffix(".py").replace("/", ".") for path in PLAIN}
    for module in imports(ROOT / name):
        known = module.split(".")[0] in sys.stdlib_module_names
        assert known or any(module.startswith(one) for one in plain), module


def test_only_the_book_and_the_archive_s_store_speak_sql():
    speaking = {
        name_of(path) for path in MODULES if any(m.startswith("sqlite3") for m in imports(path))
    }
    book = ("database", "book", "book_file", "intake", "soundness", "migrations")
    assert speaking <= {f"reading/{name}.py" for name in (*book, "archive/store")}


def test_slow_libraries_stay_off_the_way_of_a_reading():
    slow = {"scipy", "skimage", "torch", "onnx"}
    for path in MODULES:
        if not name_of(path).startswith("fixtures/") and name_of(path) != MAY_TAKE_SCIPY:
            assert not slow & {module.split(".")[0] for module in imports(path)}, name_of(path)


def test_help_of_every_command_starts_without_slow_libraries():
    heavy = {"cv2", "numpy", "PIL", "skimage", "scipy", "pyarrow", "openpyxl", "dask"}
    heavy |= {"distributed", "fsspec", "torch", "onnx"}
    code = (
        "import sys, typer\n"
        "from reading.cli import app, main\n"
        "def names(group, before=()):\n"
        "    for name, command in group.commands.items():\n"
        "        yield (*before, name)\n"
        "        if hasattr(command, 'commands'): yield from names(command, (*before, name))\n"
        "every = [(), *names(typer.main.get_command(app))]\n"
        "for words in every:\n"
        "    sys.argv = ['datumline', *words, '--help']\n"
        "    try: main()\n"
        "    except SystemExit as end: assert not end.code, words\n"
        f"print(len(every), sorted({heavy} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    count, _, found = done.stdout.splitlines()[-1].partition(" ")
    assert int(count) > 20
    assert found == "[]"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_modules_say_what_they_know_and_stay_short(path):
    text = path.read_text()
    assert not text or ast.get_docstring(ast.parse(text))
    assert len(text.splitlines()) <= 450
