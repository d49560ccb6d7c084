"""The house's own rules, checked on the sources."""

import ast
import re
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


def imports(text):
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def upward_imports(name, text):
    own = layer_of(name)
    if own is None:
        return []
    return [n for n in imports(text) if (other := layer_of(n)) is not None and other > own]


def test_there_are_modules_of_every_package():
    assert {f.relative_to(ROOT).parts[0] for f in MODULES} == {"meshes", "scenarios", "trainer", "tests"}


@pytest.mark.parametrize("file", MODULES, ids=module_name)
def test_module(file):
    text = file.read_text(encoding="utf-8")
    assert upward_imports(module_name(file), text) == []
    assert len(text.splitlines()) <= 400
    names = set(imports(text))
    if not module_name(file).startswith(("trainer.window", "tests.window")):
        assert not [n for n in names if n.split(".")[0] in ("PySide6", "pyvistaqt") or n.endswith(".Plotter")]
        assert "pyvista.Plotter" not in text.replace('"pyvista.Plotter"', "")
    if module_name(file) not in ("meshes.units", "tests.test_structure"):
        assert not [
            w
            for w in ("math.radians", "math.degrees", "np.radians", "np.degrees", "deg2rad", "rad2deg")
            if w in text
        ]
    if re.search(r"^@kernel", text, re.MULTILINE) and not module_name(file).startswith("tests"):
        assert module_name(file).startswith(("meshes.", "trainer.physics."))


def test_the_arrow_is_enforced():
    wrong = "from trainer.physics import needle\n"
    assert upward_imports("meshes.probe", wrong) == ["trainer.physics", "trainer.physics.needle"]
    assert upward_imports("trainer.attempt.probe", wrong) == []


def test_top_level_holds_nothing_else():
    assert {p.name for p in ROOT.iterdir() if not p.name.startswith(".")} - {"dist"} == TOP_LEVEL


def test_a_whole_attempt_needs_no_screen(tmp_path):
    code = (
        "import sys; from trainer.cli import main; import contextlib\n"
        f"with contextlib.suppress(SystemExit): main(['demo', '-o', {str(tmp_path)!r}])\n"
        "screen = ('PySide6', 'PyQt', 'pyvistaqt', 'vtkmodules.vtkRenderingOpenGL')\n"
        "bad = [m for m in sys.modules if m.startswith(screen)]\n"
        "assert not bad, bad\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert run.returncode == 0, run.stderr
    assert (tmp_path / "report.html").is_file()
