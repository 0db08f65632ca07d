"""The same rows from a cluster as from this machine, also when a worker is killed in mid-run."""

from __future__ import annotations

import os
import signal
import threading
import time
import warnings

import pytest

from reading.archive.asked import Options
from reading.archive.columns import COMPARED
from reading.archive.command import ArchiveRequest, read_archive
from reading.archive.naming import Named
from reading.archive.partition import VersionError, key_of, read_partition, rows_of
from reading.archive.reader import Settings
from reading.archive.run import Task
from reading.archive.walk import walk
from reading.problem import Problem
from tests.reading.archive import quick
from tests.reading.archive.conftest import lines_of, photos

distributed = pytest.importorskip("distributed")
PHOTOS, PARTITION = 60, 5


@pytest.fixture
def cluster(tmp_path, monkeypatch):
    """Two workers, each a process of its own."""
    monkeypatch.setenv(quick.LOG, str(tmp_path / "log"))
    monkeypatch.setenv(quick.PAUSE, "0.05")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a killed worker's connections, as they break
        with distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
        ) as running:
            yield running


def on_cluster(root, results, address, options=None):
    said = []
    wanted = ArchiveRequest(str(root), results, cluster=address, partition=PARTITION)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert read_archive(wanted, options or Options(), said.append, quick.look) == 0
    return said


def kill_one(cluster, log, read_before):
    """Kill a worker once some photos were read, and tell how many."""
    while not log.exists() or len(lines_of(log)) < PHOTOS // 4:
        time.sleep(0.01)
    worker = next(iter(cluster.workers.values()))
    os.kill(worker.pid, signal.SIGKILL)
    read_before.append(len(lines_of(log)))


def test_a_worker_killed_in_mid_run_changes_no_row(cluster, archive, go, rows, tmp_path):
    root = archive(photos(PHOTOS) | {"bad.jpg": b"", "refused.jpg": quick.photo(5, "refused")})
    there = tmp_path / "cluster.sqlite"
    read_before = []
    killer = threading.Thread(target=kill_one, args=(cluster, tmp_path / "log", read_before))
    killer.start()
    on_cluster(root, there, cluster.scheduler_address)
    killer.join()
    assert read_before[0] < PHOTOS - PARTITION  # in mid-run
    go(root)
    here, found = rows(), rows(there)
    assert set(found) == set(here)
    assert len(found) == PHOTOS + 2
    for name, row in here.items():
        assert [row[column] for column in COMPARED] == [found[name][column] for column in COMPARED]
    assert sorted(path.name for path in tmp_path.iterdir() if "part" in path.name) == []
    said = on_cluster(root, there, cluster.scheduler_address)  # and once more: nothing is new
    assert f"{PHOTOS + 2} unchanged" in said[0]
    url = f"file://{root}"  # by any address that fsspec knows
    on_cluster(url, tmp_path / "url.sqlite", cluster.scheduler_address)
    by_url = rows(tmp_path / "url.sqlite")
    for name, row in here.items():
        assert [row[column] for column in COMPARED] == [by_url[name][column] for column in COMPARED]


def tasks_of(root):
    return [Task(one, Named(), place=n) for n, one in enumerate(walk(root))]


@pytest.fixture
def settings():
    from reading.archive.identity import weights_identity
    from reading.correct import program_version

    return Settings(program=program_version(), weights=weights_identity(), look=quick.look)


def test_a_partition_done_already_is_not_read_again(archive, tmp_path, settings, monkeypatch):
    monkeypatch.setenv(quick.LOG, str(tmp_path / "log"))
    tasks, folder = tasks_of(archive(photos(4))), f"file://{tmp_path}"
    key = key_of(tasks, settings)
    first = rows_of(read_partition(tasks, settings, folder, key))
    assert rows_of(read_partition(tasks, settings, folder, key)) == first
    assert len(lines_of(tmp_path / "log")) == 4
    assert isinstance(first[0]["seen"], bytes)


def test_a_partition_s_name_changes_with_all_that_its_rows_depend_on(archive, settings):
    from dataclasses import replace

    root = archive(photos(2))
    before = key_of(tasks_of(root), settings)
    assert key_of(tasks_of(root), settings) == before
    assert key_of(tasks_of(root), replace(settings, weights="other")) != before
    (root / "0001.jpg").write_bytes(quick.photo(12))
    assert key_of(tasks_of(root), settings) != before


def test_a_worker_with_other_networks_reads_nothing(archive, tmp_path, settings):
    from dataclasses import replace

    other = replace(settings, weights="other")
    with pytest.raises(VersionError, match="this worker has datumline"):
        read_partition(tasks_of(archive(photos(1))), other, f"file://{tmp_path}", "key")


def test_no_cluster_at_an_address_is_said(archive, results, monkeypatch):
    monkeypatch.setattr("reading.archive.cluster.CONNECT_S", 0.5)
    wanted = ArchiveRequest(str(archive(photos(1))), results, cluster="tcp://127.0.0.1:9")
    with pytest.raises(Problem, match="no cluster answers there"):
        read_archive(wanted, Options(), print)
