"""Every mesh of a posed anatomy by its name: what is listed, measured and exported."""

from fnmatch import fnmatch

from meshes.ligaments import ligament_meshes
from meshes.measure_meshes import measure_mesh
from meshes.muscle import muscle_meshes
from meshes.roots import root_meshes


def named_meshes(anatomy):
    """Return {part: (vertices, faces)} of everything that a posed anatomy holds, in the patient's frame. [mm]

    Parts are called like 'T12', 'disc T12-L1', 'flavum T12-L1', 'dura', 'cord', 'T12 left root', 'rib 12
    left', 'ilium left', 'screw L4 left', 'left paraspinal muscle', 'skin'.
    """
    found = dict(anatomy.bone_meshes)
    for tissue, meshes in (("disc", anatomy.discs), ("flavum", anatomy.flava)):
        found.update({f"{tissue} {name}": mesh for name, mesh in meshes.items()})
    found |= {**anatomy.dura, **anatomy.cord}
    found |= root_meshes(anatomy) | ligament_meshes(anatomy) | muscle_meshes(anatomy)
    found |= anatomy.pelvis | anatomy.implants
    found |= {name: outside for name, (outside, _) in anatomy.ribs.items()}
    return {**found, "skin": anatomy.tissue.trunk_mesh()}


def chosen_parts(meshes, patterns):
    """Return those of `meshes` whose names match one of the patterns, with * and ? as in file names.

    Raises
    ------
    ValueError
        If a pattern matches nothing.
    """
    chosen = set()
    for pattern in patterns:
        matching = [name for name in meshes if fnmatch(name.lower(), pattern.strip().lower())]
        if not matching:
            known = ", ".join(list(meshes)[:3])
            raise ValueError(
                f"part must name a mesh like {known}, got {pattern!r}: "
                "list them with trainer anatomy, and use * for any letters"
            )
        chosen |= set(matching)
    return {name: mesh for name, mesh in meshes.items() if name in chosen}


def measure_meshes(anatomy):
    """Return {part: MeshFacts} of a posed anatomy."""
    return {name: measure_mesh(*mesh) for name, mesh in named_meshes(anatomy).items()}
