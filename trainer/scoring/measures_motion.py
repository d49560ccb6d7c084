"""Measures of motion and time: paths, smoothness, minutes."""

import math

import numpy as np

from trainer.attempt import events as e
from trainer.scoring.measure import measure
from trainer.scoring.smoothness import log_dimensionless_jerk, spectral_arc_length

RATE = 20.0  # of the resampled movement [Hz]
PAUSE = 2.0  # that ends a movement [s]
SHORTEST, LONGEST = 0.5, 120.0  # of a movement that is judged [s]
SMOOTH = "Balasubramanian et al., J Neuroeng Rehabil 2015;12:112"


@measure("Time from the first act to the last", unit="min")
def duration(log):
    stamps = [act.stamp for act in log.acts if act.stamp is not None]
    return (stamps[-1] - stamps[0]) / 60.0 if len(stamps) > 1 else None


@measure("Time against the guide of the case", unit="%")
def time_share(log):
    minutes = duration(log)
    return None if minutes is None else 100.0 * minutes / log.case.time_guide_min


@measure("Way of the needle's tip, to and fro", unit="mm")
def needle_path(log):
    moves = log.acts_of(e.PushNeedle, e.PushUnderPressure, e.WithdrawNeedle)
    return sum(abs(act.after.needle_depth - act.before.needle_depth) for act in moves) if moves else None


@measure("Way of the leads, to and fro", unit="mm")
def lead_path(log):
    moves = log.acts_of(e.AdvanceLead)
    return sum(abs(act.event.millimetres) for act in moves) if moves else None


@measure("Smoothness of the lead's movements: spectral arc length, median", status="published", source=SMOOTH)
def lead_smoothness(log):
    return _median(log, spectral_arc_length)


@measure("Log dimensionless jerk of the lead's movements, median", status="published", source=SMOOTH)
def lead_jerk(log):
    return _median(log, log_dimensionless_jerk)


def _median(log, take):
    timed = [act for act in log.acts_of(e.AdvanceLead) if act.stamp is not None]
    values = [take(speed, rate=RATE) for speed in _speeds(timed)]
    values = [value for value in values if math.isfinite(value)]
    return float(np.median(values)) if values else None


def _speeds(acts):
    """Return the speed (n,) at RATE of each movement between two pauses."""
    stamps = np.array([act.stamp for act in acts])
    fed = np.cumsum([act.event.millimetres for act in acts])
    if len(stamps) < 4:
        return []
    ends = np.nonzero(np.diff(stamps) > PAUSE)[0] + 1
    speeds = []
    for part in np.split(np.arange(len(stamps)), ends):
        lasts = stamps[part[-1]] - stamps[part[0]]
        if len(part) >= 4 and SHORTEST <= lasts <= LONGEST:
            moments = np.arange(stamps[part[0]], stamps[part[-1]], 1.0 / RATE)
            speeds.append(np.abs(np.gradient(np.interp(moments, stamps[part], fed[part]), 1.0 / RATE)))
    return speeds
