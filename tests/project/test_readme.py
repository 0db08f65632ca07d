"""What README.md and DEVELOPERS.md say holds: commands, options, codes, files, outputs."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from decimal import Decimal
from functools import cache

import pytest

from reading.notices import CAUTION
from reading.problem import DEBIAN_PACKAGES
from tests.project.console import README, ROOT, run, shown
from vision.reasons import REASONS

TEXT = README.read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
SETUP = [block.strip() for block in re.findall(r"^```sh\n(.*?)^```$", TEXT, re.DOTALL | re.M)]
PHOTOS = [p for p in (ROOT / "demo_images").iterdir() if p.suffix in (".jpg", ".png", ".heic")]
NUMBER = r"\d+(?:\.\d+)?"
needs_photos = pytest.mark.skipif(not PHOTOS, reason="demo_images/ has no photos yet")


@cache
def help_of(*command):
    done = subprocess.run(
        [sys.executable, "-c", "from reading.cli import main; main()", *command, "--help"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def used():
    """List every datumline command in the README as (words before the first option, options)."""
    lines = [one.command for one in shown(TEXT)] + [SETUP[0].rpartition(" && ")[2]]
    lines += re.findall(r"`(datumline [^`]+)`", TEXT)
    for line in lines:
        words = shlex.split(line)[1:]
        names = words[:2] if words[0] in ("gauge", "book", "archive") else words[:1]
        yield tuple(names), [word for word in words if word.startswith("--")]


def test_the_two_commands_are_one_line_each():
    assert len(SETUP) == 2
    assert all("\n" not in command for command in SETUP)


def test_the_first_command_installs_what_opencv_needs_and_reads_a_photo():
    update, install, venv, pip, read = SETUP[0].split(" && ")
    assert update == "$(command -v sudo) apt-get update"
    packages = install.removeprefix("$(command -v sudo) apt-get install -y ").split()
    assert packages == ["python3-venv", *DEBIAN_PACKAGES]
    assert (venv, pip) == ("python3 -m venv .venv", ".venv/bin/pip install .")
    assert read.startswith(".venv/bin/datumline read demo_images/")


def test_the_second_command_is_what_is_run_before_a_change_lands():
    assert (
        f"\ntest_command='{SETUP[1]}'\nbash -c \"$test_command\"\n"
        in (ROOT / ".ci" / "run").read_text()
    )
    venv, pip, test = SETUP[1].split(" && ")
    assert venv == "python3 -m venv .venv"
    assert re.fullmatch(r'\.venv/bin/pip install -e "\.\[dev,heic\]"', pip)
    assert test == ".venv/bin/python -m pytest"


def test_help_knows_every_command_and_option_used():
    found = {(names, option) for names, options in used() for option in (None, *options)}
    texts = {names: help_of(*names) for names, _ in found}
    for names, option in found:
        if option:
            assert re.search(rf"^ +{option}\b", texts[names], re.M), (names, option)
    overview = help_of()
    for name in {names[0] for names, _ in found}:
        assert re.search(rf"^  {name} ", overview, re.M)


def test_every_command_in_the_help_is_in_the_readme():
    def commands(text):
        return re.findall(r"^  (\w+) ", text.partition("Commands:\n")[2], re.M)

    there = {names for names, _ in used()}
    assert commands(help_of())
    for name in commands(help_of()):
        below = commands(help_of(name))
        assert {(name, sub) for sub in below} <= there if below else (name,) in there


def test_the_readme_lists_exactly_the_refusal_codes():
    section = TEXT.partition("## When it refuses\n")[2].partition("\n## ")[0]
    assert set(re.findall(r"`(\w+)`", section)) == set(REASONS)


def test_the_caution_is_the_one_that_is_printed():
    section = TEXT.partition("## Caution\n")[2].partition("\n## ")[0]
    assert " ".join(section.split()) == CAUTION


def test_developers_names_every_module_and_no_other():
    named = set(re.findall(r"`((?:vision|reading)/\w+\.py)`", DEVELOPERS))
    there = {
        f"{room}/{path.name}"
        for room in ("vision", "reading")
        for path in (ROOT / room).glob("*.py")
        if path.name != "__init__.py"
    }
    assert named == there


def test_every_path_named_is_there():
    for text in (TEXT, DEVELOPERS):
        for path in re.findall(r"[`(]((?:vision|reading|fixtures|tests|\.ci)/[\w/.]*)[`)]", text):
            assert (ROOT / path).exists(), path
    for path in re.findall(r"\]\(((?!demo_images)[\w/.]+)\)", TEXT):
        assert (ROOT / path).is_file(), path


@needs_photos
def test_every_photo_named_is_there():
    for path in re.findall(r"demo_images/[\w.-]+", TEXT):
        assert (ROOT / path).is_file(), path


def alike(one, other):
    """Compare but for two units in each number's last place: processors add in other orders."""
    if re.split(NUMBER, one) != re.split(NUMBER, other):
        return False
    pairs = zip(re.findall(NUMBER, one), re.findall(NUMBER, other), strict=True)
    return all(a == b or abs(Decimal(a) - Decimal(b)) <= 2 * last_place(b) for a, b in pairs)


def last_place(number):
    """Give one unit in a number's last decimal place; nothing for a whole number."""
    places = len(number.partition(".")[2])
    return Decimal(1).scaleb(-places) if places else Decimal(0)


def test_numbers_that_differ_by_more_than_their_last_places_are_noticed():
    assert alike("5.994 mm shown", "5.996 mm shown")
    for other in ("5.997 mm shown", "5.494 mm shown", "5.994 mm corrected", "5.994 in shown"):
        assert not alike("5.994 mm shown", other)
    assert not alike("11 pitches", "12 pitches")


def test_the_readme_s_commands_print_what_is_shown(tmp_path):
    """With photos, all of them; the order counts, as later ones use the gauge of the first."""
    ran = 0
    for one in shown(TEXT):
        if one.needs_photos and not PHOTOS:
            continue
        now = run(one.command, tmp_path)
        assert alike(now, one.output) if one.needs_photos else now == one.output, one.command
        ran += 1
    assert ran >= 4


def test_parallax_s_worked_example():
    from math import asin, pi, radians, sin

    found = re.search(
        r"Rs = ([\d.]+) mm, Rt = ([\d.]+) mm, N = (\d+) and φ = (\d+)° it is (−[\d.]+)", DEVELOPERS
    )
    assert found
    sleeve, thimble, divisions, degrees = map(float, found.groups()[:4])
    roll = radians(degrees)
    off = (asin(sleeve * sin(roll) / thimble) - roll) * divisions / (2 * pi)
    assert round(off, 2) == float(found.group(5).replace("−", "-"))
