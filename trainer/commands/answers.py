"""How a command answers: results on standard output, messages and progress on standard error."""

import json
import math
import sys
import time
from contextlib import contextmanager


def plain(value):
    """Return `value` as JSON can hold it: numpy's numbers as Python's, what is not finite as None."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    return None if isinstance(value, float) and not math.isfinite(value) else value


def as_json(content):
    """Return the text of plain JSON."""
    return json.dumps(plain(content), ensure_ascii=False, indent=2, allow_nan=False)


def answer(text):
    """Print a result."""
    print(text, file=sys.stdout)


def tell(text):
    """Print a message that is not a result."""
    print(text, file=sys.stderr)


def rows(pairs, *, indent=""):
    """Return lines 'name   value' with the values under each other."""
    pairs = list(pairs)
    width = max((len(name) for name, _ in pairs), default=0)
    return "\n".join(f"{indent}{name:<{width}}  {value}" for name, value in pairs)


def grid(heads, lines):
    """Return a table as text, numbers to the right."""
    cells = [[str(cell) for cell in line] for line in [heads, *lines]]
    widths = [max(len(line[k]) for line in cells) for k in range(len(heads))]
    right = [all(_is_number(line[k]) for line in cells[1:]) for k in range(len(heads))]
    return "\n".join(
        "  ".join(f"{cell:>{w}}" if r else f"{cell:<{w}}" for cell, w, r in zip(line, widths, right)).rstrip()
        for line in cells
    )


def _is_number(text):
    return text.strip("-+.0123456789 %") == "" or text == "-"


def millimetres(value, digits=1):
    """Return a length as a person reads it, '-' where there is none."""
    # Adding zero turns -0.0 into 0.0.
    return "-" if value is None or not math.isfinite(value) else f"{round(value, digits) + 0.0:.{digits}f} mm"


@contextmanager
def progress(title, *, patience=1.0):
    """Show progress on standard error; yields `report(done, total, words)`.

    A bar that vanishes in the end on a terminal; elsewhere a line whenever the words change, but none in the
    `patience` seconds after the first report: what is quick needs no words.
    """
    if not sys.stderr.isatty():
        yield _LineReporter(title, patience)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        TextColumn("{task.fields[words]}"),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(title, total=None, words="")
        yield lambda done, total, words="": shown.update(task, completed=done, total=total, words=words)


class _LineReporter:
    def __init__(self, title, patience):
        self.title, self.patience, self.began, self.told = title, patience, None, set()

    def __call__(self, done, total, words=""):
        now = time.monotonic()
        self.began = now if self.began is None else self.began
        if words in self.told or now < self.began + self.patience:
            return
        self.told.add(words)
        tell(f"{self.title}: {words}" if words else self.title)
