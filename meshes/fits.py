"""Whether what findings put into a body has room there: asked before anything is built."""

from types import SimpleNamespace

from meshes.cement import cement_mesh
from meshes.findings import VertebralCement, of_kind
from meshes.vertebra import shape_column


def check_fits(parameters):
    """Return the parameters, or raise ValueError if a body of theirs is too small for its cement.

    A tenth of a second with cement, nothing without. The shapes before carving are asked, which is where
    the size of a body comes from.
    """
    cements = of_kind(parameters.findings, VertebralCement)
    shapes = shape_column(parameters) if cements else {}
    for cement in cements:
        body = SimpleNamespace(level=cement.level, shape=shapes[cement.level])
        sizes = {"width_scale": parameters.width_scale, "scale": parameters.stature_scale}
        cement_mesh(body, cement.volume, **sizes)
    return parameters
