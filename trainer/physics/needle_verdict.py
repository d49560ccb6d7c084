"""What speaks for and against a needle, in plain words."""

import math
from dataclasses import dataclass, replace

from meshes.tables.loader import table
from meshes.units import degrees
from trainer.physics.needle_axis import SURE
from trainer.physics.needle_mend import mend_words

OK, WARN, FAIL = "ok", "warn", "fail"
NEAR_MIDLINE = 0.5  # [mm] where crossing the midline means nothing
FAR_FROM_WINDOW = 40.0  # [mm] where a place is no longer told from the window
ROUNDING = 0.05  # [mm] no verdict hangs on what the printed figure does not show


@dataclass(frozen=True)
class Reason:
    """One reason of a verdict.

    Parameters
    ----------
    text : str
    kind : str
        "ok", "warn" or "fail".
    status : str or None
        Where the criterion comes from: published, derived, common practice, from memory or assumed;
        None where it follows from geometry alone.
    mend : Mend or None
        Of a failure: the smallest change after which the whole needle passes, if one is within reach.
    """

    text: str
    kind: str
    status: str | None = None
    mend: object = None


def _figure(key):
    return table("needle")[key]


def mended(check, reasons):
    """Return the reasons, each failure with the change that mends the needle; others end as they are."""
    if not any(reason.kind == FAIL for reason in reasons):
        return reasons
    words, mend = mend_words(check), check.mend
    return tuple(
        replace(reason, text=f"{reason.text}: {words}.", mend=mend) if reason.kind == FAIL else reason
        for reason in reasons
    )


def judge(check):
    """Return the tuple of Reason of a NeedleCheck, the way to the canal first; failures without a remedy."""
    reasons = [way(check)]
    if check.to_epidural is not None and check.first_bone is None:
        reasons += [room_beside(check)]
    if check.to_epidural is not None:
        reasons += [length(check), travel(check)]
    reasons += [approach(check)]
    if (across := other_side(check)) is not None:
        reasons += [across]
    if check.reaches:
        reasons += [*resistance(check), offset(check)]
    if check.reaches and check.lateral_offset * check.aim.sign > NEAR_MIDLINE:
        reasons += [crossing(check)]
    return tuple(reasons)


def _beside_window(check):
    """Return words for where bone is touched, told from the bony gap of the wanted interspace."""
    space = check.anatomy.canal.interspace(check.interspace)
    station, theta, radius = check.anatomy.canal.to_chart(check.first_bone_point)
    below, above = space.flavum_caudal - station, station - space.lamina_caudal_edge
    if max(below, above) >= FAR_FROM_WINDOW:
        return ""
    if max(below, above) >= 0.5:
        return f" {max(below, above):.0f} mm {'below' if below > above else 'above'} the window"
    return f" beside the window, {abs(radius * math.sin(theta)):.0f} mm off the midline"


def way(check):
    """Say what the axis meets first."""
    if check.hard is not None:
        return Reason(
            f"The axis meets {check.hard} {check.first_bone_depth:.0f} mm below the skin, "
            f"{check.to_first_bone:.0f} mm along the needle, which stops it like bone",
            FAIL,
        )
    if check.first_bone is not None:
        return Reason(
            f"The axis meets {check.first_bone_part}{_beside_window(check)}, "
            f"{check.first_bone_depth:.0f} mm below the skin, {check.to_first_bone:.0f} mm along the needle",
            FAIL,
        )
    if check.to_epidural is None:
        return Reason("The axis misses the spinal canal", FAIL)
    if check.entered != check.interspace:
        where = check.entered or "no interspace"
        return Reason(f"The axis enters the canal at {where}, not at {check.interspace}", FAIL)
    return Reason(
        f"The axis passes the {check.interspace} window and enters the epidural space "
        f"{check.depth_below_skin:.0f} mm below the skin, {check.to_epidural:.0f} mm along the needle.",
        OK,
    )


def room_beside(check):
    """Judge the room between shaft and bone."""
    least, room = _figure("least_clearance"), check.least_clearance
    shown = f"{room:.2f} mm" if room < SURE else f"more than {SURE:g} mm"
    text = f"The shaft keeps {shown} from bone (nearest: {check.least_clearance_bone})"
    if room < least.value:
        return Reason(f"{text}, less than {least.value:g} mm: it may scrape.", WARN, least.status)
    return Reason(f"{text}.", OK, least.status)


def resistance(check):
    """Warn where no loss of resistance will tell the epidural space: flavum removed, or parted."""
    if check.flavum_state == "gone":
        text = f"The flavum of {check.entered} has been removed: no loss of resistance, scar on the dura; "
        return [Reason(text + "enter at least one level away from the defect.", WARN, "common practice")]
    if check.flavum_state == "parted":
        text = (
            f"The flavum of {check.entered} is parted on the midline here: little or no loss of resistance."
        )
        return [Reason(text, WARN, table("flavum")["gap_width"].status)]
    return []


def length(check):
    """Judge whether the needle is long enough to bring its whole bevel in."""
    needed = check.to_epidural + check.needle.bevel_length
    if needed <= check.needle.length:
        return Reason(
            f"The needle is long enough: {needed:.0f} of {check.needle.length:g} mm with the bevel.", OK
        )
    return Reason(
        f"The needle is too short: {needed:.0f} mm are needed with the bevel, it has "
        f"{check.needle.length:g} mm",
        FAIL,
    )


def travel(check):
    """Judge the way from the epidural entry to the dura."""
    bevel, way_left = check.needle.bevel_length, check.safe_travel
    status = _figure("bevel_length").status
    if way_left is None:
        return Reason("The axis does not meet the dura.", OK)
    text = f"From the epidural entry to the dura are {way_left:.1f} mm along the needle"
    if way_left < bevel - ROUNDING:
        return Reason(
            f"{text}; the bevel alone needs {bevel:g} mm",
            FAIL,
            status,
        )
    return Reason(f"{text}, the bevel needs {bevel:g} mm of it.", OK, status)


def approach(check):
    """Judge the approach angle to the skin."""
    flat, steep, poor = (_figure(f"approach.{name}") for name in ("flat", "steep", "poor"))
    angle = check.aim.approach
    text = f"The needle stands at {degrees(angle):.0f} degrees to the skin"
    if check.angle_to_canal is not None:
        text += f" and {degrees(check.angle_to_canal):.0f} degrees to the canal"
    usual = f"{degrees(flat.value):.0f} to {degrees(steep.value):.0f} degrees to the skin are usual"
    if angle > poor.value - 1e-9:
        return Reason(
            f"{text}, and {usual}; the lead would have to turn too sharply from "
            f"{degrees(poor.value):.0f} degrees on",
            FAIL,
            poor.status,
        )
    if angle > steep.value + 1e-9:
        return Reason(f"{text}: steep for the lead, {usual}.", WARN, steep.status)
    if angle < flat.value - 1e-9:
        return Reason(f"{text}: flat, {usual}; the way is long.", OK, flat.status)
    return Reason(f"{text}: as is usual.", OK, steep.status)


def other_side(check):
    """Say where the skin is entered across the row of spinous processes from the side that was named."""
    aim = check.aim
    across = aim.sign * (float(check.anatomy.tissue.midline(aim.entry_z)) - aim.entry_x)
    if across <= NEAR_MIDLINE:
        return None
    return Reason(
        f"The skin entry lies {across:.0f} mm across the midline from the {aim.side}: name the other side, "
        "or turn more toward the midline.",
        WARN,
    )


def offset(check):
    """Judge how far off the midline the epidural entry lies."""
    low, high, largest = (_figure(f"offset.{name}") for name in ("low", "high", "largest"))
    out = check.lateral_offset * check.aim.sign
    side = check.aim.side if out >= 0.0 else ("right" if check.aim.side == "left" else "left")
    place = "on" if abs(out) < ROUNDING else f"{abs(out):.1f} mm to the {side} of"
    text = f"The epidural entry lies {place} the midline"
    wanted = f"{low.value:g} to {high.value:g} mm on the entry side suit the lead"
    if abs(out) > largest.value:
        return Reason(
            f"{text}, and {wanted}; the lead would go round the side of the sac",
            FAIL,
            largest.status,
        )
    if out <= -ROUNDING:
        return Reason(f"{text}, across from the entry: {wanted}.", WARN, low.status)
    if not low.value - ROUNDING <= out <= high.value + ROUNDING:
        return Reason(f"{text}: {wanted}.", WARN, low.status)
    return Reason(f"{text}: good for the lead.", OK, low.status)


def crossing(check):
    """Judge where the needle's line crosses the midline."""
    low, high = _figure("crossing.low"), _figure("crossing.high")
    wanted = f"{low.value:g} to {high.value:g} mm suit the lead"
    far = check.crossing_travel
    if far is None:
        return Reason(
            f"The line of the needle does not cross the midline: {wanted}; turn more toward the midline.",
            WARN,
            low.status,
        )
    text = f"Its line crosses the midline {far:.0f} mm further up"
    if far < low.value - 10.0 * ROUNDING:
        return Reason(f"{text}, soon: {wanted}; turn less toward the midline.", WARN, low.status)
    if far > high.value + 10.0 * ROUNDING:
        return Reason(f"{text}, late: {wanted}; turn more toward the midline.", WARN, low.status)
    return Reason(f"{text}: good for the lead.", OK, low.status)
