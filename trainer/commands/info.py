"""`trainer info`: versions, folders, state of the caches."""

from trainer import __version__
from trainer.commands.answers import answer, as_json, rows
from trainer.commands.options import AsJson

PACKAGES = ("numpy", "scipy", "numba", "trimesh", "pyvista", "pydantic", "typer")


def facts():
    """Return {name: value} of what this installation is and what its caches hold."""
    import platform
    from importlib.metadata import version

    from meshes.compiled import cache_root, compiled_files
    from trainer.attempt.journal import FORMAT, tables_version

    root = cache_root()
    anatomies = list(root.glob("*.npz"))
    megabytes = sum(file.stat().st_size for file in root.rglob("*") if file.is_file()) / 1e6
    return {
        "version": __version__,
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        **{package: version(package) for package in PACKAGES},
        "tables": tables_version(),
        "journal_format": FORMAT,
        "cache_folder": str(root),
        "compiled_kernels": compiled_files(),
        "cached_shapes": len(anatomies),
        "cache_megabytes": round(megabytes, 1),
    }


def add_to(app):
    @app.command(name="info")
    def info(json: AsJson = False):
        """Tell versions, folders and the state of the caches."""
        found = facts()
        answer(as_json(found) if json else rows((name.replace("_", " "), v) for name, v in found.items()))
