"""A changed kernel source never meets a stale compiled cache."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from meshes import compiled

ROOT = Path(compiled.__file__).resolve().parents[1]
INNER = "from meshes.compiled import kernel\n\n\n@kernel\ndef inner(x):\n    return x + {0}\n"
OUTER = (
    "from meshes.compiled import kernel\nfrom meshes.probe_inner import inner\n\n\n"
    "@kernel\ndef outer(x):\n    return 2.0 * inner(x)\n"
)


def run_outer(root, cache):
    code = "from meshes.probe_outer import outer; print(outer(1.0), outer.stats.cache_hits)"
    environment = {**os.environ, "PYTHONPATH": str(root), "TRAINER_CACHE_DIR": str(cache)}
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=root, env=environment, capture_output=True, text=True, check=True
    )
    value, hits = run.stdout.split("Counter") if "Counter" in run.stdout else run.stdout.split(" ", 1)
    return float(value), hits


def make_tree(root):
    (root / "meshes").mkdir()
    (root / "meshes" / "__init__.py").touch()
    shutil.copy(ROOT / "meshes" / "compiled.py", root / "meshes")
    (root / "meshes" / "probe_outer.py").write_text(OUTER)


def test_edit_in_an_imported_kernel_is_noticed(tmp_path):
    make_tree(tmp_path)
    inner = tmp_path / "meshes" / "probe_inner.py"
    inner.write_text(INNER.format("1.0"))
    first, _ = run_outer(tmp_path, tmp_path / "cache")
    second, hits = run_outer(tmp_path, tmp_path / "cache")
    assert first == second == 4.0
    assert "1" in hits, "the second start must take the kernel from the cache"
    inner.write_text(INNER.format("2.0"))
    changed, _ = run_outer(tmp_path, tmp_path / "cache")
    assert changed == 6.0


def test_unwritable_cache_still_works(tmp_path):
    make_tree(tmp_path)
    (tmp_path / "meshes" / "probe_inner.py").write_text(INNER.format("1.0"))
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    assert run_outer(tmp_path, blocked)[0] == 4.0


def test_fingerprint_follows_the_sources(tmp_path):
    file = tmp_path / "a.py"
    file.write_text("one")
    before = compiled.fingerprint([file])
    file.write_text("two")
    assert compiled.fingerprint([file]) != before


def test_old_folders_go_and_young_ones_stay(tmp_path, monkeypatch):
    monkeypatch.setenv("TRAINER_CACHE_DIR", str(tmp_path))
    old, young, kept = (tmp_path / f"compiled-{name}" for name in ("old", "young", "kept"))
    for folder in (old, young, kept):
        folder.mkdir()
    os.utime(old, (0, 0))
    os.utime(kept, (0, 0))
    compiled.remove_old("compiled-*", keep=kept)
    assert not old.exists()
    assert young.exists()
    assert kept.exists()


def test_family_is_what_a_source_rests_on_and_no_more():
    """An edit of the X-ray's raster must not compile the rod again, nor the other way round."""
    solver = {file.name for file in compiled.family(ROOT / "trainer" / "physics" / "rod_solver.py")}
    assert {"rod_solver.py", "rod_energy.py", "rod_frames.py", "canal_kernels.py", "compiled.py"} <= solver
    assert "xray_raster.py" not in solver


@pytest.mark.parametrize("file", compiled.kernel_sources(), ids=lambda file: file.stem)
def test_imports_are_found_as_the_language_reads_them(file):
    """Against Python's own parser."""
    names = set()
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            names.update([node.module, *(f"{node.module}.{alias.name}" for alias in node.names)])
    paths = {ROOT / f"{name.replace('.', '/')}.py" for name in names}
    assert compiled.imported_sources(file) == {path for path in paths if path.is_file()}
