"""The 3D picture: drawn off the screen, handed over as pixels.

Nested closed shells in the order opaque, dura, skin need no sorting of translucent faces; needle and lead lie
in a second layer over the bones and are never hidden.
"""

from dataclasses import dataclass, replace

import numpy as np
import pyvista as pv
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkUnsignedCharArray
from vtkmodules.vtkRenderingCore import vtkRenderer

from trainer.window import tokens as t
from trainer.window.scene_shapes import Thread, hub_surface, kind_of, surface

BACKGROUND, BACKGROUND_TOP = "#14191d", "#2a3138"
FAR = 1500.0  # [mm] from the camera to what it looks at; the projection is parallel
# Own lines of shader: a dark rim parts one bone from the next; the skin is seen only where it turns away.
BONE_RIM = (
    "//VTK::Light::Impl\n"
    "  float facing = clamp(abs(normalVCVSOutput.z), 0.0, 1.0);\n"
    "  gl_FragData[0].rgb *= 0.30 + 0.70 * smoothstep(0.0, 0.55, facing);\n"
)
SKIN_RIM = (
    "//VTK::Light::Impl\n"
    "  float turned = 1.0 - clamp(abs(normalVCVSOutput.z), 0.0, 1.0);\n"
    "  gl_FragData[0] = vec4(0.86, 0.78, 0.72, 0.05 + 0.38 * turned * turned * turned);\n"
)
# The back under a lamp that stands to one side: a furrow and the knobs of the spinous processes show.
BACK_SHADE = (
    "//VTK::Light::Impl\n"
    "  vec3 lamp = normalize(vec3(-0.40, 0.35, 0.85));\n"
    "  float lit = clamp(dot(normalVCVSOutput, lamp), 0.0, 1.0);\n"
    "  gl_FragData[0].rgb = vec3(0.79, 0.60, 0.50) * (0.25 + 0.80 * lit * lit);\n"
)
GLASS = 0.34
BONE_LOOK = {"colour": t.BONE, "rim": BONE_RIM}
BODY_LOOKS = {
    "bone": BONE_LOOK,
    "implant": {"colour": "#aeb8c2"},
    "dura": {"colour": t.DURA, "opacity": 0.55},
    "skin": {"colour": t.SKIN, "opacity": 0.2, "rim": SKIN_RIM},
}
BACK_LOOKS = {"skin": {"colour": t.SKIN, "rim": BACK_SHADE}}
ELEVATION_LIMIT = 1.4  # [rad]


@dataclass(frozen=True)
class View:
    """From where the patient is seen, in parallel projection.

    Parameters
    ----------
    azimuth : float
        0 from behind, pi/2 from the patient's left. [rad]
    elevation : float
        Positive from the head. [rad]
    centre : (float, float, float)
        What stands in the middle of the picture. [mm]
    height : float
        Of the picture. [mm]
    """

    azimuth: float = 0.0
    elevation: float = 0.0
    centre: tuple = (0.0, 0.0, 150.0)
    height: float = 250.0

    def axes(self):
        """Return the unit vectors right, up and towards the camera, as rows of (3, 3)."""
        ca, sa, ce, se = (
            f(a) for a, f in zip((self.azimuth,) * 2 + (self.elevation,) * 2, (np.cos, np.sin) * 2)
        )
        right = np.array([-ca, sa, 0.0])
        towards = np.array([sa * ce, ca * ce, se])
        return np.array([right, np.cross(towards, right), towards])

    def turned(self, azimuth, elevation):
        """Return the view turned by two angles, never over the head. [rad]"""
        up = float(np.clip(self.elevation + elevation, -ELEVATION_LIMIT, ELEVATION_LIMIT))
        return replace(self, azimuth=self.azimuth + azimuth, elevation=up)

    def shares(self, points, *, aspect):
        """Return where points (n, 3) stand in the picture, (n, 2), 0 to 1 from its top left corner."""
        right, up, _ = self.axes()
        away = np.asarray(points, float) - np.asarray(self.centre)
        return np.stack([0.5 + away @ right / (self.height * aspect), 0.5 - away @ up / self.height], axis=-1)


class SpineScene:
    """An anatomy with its instruments, drawn off the screen.

    Parameters
    ----------
    meshes : dict
        From `body_meshes` or `back_meshes`: made beside the window, as it takes a while.
    back : bool
        Show the surface of the back only, as a real room does, instead of the see-through body.
    """

    def __init__(self, meshes, *, back=False):
        self.back, self.view, self.size = back, View(), (0, 0)
        self.plotter = pv.Plotter(off_screen=True, lighting="none", window_size=(320, 320))
        window = self.plotter.render_window
        # Multi-sampling silently drops translucent faces on some software renderers.
        window.SetMultiSamples(0)
        self.plotter.renderer.SetUseOIT(False)
        # A shader that asks for the normal must find a light at the first picture.
        self.plotter.add_light(pv.Light(light_type="headlight"))
        self.plotter.set_background(BACKGROUND, top=BACKGROUND_TOP)
        self.plotter.enable_parallel_projection()
        self.over = vtkRenderer()
        self.over.SetLayer(1)
        self.over.AddLight(pv.Light(light_type="headlight"))
        window.SetNumberOfLayers(2)
        window.AddRenderer(self.over)
        self.over.SetActiveCamera(self.plotter.renderer.GetActiveCamera())
        self.actors, self.threads, self.closed = {}, {}, False
        for name, mesh in meshes.items():
            self._add(name, mesh, **(BACK_LOOKS if back else BODY_LOOKS).get(kind_of(name), BONE_LOOK))
        if back:
            self.plotter.set_background(t.DRAPE, top=t.DRAPE)

    def _add(self, name, mesh, *, colour, opacity=1.0, rim=None, layer=None, **look):
        actor = self.plotter.add_mesh(
            mesh, color=colour, opacity=opacity, smooth_shading=True, specular=0.12, specular_power=18,
            render=False, reset_camera=False, name=name, **look,
        )  # fmt: skip
        if opacity < 1.0 or rim:
            actor.GetProperty().BackfaceCullingOn()
        if rim:
            actor.GetShaderProperty().AddFragmentShaderReplacement("//VTK::Light::Impl", True, rim, False)
        if layer is not None:
            self.plotter.renderer.RemoveActor(actor)
            layer.AddActor(actor)
        self.actors[name] = actor
        return actor

    def show_glass(self, glass):
        """Let bones be seen through, for the lead in the canal, or make them solid."""
        for name, actor in self.actors.items():
            if kind_of(name) == "bone":
                actor.GetProperty().SetOpacity(GLASS if glass else 1.0)

    def show_thread(self, name, nodes, *, radius, colour, banded=None, bands=(), hub=None):
        """Lay a needle or a lead along nodes (n, 3), tip last; None takes it away.

        Parameters
        ----------
        bands : sequence of (float, float)
            Contacts, as distances from the tip. [mm]
        hub : (3,) float or None
            Direction of advance of a needle with a hub at its first node.
        """
        if nodes is None:
            for actor in (self.actors.get(name), self.actors.get(f"{name} hub")):
                if actor is not None:
                    actor.VisibilityOff()
            return
        if name not in self.threads:
            self.threads[name] = Thread(radius=radius, colour=colour, banded=banded)
            layer = None if self.back else self.over
            self._add(name, self.threads[name].mesh, colour=None, layer=layer, scalars="inks", rgb=True)
            if hub is not None:
                made = hub_surface((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
                self._add(f"{name} hub", made, colour="#cfd8de", layer=layer)
        self.threads[name].follow(nodes, bands=bands)
        self.actors[name].VisibilityOn()
        if hub is not None:
            self.actors[f"{name} hub"].VisibilityOn()
            self.actors[f"{name} hub"].user_matrix = _placed(nodes[0], hub)

    def show_ghost(self, mesh):
        """Show the wanted way in, (vertices, faces), as a pale shape; None takes it away."""
        if "way in" in self.actors:
            self.plotter.remove_actor(self.actors.pop("way in"), render=False)
        if mesh is not None:
            self._add("way in", surface(*mesh), colour=t.WAY_IN, opacity=0.28)

    def render(self, width, height, *, scale=1.0):
        """Return the picture, (rows, columns, 3) uint8, of a pane, smaller while things move. [px]"""
        size = (max(8, round(width * scale)), max(8, round(height * scale)))
        window = self.plotter.render_window
        if size != self.size:
            window.SetSize(*size)
            self.size = size
        self._aim()
        window.Render()
        found = vtkUnsignedCharArray()
        window.GetPixelData(0, 0, size[0] - 1, size[1] - 1, 0, found, 0)
        return vtk_to_numpy(found).reshape(size[1], size[0], 3)[::-1]

    def _aim(self):
        camera, view = self.plotter.renderer.GetActiveCamera(), self.view
        _, up, towards = view.axes()
        camera.SetFocalPoint(*view.centre)
        camera.SetPosition(*(np.asarray(view.centre) + FAR * towards))
        camera.SetViewUp(*up)
        camera.SetParallelProjection(True)
        camera.SetParallelScale(0.5 * view.height)
        camera.SetClippingRange(FAR - 700.0, FAR + 700.0)

    def close(self):
        """Give the graphics memory back; nothing is drawn any more."""
        self.closed = True
        self.plotter.close()


def _placed(point, direction):
    """Return the 4x4 matrix that turns +z into `direction` and moves the origin to `point`."""
    direction = np.asarray(direction, float) / np.linalg.norm(direction)
    side = np.cross((1.0, 0.0, 0.0) if abs(direction[0]) < 0.9 else (0.0, 1.0, 0.0), direction)
    side /= np.linalg.norm(side)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2] = side, np.cross(direction, side), direction
    matrix[:3, 3] = point
    return matrix
