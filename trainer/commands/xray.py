"""`trainer xray`: an X-ray picture of a case at any angle, with the tools of a recorded attempt."""

from math import isfinite
from pathlib import Path
from types import SimpleNamespace
from typing import Annotated

import typer

from meshes.whole_files import whole_file
from trainer.commands.answers import answer, as_json, progress, rows, tell
from trainer.commands.options import AsJson, Case, Settings, chosen_case, compiled_first, named_path

# Frames of a live view before the one that is kept: the noise filter has settled by then.
LIVE_FRAMES = 12


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


def chosen_stand(asked, *, home=(0.0, 0.0, 0.0)):
    """Return the Stand that the options ask for; raises ValueError at a limit of motion."""
    from meshes.units import radians
    from trainer.physics.xray_stand import Stand, named_view

    angles = {"orbit": asked.orbit_deg, "tilt": asked.tilt_deg, "swivel": asked.swivel_deg}
    turned = {name: radians(value) for name, value in angles.items() if value is not None}
    travel = {"along": asked.along_mm, "across": asked.across_mm, "height": asked.height_mm}
    stand = Stand(home, field=asked.field, pixels=asked.size, **travel)
    return named_view(stand, asked.view).set_to(**turned)


def _choice(scene, stand, drawn_by):
    """Return the Choice (of xray_choice) of who draws; no card where one is asked for is bad input."""
    from trainer.physics.xray_choice import rasteriser_for
    from trainer.physics.xray_graphics import NoGraphicsError

    try:
        return rasteriser_for(scene.still, stand.carm, drawn_by=drawn_by)
    except NoGraphicsError as error:
        raise ValueError(f"--drawn-by {drawn_by}: {error}") from error


def _drawing(choice):
    """Return who drew, and in what time a new pose is drawn, for the answer in JSON."""
    found = {"drawn_by": "card" if choice.by_card else "processor", "card": choice.card}
    milliseconds = {
        "processor_ms": 1e3 * choice.processor_seconds,
        "card_ms": 1e3 * choice.graphics_seconds,
    }
    return found | {name: value for name, value in milliseconds.items() if isfinite(value)}


def _drawing_words(choice):
    who = f"the card {choice.card}" if choice.by_card else "the processor"
    if isfinite(choice.processor_seconds) and isfinite(choice.graphics_seconds):
        times = choice.processor_seconds, choice.graphics_seconds
        return (
            f"{who}; a new pose takes the processor {1e3 * times[0]:.0f} ms, the card {1e3 * times[1]:.0f} ms"
        )
    return f"{who}; {choice.card}" if choice.card and not choice.by_card else who


def take(scenario, asked, *, report=None):
    """Return the Frame that the options ask for, the Stand, the DoseRecord it cost, and the Choice."""
    import numpy as np

    from meshes.anatomy import build_anatomy
    from meshes.units import radians
    from trainer.physics.dose import DoseRecord, check_rate
    from trainer.physics.xray_carm import isocentre_at
    from trainer.physics.xray_choice import check_way
    from trainer.physics.xray_collimation import Collimation
    from trainer.physics.xray_display import Display
    from trainer.physics.xray_picture import PictureChain
    from trainer.physics.xray_scene import scene_of, tool_surfaces
    from trainer.physics.xray_technique import check_purpose
    from trainer.records.pictures import tools_of

    # Refuse what cannot be before anything is built.
    stand, purpose = chosen_stand(asked), check_purpose(asked.exposure)
    beam = Collimation(
        asked.iris, asked.shutters_across, asked.shutters_along, radians(asked.shutters_turn_deg)
    )
    display = Display(asked.brightness, asked.contrast, inverted=asked.invert, turn=radians(asked.turn_deg),
                      flipped=asked.mirror)  # fmt: skip
    check_rate(asked.frames_per_second)
    check_way(asked.drawn_by)
    anatomy = build_anatomy(scenario.anatomy.parameters(), progress=report)
    stand = stand.set_to(home=tuple(isocentre_at(anatomy, asked.centre)))
    tools = tools_of(_recorded_state(asked.journal, scenario, anatomy)) if asked.journal else tool_surfaces()
    scene = scene_of(anatomy, gas=scenario.seed)
    choice = _choice(scene, stand, asked.drawn_by)
    chain = PictureChain(scene, rng=scenario.seed, rasterise=choice.rasterise)
    rng, how, dose = (
        np.random.default_rng(scenario.seed),
        {"collimation": beam, "display": display, "breath": asked.breath},
        DoseRecord(),
    )
    if purpose == "single":
        frame = chain.shot(stand.carm, tools, rng=rng, **how)
        dose = dose.with_image(frame.view.technique, carm=stand.carm, collimation=beam)
        return frame, stand, dose, choice
    frame = chain.live(stand.carm, tools, rng=rng, **how)
    for _ in range(LIVE_FRAMES - 1):
        frame = chain.live(stand.carm, tools, rng=rng, before=frame.screen, **how)
    seconds = LIVE_FRAMES / asked.frames_per_second
    dose = dose.with_live(
        seconds,
        frame.view.technique,
        carm=stand.carm,
        collimation=beam,
        frames_per_second=asked.frames_per_second,
    )
    return frame, stand, dose, choice


def _found(frame, stand, dose, choice, *, files):
    from meshes.units import degrees

    carm, technique = stand.carm, frame.view.technique
    return {
        "file": files[0],
        **({"dicom": files[1]} if files[1] else {}),
        "orbit_deg": degrees(carm.orbit),
        "tilt_deg": degrees(carm.tilt),
        "swivel_deg": degrees(carm.swivel),
        "isocentre_mm": list(carm.isocentre),
        "pixels": carm.pixels,
        "millimetres_per_pixel": 1.0 / carm.pixels_per_mm,
        "kilovolts": technique.kilovolts,
        "charge_mas": technique.charge,
        "images": dose.images,
        "live_s": dose.live_seconds,
        "air_kerma_mgy": dose.air_kerma,
        "kerma_area_gy_cm2": dose.kerma_area_gray_square_centimetres,
        **_drawing(choice),
    }


def _check_endings(output, dicom):
    if output.suffix.lower() != ".png":
        raise ValueError(f"--output must end in .png, got {str(output)!r}: name a PNG file")
    if dicom is not None and dicom.suffix.lower() != ".dcm":
        raise ValueError(f"--dicom must end in .dcm, got {str(dicom)!r}: name a DICOM file")


def add_to(app):
    @app.command(name="xray")
    def xray(
        case: Case,
        output: Annotated[
            Path,
            typer.Option("--output", "-o", metavar="FILE.png", parser=named_path, help="Where to write it."),
        ],
        view: Annotated[
            str,
            typer.Option(
                help="AP, lateral, 'oblique left', 'oblique right' or 'caudal tilt'; angles below win."
            ),
        ] = "AP",
        orbit_deg: Annotated[
            float | None, typer.Option(help="Angle of the beam about the patient: 0 frontal, 90 lateral.")
        ] = None,
        tilt_deg: Annotated[float | None, typer.Option(help="Angle of the beam towards the head.")] = None,
        swivel_deg: Annotated[float | None, typer.Option(help="Turn of the C about the vertical.")] = None,
        centre: Annotated[str, typer.Option(help="Level or interspace in the middle.")] = "T12",
        along_mm: Annotated[float, typer.Option(help="Travel from there towards the head.")] = 0.0,
        across_mm: Annotated[float, typer.Option(help="Travel towards the patient's left.")] = 0.0,
        height_mm: Annotated[float, typer.Option(help="Travel up from the floor.")] = 0.0,
        field: Annotated[str, typer.Option(help="Magnification: full, middle or small field.")] = "full",
        iris: Annotated[float, typer.Option(help="Round collimator, 0.1 to 1 open.")] = 1.0,
        shutters_across: Annotated[float, typer.Option(help="Shutters left and right, 0.1 to 1.")] = 1.0,
        shutters_along: Annotated[float, typer.Option(help="Shutters top and bottom, 0.1 to 1.")] = 1.0,
        shutters_turn_deg: Annotated[float, typer.Option(help="Turn of the shutters.")] = 0.0,
        exposure: Annotated[str, typer.Option(help="single picture, or the last frame of live.")] = "single",
        frames_per_second: Annotated[float, typer.Option(help="Pulses of the live view, up to 30.")] = 8.0,
        brightness: Annotated[float, typer.Option(help="-1 to 1.")] = 0.0,
        contrast: Annotated[float, typer.Option(help="0.1 to 10; 1 as it comes.")] = 1.0,
        invert: Annotated[bool, typer.Option("--invert", help="Bone light, as on a film.")] = False,
        mirror: Annotated[bool, typer.Option("--mirror", help="Seen from the front.")] = False,
        turn_deg: Annotated[float, typer.Option(help="Turn of the picture, against the clock.")] = 0.0,
        size: Annotated[int, typer.Option(help="Pixels of a side.")] = 512,
        breath: Annotated[float, typer.Option(help="Depth of the breath: 0 out, 1 in.")] = 0.0,
        drawn_by: Annotated[
            str,
            typer.Option(
                help="processor (the same picture everywhere), card, or faster (measured if there is a card)."
            ),
        ] = "processor",
        journal: Annotated[
            Path | None,
            typer.Option(
                metavar="FILE.jsonl",
                parser=named_path,
                help="Show the needle and lead of this attempt.",
            ),
        ] = None,
        dicom: Annotated[
            Path | None,
            typer.Option(metavar="FILE.dcm", parser=named_path, help="Write it as DICOM too."),
        ] = None,
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Take an X-ray picture and write it as PNG, on request also as DICOM marked SIMULATED."""
        asked = SimpleNamespace(**locals())
        scenario = chosen_case(case, settings)
        _check_endings(output, dicom)
        compiled_first()
        with whole_file(output) as draft, progress("Taking the picture") as report:
            from trainer.physics.xray_picture import png_bytes
            from trainer.records.dicom import write_dicom

            frame, stand, dose, choice = take(scenario, asked, report=report)
            draft.write_bytes(png_bytes(frame.picture))
            if dicom is not None:
                write_dicom(
                    dicom,
                    frame.picture,
                    carm=stand.carm,
                    patient=scenario.title,
                    case=scenario.content(),
                    seed=scenario.seed,
                )
        files = (str(output), dicom and str(dicom))
        _answer(asked, _found(frame, stand, dose, choice, files=files), taken=(frame, dose, choice))


def _answer(asked, found, *, taken):
    from trainer.physics.dose import words

    if asked.json:
        answer(as_json(found))
        return
    frame, dose, choice = taken
    technique = frame.view.technique
    limited = ", at the limit of the tube" if technique.limited else ""
    files = " and ".join(found[name] for name in ("file", "dicom") if name in found)
    pairs = [
        ("picture", f"{files}: {found['pixels']} by {found['pixels']} pixels, centre {asked.centre}"),
        ("exposure", f"{technique.kilovolts:.0f} kV, {technique.charge:.2f} mAs a frame{limited}"),
        ("dose", words(dose)),
        ("drawn by", _drawing_words(choice)),
    ]
    answer(rows(pairs))
