"""What the 3D picture is made of: meshes light enough to turn by hand, and threads that bend."""

import numpy as np
import pyvista as pv

from meshes.fields import contour
from meshes.frames import unit
from meshes.levels import COLUMN
from meshes.swept import points_from_tip, polyline_length

# Every second point of a bone's grid gives a quarter of its triangles, and no eye sees it on the screen.
LIGHT = 2
THREAD_RINGS, THREAD_SIDES = 320, 8


def surface(vertices, faces):
    """Return a pyvista mesh with smooth normals; `faces` are turned outward already."""
    mesh = pv.PolyData.from_regular_faces(np.asarray(vertices, np.float32), np.asarray(faces))
    return mesh.compute_normals(split_vertices=False, consistent_normals=False, auto_orient_normals=False)


def bone_surfaces(anatomy, *, stride=LIGHT):
    """Return {level: mesh} in the patient's frame; stride 1 gives the bones as built."""
    found = {}
    for level, bone in anatomy.bones.items():
        if stride == 1:
            vertices, faces = bone.vertices, bone.faces
        else:
            thinned = np.ascontiguousarray(bone.grid.values[::stride, ::stride, ::stride])
            # The thinned grid may lose its last layer: the surface must stay closed.
            padded = np.pad(thinned, 1, constant_values=bone.grid.reach)
            step = bone.grid.pitch * stride
            vertices, faces = contour(padded, bone.grid.origin - step, step)
        found[level] = surface(anatomy.poses[level].apply(vertices), faces)
    return found


def body_meshes(anatomy, *, stride=LIGHT):
    """Return {name: mesh} of the see-through body, in the order in which it is drawn: opaque, dura, skin."""
    found = bone_surfaces(anatomy, stride=stride)
    found |= {name: surface(*mesh) for name, mesh in anatomy.implants.items()}
    found["dura"] = surface(*anatomy.dura["dura"])
    return found | back_meshes(anatomy)


def back_meshes(anatomy):
    """Return {name: mesh} of what a real room shows."""
    return {"skin": surface(*anatomy.tissue.trunk_mesh())}


def kind_of(name):
    """Return "bone", "dura", "skin" or "implant" of the name of a mesh."""
    if name in COLUMN:
        return "bone"
    return name if name in ("dura", "skin") else "implant"


class Thread:
    """A tube along a changing course, with the same points and triangles all the time.

    Parameters
    ----------
    radius : float
        [mm]
    colour, banded : str
        Of the tube, and of its bands (contacts).
    """

    def __init__(self, *, radius, colour, banded=None):
        self.radius = radius
        self.inks = [np.array(pv.Color(c).int_rgb, np.uint8) for c in (colour, banded or colour)]
        ring = np.arange(THREAD_RINGS * THREAD_SIDES).reshape(THREAD_RINGS, THREAD_SIDES)
        following = np.roll(ring, -1, axis=1)
        first = np.stack([ring[:-1], following[:-1], following[1:]], axis=-1).reshape(-1, 3)
        second = np.stack([ring[:-1], following[1:], ring[1:]], axis=-1).reshape(-1, 3)
        points = np.zeros((THREAD_RINGS * THREAD_SIDES, 3), np.float32)
        self.mesh = pv.PolyData.from_regular_faces(points, np.concatenate([first, second]))
        self.mesh.point_data["Normals"] = np.zeros_like(points)
        self.mesh.point_data["inks"] = np.tile(self.inks[0], (len(points), 1))
        self.mesh.GetPointData().SetActiveNormals("Normals")
        self.angles = np.linspace(0.0, 2.0 * np.pi, THREAD_SIDES, endpoint=False)

    def follow(self, nodes, *, bands=()):
        """Lay the tube along nodes (n, 3), tip last; `bands` are (from, to) distances from the tip. [mm]"""
        nodes = np.asarray(nodes, float)
        behind = np.linspace(polyline_length(nodes), 0.0, THREAD_RINGS)
        course = points_from_tip(nodes, behind)
        along = np.gradient(course, axis=0)
        along /= np.linalg.norm(along, axis=1)[:, None]
        across = np.cross(along, _least_aligned(along))
        across /= np.linalg.norm(across, axis=1)[:, None]
        other = np.cross(along, across)
        cos, sin = np.cos(self.angles)[None, :, None], np.sin(self.angles)[None, :, None]
        outward = cos * across[:, None] + sin * other[:, None]
        self.mesh.points[:] = (course[:, None] + self.radius * outward).reshape(-1, 3)
        self.mesh.point_data["Normals"][:] = outward.reshape(-1, 3)
        banded = np.zeros(THREAD_RINGS, bool)
        for near, far in bands:
            banded |= (behind >= near) & (behind <= far)
        inks = np.where(banded[:, None], self.inks[1], self.inks[0])
        self.mesh.point_data["inks"][:] = np.repeat(inks, THREAD_SIDES, axis=0)
        for changed in (self.mesh.GetPoints(), self.mesh.GetPointData().GetNormals(), self.mesh):
            changed.Modified()
        self.mesh.GetPointData().GetArray("inks").Modified()


def _least_aligned(along):
    """Return the axis that the course as a whole runs along least, so that rings do not twist."""
    return np.eye(3)[np.argmin(np.abs(along).mean(axis=0))]


def hub_surface(base, direction, *, radius=3.4, length=14.0):
    """Return the hub of a needle: a short cylinder behind `base`, looking along `direction`. [mm]"""
    direction = unit(direction)
    middle = np.asarray(base, float) - 0.5 * length * direction
    return pv.Cylinder(center=middle, direction=direction, radius=radius, height=length, resolution=24)
