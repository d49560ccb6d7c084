"""`trainer xray`: an X-ray picture of a case at any angle, with the tools of a recorded attempt."""

from pathlib import Path
from typing import Annotated

import typer

from meshes.whole_files import whole_file
from trainer.commands.answers import answer, as_json, progress, tell
from trainer.commands.options import AsJson, Case, Settings, chosen_case, compiled_first, named_path


def _recorded_state(journal, scenario, anatomy):
    """Return where the recorded attempt of this very case ended."""
    from trainer.attempt.journal import read
    from trainer.attempt.replay import repeat

    record = read(journal)
    if record.scenario != scenario:
        raise ValueError(
            f"{journal}: the journal must belong to the chosen case, got one of {record.scenario.title!r}: "
            "name its case, with the same --set"
        )
    if record.dropped:
        tell(record.dropped)
    replayed = repeat(record, anatomy=anatomy)
    if not replayed.identical:
        tell(
            f"{journal} line {replayed.first_difference + 1}: from here on the repeated attempt differs from "
            "the recorded one; the picture shows the repeated one"
        )
    return replayed.attempt.state


def picture(scenario, *, orbit_deg, tilt_deg, centre, size, journal=None, report=None):
    """Return the picture (size, size) uint8 and the CArm it was taken with."""
    from meshes.anatomy import build_anatomy
    from meshes.units import radians
    from trainer.physics.xray_carm import CArm, isocentre_at
    from trainer.physics.xray_picture import take_picture
    from trainer.physics.xray_raster import StillAttenuation
    from trainer.physics.xray_scene import still_surfaces, tool_surfaces
    from trainer.records.pictures import tools_of

    # Refuse a bad angle or size before anything is built.
    carm = CArm((0.0, 0.0, 0.0), radians(orbit_deg), radians(tilt_deg), pixels=size)
    anatomy = build_anatomy(scenario.anatomy.parameters(), progress=report)
    carm = carm.with_changes(isocentre=isocentre_at(anatomy, centre))
    tools = tools_of(_recorded_state(journal, scenario, anatomy)) if journal else tool_surfaces()
    still = StillAttenuation(still_surfaces(anatomy))
    return take_picture(still, tools, carm=carm, rng=scenario.seed), carm


def add_to(app):
    @app.command(name="xray")
    def xray(
        case: Case,
        output: Annotated[
            Path,
            typer.Option("--output", "-o", metavar="FILE.png", parser=named_path, help="Where to write it."),
        ],
        orbit_deg: Annotated[
            float, typer.Option(help="Angle of the beam about the patient: 0 frontal, 90 lateral.")
        ] = 0.0,
        tilt_deg: Annotated[float, typer.Option(help="Angle of the beam towards the head.")] = 0.0,
        centre: Annotated[str, typer.Option(help="Level or interspace in the middle.")] = "T12",
        size: Annotated[int, typer.Option(help="Pixels of a side.")] = 512,
        journal: Annotated[
            Path | None,
            typer.Option(
                metavar="FILE.jsonl",
                parser=named_path,
                help="Show the needle and lead of this attempt.",
            ),
        ] = None,
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Take an X-ray picture and write it as PNG."""
        from meshes.units import degrees

        scenario = chosen_case(case, settings)
        if output.suffix.lower() != ".png":
            raise ValueError(f"--output must end in .png, got {str(output)!r}: name a PNG file")
        compiled_first()
        with whole_file(output) as draft, progress("Taking the picture") as report:
            from trainer.physics.xray_picture import png_bytes

            taken, carm = picture(
                scenario,
                orbit_deg=orbit_deg,
                tilt_deg=tilt_deg,
                centre=centre,
                size=size,
                journal=journal,
                report=report,
            )
            draft.write_bytes(png_bytes(taken))
        found = {
            "file": str(output),
            "orbit_deg": degrees(carm.orbit),
            "tilt_deg": degrees(carm.tilt),
            "isocentre_mm": list(carm.isocentre),
            "pixels": carm.pixels,
            "millimetres_per_pixel": 1.0 / carm.pixels_per_mm,
        }
        answer(
            as_json(found) if json else f"{output}: {carm.pixels} by {carm.pixels} pixels, centre {centre}"
        )
