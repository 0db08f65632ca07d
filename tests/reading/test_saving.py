"""Files are there whole or not at all, and what hinders that is one line."""

from __future__ import annotations

import pytest

from reading.problem import Problem
from reading.saving import whole


def test_what_was_there_stays_until_the_new_is_complete(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("older")
    with whole(target) as part:
        part.write_text("newer")
        assert target.read_text() == "older"
    assert target.read_text() == "newer"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("error", [KeyError("a"), KeyboardInterrupt()])
def test_any_failure_leaves_what_was_there(tmp_path, error):
    target = tmp_path / "a.txt"
    target.write_text("older")

    def break_off():
        with whole(target) as part:
            part.write_text("half")
            raise error

    with pytest.raises(type(error)):
        break_off()
    assert target.read_text() == "older"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("name", ["", "no folder/a.txt"])
def test_a_place_that_can_t_be_written_is_one_line(tmp_path, name):
    with pytest.raises(Problem, match="can't be written") as told, whole(tmp_path / name) as part:
        part.write_text("new")
    assert str(tmp_path / name) in str(told.value)
    assert "\n" not in str(told.value)
