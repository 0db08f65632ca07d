"""The commands that README.md shows with their output: run them, and renew what is shown.

python -m tests.project.console
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.DOTALL | re.MULTILINE)


@dataclass(frozen=True)
class Shown:
    """A command as the README shows it, with the output beneath."""

    command: str
    output: str

    @property
    def needs_photos(self) -> bool:
        return "demo_images/" in self.command


def shown(text: str) -> Iterator[Shown]:
    """Find every ``$`` line in the console blocks, with what stands beneath it."""
    for block in _BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            yield Shown(command, output)


def run(command: str, folder: Path) -> str:
    """Run a ``datumline`` command with its book in a folder, and give what it prints."""
    program, *arguments = shlex.split(command)
    if program != "datumline":
        raise ValueError(f"{command}: only datumline is run")
    if not (folder / "demo_images").exists():
        (folder / "demo_images").symlink_to(ROOT / "demo_images")
    done = subprocess.run(
        [sys.executable, "-c", "from reading.cli import main; main()", *arguments],
        cwd=folder,
        env=os.environ | {"DATUMLINE_BOOK": str(folder / "book.db"), "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    if done.returncode not in (0, 3):
        raise RuntimeError(f"{command}: exit code {done.returncode}: {done.stderr}")
    return done.stdout


def renew(text: str, folder: Path) -> str:
    """Give the README with the outputs as they are now."""
    for one in list(shown(text)):
        now = run(one.command, folder)
        text = text.replace(f"$ {one.command}\n{one.output}", f"$ {one.command}\n{now}")
    return text


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        README.write_text(renew(README.read_text(), Path(name)))
