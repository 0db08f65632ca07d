"""The codes of files: all of them in the README, each with a sentence and a remedy."""

from __future__ import annotations

import re

from reading.archive.codes import CODES, NO_EYES, PASSING, message
from tests.project.console import README


def test_the_readme_lists_exactly_the_codes_of_files():
    section = README.read_text().partition("## Read an archive\n")[2].partition("\n## ")[0]
    listed = section.partition("for files `")[2].partition(". Names")[0]
    assert set(re.findall(r"\w+(?=`)", listed)) == set(CODES)


def test_every_code_says_what_to_do():
    for code in CODES:
        assert re.fullmatch(r"[A-Z].*\. [A-Z].*\.", message(code, "detail")), code
    assert set(CODES) >= NO_EYES | PASSING
