"""Names of any bytes come back exactly, and stand on one line that prints."""

from __future__ import annotations

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reading.archive.names import exact, shown


@given(st.binary(min_size=1).map(os.fsdecode) | st.text(min_size=1))
def test_every_name_comes_back(name):
    written = shown(name)
    assert exact(written) == name
    assert written.isprintable()
    written.encode()  # can be stored as UTF-8


@given(st.text(min_size=1), st.text(min_size=1))
def test_two_names_are_never_written_alike(one, other):
    assert (shown(one) == shown(other)) == (one == other)


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("a b-ü.jpg", "a b-ü.jpg"),
        ("a\nb\t.jpg", r"a\nb\t.jpg"),
        ("a\\n.jpg", r"a\\n.jpg"),
        (os.fsdecode(b"\xff.jpg"), r"\xff.jpg"),
        ("\u202e.jpg", r"\u202e.jpg"),
        ("\U000e0001", r"\U000e0001"),
    ],
)
def test_what_is_written(name, written):
    assert shown(name) == written
