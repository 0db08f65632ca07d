"""Everything that the installed program needs goes into the wheel."""

from __future__ import annotations

import tomllib
from fnmatch import fnmatch
from importlib.metadata import entry_points, version

import pytest

from tests.project.console import ROOT

PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
SHIPPED = PYPROJECT["tool"]["setuptools"]["packages"]
DATA = PYPROJECT["tool"]["setuptools"]["package-data"]


def packages_there():
    """Every folder below vision and reading that holds Python files, as a package's name."""
    files = [path for room in ("vision", "reading") for path in (ROOT / room).rglob("*.py")]
    return {path.parent.relative_to(ROOT).as_posix().replace("/", ".") for path in files}


def test_every_package_is_shipped_and_no_other():
    assert set(SHIPPED) == packages_there()


@pytest.mark.parametrize("package", SHIPPED)
def test_every_data_file_is_shipped(package):
    """All but the pictures of how the networks learned, which the program never opens."""
    folder = ROOT / package.replace(".", "/")
    inner = [ROOT / one.replace(".", "/") for one in SHIPPED if one.startswith(f"{package}.")]
    for path in folder.rglob("*"):
        if any(path.is_relative_to(one) for one in inner):
            continue
        if path.is_file() and path.suffix not in (".py", ".pyc", ".png"):
            name = path.relative_to(folder).as_posix()
            assert any(fnmatch(name, pattern) for pattern in DATA.get(package, ())), name


def test_the_command_is_installed():
    (command,) = entry_points(group="console_scripts", name="datumline")
    assert command.value == "reading.cli:main"
    assert version("datumline") == PYPROJECT["project"]["version"]


def test_the_licence_is_there():
    assert "MIT License" in (ROOT / PYPROJECT["project"]["license-files"][0]).read_text()
