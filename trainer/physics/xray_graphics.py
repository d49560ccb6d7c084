"""The same path attenuation by additive blending on a graphics card, off screen, through VTK.

Every triangle adds its signed distance times its step of attenuation to a picture of 32-bit floats; the order
does not matter. Corners are snapped by the card, so silhouettes differ by single pixels from `xray_raster`.
VTK's window is made at the first picture only: nothing here needs a screen to be imported.
"""

import os
import sys
from weakref import WeakKeyDictionary

import numpy as np

from meshes.units import degrees
from trainer.physics.xray_surfaces import Surfaces

GL_BLEND, GL_DEPTH_TEST, GL_ONE, VTK_FLOAT = 3042, 2929, 1, 10
NEAREST, FARTHEST = 1.0, 5000.0

VERTEX = """//VTK::Normal::Dec
in float jumpMC;
out float jumpVC;
"""
VERTEX_WORK = """//VTK::Normal::Impl
jumpVC = jumpMC;
"""
FRAGMENT = """//VTK::Normal::Dec
in float jumpVC;
"""
# The depth from the source, less that of the isocentre, along the slanted ray.
FRAGMENT_WORK = """//VTK::TCoord::Impl
float depth = -vertexVC.z;
float crossing = (depth - middle) * length(vertexVC.xyz) / depth * jumpVC;
gl_FragData[0] = vec4(gl_FrontFacing ? -crossing : crossing, 0.0, 0.0, 1.0);
"""


class NoGraphicsError(RuntimeError):
    """No OpenGL could be had on this machine."""


def vertex_jumps(surfaces):
    """Return (vertices, faces, jump of each vertex): vertices that two steps share are doubled."""
    jump = np.full(len(surfaces.vertices), np.nan)
    jump[surfaces.faces] = surfaces.jump[:, None]
    if np.all(jump[surfaces.faces] == surfaces.jump[:, None]):
        return surfaces.vertices, surfaces.faces, np.nan_to_num(jump)
    keys, inverse = np.unique(
        np.stack([surfaces.faces.reshape(-1), np.repeat(surfaces.jump, 3)]), axis=1, return_inverse=True
    )
    return surfaces.vertices[keys[0].astype(int)], inverse.reshape(-1, 3), keys[1]


def _new_window():
    """Return a VTK window that needs no screen where there is such a kind, otherwise the usual one."""
    from vtkmodules import vtkRenderingOpenGL2
    from vtkmodules.vtkRenderingCore import vtkRenderWindow

    screen = os.environ.get("DISPLAY") or not sys.platform.startswith("linux")
    kind = None if screen else getattr(vtkRenderingOpenGL2, "vtkEGLRenderWindow", None)
    return (kind or vtkRenderWindow)()


class BlendingRasteriser:
    """Draws surfaces as a C-arm sees them; call it like `path_attenuation`.

    It keeps what it has sent to the card, so a second pose of the same surfaces costs the drawing only. To be
    used from one thread. Equal to `path_attenuation` within 1e-3 rms.

    Raises
    ------
    NoGraphicsError
        At the first picture, if there is no OpenGL.
    """

    def __init__(self):
        self._window = None
        self._sent = WeakKeyDictionary()

    @property
    def card(self):
        """What draws, as OpenGL names it; a software renderer says so."""
        self._open()
        self._window.Render()
        lines = self._window.ReportCapabilities().splitlines()
        return next((line.split(":", 1)[1].strip() for line in lines if "renderer string" in line), "unknown")

    def __call__(self, surfaces: Surfaces, carm):
        """Return the attenuation (pixels, pixels) along the ray of every pixel, single precision."""
        if len(surfaces.faces) == 0:
            return np.zeros((carm.pixels, carm.pixels))
        self._open()
        actor = self._actor(surfaces)
        self._show(actor)
        uniforms = actor.GetShaderProperty().GetFragmentCustomUniforms()
        uniforms.SetUniformf("middle", carm.source_to_isocentre)
        self._aim(carm)
        self._window.SetSize(carm.pixels, carm.pixels)
        self._window.Render()
        # Rows come from the bottom; the camera looks along the beam, the picture is seen against it.
        return self._read(carm.pixels)[::-1, ::-1].astype(float)

    def _open(self):
        if self._window is not None:
            return
        from vtkmodules.vtkRenderingCore import vtkRenderer
        from vtkmodules.vtkRenderingOpenGL2 import (
            vtkFramebufferPass,
            vtkOpenGLFramebufferObject,
            vtkRenderStepsPass,
            vtkTextureObject,
        )

        window = _new_window()
        window.SetOffScreenRendering(True)
        window.SetMultiSamples(0)
        if not window.SupportsOpenGL():
            raise NoGraphicsError(
                "there must be OpenGL to draw with, got none: use the processor's rasteriser"
            )
        self._renderer, self._pass = vtkRenderer(), vtkFramebufferPass()
        self._pass.SetDelegatePass(vtkRenderStepsPass())
        self._pass.SetColorFormat(vtkTextureObject.Float32)
        self._renderer.SetPass(self._pass)
        self._renderer.SetBackground(0.0, 0.0, 0.0)
        window.AddRenderer(self._renderer)
        self._buffer = vtkOpenGLFramebufferObject()
        self._buffer.SetContext(window)
        self._window = window

    def _aim(self, carm):
        camera, source, (_, up, beam) = self._renderer.GetActiveCamera(), carm.source, carm.axes
        camera.SetPosition(*source)
        camera.SetFocalPoint(*(source + beam))
        camera.SetViewUp(*up)
        opening = 2.0 * np.arctan(0.5 * carm.image_size / carm.source_to_detector)
        camera.SetViewAngle(degrees(float(opening)))
        camera.SetClippingRange(NEAREST, FARTHEST)

    def _actor(self, surfaces):
        if surfaces not in self._sent:
            self._sent[surfaces] = self._send(surfaces)
            self._renderer.AddActor(self._sent[surfaces])
        return self._sent[surfaces]

    def _show(self, actor):
        """Show one actor alone. Those of living surfaces stay: an actor that leaves would be sent again."""
        living = list(self._sent.values())
        for other in list(self._renderer.GetActors()):
            other.SetVisibility(other is actor)
            if other not in living:
                self._renderer.RemoveActor(other)

    def _send(self, surfaces):
        from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
        from vtkmodules.vtkCommonCore import vtkPoints
        from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkDataObject, vtkPolyData
        from vtkmodules.vtkRenderingCore import vtkActor
        from vtkmodules.vtkRenderingOpenGL2 import vtkOpenGLPolyDataMapper

        vertices, faces, jump = vertex_jumps(surfaces)
        points, cells, mesh = vtkPoints(), vtkCellArray(), vtkPolyData()
        points.SetData(numpy_to_vtk(np.ascontiguousarray(vertices, np.float32), deep=True))
        offsets = np.arange(0, 3 * len(faces) + 1, 3)
        cells.SetData(
            numpy_to_vtkIdTypeArray(offsets, deep=True),
            numpy_to_vtkIdTypeArray(np.ascontiguousarray(faces.reshape(-1), np.int64), deep=True),
        )
        mesh.SetPoints(points)
        mesh.SetPolys(cells)
        steps = numpy_to_vtk(np.ascontiguousarray(jump, np.float32), deep=True)
        steps.SetName("jump")
        mesh.GetPointData().AddArray(steps)
        mapper = vtkOpenGLPolyDataMapper()
        mapper.SetInputData(mesh)
        mapper.ScalarVisibilityOff()
        mapper.MapDataArrayToVertexAttribute("jumpMC", "jump", vtkDataObject.FIELD_ASSOCIATION_POINTS, -1)
        mapper.AddObserver("UpdateShaderEvent", lambda *_: self._blend())
        actor = vtkActor()
        actor.SetMapper(mapper)
        shaders = actor.GetShaderProperty()
        shaders.AddVertexShaderReplacement("//VTK::Normal::Dec", True, VERTEX, False)
        shaders.AddVertexShaderReplacement("//VTK::Normal::Impl", True, VERTEX_WORK, False)
        shaders.AddFragmentShaderReplacement("//VTK::Normal::Dec", True, FRAGMENT, False)
        shaders.AddFragmentShaderReplacement("//VTK::TCoord::Impl", True, FRAGMENT_WORK, False)
        return actor

    def _blend(self):
        state = self._window.GetState()
        state.vtkglEnable(GL_BLEND)
        state.vtkglBlendFunc(GL_ONE, GL_ONE)
        state.vtkglDisable(GL_DEPTH_TEST)

    def _read(self, pixels):
        """Return the red part (pixels, pixels) alone: a quarter of what lies on the card."""
        state, buffer = self._window.GetState(), self._buffer
        state.PushFramebufferBindings()
        buffer.Bind(buffer.GetReadMode())
        buffer.AddColorAttachment(0, self._pass.GetColorTexture())
        buffer.ActivateReadBuffer(0)
        red = buffer.DownloadColor1([0, pixels - 1, 0, pixels - 1], VTK_FLOAT, 0)
        state.PopFramebufferBindings()
        values = np.empty((pixels, pixels), np.float32)
        dimensions, increments = (pixels, pixels), (0, 0)
        red.Download2D(VTK_FLOAT, values, dimensions, 1, increments)
        return values
