"""What the X-ray passes: the surfaces of one anatomy that stand still, and those of the tools that move."""

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from meshes.cortex import PITCH, nested_surfaces
from meshes.instruments import anchor_mesh, contact_meshes, needle_mesh, stylet_mesh, wire_mesh
from meshes.levels import COLUMN
from meshes.part_colours import part_kind
from meshes.pelvis import pelvis_shells
from meshes.rib import LEFT, RIGHT, one_rib, rib_levels
from meshes.tables.loader import number
from trainer.physics.xray_materials import step
from trainer.physics.xray_soft import (
    gas_surfaces,
    lung_surfaces,
    psoas_surfaces,
    skin_surfaces,
    table_surfaces,
)
from trainer.physics.xray_surfaces import Surfaces, join_surfaces

TOP, SECOND = COLUMN[:2]
COPIES_ABOVE = 2

_nested_bones = WeakKeyDictionary()


def _nested(bone, scale):
    if bone not in _nested_bones:
        # A coarse anatomy, while a slider moves, is coarser than this.
        pitch = max(PITCH, bone.grid.pitch)
        _nested_bones[bone] = nested_surfaces(bone, scale=scale, pitch=pitch)
    return _nested_bones[bone]


def _shell(outside, core, *, filling, pose=None):
    """Return a cortical shell around a core of `filling`, placed by `pose` where it is given."""
    place = (lambda points: points) if pose is None else pose.apply
    return [
        Surfaces(place(outside[0]), outside[1], step("cortical_bone")),
        Surfaces(place(core[0]), core[1], step(filling, "cortical_bone")),
    ]


def bone_surfaces(anatomy):
    """Return the column as cortical shells around cancellous cores, with copies of its top bone above."""
    scale = anatomy.parameters.stature_scale
    return join_surfaces(
        part
        for level, poses in _poses_shown(anatomy).items()
        for pose in poses
        for part in _shell(*_nested(anatomy.bones[level], scale), pose=pose, filling="spongiosa")
    )


def _poses_shown(anatomy):
    """Return {level: [Pose, ...]}: each bone where it is, the top one again where its neighbours would be.

    A picture of T8 reaches above the modelled column; without them it would end in the air.
    """
    poses = {level: [pose] for level, pose in anatomy.poses.items()}
    upward = anatomy.poses[SECOND].inverse() @ anatomy.poses[TOP]
    for _ in range(COPIES_ABOVE):
        poses[TOP].append(poses[TOP][-1] @ upward)
    return poses


def rib_surfaces(anatomy):
    """Return both rows of ribs as cortical shells around marrow."""
    scale, poses = anatomy.parameters.stature_scale, _poses_shown(anatomy)
    parts = []
    for level in rib_levels(anatomy.parameters.rib_pairs):
        for outside, core in (
            one_rib(anatomy.bones[level], side=side, scale=scale) for side in (LEFT, RIGHT)
        ):
            for pose in poses[level]:
                parts += _shell(outside, core, pose=pose, filling="red_marrow")
    return join_surfaces(parts)


def pelvis_surfaces(anatomy):
    """Return both iliac wings as cortical shells around cancellous bone."""
    shells = pelvis_shells(anatomy).values()
    return join_surfaces(part for pair in shells for part in _shell(*pair, filling="spongiosa"))


def implant_surfaces(anatomy):
    """Return screws, rods and spacers of titanium, and cement within its body.

    Each counts as standing in soft tissue or, cement, in cancellous bone; where metal runs through bone or
    through other metal, its contrast is overstated by that much.
    """
    return join_surfaces(
        Surfaces(*mesh, step("cement", "spongiosa") if part_kind(name) == "cement" else step("titanium"))
        for name, mesh in anatomy.implants.items()
    )


def trunk_surfaces(anatomy, *, gas=0):
    """Return the trunk as soft tissue with lungs, bowel gas, psoas and kidneys in it; `gas` seeds the gas."""
    return join_surfaces(
        [
            skin_surfaces(anatomy),
            lung_surfaces(anatomy),
            gas_surfaces(anatomy, rng=gas),
            psoas_surfaces(anatomy),
        ]
    )


@dataclass(frozen=True, eq=False)
class Scene:
    """All of a patient that an X-ray shows, apart from the tools.

    Parameters
    ----------
    still : Surfaces
        What does not move with the breath.
    breathing : Surfaces
        What does, at the end of breathing out.
    sway : (n, 3) float
        How far each vertex of `breathing` has gone at the end of breathing in. [mm]
    """

    still: Surfaces
    breathing: Surfaces
    sway: np.ndarray

    def breathed(self, depth):
        """Return the breathing part at a depth of the breath, 0 out to 1 in."""
        if depth == 0.0:
            return self.breathing
        moved = self.breathing.vertices + depth * self.sway
        return Surfaces(moved, self.breathing.faces, self.breathing.jump)


def scene_of(anatomy, *, gas=0):
    """Return the Scene of a posed anatomy on the table.

    Bones are read from the same distance grids that answer every question about clearance, on a grid of
    1.2 mm. Discs, cord and ligaments do not show and are left out. The two bones above T6 are copies of it.
    Breath moves lungs, ribs and gas; column and skin stay.

    Parameters
    ----------
    gas : int
        Seed of the bowel gas.
    """
    lungs, ribs, bowel = lung_surfaces(anatomy), rib_surfaces(anatomy), gas_surfaces(anatomy, rng=gas)
    still = (bone_surfaces, pelvis_surfaces, implant_surfaces, skin_surfaces, psoas_surfaces, table_surfaces)
    down, up = np.array([0.0, 0.0, -1.0]), np.array([0.0, 0.0, 1.0])
    aside = np.clip(np.abs(ribs.vertices[:, :1]) / number("rib", "cage_half_width"), 0.0, 1.0)
    diaphragm, rib_end = number("xray", "breath.diaphragm"), number("xray", "breath.rib")
    sway = [
        np.broadcast_to(diaphragm * down, lungs.vertices.shape),
        rib_end * aside * up,
        np.broadcast_to(number("xray", "breath.bowel") * down, bowel.vertices.shape),
    ]
    return Scene(
        join_surfaces(part(anatomy) for part in still),
        join_surfaces([lungs, ribs, bowel]),
        np.concatenate(sway),
    )


def still_surfaces(anatomy, *, gas=0):
    """Return everything of a posed anatomy that an X-ray shows, breath held, as closed surfaces."""
    scene = scene_of(anatomy, gas=gas)
    return join_surfaces([scene.still, scene.breathing])


def needle_surfaces(point, direction, needle):
    """Return one hollow steel needle with its tip at `point`, and its stylet while that is in."""
    shape = {"length": needle.length, "bevel_length": needle.bevel_length, "bore_radius": needle.bore_radius}
    wall = needle_mesh(point, direction, outer_radius=needle.outer_radius, **shape)
    parts = [Surfaces(*wall, step("steel"))]
    if getattr(needle, "stylet_in", False):
        parts.append(Surfaces(*stylet_mesh(point, direction, **shape), step("steel")))
    return join_surfaces(parts)


def lead_surfaces(nodes, properties, *, stylet=True):
    """Return one lead: contact rings, the bundle of its conductors and, while in place, the stylet.

    The conductors are smeared over their bundle. The polymer of the body differs from tissue by a few per
    cent over about a millimetre and is left out.
    """
    parts = [
        Surfaces(vertices, faces, step("platinum_iridium"))
        for vertices, faces in contact_meshes(nodes, properties)
    ]
    bundle = wire_mesh(nodes, radius=number("xray", "lead.bundle_radius"))
    parts.append(Surfaces(*bundle, number("xray", "lead.bundle_fill") * step("conductor", "polyurethane")))
    if stylet:
        wire = wire_mesh(nodes, radius=number("xray", "lead.stylet_radius"))
        parts.append(Surfaces(*wire, step("steel", "polyurethane")))
    return join_surfaces(parts)


def anchor_surfaces(point, direction):
    """Return one anchor: a sleeve of silicone, marked so that it shows, round a lead at `point`."""
    return Surfaces(*anchor_mesh(point, direction), step("marked_silicone"))


def tool_surfaces(*, needles=(), leads=(), anchors=(), stylet=True):
    """Return what moves and shows on an X-ray.

    Parameters
    ----------
    needles : sequence of (point, direction, needle)
        Tip (3,) [mm], direction of advance (3,), and something with length, outer_radius, bore_radius and
        bevel_length [mm].
    leads : sequence of (nodes, properties)
        Middle line (n, 3) [mm], tip last, and something with radius, contacts, contact_length, spacing and
        tip_length.
    anchors : sequence of (point, direction)
        Middle (3,) [mm] and way of the lead (3,) that each is slid over.
    stylet : bool
        Whether the leads still hold their stylets.

    Metal counts as standing in soft tissue; where it runs through bone its contrast is overstated by a few
    per cent.
    """
    parts = [needle_surfaces(*needle) for needle in needles]
    parts += [lead_surfaces(*lead, stylet=stylet) for lead in leads]
    parts += [anchor_surfaces(*anchor) for anchor in anchors]
    return join_surfaces(parts)
