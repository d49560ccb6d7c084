"""Meshes to files that other programs read: named, coloured parts where the format has room for them.

GLB carries metres with +y up, as its standard asks, through the transform of each node; the others
carry mm in the patient's frame (LPS+). Every file says in which frame and unit it is.
"""

import os
from pathlib import Path

import numpy as np
import pyvista
import trimesh
from trimesh.exchange.gltf import export_glb
from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

from meshes.part_colours import METALS, part_colour, part_kind

FRAME = "LPS+: x to the patient's left, y posterior, z cranial; origin at the middle of the upper S1 endplate"
STL_HEADER = b"LPS+ patient frame, mm: x left, y posterior, z cranial"
ENDINGS = (".glb", ".stl", ".vtp", ".ply")
# left, posterior, cranial [mm] -> x left, y up, z anterior [m]
GLTF_FROM_PATIENT = 1e-3 * np.array(
    [[1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, -1.0, 0.0, 0.0], [0.0, 0.0, 0.0, 1e3]]
)


def check_ending(path):
    """Return `path` as a Path if its ending names a format that can be written; raises ValueError."""
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise ValueError(
            f"export file must end in {', '.join(ENDINGS)}, got {path.name!r}: choose one of these endings"
        )
    return path


def export_meshes(meshes, path):
    """Write meshes into one file; the ending names the format.

    STL keeps neither names nor colours. PLY numbers the part of each face and names the parts in comments,
    VTP in field data; both colour each face. GLB has one named mesh and material a part, some see-through.
    The file appears whole or not at all.

    Parameters
    ----------
    meshes : dict of (vertices (n, 3) [mm], faces (m, 3))
        By the name of the part.
    path : str or Path
        Ends in .glb, .stl, .vtp or .ply.

    Raises
    ------
    ValueError
        If the ending is unknown or there is no mesh.
    OSError
        If the file cannot be written.
    """
    path = check_ending(path)
    if not meshes:
        raise ValueError("meshes must hold at least one mesh, got none: name what to export")
    part = path.with_name(f".{path.stem}-{os.getpid()}{path.suffix.lower()}")
    try:
        _claim(part, path)
        WRITERS[path.suffix.lower()](meshes, part)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def _claim(part, path):
    """Create the empty file `part`: VTK reports a file that it cannot write on the screen only."""
    try:
        part.open("wb").close()
    except OSError as error:
        # The passing name means nothing to the person who named `path`.
        raise type(error)(error.errno, error.strerror, str(path)) from None


def _joined(meshes):
    """Return vertices, faces and the number of the part of each face, of all meshes together."""
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in meshes.values())])
    vertices = np.concatenate([vertices for vertices, _ in meshes.values()])
    faces = np.concatenate([faces + start for (_, faces), start in zip(meshes.values(), starts)])
    numbers = np.repeat(np.arange(len(meshes), dtype=np.int32), [len(faces) for _, faces in meshes.values()])
    return vertices, faces, numbers


def _colours_of_faces(meshes):
    """Return the colour (faces, 4) uint8 of each face of all meshes together."""
    counts = [len(faces) for _, faces in meshes.values()]
    return np.repeat(np.array([part_colour(name) for name in meshes], np.uint8), counts, axis=0)


def _linear(channel):
    """Return a channel 0..255 of a screen as the linear share that glTF asks for."""
    share = channel / 255.0
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def _material(name):
    *colour, opacity = part_colour(name)
    metal = part_kind(name) in METALS
    return {
        "name": name,
        "pbrMetallicRoughness": {
            "baseColorFactor": [
                *(round(_linear(channel), 6) for channel in colour),
                round(opacity / 255.0, 6),
            ],
            "metallicFactor": 0.9 if metal else 0.0,
            "roughnessFactor": 0.35 if metal else 0.8,
        },
        "alphaMode": "BLEND" if opacity < 255 else "OPAQUE",
    }


def _coloured(tree):
    """Give each mesh of a glTF tree its own material, and say where the patient's frame is."""
    tree["materials"] = [_material(mesh["name"]) for mesh in tree["meshes"]]
    for number, mesh in enumerate(tree["meshes"]):
        for primitive in mesh["primitives"]:
            primitive["material"] = number
    tree["asset"]["extras"] = {
        "frame": "metres, +x to the patient's left, +y cranial, +z anterior",
        "frame_of_each_mesh": f"{FRAME}; millimetres; the matrix of its node turns it into metres",
    }


def _write_glb(meshes, path):
    scene = trimesh.Scene()
    for name, (vertices, faces) in meshes.items():
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        scene.add_geometry(mesh, node_name=name, geom_name=name, transform=GLTF_FROM_PATIENT)
    path.write_bytes(export_glb(scene, tree_postprocessor=_coloured))


def _write_stl(meshes, path):
    vertices, faces, _ = _joined(meshes)
    content = trimesh.Trimesh(vertices, faces, process=False).export(file_type="stl")
    path.write_bytes(STL_HEADER.ljust(80) + content[80:])


def _write_ply(meshes, path):
    vertices, faces, numbers = _joined(meshes)
    mesh = trimesh.Trimesh(vertices, faces, process=False, face_colors=_colours_of_faces(meshes))
    mesh.face_attributes["part"] = numbers
    header, body = mesh.export(file_type="ply").split(b"end_header\n", 1)
    comments = f"comment frame {FRAME}\ncomment unit millimetre\n"
    comments += "".join(f"comment part {number} {name}\n" for number, name in enumerate(meshes))
    path.write_bytes(header + comments.encode("ascii", "replace") + b"end_header\n" + body)


def _write_vtp(meshes, path):
    vertices, faces, numbers = _joined(meshes)
    surface = pyvista.PolyData.from_regular_faces(vertices, faces)
    surface.cell_data["part"] = numbers
    surface.cell_data["colour"] = _colours_of_faces(meshes)
    surface.field_data["part_names"] = list(meshes)
    surface.field_data["frame"] = [FRAME]
    surface.field_data["unit"] = ["millimetre"]
    # VTK's own way to a full disk ends the whole process.
    writer = vtkXMLPolyDataWriter()
    writer.SetInputData(surface)
    writer.SetDataModeToBinary()
    writer.WriteToOutputStringOn()
    writer.Write()
    path.write_text(writer.GetOutputString(), encoding="utf-8")


WRITERS = {".glb": _write_glb, ".stl": _write_stl, ".ply": _write_ply, ".vtp": _write_vtp}
