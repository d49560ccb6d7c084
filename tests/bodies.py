"""Random bodies with findings for the tests, and the figures by which two anatomies are compared."""

from dataclasses import asdict, fields
from types import SimpleNamespace

import numpy as np

from meshes import findings as f
from meshes.fits import check_fits
from meshes.levels import COLUMN, INTERSPACES, LEVELS, split_interspace
from meshes.variation import draw_adult

KINDS = tuple(f.KINDS.values())


def draw_finding(kind, *, rng):
    """Return a finding of one kind, anywhere and of any amount within its limits."""
    rng = np.random.default_rng(rng)
    upper, lower = sorted(rng.integers(0, len(LEVELS), 2))
    values = {
        "interspace": str(rng.choice(INTERSPACES)),
        "level": str(rng.choice(LEVELS)),
        "upper": LEVELS[upper],
        "lower": LEVELS[min(lower, upper + 3)],
        "ossified": bool(rng.integers(2)),
        **{name: float(rng.uniform(*bounds)) for name, bounds in kind.LIMITS.items()},
        **{name: str(rng.choice(choices)) for name, choices in kind.CHOICES.items()},
    }
    # Small thoracic bodies take little cement.
    values["volume"] = float(rng.uniform(0.5, 5.0 if values["level"].startswith("L") else 1.2))
    return kind(**{entry.name: values[entry.name] for entry in fields(kind)})


def draw_body(seed, *, most=4):
    """Return SpineParameters of a random adult with up to `most` findings that can be true together."""
    rng = np.random.default_rng([seed, 1])
    adult = draw_adult(rng=seed).parameters
    findings = adult.findings
    for kind in rng.choice(KINDS, size=rng.integers(1, most + 1), replace=False):
        try:
            more = check_fits(adult.with_changes(findings=(*findings, draw_finding(kind, rng=rng))))
        except ValueError:
            # Screws in a pedicle that is gone, a second transitional level, too much cement: go without.
            continue
        findings = more.findings
    return adult.with_changes(findings=findings)


def soft_figures(anatomy):
    """Return {(place, name): figure} of canal, sac, cord and flavum. [mm]"""
    from meshes.measure_canal import measure_canal

    levels, interspaces = measure_canal(anatomy)
    found = {}
    for measured in (levels, interspaces):
        for place, values in measured.items():
            found |= {(place, name): value for name, value in asdict(values).items() if name not in SKIPPED}
    for level, low, high in anatomy.canal.level_spans:
        middle = int(np.argmin(np.abs(anatomy.canal.u - 0.5 * (low + high))))
        found[level, "friction"] = float(anatomy.canal.friction_scale[middle])
        found[level, "hold"] = float(anatomy.canal.memory_scale[middle])
    return {key: np.nan if value is None else value for key, value in found.items()}


SKIPPED = ("level", "interspace")


def bone_figures(anatomy):
    """Return {(place, name): figure} of single bones and of the windows between them. [mm]"""
    from meshes.measure_bones import measure_bones
    from meshes.measure_windows import measure_windows

    found = {}
    for level, sizes in measure_bones(anatomy).items():
        found |= {(level, name): value for name, value in asdict(sizes).items() if name not in SKIPPED}
    for name, window in measure_windows(anatomy).items():
        found |= {(name, f"gap {lateral:g}"): gap for lateral, gap in window.gap.items()}
    return {key: np.nan if value is None else value for key, value in found.items()}


def compare(before, after, *, tolerance=0.02):
    """Return {key: difference} of the figures that differ; one that comes or goes is nan."""
    assert before.keys() == after.keys()
    changed = {}
    for key, old in before.items():
        new = after[key]
        if np.isnan(old) != np.isnan(new):
            changed[key] = np.nan
        elif abs(new - old) > tolerance:
            changed[key] = new - old
    return changed


def changed_bones(before, after):
    """Return the levels whose bone is another one."""
    return {
        level
        for level in COLUMN
        if not np.array_equal(before.bones[level].vertices, after.bones[level].vertices)
    }


def changed_segments(before, after, *, tolerance=1e-9):
    """Return the interspaces whose two bones stand otherwise to each other."""
    return {
        name
        for name in INTERSPACES
        if not np.allclose(_joint(before, name), _joint(after, name), rtol=0.0, atol=tolerance)
    }


def _joint(anatomy, name):
    """Return where the upper bone's frame lies in the lower one's: rotation beside translation (3, 4)."""
    upper, lower = (anatomy.poses[level] for level in split_interspace(name))
    across = lower.rotation.T
    return np.column_stack([across @ upper.rotation, across @ (upper.translation - lower.translation)])


def faults(anatomy):
    """Return what is wrong with single bones, a list of words: empty for a sound anatomy."""
    found = []
    for level, bone in anatomy.bones.items():
        facts = mesh_facts(bone.vertices, bone.faces)
        found += [f"{level} is not finite"] if not facts.finite else []
        found += [f"{level} is not closed"] if not facts.closed else []
        found += [f"{level} has {facts.bodies} bodies"] if facts.bodies != 1 else []
        found += [f"{level} is inside out"] if facts.volume <= 0.0 else []
    return found


def overlaps(anatomy):
    """Return {interspace: by how much its two bones overlap [mm]}; those grown together are left out."""
    from meshes.measure_joints import measure_joints

    grown = grown_together(anatomy.parameters.findings)
    clearances = measure_joints(anatomy).items()
    return {name: -found for name, found in clearances if found < 0.0 and name not in grown}


def grown_together(findings):
    """Return the interspaces whose bones are one: where L5 belongs to the sacrum."""
    return {"L5-S1" for t in f.of_kind(findings, f.TransitionalLevel) if t.kind == "sacralised"}


def mesh_facts(vertices, faces):
    """Return what trimesh finds about a mesh: finite, closed, number of bodies, volume. [mm³]"""
    import trimesh

    mesh = trimesh.Trimesh(vertices, faces, process=False)
    return SimpleNamespace(
        finite=bool(np.isfinite(vertices).all()),
        closed=bool(mesh.is_watertight and mesh.is_winding_consistent),
        bodies=int(mesh.body_count),
        volume=float(mesh.volume),
    )
