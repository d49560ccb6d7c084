"""`trainer corridor`: which needles get through to an interspace, the best of them, and how hard it is."""

from pathlib import Path
from typing import Annotated

import typer

from trainer.commands.answers import answer, as_json, millimetres, progress, rows
from trainer.commands.options import (
    AsJson,
    Case,
    Interspace,
    Settings,
    chosen_case,
    compiled_first,
    named_path,
)


def limits(scenario, *, interspace, side, needle_mm=None, largest_approach_deg=None):
    """Return (interspace, side, Needle, largest approach [rad]); what is not given is the case's own."""
    from meshes.levels import check_interspace
    from meshes.units import radians
    from trainer.physics.needle import Needle, check_angles, check_side

    task = scenario.task
    approach = radians(task.largest_approach_deg if largest_approach_deg is None else largest_approach_deg)
    check_angles(approach, 0.0)
    needle = Needle(length=max(task.needle_lengths_mm) if needle_mm is None else needle_mm)
    return check_interspace(interspace), check_side(side), needle, approach


def mapped(scenario, asked, *, report=None):
    """Return (CorridorMap, Rating) of a case for what `limits` returned."""
    from meshes.anatomy import build_anatomy
    from trainer.physics.corridor import corridor, legal_approaches
    from trainer.physics.difficulty import rate

    interspace, side, needle, largest = asked
    anatomy = build_anatomy(scenario.anatomy.parameters(), progress=report)
    found = corridor(anatomy, interspace, side=side, needle=needle, approach=legal_approaches(largest))
    return found, rate(anatomy, interspace, side=side, needle=needle, largest_approach=largest)


def facts(found, rating):
    """Return {name: value} of a map and its rating, in edge units, as plain values."""
    from meshes.units import degrees
    from trainer.physics.needle_check import check_needle

    plans = {"needle_alone": rating.alone, "needle_and_lead": rating.joint}
    checks = {
        name: None if plan is None else check_needle(found.anatomy, plan.aim, found.needle)
        for name, plan in plans.items()
    }
    return {
        "interspace": found.interspace,
        "side": found.side,
        "needle_mm": found.needle.length,
        "largest_approach_deg": degrees(rating.largest_approach),
        "sampled_needles": int(found.free.size),
        "free_share": found.share,
        "free_and_suits_the_lead_share": found.joint_share,
        "free_lines_mm2_sr": found.etendue,
        "difficulty": {
            "needle_alone": rating.needle_difficulty,
            "needle_and_lead": rating.difficulty,
            "needle_alone_words": rating.needle_band,
            "needle_and_lead_words": rating.band,
        },
        "widest": {
            "needle_alone": needle_facts(found.widest()),
            "needle_and_lead": needle_facts(found.widest(for_lead=True)),
        },
        "best_aim": {
            name: needle_facts(check) if plan is None else needle_facts(check) | chances(plan, name)
            for (name, plan), check in zip(plans.items(), checks.values())
        },
    }


def chances(plan, name):
    """Return the shares of scattered needles that succeed at a PlannedAim."""
    if name == "needle_alone":
        return {"expert_success": plan.needle_chance, "novice_success": plan.novice_needle_chance}
    return {"expert_success": plan.chance, "novice_success": plan.novice_chance}


def needle_facts(check):
    """Return what a person needs to repeat a NeedleCheck's needle, or None without one."""
    from meshes.units import degrees

    if check is None:
        return None
    return {
        "entry_mm": [check.aim.entry_x, float(check.entry[1]), check.aim.entry_z],
        "approach_deg": degrees(check.aim.approach),
        "medial_deg": degrees(check.aim.medial),
        "angle_to_canal_deg": degrees(check.angle_to_canal),
        "least_clearance_mm": check.least_clearance,
        "to_epidural_space_mm": check.to_epidural,
        "safe_travel_mm": check.safe_travel,
        "offset_mm": check.lateral_offset,
        "tip_offset_mm": check.tip_offset,
        "crosses_midline_after_mm": check.crossing_travel,
    }


def text(found):
    """Return the facts of `facts` as a person reads them."""
    hard = found["difficulty"]
    pairs = [
        ("interspace", f"{found['interspace']} from the {found['side']}"),
        (
            "needle, approach",
            f"{found['needle_mm']:g} mm, up to {found['largest_approach_deg']:.0f} degrees to the skin",
        ),
        ("free", f"{100.0 * found['free_share']:.3f} % of {found['sampled_needles']:,} needles tried"),
        ("free and suits the lead", f"{100.0 * found['free_and_suits_the_lead_share']:.3f} %"),
    ]
    for name, words in (("needle_alone", "needle alone"), ("needle_and_lead", "needle and lead")):
        level = f"{hard[name]:.0f} of 100 first passes fail: {hard[f'{name}_words']}"
        pairs.append((f"difficulty, {words}", level))
        pairs.append((f"best aim, {words}", _aim(found["best_aim"][name])))
        pairs.append((f"widest, {words}", _aim(found["widest"][name])))
    return rows(pairs)


def _aim(needle):
    if needle is None:
        return "none"
    x, _, z = needle["entry_mm"]
    return (
        f"enter at x {millimetres(x)}, z {millimetres(z)}; approach {needle['approach_deg']:.0f}, "
        f"medial {needle['medial_deg']:.0f}, to the canal {needle['angle_to_canal_deg']:.0f} degrees; "
        f"{millimetres(needle['least_clearance_mm'])} from bone"
    )


def write_picture(path, found, rating):
    """Write the heat map with the best aims marked."""
    from meshes.whole_files import whole_file
    from trainer.records.corridor_picture import corridor_png, place_of

    plans = (("o", "best for the needle", rating.alone), ("*", "best for needle and lead", rating.joint))
    aims = [(mark, words, place_of(found, plan.aim)) for mark, words, plan in plans if plan is not None]
    with whole_file(path) as draft:
        draft.write_bytes(corridor_png(found, aims=aims))


def write_ghost(path, found):
    """Write the corridor's body beside the two bones of the interspace."""
    from meshes.export import export_meshes
    from meshes.levels import split_interspace
    from trainer.physics.corridor_ghost import ghost_mesh

    ghost = ghost_mesh(found)
    if ghost is None:
        raise ValueError(
            f"corridor at {found.interspace} must hold needles to be exported, got hardly any: allow a "
            "steeper approach or choose another interspace"
        )
    bones = {level: found.anatomy.bone_meshes[level] for level in split_interspace(found.interspace)}
    export_meshes({f"corridor {found.interspace}": ghost, **bones}, path)


def add_to(app):
    @app.command(name="corridor")
    def corridor(
        case: Case,
        interspace: Interspace = "T12-L1",
        side: Annotated[str, typer.Option(help="Of the patient: left or right.")] = "left",
        largest_approach_deg: Annotated[
            float | None, typer.Option(help="Steepest angle to the skin; the case's own if not given.")
        ] = None,
        needle_mm: Annotated[
            float | None, typer.Option(help="Length of the needle; the case's longest if not given.")
        ] = None,
        picture: Annotated[
            Path | None,
            typer.Option(metavar="FILE.png", parser=named_path, help="Write the map as a picture."),
        ] = None,
        export: Annotated[
            Path | None,
            typer.Option(
                metavar="FILE",
                parser=named_path,
                help="Write the corridor of needle and lead with its two bones: .glb, .stl, .vtp or .ply.",
            ),
        ] = None,
        settings: Settings = None,
        json: AsJson = False,
    ):
        """Map which needles reach an interspace: share, widest and best needles, difficulty."""
        from meshes.export import check_ending

        scenario = chosen_case(case, settings)
        asked = limits(
            scenario,
            interspace=interspace,
            side=side,
            needle_mm=needle_mm,
            largest_approach_deg=largest_approach_deg,
        )
        if picture is not None and picture.suffix.lower() != ".png":
            raise ValueError(f"--picture must end in .png, got {str(picture)!r}: name a PNG file")
        if export is not None:
            check_ending(export)
        compiled_first()
        with progress("Mapping the corridor") as report:
            found, rating = mapped(scenario, asked, report=report)
            told = facts(found, rating)
            if picture is not None:
                write_picture(picture, found, rating)
            if export is not None:
                write_ghost(export, found)
        answer(as_json(told) if json else text(told))
