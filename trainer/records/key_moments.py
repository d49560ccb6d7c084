"""The moments of an attempt whose pictures tell it: entry into the epidural space, lead passed, end."""

from trainer.attempt import events as e
from trainer.records.pictures import PIXELS, standard_views, still_pictures

EARLIER_PIXELS = 448
NUMBERS = ("first", "second")


def key_moments(log):
    """Return [(words, AttemptState)] in order; what never happened is left out, the end is always there."""
    found = []
    for k in range(len(log.last.placements)):
        found += _entered(log, k)
        found += [
            (f"Lead through the {_needle(log, k)}", act.after) for act in log.passed if act.after.active == k
        ]
    return [*found, ("The end", log.last)]


def moment_views(log):
    """Return [(words, [(view, picture)])] of the key moments: AP, oblique and lateral of each."""
    still = still_pictures(log.last)
    moments = key_moments(log)
    return [
        (words, standard_views(state, still=still, pixels=PIXELS if state is log.last else EARLIER_PIXELS))
        for words, state in moments
    ]


def _entered(log, k):
    """Yield the first state in which the tip of needle k stands in the epidural space or beyond."""
    for act in log.acts_of(e.PushNeedle):
        placement = act.after.placements[k]
        if act.after.active != k or placement.depth is None or placement.to_epidural is None:
            continue
        if placement.depth >= placement.to_epidural:
            yield f"The {_needle(log, k)} enters the epidural space", act.after
            return


def _needle(log, k):
    return "needle" if len(log.used) < 2 else f"{NUMBERS[k]} needle"
