"""Many photos: order kept, one bad file is one row, and processes change nothing."""

from __future__ import annotations

import os
import sys
from datetime import datetime
from decimal import Decimal

import pytest

from reading.batch import AHEAD_PER_WORKER, Look, look, look_at_all, on_all_cores, worker_count
from reading.problem import DEBIAN_PACKAGES, Problem, missing_library
from reading.result import Unusable
from vision.reasons import reason
from vision.scale import Scale
from vision.sighting import Refusal

FINE = Scale(Decimal("0.5"), 50)


def test_a_photo_is_sighted_with_the_scale_and_dated(photos, sighted):
    told = []

    def seen(scale):
        told.append(scale)
        return sighted(1, 2.0)

    path = photos("a.png", seen, taken="2026:11:20 10:30:00")
    looked = look(path, FINE)
    assert isinstance(looked, Look)
    assert told == [FINE]
    assert looked.photo.taken == datetime(2026, 11, 20, 10, 30)
    assert looked.photo.name == str(path)
    assert len(looked.photo.sha256) == 64


def test_bad_files_are_rows_in_their_places(photos, sighted, tmp_path):
    paths = [
        photos("a.png", sighted(1, 2.0)),
        tmp_path / "missing.jpg",
        photos("b.png", Refusal((reason("blurred"),))),
    ]
    looked = list(look_at_all(paths, None, 1))
    assert [type(one) for one in looked] == [Look, Unusable, Look]
    assert "missing.jpg" in looked[1].message
    assert isinstance(looked[2].seen, Refusal)


def test_processes_keep_the_order(tmp_path):
    paths = [tmp_path / f"{n}.jpg" for n in range(9)]
    for path in paths[::2]:
        path.write_text("no photo")
    with_two = list(look_at_all(paths, None, 2))
    assert [one.name for one in with_two] == [str(path) for path in paths]
    assert with_two == list(look_at_all(paths, None, 1))


def square(number):
    return number * number


def test_jobs_are_taken_as_they_are_needed_and_answered_in_order():
    taken = []
    numbers = (taken.append(n) or n for n in range(60))
    done = on_all_cores(square, numbers, 2)
    assert next(done) == 0
    assert len(taken) <= 2 * AHEAD_PER_WORKER
    assert list(done) == [n * n for n in range(1, 60)]


def end_process(number):
    os._exit(1)


def test_a_process_that_is_ended_from_outside_is_said_in_one_line():
    with pytest.raises(Problem, match=r"^a process .* was stopped, .*: give fewer") as told:
        list(on_all_cores(end_process, range(3), 2))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(("photos_given", "most"), [(1, 1), (3, 1), (5, 5)])
def test_a_few_photos_need_no_second_process(photos_given, most):
    assert 1 <= worker_count(photos_given) <= most


@pytest.mark.parametrize("library", ["libGL.so.1", "libgthread-2.0.so.0", "libxcb.so.1"])
def test_a_missing_system_library_is_named_with_its_package(library):
    # What the dynamic loader of glibc says.
    error = ImportError(f"{library}: cannot open shared object file: No such file or directory")
    line = str(missing_library(error))
    assert library in line
    assert all(package in line for package in DEBIAN_PACKAGES)


def test_another_missing_module_is_not_taken_for_one():
    assert missing_library(ImportError("No module named 'numpy'")) is None


def test_what_is_known_of_a_gauge_reaches_the_picture(photos, sighted, monkeypatch):
    told = []
    path, refusal = photos("a.png", sighted(11, 28.0)), Refusal((reason("no_gauge"),))
    pipeline = sys.modules["vision.pipeline"]
    monkeypatch.setattr(
        pipeline, "sight", lambda photo, scale, **known: told.append(known) or refusal
    )
    look(path, FINE)
    look(path, FINE, (0.1, 0.02))
    look(path, FINE, near_divisions=0.0)
    assert told == [{}, {"edge_set_mm": (0.1, 0.02)}, {"near_divisions": 0.0}]
