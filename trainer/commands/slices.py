"""`trainer slices`: a planning slice of a case, like magnetic resonance or computed tomography."""

from pathlib import Path
from typing import Annotated

import typer

from meshes.whole_files import whole_file
from trainer.commands.answers import answer, as_json, progress
from trainer.commands.options import AsJson, Case, Settings, chosen_case, compiled_first, named_path

PLANES = ("sagittal", "coronal", "axial")
DEFAULT_PLACES = {"sagittal": 0.0, "coronal": "T12", "axial": "T12-L1"}


def place(plane, at):
    """Return where to cut: a number of millimetres, or the name of a level or an interspace."""
    if at is None:
        return DEFAULT_PLACES[plane]
    try:
        return float(at)
    except ValueError:
        return at


def chosen_plane(anatomy, plane, at, *, pitch, along_disc=False):
    """Return the SlicePlane of the options; raises ValueError for a place or size that cannot be."""
    from trainer.physics import slice_plane

    where = place(plane, at)
    if plane == "axial":
        return slice_plane.axial_plane(anatomy, where, along_disc=along_disc, pitch=pitch)
    make = slice_plane.sagittal_plane if plane == "sagittal" else slice_plane.coronal_plane
    return make(anatomy, where, pitch=pitch)


def _check(plane, appearance, pitch, along_disc, output):
    from trainer.physics.slice_tissues import brightness

    if plane not in PLANES:
        raise ValueError(f"--plane must be one of {', '.join(PLANES)}, got {plane!r}: choose one of these")
    if along_disc and plane != "axial":
        raise ValueError(f"--along-disc must go with an axial plane, got {plane}: leave it out")
    if not 0.2 <= pitch <= 4.0:
        raise ValueError(f"--pitch must lie between 0.2 and 4, got {pitch:g}: try 0.5")
    if output.suffix.lower() != ".png":
        raise ValueError(f"--output must end in .png, got {str(output)!r}: name a PNG file")
    brightness(appearance)


def add_to(app):
    @app.command(name="slices")
    def slices(
        case: Case,
        output: Annotated[
            Path,
            typer.Option("--output", "-o", metavar="FILE.png", parser=named_path, help="Where to write it."),
        ],
        plane: Annotated[str, typer.Option(help="sagittal, coronal or axial.")] = "sagittal",
        at: Annotated[
            str | None,
            typer.Option(help="Level or interspace, or mm: to the left, backward or headward of S1's top."),
        ] = None,
        appearance: Annotated[str, typer.Option(help="t2 or ct.")] = "t2",
        along_disc: Annotated[bool, typer.Option(help="Lean an axial plane as the disc does.")] = False,
        pitch: Annotated[float, typer.Option(help="Side of a pixel in mm.")] = 0.5,
        window_centre: Annotated[float | None, typer.Option(help="Middle of the grey scale.")] = None,
        window_width: Annotated[float | None, typer.Option(help="Width of the grey scale.")] = None,
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Cut a planning slice and write it as PNG; the patient's left is on the right of the picture."""
        scenario = chosen_case(case, settings)
        _check(plane, appearance, pitch, along_disc, output)
        compiled_first()
        with whole_file(output) as draft, progress("Cutting the slice") as report:
            from meshes.anatomy import build_anatomy
            from trainer.physics.slice_marks import mark_slice, place_name
            from trainer.physics.slice_picture import cut, slice_picture
            from trainer.physics.xray_picture import png_bytes

            anatomy = build_anatomy(scenario.anatomy.parameters(), progress=report)
            section = cut(
                anatomy,
                chosen_plane(anatomy, plane, at, pitch=pitch, along_disc=along_disc),
                appearance=appearance,
            )
            grey = slice_picture(section, rng=scenario.seed, centre=window_centre, width=window_width)
            draft.write_bytes(png_bytes(mark_slice(grey, section)))
        found = {
            "file": str(output),
            "plane": plane,
            "appearance": appearance,
            "centre_mm": section.plane.centre,
            "right": section.plane.right,
            "down": section.plane.down,
            "columns": section.plane.columns,
            "rows": section.plane.rows,
            "millimetres_per_pixel": pitch,
        }
        size = f"{section.plane.columns} by {section.plane.rows} pixels"
        answer(as_json(found) if json else f"{output}: {place_name(section.plane)}, {appearance}, {size}")
