"""The printed report of an attempt: one HTML file that carries its pictures inside."""

import base64
from itertools import groupby
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from meshes.tables.loader import table
from meshes.whole_files import whole_file
from trainer import __version__
from trainer.attempt import events as e
from trainer.attempt.journal import tables_version
from trainer.physics.readings import read_lead
from trainer.physics.xray_picture import png_bytes
from trainer.records.figures import contact_sections, lead_route, needle_section
from trainer.records.pictures import standard_views
from trainer.records.result import result_of

CAUTION = (
    "Not for planning or treating a patient. Follow local protocols and work under licensed supervision. "
    "The patient is invented."
)
LIMITS = (
    "The spine is a parametric adult, not a person. The needle is straight and rigid. The lead is an elastic "
    "rod in quasi-static balance; stiffness, friction and the resistance of the fat are assumed and tuned "
    "until the lead behaves as the trade reports, so directions can be trusted more than numbers of newtons."
)
REPORT = "report.html"


def write_report(folder, attempt):
    """Write `report.html` into a folder and return its path.

    The file takes its name only when it is whole.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    path = Path(folder) / REPORT
    with whole_file(path) as draft:
        draft.write_text(report_text(attempt), encoding="utf-8")
    return path


def report_text(attempt):
    """Return the report of an attempt as HTML."""
    state, result = attempt.state, result_of(attempt)
    environment = Environment(
        loader=PackageLoader("trainer.records", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    return environment.get_template("report.html.jinja").render(
        result=result,
        patient=state.scenario.patient,
        caution=CAUTION,
        limits=LIMITS,
        outcome=outcome(result),
        sentences=sentences(result),
        pictures=[{"name": name, "data": _base64(png_bytes(p))} for name, p in standard_views(state)],
        course=course(attempt.events),
        assumed=assumed_figures(),
        program=__version__,
        tables=tables_version(),
        **_needle_part(state, result["needle"]),
        **_lead_part(state, result["lead"]),
    )


def assumed_figures():
    """Return what of lead, tissue and needle is assumed: name in words, value, unit, where it comes from."""
    return [
        {
            "name": figure.key.replace(".", ": ").replace("_", " "),
            "value": figure.printed,
            "unit": "" if figure.unit == "1" else figure.unit,
            "source": figure.source,
        }
        for name in ("lead", "needle")
        for figure in table(name).values()
        if figure.status == "assumed"
    ]


def _base64(content):
    return base64.b64encode(content).decode("ascii")


def outcome(result):
    """Return the few things that decide: name, value in words, met or not."""
    needle, lead = result["needle"], result["lead"]
    items = []
    if needle:
        items.append({"name": "Needle", "value": needle["verdict"], "met": needle["verdict"] == "passes"})
        opened = needle["dural_punctures"]
        items.append(
            {"name": "Dura", "value": f"opened {opened}×" if opened else "not touched", "met": not opened}
        )
    if lead:
        items.append({"name": "Lead tip", "value": lead["tip_level"], "met": lead["placed"]})
        dorsal = sum(contact["region"] == "dorsal" for contact in lead["contacts"])
        everywhere = dorsal == len(lead["contacts"])
        items.append(
            {"name": "Dorsal contacts", "value": f"{dorsal} of {len(lead['contacts'])}", "met": everywhere}
        )
    return items


def sentences(result):
    """Return what happened, in a sentence or two."""
    needle, lead = result["needle"], result["lead"]
    told = []
    if needle and needle["epidural_at_mm"] is not None:
        told.append(
            f"The needle entered {needle['interspace'].replace('-', '–')} from the {needle['side']} at "
            f"{needle['approach_deg']:.0f}° to the skin and reached the epidural space at "
            f"{needle['epidural_at_mm']:.0f} mm, with {needle['least_clearance_mm']:.1f} mm to the nearest "
            "bone on the way."
        )
    if lead:
        told.append(
            f"The lead was fed {lead['fed_mm']:.0f} mm with {lead['turns_of_the_hub']} turns of the hub; "
            f"its tip ended at {lead['tip_level']}, {abs(lead['offset_from_target_mm']):.1f} mm from the "
            "wanted line."
        )
    return told


def _needle_part(state, needle):
    if needle is None:
        return {"needle_rows": [], "reasons": [], "section": ""}
    depth = state.needle_depth if state.needle_depth is not None else 0.0
    section = needle_section(state.anatomy, state.check, state.needle, tip_at=depth)
    return {"needle_rows": _needle_rows(needle), "reasons": needle["reasons"], "section": _base64(section)}


def _needle_rows(needle):
    names = (
        ("Interspace", "interspace", ""),
        ("Entry from the", "side", ""),
        ("Length", "length_mm", " mm"),
        ("Approach to the skin", "approach_deg", "°"),
        ("Medial angle", "medial_deg", "°"),
        ("Angle to the canal", "angle_to_canal_deg", "°"),
        ("Flavum at", "flavum_at_mm", " mm"),
        ("Epidural space at", "epidural_at_mm", " mm"),
        ("Dura at", "dura_at_mm", " mm"),
        ("Epidural depth below skin", "depth_below_skin_mm", " mm"),
        ("Least clearance to bone", "least_clearance_mm", " mm"),
        ("From the midline at entry", "offset_at_entry_mm", " mm"),
        ("Tip left at", "tip_depth_mm", " mm"),
        ("Passes through the skin", "passes", ""),
        ("Dural punctures", "dural_punctures", ""),
    )
    return [(name, _in_words(needle[key], unit)) for name, key, unit in names]


def _in_words(value, unit):
    return "–" if value is None else f"{value}{unit}".replace("-", "–" if unit == "" else "−")


def _lead_part(state, lead):
    if lead is None:
        return {"lead_rows": [], "contacts": [], "route": "", "across": ""}
    properties = state.lead.properties
    reading = read_lead(state.lead, state.anatomy)
    return {
        "lead_rows": _lead_rows(lead),
        "contacts": [_contact_row(contact) for contact in lead["contacts"]],
        "route": _base64(lead_route(state.anatomy, reading, state.lead.nodes[1:], properties)),
        "across": _base64(contact_sections(state.anatomy, reading, radius=properties.radius)),
    }


def _lead_rows(lead):
    return [
        ("Tip", lead["tip_level"]),
        ("Below the target", f"{lead['below_target_mm']} mm"),
        ("From the sac's centre", side_words(lead["tip_offset_mm"])),
        ("Fed", f"{lead['fed_mm']} mm"),
        ("Turns of the hub", lead["turns_of_the_hub"]),
        ("Withdrawals", lead["withdrawals"]),
        ("Largest push", f"{lead['largest_push_n']} N"),
        ("Deepest dent of the dura", f"{lead['largest_dent_mm']} mm"),
        ("Solution", "balanced" if lead["converged"] else "not balanced: do not trust the last position"),
    ]


def _contact_row(contact):
    return {
        "number": contact["number"],
        "level": contact["level"],
        "axis": side_words(contact["axis_offset_mm"]),
        "anatomic": side_words(contact["anatomic_offset_mm"]),
        "cord": side_words(contact["cord_offset_mm"]),
        "region": contact["region"],
        "dura_gap": _millimetres(contact["dura_clearance_mm"]),
        "cord_gap": _millimetres(contact["cord_clearance_mm"]),
    }


def _millimetres(value):
    return "–" if value is None else f"{value:.1f} mm"


def side_words(offset):
    """Return a distance from a midline with its side: '1.6 mm L'."""
    if offset is None:
        return "–"
    return f"{abs(offset):.1f} mm" + (" L" if offset >= 0.05 else " R" if offset <= -0.05 else "")


def course(events):
    """Return the acts of an attempt in order, neighbours of one kind counted together."""
    return [_act(kind, list(group)) for kind, group in groupby(events, key=_kind)]


def _kind(event):
    moved = getattr(event, "millimetres", 0.0)
    return type(event), moved < 0.0


MOVES = {
    e.PushNeedle: "Advanced the needle",
    e.WithdrawNeedle: "Withdrew the needle",
    e.AdvanceLead: "Advanced the lead",
}
WORDS = {
    e.ReadItem: "Read the card",
    e.DeferCase: "Put the case off",
    e.RefuseCase: "Declined the case",
    e.CommitPlan: "Committed to a plan",
    e.SetCArm: "Moved the C-arm",
    e.TakePicture: "Took a picture",
    e.StartLive: "Started the live picture",
    e.StopLive: "Stopped the live picture",
    e.MarkLevel: "Marked a level",
    e.StorePose: "Stored a pose of the C-arm",
    e.RecallPose: "Went back to a stored pose",
    e.AimNeedle: "Aimed the needle",
    e.PlaceNeedle: "Put the needle through the skin",
    e.ReangleNeedle: "Re-angled the needle",
    e.TurnBevel: "Turned the bevel",
    e.MoveNeedleStylet: "Moved the needle's stylet",
    e.PressSyringe: "Pressed the syringe",
    e.GiveLocalAnaesthetic: "Gave local anaesthetic",
    e.SetSedation: "Set the sedation",
    e.AskPatient: "Asked the patient",
    e.RemoveNeedle: "Took the needle out",
    e.ChooseAfterComplication: "Chose what to do after a complication",
    e.ChooseLead: "Chose a lead",
    e.PassLead: "Passed the lead through the needle",
    e.TurnLead: "Turned the hub",
    e.ChangeStylet: "Changed the stylet",
    e.InjectSaline: "Injected saline",
    e.RemoveLead: "Took the lead out",
    e.TakeUpNeedle: "Took up a needle",
    e.TakeUpLead: "Took up a lead",
    e.PullStylet: "Pulled the stylet out",
    e.PullNeedle: "Pulled the needle out over the lead",
    e.BeginTest: "Began the test",
    e.BeginSecuring: "Began to secure the lead",
    e.FinishAttempt: "Finished",
}


def _act(kind, group):
    kind, back = kind
    if kind in MOVES:
        total = abs(sum(event.millimetres for event in group))
        return f"{'Withdrew the lead' if back else MOVES[kind]} {total:.1f} mm"
    return WORDS[kind] if len(group) == 1 else f"{WORDS[kind]}, {len(group)} times"
