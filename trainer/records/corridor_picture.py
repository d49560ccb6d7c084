"""The corridor map as a picture: where on the skin, and at which angles, needles get through."""

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from meshes.soft_tissue import window_centre
from meshes.units import degrees
from trainer.physics.corridor import AXES
from trainer.records.figures import BONE, INK, LINE, MUTED, plain_axes, png_bytes

FREE = LinearSegmentedColormap.from_list("free", ["#ffffff", "#cfe3d4", "#4d9a6a", "#123f2a"])
LEAD = "#c25b00"
PANELS = (("lateral", "caudal"), ("approach", "lateral"), ("approach", "caudal"), ("medial", "lateral"))
WORDS = {
    "lateral": "entry beside the midline [mm]",
    "caudal": "entry below the window [mm]",
    "approach": "approach to the skin [°]",
    "medial": "turn toward the midline [°]",
}


def _scale(found, name):
    values = getattr(found, name)
    return degrees(values) if name in ("approach", "medial") else values


def _edges(values):
    """Return the borders of cells about values that lie at even steps."""
    half = 0.5 * (values[1] - values[0]) if len(values) > 1 else 0.5
    return values[0] - half, values[-1] + half


def corridor_png(found, *, aims=()):
    """Return the bytes of a PNG: shares of free needles over four pairs of axes.

    Colour is the share of needles that get through; the orange line holds what also serves the lead.

    Parameters
    ----------
    found : CorridorMap
    aims : sequence of (mark, words, place)
        What to mark: a matplotlib marker, its words, and {axis: value in mm or degrees}.
    """
    figure = Figure(figsize=(9.6, 7.4), layout="constrained")
    title = (
        f"{found.interspace} from the {found.side}, needle {found.needle.length:g} mm: "
        f"{100.0 * found.share:.2f} % free, {100.0 * found.joint_share:.2f} % also suit the lead"
    )
    figure.suptitle(title, x=0.01, ha="left", color=INK, fontsize=12, fontweight="bold")
    for axes, (across, up) in zip(figure.subplots(2, 2).ravel(), PANELS):
        _panel(figure, axes, found, across, up)
        for mark, words, place in aims:
            axes.plot(place[across], place[up], mark, color=INK, markersize=9, fillstyle="none", label=words)
    if aims:
        figure.axes[0].legend(loc="upper right", fontsize=8, frameon=False, labelcolor=MUTED)
    return png_bytes(figure)


def _panel(figure, axes, found, across, up):
    plain_axes(axes, title="", across=WORDS[across], up=WORDS[up])
    free, lead = found.over(up, across), found.over(up, across, for_lead=True)
    x, y = _scale(found, across), _scale(found, up)
    extent = (*_edges(x), *_edges(y))
    image = axes.imshow(
        100.0 * free, origin="lower", extent=extent, aspect="auto", cmap=FREE, interpolation="nearest",
        vmin=0.0, vmax=max(100.0 * float(free.max()), 1e-3),
    )  # fmt: skip
    if lead.any() and min(free.shape) > 1:
        axes.contour(x, y, (lead > 0.0).astype(float), levels=[0.5], colors=[LEAD], linewidths=1.2)
    if up == "caudal":
        axes.invert_yaxis()
    axes.set_facecolor(BONE)
    bar = figure.colorbar(image, ax=axes, shrink=0.85)
    bar.outline.set_color(LINE)
    bar.ax.tick_params(colors=MUTED, labelsize=8)
    bar.set_label("free of the sampled [%]", color=MUTED, fontsize=8)


def place_of(found, aim):
    """Return {axis: value} of a NeedleAim on the axes of a map, in mm and degrees."""
    anatomy = found.anatomy
    values = (
        aim.sign * (aim.entry_x - float(np.squeeze(anatomy.tissue.midline(aim.entry_z)))),
        float(window_centre(anatomy.canal, found.interspace)[2]) - aim.entry_z,
        degrees(aim.approach),
        degrees(aim.medial),
    )
    return dict(zip(AXES, values))
