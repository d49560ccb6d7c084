"""`trainer anatomy`: what it tells, what it writes, what it refuses."""

import json

import pytest
import trimesh

from trainer.commands.anatomy import facts, run, text, write_meshes


@pytest.fixture(scope="module")
def found(anatomy):
    return facts(anatomy)


def test_facts_are_plain_and_complete(found):
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert list(found) == ["cobb", "interspaces", "landmarks", "levels", "meshes"]
    junction = found["interspaces"]["T12-L1"]
    assert list(junction["bony_gap_mm_by_lateral_mm"]) == ["0", "3", "6", "8", "10"]
    heights = junction["window_height_mm_by_cranial_deg_and_lateral_mm"]
    assert list(heights) == ["0", "20", "30", "45", "60"]
    assert list(heights["45"]) == ["0", "4", "6", "8"]
    assert heights["45"]["0"] < 2.0 < heights["45"]["4"]
    assert found["cobb"]["lumbar_lordosis_deg"] == pytest.approx(50.0, abs=1.0)
    assert {"canal_width_mm", "sac_depth_mm", "cord_depth_mm", "dorsal_csf_mm"} <= set(found["levels"]["T9"])
    assert {"skin_to_epidural_mm", "epidural_depth_mm"} <= set(junction)
    assert len(found["interspaces"]) == 12
    assert len(found["levels"]) == 12


def test_every_mesh_is_closed_and_looks_outward(found):
    meshes = found["meshes"]
    assert {
        "T6",
        "S1",
        "disc T12-L1",
        "flavum T12-L1",
        "dura",
        "cord",
        "skin",
        "rib 12 left",
        "ilium right",
    } <= set(meshes)
    assert [name for name, mesh in meshes.items() if not mesh["closed"]] == []
    assert [name for name, mesh in meshes.items() if mesh["volume_cm3"] <= 0.0] == []


def test_tables_hold_the_facts(found):
    shown = text(found)
    gap = f"{found['interspaces']['T12-L1']['bony_gap_mm_by_lateral_mm']['6']:.1f}"
    (row, *_) = (line for line in shown.splitlines() if line.startswith("T12-L1"))
    assert gap in row.split()
    assert max(len(line) for line in shown.splitlines()) <= 140
    for title in (
        "Cobb angles",
        "Bony gap",
        "Open window",
        "Midline depths",
        "Canal, sac and cord",
        "Landmarks: left, posterior, cranial [mm]; iliac crests cross L4",
        "Meshes",
    ):
        assert title in shown


def test_export_holds_every_mesh_by_name(anatomy, found, tmp_path):
    write_meshes(anatomy, tmp_path / "spine.glb")
    scene = trimesh.load(tmp_path / "spine.glb")
    assert set(scene.graph.nodes_geometry) == set(found["meshes"])
    assert len(scene.geometry["T12"].faces) == found["meshes"]["T12"]["faces"]


def test_landmarks_are_told_by_level(found):
    told = found["landmarks"]
    assert told["iliac_crests_cross"] in ("L4", "L4-L5")
    left, right = told["levels"]["L3"]["pedicles_left_right_mm"]
    assert (
        left[0] > 8.0 and right[0] < -8.0 and told["levels"]["S1"]["pedicles_left_right_mm"] == [None, None]
    )
    assert "rib 12 left" in told["rib_heads_mm"] and len(told["ventral_interlaminar_line_mm"]["left"]) > 20


def test_parts_are_written_by_name(anatomy, tmp_path):
    write_meshes(anatomy, tmp_path / "some.glb", parts=["t12", "disc L*", "rib 12*"])
    names = set(trimesh.load(tmp_path / "some.glb").graph.nodes_geometry)
    discs = {f"disc L{k}-{'S1' if k == 5 else f'L{k + 1}'}" for k in range(1, 6)}
    assert names == {"T12", "rib 12 left", "rib 12 right"} | (discs & names) and len(discs & names) >= 4
    with pytest.raises(ValueError, match="part must name a mesh like T6, T7, T8, got 'tail'"):
        write_meshes(anatomy, tmp_path / "none.glb", parts=["tail"])
    assert not (tmp_path / "none.glb").exists()


def test_a_phantom_is_written(anatomy, tmp_path):
    write_meshes(anatomy, tmp_path / "bench.stl", phantom=2.0, parts=["skin block"])
    block = trimesh.load(tmp_path / "bench.stl")
    assert block.is_watertight and 100.0 < block.extents[2] < 400.0


def test_parts_without_a_file_are_refused():
    with pytest.raises(ValueError, match="--part and --phantom must say where to write, got no --export"):
        run("ordinary-adult", parts=["T12"])
    with pytest.raises(ValueError, match="--part and --phantom must say where to write"):
        run("ordinary-adult", phantom=2.0)


@pytest.mark.parametrize(
    "case, settings, export, words",
    [
        ("nobody", [], None, "case must be one of"),
        ("ordinary-adult", ["window_scale=9"], None, "must lie between 0.5 and 1.5, got 9"),
        ("ordinary-adult", ["colour=red"], None, "got 'colour'"),
        ("ordinary-adult", [], "spine.obj", "must end in .glb, .stl, .vtp, .ply, got 'spine.obj'"),
    ],
)
def test_refuses_bad_input_before_building(case, settings, export, words):
    with pytest.raises(ValueError, match="must") as refusal:
        run(case, settings, export=export)
    assert words in str(refusal.value)


def test_refuses_a_missing_folder_before_building(tmp_path):
    with pytest.raises(FileNotFoundError) as refusal:
        run("ordinary-adult", export=str(tmp_path / "missing" / "spine.glb"))
    assert refusal.value.filename == str(tmp_path / "missing" / "spine.glb")


def test_a_setting_is_measured_and_written(tmp_path):
    file = tmp_path / "spine.stl"
    settings = ["lumbar_lordosis_deg=60"]
    answer = json.loads(run("ordinary-adult", settings, export=str(file), as_plain_json=True))
    faces = sum(mesh["faces"] for mesh in answer["meshes"].values())
    assert file.stat().st_size == 84 + 50 * faces
    assert list(tmp_path.iterdir()) == [file]
    assert answer["cobb"]["lumbar_lordosis_deg"] == pytest.approx(60.0, abs=1.0)
