"""Schemes of marks: what may stand in them, and lines that name the key."""

from __future__ import annotations

from decimal import Decimal

import pytest

from reading.marking.scheme import ITEMS, load_scheme
from reading.problem import Problem


def test_the_default_is_whole():
    scheme = load_scheme()
    assert set(scheme.points) == set(ITEMS)
    assert scheme.points["unit"] == Decimal("0.5")


def test_what_a_file_leaves_out_is_the_default(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text("tolerance_divisions = 2\n[points]\nsleeve = 3\n")
    scheme, default = load_scheme(path), load_scheme()
    assert (scheme.tolerance_divisions, scheme.points["sleeve"]) == (2, 3)
    assert scheme.points["division"] == default.points["division"]
    assert scheme.confidence == default.confidence


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[points]\nsleve = 1", "sleve"),
        ("tolerance = 1", "tolerance"),
        ("tolerance_divisions = -1", "tolerance_divisions"),
        ("tolerance_divisions = 'one'", "tolerance_divisions"),
        ("carry_forward = 1", "carry_forward"),
        ("extra_decimals = 0.5", "extra_decimals"),
        ("[eyes]\nconfidence = 95", "eyes.confidence"),
        ("points = 3", "points"),
        ("[points]\nsleeve = nan", "points.sleeve"),
        ("[points]\nsleeve = true", "points.sleeve"),
        ("[points", "not TOML"),
        (
            "[points]\nsleeve=0\ndivision=0\nzero_correction=0\nfinal_value=0\nunit=0\ndecimals=0",
            "points",
        ),
    ],
)
def test_what_is_wrong_is_named_in_one_line(tmp_path, text, key):
    path = tmp_path / "ours.toml"
    path.write_text(text)
    with pytest.raises(Problem, match=key) as told:
        load_scheme(path)
    assert "\n" not in str(told.value)
    assert "ours.toml" in str(told.value)
