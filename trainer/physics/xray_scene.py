"""What the X-ray passes: the surfaces of one anatomy that stand still, and those of the tools that move."""

from weakref import WeakKeyDictionary

import numpy as np
import trimesh

from meshes.cortex import PITCH, nested_surfaces
from meshes.instruments import contact_meshes, needle_mesh, wire_mesh
from meshes.levels import COLUMN
from meshes.part_colours import part_kind
from meshes.pelvis import pelvis_shells
from meshes.rib import LEFT, RIGHT, one_rib, rib_levels
from meshes.tables.loader import number
from trainer.physics.xray_surfaces import Surfaces, join_surfaces

# Half axes and places of lungs and bowel gas: drawn, not measured. [mm]
LUNG_HALF_AXES = (47.0, 62.0, 112.0)
LUNG_CENTRE = (76.0, -38.0, 74.0)  # from the body of T9
GAS = (
    ((-78.0, -72.0, 38.0), (16.0, 12.0, 24.0)),
    ((-86.0, -66.0, -8.0), (14.0, 11.0, 18.0)),
    ((70.0, -74.0, 66.0), (26.0, 12.0, 15.0)),
    ((88.0, -70.0, 12.0), (15.0, 12.0, 26.0)),
    ((38.0, -80.0, -34.0), (20.0, 12.0, 12.0)),
    ((-40.0, -80.0, -52.0), (17.0, 12.0, 13.0)),
)

# How far the trunk goes on above and below its modelled part. [mm]
TRUNK_BEYOND = 150.0

TOP, SECOND = COLUMN[:2]
COPIES_ABOVE = 2

_nested_bones = WeakKeyDictionary()


def attenuation(material):
    """Return the linear attenuation of a material of the table at its energy. [1/mm]"""
    return number("attenuation", f"{material}.attenuation")


def step(inside, outside="soft_tissue"):
    """Return the jump of attenuation at a surface between two materials. [1/mm]"""
    return attenuation(inside) - attenuation(outside)


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


def _ellipsoid(centre, half_axes, jump):
    ball = trimesh.creation.icosphere(subdivisions=3)
    return Surfaces(ball.vertices * half_axes + centre, ball.faces, jump)


def _lengthened(vertices, faces):
    """Return a trunk whose ends are drawn out, so that no picture shows where its modelled part stops."""
    z = vertices[:, 2]
    beyond = np.where(z > z.max() - 1.0, TRUNK_BEYOND, 0.0) - np.where(z < z.min() + 1.0, TRUNK_BEYOND, 0.0)
    return vertices + beyond[:, None] * np.array([0.0, 0.0, 1.0]), faces


def trunk_surfaces(anatomy):
    """Return the trunk as soft tissue with two lungs and some bowel gas in it.

    Soft tissue is one material: fat attenuates an eighth less and is not told apart.
    """
    scale = anatomy.parameters.stature_scale
    vertices, faces = _lengthened(*anatomy.tissue.trunk_mesh())
    chest = anatomy.poses["T9"].translation
    lungs = [
        _ellipsoid(
            chest + np.array(LUNG_CENTRE) * [side, 1.0, 1.0] * scale,
            np.array(LUNG_HALF_AXES) * scale,
            step("lung"),
        )
        for side in (1.0, -1.0)
    ]
    gas = [
        _ellipsoid(np.array(centre) * scale, np.array(axes) * scale, -attenuation("soft_tissue"))
        for centre, axes in GAS
    ]
    return join_surfaces([Surfaces(vertices, faces, attenuation("soft_tissue")), *lungs, *gas])


def still_surfaces(anatomy):
    """Return everything of a posed anatomy that an X-ray shows, as closed surfaces.

    Bones are read from the same distance grids that answer every question about clearance, on a grid of
    1.2 mm. Discs, cord and ligaments do not show and are left out. The two bones above T6 are copies of it.
    """
    parts = (bone_surfaces, rib_surfaces, pelvis_surfaces, implant_surfaces, trunk_surfaces)
    return join_surfaces(part(anatomy) for part in parts)


def needle_surfaces(point, direction, needle):
    """Return one hollow steel needle with its tip at `point`."""
    vertices, faces = needle_mesh(
        point,
        direction,
        length=needle.length,
        outer_radius=needle.outer_radius,
        bore_radius=needle.bore_radius,
        bevel_length=needle.bevel_length,
    )
    return Surfaces(vertices, faces, step("steel"))


def _alike(meshes, jump):
    """Return meshes of equal size and material as one `Surfaces`."""
    if not meshes:
        return join_surfaces([])
    size = len(meshes[0][0])
    faces = np.concatenate([faces + size * k for k, (_, faces) in enumerate(meshes)])
    return Surfaces(np.concatenate([vertices for vertices, _ in meshes]), faces, jump)


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


def tool_surfaces(*, needles=(), leads=(), stylet=True):
    """Return what moves and shows on an X-ray.

    Parameters
    ----------
    needles : sequence of (point, direction, needle)
        Tip (3,) [mm], direction of advance (3,), and something with length, outer_radius, bore_radius and
        bevel_length [mm].
    leads : sequence of (nodes, properties)
        Middle line (n, 3) [mm], tip last, and something with radius, contacts, contact_length, spacing and
        tip_length.
    stylet : bool
        Whether the leads still hold their stylets.

    Metal counts as standing in soft tissue; where it runs through bone its contrast is overstated by a few
    per cent.
    """
    parts = [needle_surfaces(*needle) for needle in needles]
    parts += [lead_surfaces(*lead, stylet=stylet) for lead in leads]
    return join_surfaces(parts)
