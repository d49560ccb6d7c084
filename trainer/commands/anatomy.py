"""`trainer anatomy`: measured facts of the anatomy that a case builds, and its meshes as a file."""

from dataclasses import asdict
from typing import Annotated

import typer

from meshes.whole_files import whole_file
from trainer.commands.answers import answer, as_json, grid, progress, tell
from trainer.commands.options import AsJson, Case, Settings, chosen_case, compiled_first


def facts(anatomy):
    """Return {part: facts} of a built anatomy in edge units, as plain values; lengths measured on meshes."""
    from meshes.measure_canal import measure_canal

    levels, interspaces = measure_canal(anatomy)
    return {
        "cobb": _cobb(anatomy),
        "interspaces": _interspaces(anatomy, interspaces),
        "landmarks": _landmarks(anatomy),
        "levels": _levels(anatomy, levels),
        "meshes": _meshes(anatomy),
    }


def _cobb(anatomy):
    from meshes.measure_bones import measure_cobb
    from meshes.units import degrees

    return {f"{name}_deg": degrees(angle) for name, angle in asdict(measure_cobb(anatomy)).items()}


def _in_millimetres(measures, *, without):
    return {f"{name}_mm": value for name, value in asdict(measures).items() if name != without}


def _interspaces(anatomy, canals):
    from meshes.measure_joints import measure_joints
    from meshes.measure_windows import WINDOW_LATERAL, measure_windows

    joints = measure_joints(anatomy)

    def by_key(values):
        return {f"{key:g}": value for key, value in values.items()}

    found = {}
    for name, window in measure_windows(anatomy).items():
        found[name] = {
            "bony_gap_mm_by_lateral_mm": by_key(window.gap),
            "square_on_clearance_mm_by_lateral_mm": by_key(window.clearance),
            "upper_edge_behind_lower_mm": window.step,
            "least_clearance_of_the_bones_mm": joints[name],
            "window_height_mm_by_cranial_deg_and_lateral_mm": {
                f"{angle:g}": by_key(dict(zip(WINDOW_LATERAL, heights)))
                for angle, heights in window.heights.items()
            },
            "window_width_mm_by_cranial_deg": by_key(window.width),
            "window_area_mm2_by_cranial_deg": by_key(window.area),
            **(_in_millimetres(canals[name], without="interspace") if name in canals else {}),
        }
    return found


def _levels(anatomy, canals):
    from meshes.measure_bones import measure_bones

    return {
        level: {
            **_in_millimetres(sizes, without="level"),
            **(_in_millimetres(canals[level], without="level") if level in canals else {}),
        }
        for level, sizes in measure_bones(anatomy).items()
    }


def _plain(points):
    """Return an array as nested lists with None where there is nothing."""
    if points is None:
        return None
    if getattr(points, "ndim", 1) > 1:
        return [_plain(row) for row in points]
    return None if any(value != value for value in points) else [float(value) for value in points]


def _landmarks(anatomy):
    found = anatomy.landmarks
    return {
        "frame": "mm, x left, y posterior, z cranial, from the middle of the upper S1 endplate",
        "iliac_crests_mm": _plain(found.iliac_crest_line),
        "iliac_crests_cross": found.crest_level,
        "rib_heads_mm": {name: _plain(place) for name, place in found.rib_heads.items()},
        "ventral_interlaminar_line_mm": {
            side: _plain(line) for side, line in found.ventral_interlaminar_line.items()
        },
        "levels": {
            level: {
                "body_centre_mm": _plain(own.body_centre),
                "upper_endplate_mm": _plain(own.upper_endplate[0]),
                "upper_endplate_normal": _plain(own.upper_endplate[1]),
                "lower_endplate_mm": _plain(own.lower_endplate[0]),
                "lower_endplate_normal": _plain(own.lower_endplate[1]),
                "pedicles_left_right_mm": _plain(own.pedicle_centres),
                "spinous_tip_mm": _plain(own.spinous_tip),
                "lamina_top_mm": _plain(own.lamina_top),
                "lamina_bottom_mm": _plain(own.lamina_bottom),
            }
            for level, own in found.levels.items()
        },
    }


def _meshes(anatomy):
    from meshes.parts import measure_meshes

    return {
        name: {"faces": mesh.faces, "closed": mesh.closed, "volume_cm3": mesh.volume / 1000.0}
        for name, mesh in measure_meshes(anatomy).items()
    }


def _cell(value, digits=1):
    """Return one number of a table, '-' where there is none; never '-0.0'."""
    return "-" if value is None or value != value else f"{round(value, digits) + 0.0:.{digits}f}"


def text(found):
    """Return the facts as tables."""
    return "\n\n".join(
        [
            _cobb_text(found["cobb"]),
            _gaps_text(found["interspaces"]),
            _windows_text(found["interspaces"]),
            _depths_text(found["interspaces"]),
            _sizes_text(found["levels"]),
            _sections_text(found["levels"]),
            _landmarks_text(found["landmarks"]),
            _meshes_text(found["meshes"]),
        ]
    )


def _cobb_text(cobb):
    lines = [(name.removesuffix("_deg").replace("_", " "), _cell(angle)) for name, angle in cobb.items()]
    return "Cobb angles measured on the meshes [degrees]\n" + grid(("angle", "measured"), lines)


def _gaps_text(interspaces):
    first = next(iter(interspaces.values()))
    lines = [
        (
            name,
            *(_cell(gap) for gap in facts["bony_gap_mm_by_lateral_mm"].values()),
            _cell(facts["least_clearance_of_the_bones_mm"]),
        )
        for name, facts in interspaces.items()
    ]
    heads = ("interspace", *(f"{x} mm" for x in first["bony_gap_mm_by_lateral_mm"]), "joints")
    return "Bony gap by distance from the midline, and at the joints (negative: overlap) [mm]\n" + grid(
        heads, lines
    )


def _windows_text(interspaces):
    heights = {
        name: facts["window_height_mm_by_cranial_deg_and_lateral_mm"] for name, facts in interspaces.items()
    }
    first = next(iter(heights.values()))
    lateral = "/".join(next(iter(first.values())))
    lines = [
        (name, *(" ".join(_cell(h, 0).rjust(2) for h in row.values()) for row in by_angle.values()))
        for name, by_angle in heights.items()
    ]
    return (
        f"Open window by cranial angle from the disc plane: height at {lateral} mm from the midline [mm]\n"
        + grid(("interspace", *(f"{angle} deg" for angle in first)), lines)
    )


def _table(title, facts, columns, *, head):
    """Return a table of some of the facts; `columns` maps a key to its short head."""
    lines = [
        (name, *(_cell(row.get(key)) for key in columns))
        for name, row in facts.items()
        if any(row.get(key) is not None for key in columns)
    ]
    return f"{title}\n" + grid((head, *columns.values()), lines)


def _depths_text(interspaces):
    columns = {
        "skin_to_epidural_mm": "skin to space",
        "flavum_thickness_mm": "flavum",
        "epidural_depth_mm": "dorsal space",
        "least_epidural_depth_mm": "least",
        "greatest_epidural_depth_mm": "greatest",
    }
    return _table("Midline depths [mm]", interspaces, columns, head="interspace")


def _sizes_text(levels):
    columns = {
        "upper_endplate_width_mm": "upper width",
        "upper_endplate_depth_mm": "upper depth",
        "lower_endplate_width_mm": "lower width",
        "lower_endplate_depth_mm": "lower depth",
        "posterior_height_mm": "back height",
        "anterior_height_mm": "front height",
        "pedicle_width_mm": "pedicle width",
        "pedicle_height_mm": "pedicle height",
        "transverse_span_mm": "span",
    }
    return _table("Vertebrae [mm]", levels, columns, head="level")


def _sections_text(levels):
    columns = {
        "canal_width_mm": "canal width",
        "canal_depth_mm": "canal depth",
        "sac_width_mm": "sac width",
        "sac_depth_mm": "sac depth",
        "cord_width_mm": "cord width",
        "cord_depth_mm": "cord depth",
        "dorsal_csf_mm": "dorsal CSF",
    }
    return _table("Canal, sac and cord [mm]", levels, columns, head="level")


def _place(point):
    return "-" if point is None else " ".join(_cell(value, 0).rjust(4) for value in point)


def _landmarks_text(found):
    lines = [
        (
            level,
            _place(own["body_centre_mm"]),
            _place(own["pedicles_left_right_mm"][0]),
            _place(own["pedicles_left_right_mm"][1]),
            _place(own["spinous_tip_mm"]),
        )
        for level, own in found["levels"].items()
    ]
    title = f"Landmarks: left, posterior, cranial [mm]; iliac crests cross {found['iliac_crests_cross']}\n"
    return title + grid(("level", "body", "left pedicle", "right pedicle", "spinous tip"), lines)


def _meshes_text(meshes):
    lines = [
        (name, mesh["faces"], "yes" if mesh["closed"] else "no", _cell(mesh["volume_cm3"], 2))
        for name, mesh in meshes.items()
    ]
    return "Meshes\n" + grid(("mesh", "faces", "closed", "volume cm3"), lines)


def write_meshes(anatomy, path, *, parts=(), phantom=None):
    """Write meshes of a built anatomy into one file: all, those that `parts` names, or a bench phantom.

    Parameters
    ----------
    anatomy : Anatomy
    path : str or Path
    parts : sequence of str
        Names of meshes, * and ? as in file names; all if empty.
    phantom : float or None
        Wall of the skin block of a phantom to print [mm]; no phantom if not given.

    Raises
    ------
    ValueError
        If a name matches nothing, a wall cannot be printed, or the ending is unknown.
    OSError
        If the file cannot be written.
    """
    from meshes.export import export_meshes
    from meshes.parts import chosen_parts, named_meshes
    from meshes.phantom import phantom_meshes

    meshes = named_meshes(anatomy) if phantom is None else phantom_meshes(anatomy, wall=phantom)
    export_meshes(chosen_parts(meshes, parts) if parts else meshes, path)


def _built(scenario):
    from meshes.anatomy import build_anatomy

    with progress("Anatomy") as report:
        return build_anatomy(scenario.anatomy.parameters(), progress=report)


def _built_and_written(scenario, path, **chosen):
    from meshes.export import check_ending

    # Refused before any work, not after it.
    check_ending(path)
    with whole_file(path) as draft:
        anatomy = _built(scenario)
        write_meshes(anatomy, draft, **chosen)
    tell(f"Meshes written to {path}")
    return anatomy


def run(case, settings=None, *, export=None, parts=(), phantom=None, as_plain_json=False):
    """Return the answer as text, after writing `export` if it is named; raises ValueError, OSError."""
    if export is None and (parts or phantom is not None):
        raise ValueError("--part and --phantom must say where to write, got no --export: add --export FILE")
    scenario = chosen_case(case, settings)
    compiled_first()
    if export is None:
        anatomy = _built(scenario)
    else:
        anatomy = _built_and_written(scenario, export, parts=parts, phantom=phantom)
    found = facts(anatomy)
    return as_json(found) if as_plain_json else text(found)


def add_to(app):
    @app.command(name="anatomy")
    def anatomy(
        case: Case,
        settings: Settings = None,
        export: Annotated[
            str | None, typer.Option(metavar="FILE", help="Write the meshes as .glb, .stl, .vtp or .ply.")
        ] = None,
        part: Annotated[
            list[str] | None,
            typer.Option(metavar="NAME", help="Write this mesh only, like T12 or 'disc*'; may be repeated."),
        ] = None,
        phantom: Annotated[
            float | None,
            typer.Option(
                metavar="MM", help="Write a bench phantom instead: bones and a skin tray this thick."
            ),
        ] = None,
        json: AsJson = False,
    ):
        """Measure the anatomy of a case: landmarks, gaps, windows, Cobb angles, depths, sections, meshes."""
        answer(run(case, settings, export=export, parts=part or (), phantom=phantom, as_plain_json=json))
