"""The house's own rules, checked on the sources."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(f for p in ("meshes", "scenarios", "trainer", "tests") for f in (ROOT / p).rglob("*.py"))
# Each layer may import itself and what stands before it.
LAYERS = (
    "meshes",
    "scenarios",
    "trainer.physics",
    "trainer.attempt",
    "trainer.scoring",
    "trainer.records",
    "trainer.window",
    "trainer.commands",
    "trainer.cli",
)
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "trainer", "meshes", "scenarios", "tests"}


def module_name(file):
    return ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def layer_of(name):
    found = [i for i, layer in enumerate(LAYERS) if name == layer or name.startswith(layer + ".")]
    return found[0] if found else None


def imports(file):
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def upward_imports(file):
    own = layer_of(module_name(file))
    if own is None:
        return []
    return [name for name in imports(file) if (other := layer_of(name)) is not None and other > own]


def test_there_are_modules_of_every_package():
    assert {f.relative_to(ROOT).parts[0] for f in MODULES} == {"meshes", "scenarios", "trainer", "tests"}


@pytest.mark.parametrize("file", MODULES, ids=module_name)
def test_module(file):
    text = file.read_text(encoding="utf-8")
    assert upward_imports(file) == []
    assert len(text.splitlines()) <= 400
    names = set(imports(file))
    if not module_name(file).startswith(("trainer.window", "tests.window")):
        assert not [n for n in names if n.split(".")[0] in ("PySide6", "pyvistaqt") or n.endswith(".Plotter")]
        assert "pyvista.Plotter" not in text.replace('"pyvista.Plotter"', "")
    if module_name(file) not in ("meshes.units", "tests.test_structure"):
        assert not [w for w in ("math.radians", "math.degrees", "np.radians", "np.degrees", "deg2rad", "rad2deg") if w in text]
    if "@kernel" in text and not module_name(file).startswith("tests"):
        assert module_name(file).startswith(("meshes.", "trainer.physics."))


def test_the_arrow_is_enforced(tmp_path):
    wrong = ROOT / "meshes" / "_probe_for_the_structure_test.py"
    wrong.write_text("from trainer.physics import needle\n", encoding="utf-8")
    try:
        assert upward_imports(wrong) == ["trainer.physics", "trainer.physics.needle"]
    finally:
        wrong.unlink()


def test_top_level_holds_nothing_else():
    assert {p.name for p in ROOT.iterdir() if not p.name.startswith(".")} - {"dist"} == TOP_LEVEL


def test_a_whole_attempt_needs_no_screen(tmp_path):
    code = (
        "import sys; from trainer.cli import main; import contextlib\n"
        f"with contextlib.suppress(SystemExit): main(['demo', '-o', {str(tmp_path)!r}])\n"
        "bad = [m for m in sys.modules if m.startswith(('PySide6', 'PyQt', 'pyvistaqt', 'vtkmodules.vtkRenderingOpenGL'))]\n"
        "assert not bad, bad\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert run.returncode == 0, run.stderr
    assert (tmp_path / "report.html").is_file()
