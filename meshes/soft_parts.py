"""The canal chart and the soft tissue of a whole body, kept on disk with all that they depend on.

What is read back is what was built, to the bit; everything that follows quickly from bones, posture and
findings is worked out again.
"""

from dataclasses import astuple, fields
from itertools import pairwise

import numpy as np

from meshes import cache
from meshes.canal import CanalChart
from meshes.canal_build import CHART_LEVELS, build_chart, chart_facts
from meshes.canal_marks import Interspace
from meshes.soft_tissue import SoftTissue, build_soft_tissue

CANAL = tuple(field.name for field in fields(CanalChart) if field.type is np.ndarray)
TISSUE = tuple(field.name for field in fields(SoftTissue) if field.type is np.ndarray)


def soft_arrays(canal, tissue):
    """Return {name: array} of a CanalChart and the SoftTissue over it, as they are stored."""
    return {
        **{f"canal.{name}": getattr(canal, name) for name in CANAL},
        **{f"tissue.{name}": getattr(tissue, name) for name in TISSUE},
        "marks": np.array([astuple(mark)[2:] for mark in canal.interspaces.values()]),
        "spans": np.array([span[1:] for span in canal.level_spans]),
        "cover": np.array([tissue.fat, tissue.skin_thickness]),
    }


def _stored(arrays, kind, names):
    return {name: arrays[f"{kind}.{name}"] for name in names}


def soft_from(arrays, *, parameters, bones, poses):
    """Return the (CanalChart, SoftTissue) that `soft_arrays` was given."""
    marks = [
        Interspace(upper, lower, *map(float, row))
        for (lower, upper), row in zip(pairwise(CHART_LEVELS), arrays["marks"], strict=True)
    ]
    marks = {mark.name: mark for mark in marks}
    canal = CanalChart(
        cord_shift=parameters.cord_shift,
        interspaces=marks,
        level_spans=tuple(
            (n, float(low), float(high)) for n, (low, high) in zip(CHART_LEVELS, arrays["spans"])
        ),
        **chart_facts(bones, poses, parameters, marks),
        **_stored(arrays, "canal", CANAL),
    )
    fat, skin = map(float, arrays["cover"])
    return canal, SoftTissue(
        fat=fat,
        skin_thickness=skin,
        canal=canal,
        stature_scale=parameters.stature_scale,
        **_stored(arrays, "tissue", TISSUE),
    )


def _expected():
    return {*(f"canal.{n}" for n in CANAL), *(f"tissue.{n}" for n in TISSUE), "marks", "spans", "cover"}


def kept_soft_parts(path, *, parameters, bones, poses, packed):
    """Return (CanalChart, SoftTissue) from `path`, or built and then stored there.

    Parameters
    ----------
    path : Path
        An entry whose facts are the parameters and the pitch of the bones.
    bones, poses, packed : {level: Bone}, {level: Pose}, PackedBones
        The column that the parameters stand for.
    """
    arrays = cache.load(path)
    if arrays is not None and set(arrays) == _expected():
        return soft_from(arrays, parameters=parameters, bones=bones, poses=poses)
    canal = build_chart(bones, poses, parameters, packed=packed)
    tissue = build_soft_tissue(parameters, bones=bones, poses=poses, packed=packed, canal=canal)
    cache.store(path, soft_arrays(canal, tissue))
    return canal, tissue
