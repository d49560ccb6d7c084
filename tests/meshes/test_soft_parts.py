"""Canal and tissue of a whole body from disk: the same to the bit, in any state of the cache."""

from dataclasses import fields, is_dataclass

import numpy as np
import pytest

from meshes import cache
from meshes import findings as kinds
from meshes.anatomy import Anatomy, build_anatomy
from meshes.parameters import SpineParameters

OPERATED = SpineParameters(
    stature_scale=1.06,
    cord_shift=1.2,
    asymmetry=0.4,
    flavum_gaps=("T9-T10",),
    findings=(
        kinds.Laminectomy("L3", side="left"),
        kinds.FlavumThickening("T11-T12", 2.0, ossified=True),
        kinds.EpiduralLipomatosis("L4", "S1", 2.0),
    ),
)
COARSE = 1.4


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(cache, "cache_root", lambda: tmp_path)
    return tmp_path


def same(one, other):
    """Tell whether two values are the same to the bit, dataclasses and arrays included."""
    if isinstance(one, np.ndarray):
        return one.dtype == other.dtype and one.tobytes() == other.tobytes() and one.shape == other.shape
    if is_dataclass(one):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, dict):
        return list(one) == list(other) and all(same(one[key], other[key]) for key in one)
    return type(one) is type(other) and one == other


@pytest.mark.parametrize("parameters", [SpineParameters(), OPERATED], ids=["ordinary", "operated"])
def test_what_is_read_back_is_what_was_built(folder, parameters):
    built = build_anatomy(parameters, pitch=COARSE)
    plain = Anatomy(parameters, built.bones, built.poses)
    assert same(built.canal, plain.canal) and same(built.tissue, plain.tissue)
    (entry,) = folder.glob("soft-*.npz")
    assert built.kept == entry
    again = build_anatomy(parameters, pitch=COARSE)
    assert again.tissue.canal is again.canal and again.canal is not built.canal
    assert same(again.canal, built.canal) and same(again.tissue, built.tissue)
    # One kind of array to the kernels, built or read.
    points = built.canal.centre[20:24] + 2.0
    assert np.array_equal(again.canal.contacts(points), built.canal.contacts(points))
    assert again.tissue.profile.flags["C_CONTIGUOUS"] and again.tissue.profile.flags["WRITEABLE"]


def test_a_torn_or_foreign_entry_is_built_again(folder):
    built = build_anatomy(pitch=COARSE)
    expected = built.canal.wall
    whole = built.kept.read_bytes()
    built.kept.write_bytes(whole[: len(whole) // 2])
    assert np.array_equal(build_anatomy(pitch=COARSE).canal.wall, expected)
    assert len(built.kept.read_bytes()) == len(whole)
    cache.store(built.kept, {"canal.wall": np.zeros((2, 2))})
    assert np.array_equal(build_anatomy(pitch=COARSE).canal.wall, expected)


def test_every_fact_is_another_entry_and_a_slider_leaves_none(folder):
    built = build_anatomy(pitch=COARSE)
    changes = (
        {"body_mass_index": 31.0},
        {"cord_shift": 1.0},
        {"flavum_gaps": ("T9-T10",)},
        {"findings": (kinds.Adhesion("T9"),)},
    )
    paths = {build_anatomy(SpineParameters(**change), pitch=COARSE).kept for change in changes}
    assert len(paths | {built.kept, build_anatomy(pitch=1.5).kept}) == len(changes) + 2
    before = set(folder.iterdir())
    moved = built.with_pose(lumbar_lordosis=0.7)
    assert moved.kept is None and moved.tissue.canal is moved.canal
    assert set(folder.iterdir()) == before
