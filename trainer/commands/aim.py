"""`trainer aim`: where a needle's axis goes, what it meets, and why it passes or fails."""

from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, millimetres, progress, rows
from trainer.commands.options import AsJson, Case, Interspace, Settings, chosen_case, compiled_first

Pair = tuple[float, float]

# A mouth from which a lead can be steered, within what tables/needle.csv names. [mm]
USUAL_OFFSET_MM = 3.0


def check(
    scenario,
    *,
    interspace,
    side,
    approach_deg,
    medial_deg,
    entry=None,
    target_offset=0.0,
    needle_mm=None,
    report=None,
):
    """Return the NeedleCheck of an aim in degrees and mm; raises ValueError for a bad one."""
    from meshes.anatomy import build_anatomy
    from meshes.levels import check_interspace
    from meshes.units import radians
    from trainer.attempt.needle_acts import check_entry
    from trainer.physics.aim import aim_at_target
    from trainer.physics.needle import Needle, NeedleAim, check_angles, check_side
    from trainer.physics.needle_check import check_needle

    # Refuse what cannot be aimed at before anything is built.
    check_side(side), check_interspace(interspace)
    needle = Needle(length=needle_mm if needle_mm is not None else max(scenario.task.needle_lengths_mm))
    approach, medial = radians(approach_deg), radians(medial_deg)
    check_angles(approach, medial)
    anatomy = build_anatomy(scenario.anatomy.parameters(), progress=report)
    if entry is not None:
        check_entry(anatomy, *entry)
        aim = NeedleAim(interspace, entry[0], entry[1], approach, medial, side=side)
    else:
        aim = aim_at_target(
            anatomy, interspace, side=side, approach=approach, medial=medial, target_offset=target_offset
        )
    return check_needle(anatomy, aim, needle)


def facts(check):
    """Return {name: value} of a NeedleCheck in edge units, as plain values."""
    from meshes.units import degrees

    def angle(value):
        return None if value is None else degrees(value)

    aim = check.aim
    return {
        "verdict": check.verdict,
        "reasons": [{"kind": reason.kind, "text": reason.text} for reason in check.reasons],
        "smallest_mend": None if check.mend is None else mend_facts(check.mend),
        "aim": {
            "interspace": check.interspace,
            "side": aim.side,
            "entry_mm": [aim.entry_x, float(check.entry[1]), aim.entry_z],
            "approach_deg": degrees(aim.approach),
            "medial_deg": degrees(aim.medial),
            "needle_mm": check.needle.length,
        },
        "along_the_needle_mm": {
            "fascia": check.to_fascia,
            "flavum": check.to_flavum,
            "epidural_space": check.to_epidural,
            "dura": check.to_dura,
            "safe_travel": check.safe_travel,
        },
        "depth_below_skin_mm": check.depth_below_skin,
        "angle_to_skin_deg": angle(check.angle_to_skin),
        "angle_to_canal_deg": angle(check.angle_to_canal),
        "angle_to_canal_from_the_side_deg": angle(check.angle_to_canal_sagittal),
        "bone": {
            "first": check.first_bone,
            "part": check.first_bone_part,
            "at_mm": check.to_first_bone,
            "least_clearance_mm": check.least_clearance,
            "least_clearance_at_mm": check.least_clearance_at,
            "least_clearance_to": check.least_clearance_bone,
        },
        "epidural_entry": {
            "interspace": check.entered,
            "point_mm": None if check.epidural_entry is None else [float(x) for x in check.epidural_entry],
            "offset_mm": check.lateral_offset,
            "tip_offset_mm": check.tip_offset,
            "crosses_midline_after_mm": check.crossing_travel,
            "dorsal_gap_mm": check.dorsal_gap,
        },
        "window": {
            "height_mm": check.window_height,
            "height_fraction": check.window_height_fraction,
            "width_mm": check.window_width,
            "width_fraction": check.window_width_fraction,
        },
    }


def mend_facts(mend):
    """Return {name: value} of a Mend: what to change, and the needle it leads to."""
    from meshes.units import degrees

    out, up, steeper, inward = mend.moves
    return {
        "words": mend.words,
        "size": mend.size,
        "up_mm": up,
        "away_from_midline_mm": out,
        "steeper_deg": steeper,
        "toward_midline_deg": inward,
        "needle_mm": mend.needle.length,
        "entry_mm": [mend.aim.entry_x, mend.aim.entry_z],
        "approach_deg": degrees(mend.aim.approach),
        "medial_deg": degrees(mend.aim.medial),
    }


def text(found):
    """Return the facts of `facts` as a person reads them."""
    aim, along, bone = found["aim"], found["along_the_needle_mm"], found["bone"]
    entry, window = found["epidural_entry"], found["window"]
    lines = [f"The needle {found['verdict']}."]
    lines += [f"  {reason['kind']}: {reason['text']}" for reason in found["reasons"]]
    met = "none" if bone["first"] is None else f"{bone['part']}, at {millimetres(bone['at_mm'])}"
    place = f"at {millimetres(bone['least_clearance_at_mm'])}"
    pairs = [
        (
            "interspace",
            f"{aim['interspace']} from the {aim['side']}, entered: {entry['interspace'] or 'none'}",
        ),
        ("skin entry x, y, z", ", ".join(millimetres(value) for value in aim["entry_mm"])),
        ("approach, medial", f"{aim['approach_deg']:.1f}, {aim['medial_deg']:.1f} degrees"),
        ("needle", f"{aim['needle_mm']:g} mm"),
        *((f"{name.replace('_', ' ')}", millimetres(value)) for name, value in along.items()),
        ("depth below skin", millimetres(found["depth_below_skin_mm"])),
        ("angle to skin", _degrees(found["angle_to_skin_deg"])),
        ("angle to canal", _degrees(found["angle_to_canal_deg"])),
        ("offset at entry, of the tip", f"{_offset(entry['offset_mm'])}, {_offset(entry['tip_offset_mm'])}"),
        ("first bone", met),
        (
            "least clearance",
            f"{millimetres(bone['least_clearance_mm'])} {place}, {bone['least_clearance_to'] or '-'}",
        ),
        ("window height, width", f"{millimetres(window['height_mm'])}, {millimetres(window['width_mm'])}"),
        ("dorsal gap", millimetres(entry["dorsal_gap_mm"])),
    ]
    return "\n".join([*lines, "", rows(pairs)])


def _offset(value):
    """Return how far off the midline the epidural space is entered, with its side."""
    shown = millimetres(value if value is None else abs(value))
    if value is None or shown == millimetres(0.0):
        return "-" if value is None else "on the midline"
    return f"{shown} to the {'left' if value > 0.0 else 'right'} of the midline"


def _degrees(value):
    return "-" if value is None else f"{value:.1f} degrees"


def add_to(app):
    @app.command(name="aim")
    def aim(
        case: Case,
        interspace: Interspace = "T12-L1",
        side: Annotated[str, typer.Option(help="Of the patient: left or right.")] = "left",
        approach_deg: Annotated[
            float, typer.Option(help="Between needle and skin; 90 is square to the skin.")
        ] = 30.0,
        medial_deg: Annotated[
            float, typer.Option(help="Turn towards the midline from the entry side.")
        ] = 12.0,
        entry_mm: Annotated[
            Pair | None,
            typer.Option(
                metavar="X Z",
                help="Skin entry: to the patient's left of the midline, and up from the sacrum.",
            ),
        ] = None,
        target_offset_mm: Annotated[
            float | None,
            typer.Option(
                help="Where to meet the epidural space: from the midline, positive toward the entry side; "
                f"{USUAL_OFFSET_MM:g} if neither this nor the entry is given."
            ),
        ] = None,
        needle_mm: Annotated[
            float | None, typer.Option(help="Length of the needle; the case's longest if not given.")
        ] = None,
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Check one needle: layers, bone, window, angles, and a verdict with reasons."""
        if entry_mm is not None and target_offset_mm is not None:
            raise ValueError(
                "--entry-mm must stand alone, got --target-offset-mm too: give either the entry or the target"
            )
        scenario = chosen_case(case, settings)
        compiled_first()
        with progress("Building the anatomy") as report:
            found = check(
                scenario,
                interspace=interspace,
                side=side,
                approach_deg=approach_deg,
                medial_deg=medial_deg,
                entry=entry_mm,
                target_offset=USUAL_OFFSET_MM if target_offset_mm is None else target_offset_mm,
                needle_mm=needle_mm,
                report=report,
            )
            found = facts(found)
        answer(as_json(found) if json else text(found))
