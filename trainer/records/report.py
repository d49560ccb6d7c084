"""The printed report of an attempt: one HTML file that carries its pictures inside."""

import base64
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from meshes.tables.loader import table
from meshes.whole_files import whole_file
from trainer import __version__
from trainer.attempt.journal import tables_version
from trainer.physics.readings import read_lead
from trainer.physics.xray_picture import png_bytes
from trainer.records.course import phase_spans, stretches
from trainer.records.figures import contact_sections, lead_route, needle_section
from trainer.records.key_moments import moment_views
from trainer.records.result import result_of
from trainer.records.way_in import ideal_corridor, way_in
from trainer.scoring.log import Log
from trainer.scoring.moments import moments_of
from trainer.scoring.score import score_attempt
from trainer.scoring.words import advice, found_words, kind_of, verdict_words

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
# How sure a threshold is, by a mark that needs no colour.
SOURCE_MARKS = {
    "published": "●",
    "derived": "◐",
    "common practice": "○",
    "from memory": "◇",
    "assumed": "△",
}
MILESTONES = ("skin", "lead in")


def write_report(folder, attempt, score=None):
    """Write `report.html` into a folder and return its path; scored by the case's rubric unless given.

    The file takes its name only when it is whole.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    path = Path(folder) / REPORT
    with whole_file(path) as draft:
        draft.write_text(report_text(attempt, score), encoding="utf-8")
    return path


def report_text(attempt, score=None):
    """Return the report of an Attempt as HTML, scored by the case's rubric unless a Score is given."""
    state, result, log = attempt.state, result_of(attempt), Log.of(attempt)
    score = score or score_attempt(attempt)
    hull = ideal_corridor(state)
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
        score=score,
        verdict=verdict_words(score),
        advice=advice(score),
        decision=state.scenario.decision,
        criteria=[criterion(item) for item in score.items],
        marks=SOURCE_MARKS,
        moments=[_moment(words, views) for words, views in moment_views(log)],
        way_in=_base64(way_in(state, hull)),
        corridor_found=hull is not None,
        timeline=timeline(log),
        course=stretches(log),
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


def criterion(item):
    """Return what the report says of one Item of a Score."""
    kind = kind_of(item)
    return {
        "kind": kind,
        "title": item.title,
        "critical": item.critical,
        "found": found_words(item),
        "asked": item.asked,
        "points": f"{item.earned:.1f} of {item.points:g}",
        "mark": SOURCE_MARKS[item.status],
        "status": item.status,
        "source": item.source,
        "remedy": item.remedy if kind != "met" else "",
    }


def timeline(log):
    """Return the line of time for the drawing: spans and marks, placed in percent of all acts."""
    whole = max(len(log.acts), 1)
    spans = [
        {"phase": phase, "left": 100.0 * start / whole, "width": 100.0 * many / whole}
        for phase, start, many in phase_spans(log)
    ]
    marks = [
        {"left": 100.0 * (moment.act + 0.5) / whole, "words": moment.words, "fault": moment.fault}
        for moment in moments_of(log)
        if moment.fault or moment.about in MILESTONES
    ]
    return {"spans": spans, "marks": marks}


def _moment(words, views):
    pictures = [{"name": name, "data": _base64(png_bytes(picture))} for name, picture in views]
    return {"words": words, "pictures": pictures}


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
