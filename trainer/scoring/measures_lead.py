"""Measures of each lead: where it ended, and how it was driven there."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from meshes.units import radians
from trainer.attempt import events as e
from trainer.physics.lead_release import bevel_can_cut
from trainer.physics.needle import side_sign
from trainer.physics.readings import read_lead
from trainer.scoring.measure import measure

FORCED_PUSH = 1.0  # [N]
NO_MOTION = 0.2  # share of the feed that the tip gains
MIDDLE = radians(15.0)  # of 12 o'clock within which the bend points to neither side


@lru_cache(maxsize=64)
def _reading(lead, anatomy):
    return read_lead(lead, anatomy)


def readings(log):
    """Return (Placement, LeadReading) of every lead that lies in the end."""
    return [(one, _reading(one.lead, log.anatomy)) for one in log.with_lead]


@measure("Share of the leads of the case that lie in the end", unit="%")
def leads_in_place(log):
    """Count those outside the sac: one that lies in it helps nobody."""
    lying = [one for one in log.with_lead if not one.lead.setup.intrathecal]
    return 100.0 * min(len(lying), log.task.leads) / log.task.leads


@measure("Tip from the top of the target, the farthest lead", unit="levels")
def tip_level_error(log):
    """Count in heights of the target's body; the target is the case's own, or the nearest permitted one."""
    spans = {level: (bottom, top) for level, bottom, top in log.anatomy.canal.level_spans}
    errors = []
    for _, reading in readings(log):
        from_target = [
            abs(reading.tip.station - spans[target][1]) / (spans[target][1] - spans[target][0])
            for target in log.task.targets
        ]
        errors.append(min(from_target))
    return max(errors, default=None)


def _wanted(placement, log):
    return side_sign(placement.aim.side) * log.task.target_offset_mm


def _mean_off(log, name):
    """Return the farthest mean distance of a lead's contacts from the line that the case asks for. [mm]"""
    means = []
    for placement, reading in readings(log):
        off = [getattr(contact, name) - _wanted(placement, log) for contact in reading.contacts]
        if off:
            means.append(float(np.mean(np.abs(off))))
    return max(means, default=None)


@measure(
    "Contacts off the wanted line beside the middle of the vertebrae, mean of the farthest lead", unit="mm"
)
def anatomic_offset(log):
    return _mean_off(log, "anatomic_offset")


@measure("Contacts off the wanted line beside the middle of the cord, mean of the farthest lead", unit="mm")
def cord_offset(log):
    return _mean_off(log, "cord_offset")


@measure("Share of the contacts that lie dorsal", unit="%")
def dorsal_contacts(log):
    regions = [contact.region for _, reading in readings(log) for contact in reading.contacts]
    return 100.0 * regions.count("dorsal") / len(regions) if regions else None


@measure("Pushes of the lead above 1 N without motion of the tip", source="feel of leads, from memory")
def forced_pushes(log):
    """Count feeds during which the hand pushed hard and the tip gained less than a fifth of the feed."""
    if not log.passed:
        return None
    return float(sum(_is_forced(act) for act in log.acts_of(e.AdvanceLead)))


def _is_forced(act):
    fed = act.event.millimetres
    if fed <= 0.0 or act.after.lead.push <= FORCED_PUSH:
        return False
    gained = act.after.lead.place[-1, 0] - act.before.lead.place[-1, 0]
    return bool(gained < NO_MOTION * fed)


@measure(
    "Pulls of the lead hard over the needle's edge",
    status="assumed",
    source="side force above which a pull can cut the lead: meshes/tables/lead.csv",
)
def bevel_pulls(log):
    """Count withdrawals by which the lead could have been cut, its removal among them."""
    if not log.passed:
        return None
    return float(sum(_can_cut(act) for act in log.acts_of(e.AdvanceLead, e.RemoveLead)))


def _can_cut(act):
    lead, left = act.before.lead, act.after.lead
    return bevel_can_cut(lead, replace(lead, fed=0.0) if left is None else left)


@measure("Times the lead was pulled back")
def lead_withdrawals(log):
    if not log.passed:
        return None
    back = [act.event.millimetres < 0.0 for act in log.acts_of(e.AdvanceLead)]
    return float(sum(now and not before for before, now in zip([False, *back], back)))


@measure("Times the bend was sent to the other side")
def lead_redirections(log):
    if not log.passed:
        return None
    count, last = 0, {}
    for act in log.acts_of(e.AdvanceLead, e.PassLead):
        active = act.after.active
        if isinstance(act.event, e.PassLead):
            last[active] = 0
            continue
        side = _side(act.after.lead.hub)
        count += bool(side and last.get(active, 0) and side != last[active])
        last[active] = side or last.get(active, 0)
    return float(count)


def _side(hub):
    """Return to which side the hub says that the bend points while the lead is fed: -1, 0 or 1."""
    clock = (hub + math.pi) % (2.0 * math.pi) - math.pi
    near_middle = abs(clock) <= MIDDLE or abs(clock) >= math.pi - MIDDLE
    return 0 if near_middle else (1 if clock > 0.0 else -1)


@measure("Largest push on a lead", unit="N", source="feel of leads, from memory")
def largest_push(log):
    return float(log.last.largest_push) if log.passed else None


@measure("Deepest dent of the dura by a lead", unit="mm", status="assumed", source="tuned until plausible")
def largest_dent(log):
    return float(log.last.largest_dent) if log.passed else None
