"""Drawings of a finished attempt for the printed report: ink on paper, left on the left, seen from behind."""

import io

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from meshes.units import degrees

INK, MUTED, LINE = "#0c1216", "#54636e", "#b9c4cc"
BONE, DURA, CORD, LEAD, CONTACT, NEEDLE = "#e3d3ae", "#6fa8dc", "#d79a3a", "#e0a800", "#0c1216", "#3a4750"
PIXELS_PER_INCH = 150


def png_bytes(figure):
    """Return a figure as the bytes of a PNG file."""
    FigureCanvasAgg(figure)
    buffer = io.BytesIO()
    figure.savefig(buffer, dpi=PIXELS_PER_INCH, facecolor="white", metadata={"Software": None})
    return buffer.getvalue()


def plain_axes(axes, *, title, across, up):
    """Give axes the report's one style: thin lines, no box, units in the labels."""
    axes.set_title(title, loc="left", fontsize=11, color=INK, fontweight="bold")
    axes.set_xlabel(across, color=MUTED)
    axes.set_ylabel(up, color=MUTED)
    axes.tick_params(colors=MUTED, labelsize=9)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(LINE)


def needle_section(anatomy, check, needle, *, tip_at, pitch=0.5):
    """Draw the plane that holds the needle and the skin's normal: what the needle really passed.

    Parameters
    ----------
    check : NeedleCheck
    tip_at : float
        Where the tip stands along the axis. [mm]
    pitch : float
        Spacing of the samples. [mm]
    """
    along, up, origin = _section_frame(anatomy, check)
    s = np.arange(
        -12.0, max(tip_at, check.to_epidural if np.isfinite(check.to_epidural) else 0.0) + 45.0, pitch
    )
    t = np.arange(-75.0, 12.0, pitch)
    points = origin + s[:, None, None] * along + t[None, :, None] * up
    flat = np.ascontiguousarray(points.reshape(-1, 3))
    shape = (len(s), len(t))
    bone = anatomy.packed.nearest(flat).reshape(shape)
    station, theta, radius = anatomy.canal.to_chart(flat)
    cord, _, dura, _ = anatomy.canal.radii(station, theta)
    skin = (flat[:, 1] - anatomy.tissue.skin(flat[:, 0], flat[:, 2])).reshape(shape)

    figure = Figure(figsize=(5.6, 4.2), layout="constrained")
    axes = figure.add_subplot()
    inside = skin < 0.0
    axes.contourf(s, t, np.where(inside, 1.0, np.nan).T, levels=[0.5, 1.5], colors=["#f6f3ee"])
    axes.contour(s, t, skin.T, levels=[0.0], colors=[INK], linewidths=1.4)
    near = _near_canal(anatomy, flat, station, radius).reshape(shape)
    for field, colour in ((radius - dura, DURA), (radius - cord, CORD)):
        masked = np.where(near, field.reshape(shape), 5.0)
        axes.contourf(s, t, masked.T, levels=[-60.0, 0.0], colors=[colour], alpha=0.55)
    axes.contourf(s, t, bone.T, levels=[-30.0, 0.0], colors=[BONE])
    axes.contour(s, t, bone.T, levels=[0.0], colors=[MUTED], linewidths=0.8)
    _draw_needle(axes, check, along, up, needle=needle, tip_at=tip_at)
    axes.set_aspect("equal")
    plain_axes(axes, title="Through the needle", across="towards the head, mm", up="above the skin entry, mm")
    return png_bytes(figure)


def _section_frame(anatomy, check):
    _, normal, _, _ = anatomy.tissue.skin_frame(check.entry[0], check.entry[2])
    along = check.direction - (check.direction @ normal) * normal
    return along / np.linalg.norm(along), normal, check.entry


def _near_canal(anatomy, points, station, radius):
    """Tell which points the chart can speak for: inside its length and not far from its axis."""
    u = anatomy.canal.u
    return (station > u[0] + 14.0) & (station < u[-1] - 14.0) & (radius < 14.0)


def _draw_needle(axes, check, along, up, *, needle, tip_at):
    ends = np.array([-18.0, tip_at])
    run, rise = check.direction @ along, check.direction @ up
    axes.plot(ends * run, ends * rise, color=NEEDLE, linewidth=2.6, solid_capstyle="round")
    marks = (("flavum", check.to_flavum), ("epidural space", check.to_epidural), ("dura", check.to_dura))
    for row, (words, distance) in enumerate(marks):
        if np.isfinite(distance):
            axes.plot(distance * run, distance * rise, "o", color=INK, markersize=3.5)
            axes.annotate(
                f"{words} {distance:.1f}",
                (distance * run, distance * rise),
                xytext=(-96, -16 * row - 12),
                textcoords="offset points",
                fontsize=9,
                color=INK,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5, "alpha": 0.85},
                arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.7},
            )


def lead_route(anatomy, reading, nodes, properties):
    """Draw the canal laid flat: from behind on the left, from the patient's left side on the right."""
    canal = anatomy.canal
    station, theta, radius = canal.to_chart(nodes)
    offset, height = radius * np.sin(theta), radius * np.cos(theta)
    low, high = station.min() - 15.0, station.max() + 20.0
    figure = Figure(figsize=(5.8, 7.4), layout="constrained")
    behind, side = figure.subplots(1, 2, sharey=True)
    for axes in (behind, side):
        _draw_levels(axes, canal, low, high)
        axes.set_ylim(low, high)
    _draw_behind(behind, canal, low, high)
    behind.plot(-offset, station, color=LEAD, linewidth=2.4)
    _draw_side(side, canal)
    side.plot(height, station, color=LEAD, linewidth=2.4)
    for contact in reading.contacts:
        half = 0.5 * properties.contact_length
        reach = (contact.station - half, contact.station + half)
        behind.plot([-contact.axis_offset] * 2, reach, color=CONTACT, linewidth=4.0, solid_capstyle="butt")
        level = np.interp(contact.station, station, height)
        side.plot([level] * 2, reach, color=CONTACT, linewidth=4.0, solid_capstyle="butt")
    plain_axes(
        behind,
        title="From behind",
        across="left  ←  mm  →  right",
        up="along the canal, mm",
    )
    plain_axes(side, title="From the side", across="front  ←  mm  →  back", up="")
    return png_bytes(figure)


def _draw_levels(axes, canal, low, high):
    for level, bottom, top in canal.level_spans:
        if top < low or bottom > high:
            continue
        axes.axhspan(bottom, top, color="#f1ece1", zorder=0)
        axes.text(
            0.02,
            0.5 * (bottom + top),
            level,
            transform=axes.get_yaxis_transform(),
            fontsize=10,
            color=MUTED,
            va="center",
        )


def _draw_behind(axes, canal, low, high):
    axes.fill_betweenx(canal.u, -canal.sac_width, canal.sac_width, color=DURA, alpha=0.16, linewidth=0)
    axes.axvline(0.0, color=MUTED, linewidth=0.9, linestyle=(0, (6, 4)))
    if canal.cord_shift:
        axes.axvline(-canal.cord_shift, color=CORD, linewidth=1.2)
        axes.text(-canal.cord_shift, high - 6.0, " cord", color=CORD, fontsize=9)
    axes.set_xlim(-13.0, 13.0)


def _draw_side(axes, canal):
    dorsal, ventral = 0, len(canal.theta) // 2
    axes.plot(canal.wall[:, dorsal], canal.u, color=MUTED, linewidth=1.0)
    axes.plot(-canal.wall[:, ventral], canal.u, color=MUTED, linewidth=1.0)
    axes.fill_betweenx(
        canal.u, -canal.dura[:, ventral], canal.dura[:, dorsal], color=DURA, alpha=0.25, linewidth=0
    )
    back = canal.cord_offset + canal.cord_half_depth
    front = canal.cord_offset - canal.cord_half_depth
    there = canal.cord_half_depth > 0.5
    axes.fill_betweenx(canal.u, front, back, where=there, color=CORD, alpha=0.6, linewidth=0)
    axes.set_xlim(-14.0, 18.0)


def contact_sections(anatomy, reading, *, radius):
    """Draw the canal across at the first, middle and last contact, seen from the feet, back on top."""
    contacts = [
        reading.contacts[i] for i in sorted({0, len(reading.contacts) // 2, len(reading.contacts) - 1})
    ]
    figure = Figure(figsize=(5.8, 3.0), layout="constrained")
    panels = np.atleast_1d(figure.subplots(1, len(contacts), sharey=True))
    theta = np.linspace(-np.pi, np.pi, 181)
    for axes, contact in zip(panels, contacts, strict=True):
        cord, _, dura, wall = anatomy.canal.radii(np.full_like(theta, contact.station), theta)
        for r, colour, alpha in ((wall, "#f6f3ee", 1.0), (dura, DURA, 0.35), (cord, CORD, 0.7)):
            axes.fill(-r * np.sin(theta), r * np.cos(theta), color=colour, alpha=alpha, linewidth=0)
        axes.plot(-wall * np.sin(theta), wall * np.cos(theta), color=MUTED, linewidth=1.0)
        centre = (-contact.axis_offset, contact.height)
        turn = np.linspace(0.0, 2.0 * np.pi, 40)
        axes.fill(centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn), color=CONTACT)
        axes.set_aspect("equal")
        axes.set_xlim(-13.0, 13.0)
        axes.set_ylim(-12.0, 13.0)
        words = f"Contact {contact.number}\n{contact.region}, {degrees(abs(contact.theta)):.0f}°"
        plain_axes(axes, title=words, across="left  ←  mm  →  right", up="")
    panels[0].set_ylabel("front  ←  mm  →  back", color=MUTED)
    return png_bytes(figure)
