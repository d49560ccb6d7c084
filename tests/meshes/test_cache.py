"""The cache of arrays: damage, a second writer and a folder that cannot be written."""

import os
import subprocess
import sys
import time

import numpy as np
import pytest

from meshes import cache


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(cache, "cache_root", lambda: tmp_path)
    return tmp_path


ARRAYS = {"whole": np.arange(50, dtype=np.int32), "part": np.linspace(0.0, 1.0, 7).reshape(7, 1)}


def test_what_was_stored_is_loaded(folder):
    path = cache.entry("thing", 1, "a")
    assert cache.store(path, ARRAYS)
    found = cache.load(path)
    assert set(found) == set(ARRAYS)
    for name, array in ARRAYS.items():
        assert np.array_equal(found[name], array)
        assert found[name].dtype == array.dtype


def test_nothing_stored_is_none(folder):
    assert cache.load(cache.entry("thing", 1)) is None


def test_entries_differ_by_kind_facts_and_code(folder, monkeypatch):
    paths = {cache.entry("thing", 1), cache.entry("thing", 1.5), cache.entry("other", 1)}
    monkeypatch.setattr(cache, "code_version", lambda: "another")
    paths.add(cache.entry("thing", 1))
    assert len(paths) == 4
    assert cache.entry("thing", 1) == cache.entry("thing", 1)


@pytest.mark.parametrize("keep", [0.0, 0.3, 0.9])
def test_a_torn_file_is_removed_and_none(folder, keep):
    path = cache.entry("thing", 2)
    cache.store(path, ARRAYS)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(keep * len(whole))])
    assert cache.load(path) is None
    assert not path.exists()


def test_a_flipped_byte_is_noticed(folder):
    path = cache.entry("thing", 3)
    cache.store(path, {"numbers": np.zeros(4000)})
    whole = bytearray(path.read_bytes())
    whole[len(whole) // 2] ^= 255
    path.write_bytes(bytes(whole))
    assert cache.load(path) is None


def test_objects_are_never_unpickled(folder):
    path = cache.entry("thing", 4)
    np.savez(path, danger=np.array([{"a": 1}], dtype=object))
    assert cache.load(path) is None


def test_store_says_when_nothing_can_be_written(folder, monkeypatch):
    blocked = folder / "file"
    blocked.write_text("in the way")
    assert not cache.store(blocked / "thing.npz", ARRAYS)

    def refuse(*arguments, **keywords):
        raise PermissionError("read-only")

    monkeypatch.setattr(cache.tempfile, "mkstemp", refuse)
    assert not cache.store(folder / "thing.npz", ARRAYS)


def test_a_failed_rename_leaves_no_part_behind(folder, monkeypatch):
    def refuse(*arguments):
        raise OSError("disk full")

    monkeypatch.setattr(cache.os, "replace", refuse)
    assert not cache.store(folder / "thing.npz", ARRAYS)
    assert list(folder.iterdir()) == []


WRITER = """
import sys
from pathlib import Path
import numpy as np
from meshes import cache
path = Path(sys.argv[1])
for _ in range(40):
    assert cache.store(path, {"numbers": np.arange(200_000)})
"""


def test_two_processes_write_the_same_entry_while_a_third_reads(folder):
    path = folder / "shared.npz"
    command = [sys.executable, "-c", WRITER, str(path)]
    writers = [subprocess.Popen(command, stderr=subprocess.PIPE) for _ in range(2)]
    loads = 0
    deadline = time.monotonic() + 60.0
    while any(writer.poll() is None for writer in writers) and time.monotonic() < deadline:
        found = cache.load(path)
        if found is not None:
            assert np.array_equal(found["numbers"], np.arange(200_000))
            loads += 1
    errors = [writer.communicate()[1].decode() for writer in writers]
    assert [writer.returncode for writer in writers] == [0, 0], errors
    assert loads > 0
    assert np.array_equal(cache.load(path)["numbers"], np.arange(200_000))
    assert [file.name for file in folder.iterdir()] == ["shared.npz"]


def test_the_entries_used_longest_ago_make_room(folder, monkeypatch):
    monkeypatch.setattr(cache, "MOST_ENTRIES", 3)
    paths = [folder / f"thing-{number}.npz" for number in range(5)]
    other = folder / "other-0.npz"
    other.write_bytes(b"")
    os.utime(other, (1.0, 1.0))
    for age, path in enumerate(paths[:4]):
        path.write_bytes(b"")
        os.utime(path, (1000.0 + age, 1000.0 + age))
    assert cache.store(paths[4], ARRAYS)
    assert [path.exists() for path in paths] == [False, False, True, True, True]
    # Another kind is counted for itself.
    assert other.exists()


def test_a_read_only_folder_still_gives_what_lies_there(folder, monkeypatch):
    path = cache.entry("thing", 5)
    cache.store(path, ARRAYS)

    def refuse(*arguments, **keywords):
        raise PermissionError("read-only")

    monkeypatch.setattr(cache.os, "utime", refuse)
    assert set(cache.load(path)) == set(ARRAYS)
    path.write_bytes(b"torn")
    monkeypatch.setattr(type(path), "unlink", refuse)
    assert cache.load(path) is None
