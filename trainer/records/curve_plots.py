"""Learning curves as pictures, light, for print and for the window."""

import io

from matplotlib.figure import Figure

from trainer.records.curves import CusumLimits, cusum, learning_cusum

INK, PASS, ALARM, LINE = "#1b2429", "#1f7a5c", "#b3471f", "#3d6f91"


def curve_figure(successes, *, title, limits=CusumLimits(), height=2.5):  # noqa: B008 - frozen
    """Return a matplotlib Figure: Wald's sum above, the learning-curve sum below."""
    figure = Figure(figsize=(7.2, 5.4), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True)
    sums, learning = cusum(successes, limits), learning_cusum(successes, height=height)
    number = range(1, len(successes) + 1)
    above.plot([0, *number], [0.0, *sums.values], color=LINE, marker="o", markersize=3)
    for level, ink, words in (
        (-limits.lower, PASS, f"acceptable: fails {limits.acceptable:.0%} or less"),
        (limits.upper, ALARM, f"unacceptable: fails {limits.unacceptable:.0%} or more"),
    ):
        above.axhline(level, color=ink, linestyle="--", linewidth=1.2)
        above.annotate(words, (0, level), xytext=(4, 4), textcoords="offset points", color=ink)
    above.set_ylabel("cumulative sum")
    above.set_title(title, loc="left", color=INK)
    below.plot([0, *number], [0.0, *learning.values], color=LINE, marker="o", markersize=3)
    below.axhline(height, color=PASS, linestyle="--", linewidth=1.2)
    below.annotate("learned", (0, height), xytext=(4, 4), textcoords="offset points", color=PASS)
    below.set_ylabel("learning-curve sum")
    below.set_xlabel("attempt")
    for axes in (above, below):
        axes.spines[["top", "right"]].set_visible(False)
    return figure


def figure_bytes(figure, *, kind="png", dots=120):
    """Return a figure as the bytes of a "png" or "svg" file."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, dpi=dots)
    return buffer.getvalue()
