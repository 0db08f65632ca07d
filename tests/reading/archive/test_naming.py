"""Gauges and parts from a manifest, from folder names, or from neither."""

from __future__ import annotations

from datetime import datetime

import pytest

from reading.archive.naming import Named, Naming, parse_pattern, read_manifest
from reading.problem import Problem


@pytest.mark.parametrize(
    ("pattern", "name", "gauge", "part"),
    [
        ("{gauge}/", "L07/a.jpg", "L07", None),
        ("{gauge}/{part}/*", "L07/pin 3/a.jpg", "L07", "pin 3"),
        ("*/{gauge}-{part}/", "2024/L07-pin/x/a.jpg", "L07", "pin"),
        ("**/{gauge}/*", "a/b/c/L07/x.jpg", "L07", None),
        ("{part}_{gauge}_", "pin_L07_0001.jpg", "L07", "pin"),
        ("{gauge}/", "L07.zip/a.jpg", "L07", None),
        ("{gauge}", "L07/a.jpg", "L07", None),
        ("lab.1/{gauge}/", "labX1/L07/a.jpg", None, None),
        ("{gauge}/{part}/", "L07/a.jpg", None, None),
        ("{gauge}/", "a.jpg", None, None),
    ],
)
def test_folder_names(pattern, name, gauge, part):
    assert Naming(pattern=parse_pattern(pattern)).of(name) == Named(gauge, part)


@pytest.mark.parametrize("text", ["*/x", "{gauge}/{gauge}", "{lab}/{gauge}", "{gauge", "gauge}"])
def test_patterns_that_name_nothing_or_too_much(text):
    with pytest.raises(Problem, match="--pattern"):
        parse_pattern(text)


def test_a_manifest_with_any_usual_headings(tmp_path):
    path = tmp_path / "m.csv"
    path.write_text("﻿File,GAUGE,Workpiece,Date\n./a/b.jpg,L07,pin,2025-03-04\nc.jpg,L08,,\n,,,\n")
    known = read_manifest(path)
    end = datetime(2025, 3, 4, 23, 59, 59, 999999)
    assert known == {"a/b.jpg": Named("L07", "pin", end), "c.jpg": Named("L08")}
    naming = Naming(known, parse_pattern("{gauge}/{part}/"), Named("L99"))
    assert naming.of("a/b.jpg") == Named("L07", "pin", end)
    assert naming.of("L01/x/c.jpg") == Named("L08", "x")  # by its bare name, the part by folder
    assert naming.of("d.jpg") == Named("L99")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("gauge\nL07\n", "no column for the photo"),
        ("", "no column for the photo"),
        ("photo,on\na.jpg,yesterday\n", "line 2: date 'yesterday'"),
        ("photo,gauge\na.jpg,L07\na.jpg,L08\n", "line 3: a.jpg is listed twice"),
    ],
)
def test_a_manifest_that_can_t_be_used_is_told_with_its_line(tmp_path, text, told):
    (tmp_path / "m.csv").write_text(text)
    with pytest.raises(Problem, match=told):
        read_manifest(tmp_path / "m.csv")


def test_a_manifest_parted_by_semicolons(tmp_path):
    (tmp_path / "m.csv").write_text("photo;gauge;part\na,1.jpg;L07;pin\n\nb.jpg;L08;wire, thin\n")
    known = read_manifest(tmp_path / "m.csv")
    assert known == {"a,1.jpg": Named("L07", "pin"), "b.jpg": Named("L08", "wire, thin")}


def test_a_manifest_that_can_t_be_read(tmp_path):
    (tmp_path / "m.csv").write_bytes(b"photo\n\xff\xfe\n")
    for name in ("m.csv", "no.csv"):
        with pytest.raises(Problem, match="can't be read"):
            read_manifest(tmp_path / name)
