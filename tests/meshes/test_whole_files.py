"""Files appear whole or not at all, and nothing half-written stays behind."""

import pytest

from meshes.whole_files import whole_file, whole_folder


def everything_in(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_a_file_appears_when_the_block_succeeds(tmp_path):
    target = tmp_path / "picture.png"
    with whole_file(target) as draft:
        draft.write_bytes(b"new")
        assert not target.exists()
    assert target.read_bytes() == b"new"
    assert everything_in(tmp_path) == ["picture.png"]


def test_a_failure_leaves_the_old_file(tmp_path):
    target = tmp_path / "picture.png"
    target.write_bytes(b"old")
    with pytest.raises(RuntimeError), whole_file(target) as draft:
        draft.write_bytes(b"half")
        raise RuntimeError
    assert target.read_bytes() == b"old"
    assert everything_in(tmp_path) == ["picture.png"]


def test_a_folder_fills_at_once(tmp_path):
    folder = tmp_path / "a" / "b"
    with whole_folder(folder) as draft:
        (draft / "one").write_text("1")
        (draft / "two").write_text("2")
        assert everything_in(folder) == [draft.name, f"{draft.name}/one", f"{draft.name}/two"]
    assert everything_in(folder) == ["one", "two"]


def test_a_failure_removes_the_folder_that_it_made(tmp_path):
    with pytest.raises(RuntimeError), whole_folder(tmp_path / "a" / "b") as draft:
        (draft / "one").write_text("1")
        raise RuntimeError
    assert everything_in(tmp_path) == []


def test_a_failure_leaves_a_folder_that_was_there(tmp_path):
    (tmp_path / "mine").write_text("x")
    with pytest.raises(RuntimeError), whole_folder(tmp_path) as draft:
        (draft / "mine").write_text("half")
        raise RuntimeError
    assert everything_in(tmp_path) == ["mine"]
    assert (tmp_path / "mine").read_text() == "x"


def test_where_a_folder_stands_in_the_way_nothing_is_moved(tmp_path):
    (tmp_path / "two").mkdir()
    with pytest.raises(IsADirectoryError), whole_folder(tmp_path) as draft:
        (draft / "one").write_text("1")
        (draft / "two").write_text("2")
    assert everything_in(tmp_path) == ["two"]
    with pytest.raises(IsADirectoryError), whole_file(tmp_path / "two"):
        pytest.fail("the block must not run")


def test_what_cannot_be_written_is_refused_before_any_work(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OSError) as error, whole_folder(tmp_path / "file" / "folder"):
        pytest.fail("the block must not run")
    assert str(tmp_path / "file") in error.value.filename
    with pytest.raises(OSError) as error, whole_file(tmp_path / "none" / "picture.png"):
        pytest.fail("the block must not run")
    assert error.value.filename == str(tmp_path / "none" / "picture.png")
    assert everything_in(tmp_path) == ["file"]
