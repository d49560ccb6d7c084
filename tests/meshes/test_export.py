"""Exported files, read back by trimesh and VTK."""

import json
import os
import struct

import numpy as np
import pytest
import pyvista
import trimesh

from meshes.export import ENDINGS, check_ending, export_meshes
from meshes.part_colours import part_colour


@pytest.fixture(scope="module")
def meshes():
    ball, box = (
        trimesh.creation.icosphere(subdivisions=2, radius=10.0),
        trimesh.creation.box((10.0, 20.0, 30.0)),
    )
    box.apply_translation([0.0, 50.0, 100.0])
    return {"T12": (ball.vertices, ball.faces), "disc T12-L1": (box.vertices, box.faces)}


@pytest.mark.parametrize("ending", ENDINGS)
def test_reads_back_with_the_same_faces(meshes, tmp_path, ending):
    export_meshes(meshes, tmp_path / f"spine{ending}")
    read = pyvista.read(tmp_path / f"spine{ending}") if ending == ".vtp" else None
    if read is None:
        read = trimesh.load(tmp_path / f"spine{ending}", force="mesh")
        count, span = len(read.faces), read.extents
    else:
        count, span = read.n_cells, np.ptp(read.points, axis=0)
    assert count == sum(len(faces) for _, faces in meshes.values())
    # x -10..10, y -10..60, z -10..115; GLB: metres, y up, z forward.
    expected = np.array([20.0, 125.0, 70.0]) / 1000.0 if ending == ".glb" else [20.0, 70.0, 125.0]
    np.testing.assert_allclose(span, expected, rtol=1e-6)
    assert os.listdir(tmp_path) == [f"spine{ending}"]


def test_glb_names_its_parts_and_stands_upright(meshes, tmp_path):
    export_meshes(meshes, tmp_path / "spine.glb")
    scene = trimesh.load(tmp_path / "spine.glb")
    assert set(scene.graph.nodes_geometry) == set(meshes)
    bounds = {name: scene.geometry[scene.graph[name][1]].copy() for name in meshes}
    box = bounds["disc T12-L1"].apply_transform(scene.graph["disc T12-L1"][0])
    np.testing.assert_allclose(box.centroid, [0.0, 0.1, -0.05], atol=1e-7)
    assert box.volume == pytest.approx(6e-6)


def test_ply_names_its_parts(meshes, tmp_path):
    export_meshes(meshes, tmp_path / "spine.ply")
    header = (tmp_path / "spine.ply").read_bytes().split(b"end_header")[0].decode()
    assert "comment part 0 T12\n" in header
    assert "comment part 1 disc T12-L1\n" in header
    read = pyvista.read(tmp_path / "spine.ply")
    assert read.n_cells == 320 + 12


def test_vtp_names_its_parts(meshes, tmp_path):
    export_meshes(meshes, tmp_path / "spine.vtp")
    read = pyvista.read(tmp_path / "spine.vtp")
    assert list(read.field_data["part_names"]) == list(meshes)
    assert np.bincount(read.cell_data["part"]).tolist() == [320, 12]


def test_stl_is_binary(meshes, tmp_path):
    export_meshes(meshes, tmp_path / "spine.stl")
    raw = (tmp_path / "spine.stl").read_bytes()
    assert struct.unpack("<I", raw[80:84])[0] == 332
    assert len(raw) == 84 + 50 * 332


def test_refuses_an_unknown_ending(meshes, tmp_path):
    with pytest.raises(ValueError, match=r"must end in \.glb, \.stl, \.vtp, \.ply, got 'spine\.obj'"):
        export_meshes(meshes, tmp_path / "spine.obj")
    assert os.listdir(tmp_path) == []
    assert check_ending("SPINE.GLB").name == "SPINE.GLB"


def test_refuses_nothing_to_export(tmp_path):
    with pytest.raises(ValueError, match="at least one mesh, got none"):
        export_meshes({}, tmp_path / "spine.stl")


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_missing_folder_is_an_error_of_the_system(meshes, tmp_path, ending):
    file = tmp_path / "missing" / f"spine{ending}"
    with pytest.raises(FileNotFoundError) as refusal:
        export_meshes(meshes, file)
    assert refusal.value.filename == str(file)


def test_a_failed_write_leaves_the_old_file(meshes, tmp_path):
    file = tmp_path / "spine.ply"
    export_meshes(meshes, file)
    before = file.read_bytes()
    with pytest.raises(ValueError, match="must"):
        export_meshes({**meshes, "broken": (np.zeros((3, 2)), np.array([[0, 1, 2]]))}, file)
    assert file.read_bytes() == before
    assert os.listdir(tmp_path) == ["spine.ply"]


def test_stl_says_its_frame(meshes, tmp_path):
    export_meshes(meshes, tmp_path / "spine.stl")
    header = (tmp_path / "spine.stl").read_bytes()[:80]
    assert header.startswith(b"LPS+ patient frame, mm") and not header.startswith(b"solid")


def test_ply_and_vtp_say_their_frame_and_colour_their_faces(meshes, tmp_path):
    for ending in (".ply", ".vtp"):
        export_meshes(meshes, tmp_path / f"spine{ending}")
    header = (tmp_path / "spine.ply").read_bytes().split(b"end_header")[0].decode()
    assert "comment frame LPS+" in header and "comment unit millimetre" in header
    colours = trimesh.load(tmp_path / "spine.ply", process=False).visual.face_colors
    assert tuple(colours[0]) == part_colour("T12") and tuple(colours[-1]) == part_colour("disc T12-L1")
    read = pyvista.read(tmp_path / "spine.vtp")
    assert read.field_data["frame"][0].startswith("LPS+") and read.field_data["unit"][0] == "millimetre"
    assert tuple(read.cell_data["colour"][0]) == part_colour("T12")


def test_glb_carries_a_material_a_part_and_its_frame(meshes, tmp_path):
    """The JSON chunk read as the standard lays it out; colours in linear light, see-through where asked."""
    ball = trimesh.creation.icosphere(subdivisions=1)
    parts = {**meshes, "skin": (ball.vertices, ball.faces), "rod L4-S1 left": (ball.vertices, ball.faces)}
    export_meshes(parts, tmp_path / "spine.glb")
    raw = (tmp_path / "spine.glb").read_bytes()
    (size,) = struct.unpack("<I", raw[12:16])
    tree = json.loads(raw[20 : 20 + size])
    assert "LPS+" in tree["asset"]["extras"]["frame_of_each_mesh"] and tree["asset"]["version"] == "2.0"
    materials = {m["name"]: m for m in tree["materials"]}
    for mesh in tree["meshes"]:
        assert tree["materials"][mesh["primitives"][0]["material"]]["name"] == mesh["name"]
    assert materials["skin"]["alphaMode"] == "BLEND" and materials["T12"]["alphaMode"] == "OPAQUE"
    assert materials["rod L4-S1 left"]["pbrMetallicRoughness"]["metallicFactor"] > 0.5
    # sRGB 233/255 is 0.8148 in linear light (IEC 61966-2-1).
    assert materials["T12"]["pbrMetallicRoughness"]["baseColorFactor"][0] == pytest.approx(0.8148, abs=1e-3)
    scene = trimesh.load(tmp_path / "spine.glb")
    assert tuple(scene.geometry["T12"].visual.material.main_color)[3] == 255
