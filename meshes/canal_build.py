"""Build the canal chart from posed bones.

Twice along the same road: a rough axis through the bony canal finds the front wall, the sac rides on it,
and the centre of the sac is the axis of the chart. Then rays, flavum and disc, dura, cord, and baking.
"""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from meshes import canal_bake as bake
from meshes.canal import CanalChart
from meshes.canal_axis import axis_through, rough_axis, smoothed
from meshes.canal_findings import (
    canal_changes,
    lipomatosis,
    missing_flava,
    narrowed,
    ossified_flava,
    plateau,
    with_bed,
)
from meshes.canal_march import BONE_REACH, LONGEST_RAY, first_bone
from meshes.canal_marks import interspaces, level_spans, level_stations
from meshes.canal_wall import (
    SMALLEST_RADIUS,
    closed,
    flavum_thickness,
    lamina_stations,
    shaped,
    with_discs,
    with_flavum,
)
from meshes.distance import pack_bones
from meshes.levels import COLUMN
from meshes.sac_and_cord import cord_radius, dura_radius, sac_ellipse, sac_half_depth, sections
from meshes.tables.loader import number
from meshes.units import radians

CHART_LEVELS = COLUMN[::-1]
THREADS = 2
TURN = radians(5.0)
THETA = TURN * np.arange(round(2.0 * math.pi / TURN))
FRONT_AND_BACK = np.array([0.0, math.pi])


def _bone_radius(packed, axis, stations, theta):
    """Return the radius (n, m) of the first bone on each ray, marched in two threads."""

    def marched(rows):
        frame = (a[rows] for a in (axis.centre, axis.left, axis.dorsal, axis.u))
        return first_bone(packed.values, packed.table, stations, *frame, theta, BONE_REACH, LONGEST_RAY)

    middle = len(axis.u) // 2
    with ThreadPoolExecutor(THREADS) as pool:
        return np.vstack(list(pool.map(marched, (slice(None, middle), slice(middle, None)))))


def _sac_axis(column, packed, parameters):
    """Return the Axis through the centres of the sac, which rides on the front wall."""
    scale = column.scale
    rough = rough_axis(column.bones, column.poses, CHART_LEVELS, scale=scale)
    stations = column.stations(rough)
    bone = _bone_radius(packed, rough, stations, FRONT_AND_BACK)
    marks = column.marks(rough)
    front = with_discs(bone, bone, rough.u, FRONT_AND_BACK, marks=marks)[:, 1]
    front = smoothed(front, 6.0) - number("neuraxis", "front_of_sac") * scale
    half_depth = sac_half_depth(rough.u, stations, CHART_LEVELS, scale=scale * parameters.canal_scale)
    spans = {level: (low, high) for level, low, high in column.spans(rough)}
    # More fat behind pushes the whole back of the sac forward, and its centre half as far.
    half_depth = half_depth - 0.5 * lipomatosis(parameters.findings, rough.u, spans=spans)
    offset = smoothed(half_depth - front, 4.0)
    return axis_through(rough.centre + offset[:, None] * rough.dorsal, rough.left)


class _Column:
    """Posed bones of the chart: what the steps ask of them."""

    def __init__(self, bones, poses, scale):
        self.bones, self.poses, self.scale = bones, poses, scale

    def stations(self, axis):
        return level_stations(axis, self.bones, self.poses, CHART_LEVELS, scale=self.scale)

    def marks(self, axis):
        return interspaces(axis, self.bones, self.poses, CHART_LEVELS, scale=self.scale)

    def spans(self, axis):
        return level_spans(axis, self.bones, self.poses, CHART_LEVELS, scale=self.scale)

    def laminae(self, axis):
        return lamina_stations(axis, self.bones, self.poses, CHART_LEVELS, THETA, scale=self.scale)

    def conus(self, axis):
        """Return the station of the tip of the cord."""
        height = self.bones["L1"].shape.posterior_height * self.scale
        below = -number("neuraxis", "conus_tip_in_bodies") * height
        return float(level_stations(axis, self.bones, self.poses, ("L1",), scale=self.scale, height=below)[0])


def _wall_tables(column, axis, packed, stations, marks, *, thickening, changes, sac):
    """Return bone, roof, closed wall and wall, each (n, m)."""
    bone = _bone_radius(packed, axis, stations, THETA)
    roof = with_flavum(
        bone,
        bone,
        axis.u,
        THETA,
        marks=marks,
        laminae=column.laminae(axis),
        thickening=thickening,
        extra=changes.flavum,
        missing=changes.missing_flava,
    )
    roof = narrowed(with_discs(roof, bone, axis.u, THETA, marks=marks), THETA, changes.narrowing)
    # However much is piled up: rays need a wall.
    roof = np.maximum(roof, SMALLEST_RADIUS)
    for bed in changes.beds:
        roof = with_bed(roof, bone, sac, u=axis.u, theta=THETA, bed=bed)
    bridged = closed(roof)
    return {"bone_wall": bone, "roof": roof, "closed_wall": bridged, "wall": shaped(roof, bridged, turn=TURN)}


def _thickness_with(changes, usual, u, marks):
    """Return the thickness (n,) of the flavum as a needle meets it: thickened, or gone. [mm]"""
    thickness = usual + number("neuraxis", "stenosis.behind") * changes.narrowing
    for name, extra in changes.flavum.items():
        thickness = thickness + extra * plateau(u, marks[name].flavum_caudal, marks[name].flavum_cranial)
    for name, side in changes.missing_flava.items():
        if side == "both":
            mark = marks[name]
            thickness = thickness * (1.0 - plateau(u, mark.flavum_caudal, mark.flavum_cranial, edge=1.0))
    return thickness


def _baked(axis, tables):
    heights, params = bake.height_table(axis)
    return {
        "frame_coefficients": bake.frame_coefficients(axis),
        "surface_coefficients": bake.surface_coefficients(tables["wall"], tables["dura"], turn=TURN),
        "radius_coefficients": bake.radius_coefficients(
            tables["cord"], tables["closed_wall"], tables["dura"], tables["wall"]
        ),
        "height_table": heights,
        "params": params,
    }


def chart_facts(bones, poses, parameters, marks):
    """Return {field: value} of a CanalChart that follow from bones, posture and findings, without tables."""
    scale, findings = parameters.stature_scale, parameters.findings
    return {
        "levels": CHART_LEVELS,
        "poses": poses,
        "posterior_walls": {level: scale * bones[level].shape.posterior_wall for level in CHART_LEVELS},
        "ossified": ossified_flava(findings, marks),
        "missing_flava": missing_flava(findings, marks),
        "flavum_gaps": tuple(name for name in parameters.flavum_gaps if name in marks),
    }


def build_chart(bones, poses, parameters, packed=None):
    """Return the CanalChart of posed bones.

    Parameters
    ----------
    bones, poses : {level: Bone}, {level: Pose}
        T6 to S1.
    parameters : SpineParameters
        Stature, flavum and canal scale, cord shift and findings matter here.
    packed : PackedBones or None
        The same bones packed in these poses, to spare packing them again.
    """
    packed = (packed or pack_bones(bones, poses, CHART_LEVELS)).only(CHART_LEVELS)
    scale = parameters.stature_scale
    column = _Column(bones, poses, scale)
    axis = _sac_axis(column, packed, parameters)
    stations, marks, spans = column.stations(axis), column.marks(axis), column.spans(axis)
    changes = canal_changes(parameters.findings, axis.u, marks=marks, spans=spans)
    ellipses = sections(
        axis.u,
        stations,
        CHART_LEVELS,
        conus=column.conus(axis),
        scale=scale,
        cord_shift=parameters.cord_shift,
        sac_scale=parameters.canal_scale,
        loss=changes.fat + number("neuraxis", "stenosis.sac") * changes.narrowing,
    )
    sac = sac_ellipse(ellipses, THETA)
    thickness = flavum_thickness(marks, axis.u, scale=scale * parameters.flavum_scale)
    # The chords stand for flava of ordinary thickness: only the difference moves them.
    thickening = thickness * (1.0 - 1.0 / parameters.flavum_scale)
    tables = _wall_tables(
        column, axis, packed, stations, marks, thickening=thickening, changes=changes, sac=sac
    )
    tables["dura"] = dura_radius(sac, tables["wall"])
    tables["cord"] = cord_radius(ellipses, THETA, tables["dura"])
    return CanalChart(
        theta=THETA,
        flavum_thickness=_thickness_with(changes, thickness, axis.u, marks),
        friction_scale=changes.friction,
        memory_scale=changes.memory,
        interspaces=marks,
        level_spans=spans,
        **chart_facts(bones, poses, parameters, marks),
        **vars(axis),
        **vars(ellipses),
        **tables,
        **_baked(axis, tables),
    )
