"""What a score says in words: what was found, how a criterion was met, what to do next time."""

NEARLY = 0.5
SENTENCES = 2
FLAWLESS = "Nothing was lost. Try a harder patient."


def advice(score):
    """Return up to two sentences for next time: the remedies of the dearest faults, or one of praise."""
    remedies = list(dict.fromkeys(item.remedy for item in score.dearest))
    return remedies[:SENTENCES] or [FLAWLESS]


def found_words(item):
    """Return what was measured for an Item, in words."""
    if item.value is None:
        return "not done"
    if isinstance(item.value, bool):
        return "yes" if item.value else "no"
    digits = 0 if float(item.value).is_integer() or abs(item.value) >= 100.0 else 1
    return f"{item.value:.{digits}f}\u00a0{item.unit}".rstrip("\u00a0 ")


def kind_of(item):
    """Return "met", "near" or "missed" of an Item."""
    share = item.earned / item.points if item.points else 1.0
    return "met" if share >= 0.999 else "near" if share >= NEARLY and not item.failed else "missed"


def verdict_words(score):
    """Return "passed", or "not passed" with the critical errors."""
    words = "passed" if score.passed else "not passed"
    return f"{words}: {'; '.join(score.critical_errors)}" if score.critical_errors else words
