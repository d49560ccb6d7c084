"""The score of an attempt: each criterion with what was measured, and what it all comes to."""

from dataclasses import asdict, dataclass

from trainer import __version__
from trainer.scoring.log import Log
from trainer.scoring.measure import MEASURES, NOT_ASKED
from trainer.scoring.measures import measure_all
from trainer.scoring.rubric import load

BEFORE_THE_PATIENT = "plan"  # the part that a case put off is judged by


@dataclass(frozen=True)
class Item:
    """One criterion as it was met.

    Parameters
    ----------
    key, title, part, measure : str
    value : float, bool or None
        As measured; None where nothing could be measured.
    unit, asked : str
        `asked` is what earns all points, in words.
    earned, points : float
    critical, failed : bool
        `failed` where it is critical and earned nothing.
    status, source, remedy : str
    """

    key: str
    title: str
    part: str
    measure: str
    value: object
    unit: str
    asked: str
    earned: float
    points: float
    critical: bool
    failed: bool
    status: str
    source: str
    remedy: str

    @property
    def lost(self):
        return self.points - self.earned


@dataclass(frozen=True)
class Score:
    """What an attempt comes to under one rubric.

    Parameters
    ----------
    case : str
        Title.
    case_version : int
    rubric : str
    rubric_version : int
    rubric_digest : str
    program, mode : str
    seed, events, undone : int
    items : tuple of Item
        In the order of the rubric, without what the case does not ask for.
    earned, points : float
    percent, pass_percent : float
    critical_errors : tuple of str
        Titles of the critical criteria that failed.
    passed : bool
    """

    case: str
    case_version: int
    rubric: str
    rubric_version: int
    rubric_digest: str
    program: str
    mode: str
    seed: int
    events: int
    undone: int
    items: tuple
    earned: float
    points: float
    percent: float
    pass_percent: float
    critical_errors: tuple
    passed: bool

    def item(self, key):
        """Return the Item of a criterion's key; raises KeyError where the case does not ask for it."""
        return {item.key: item for item in self.items}[key]

    @property
    def dearest(self):
        """The items that cost something, dearest first, critical ones before all."""
        costly = [item for item in self.items if item.lost > 0.0]
        return tuple(sorted(costly, key=lambda item: (not item.failed, -item.lost)))

    def record(self):
        """Return the score as nested dicts of plain values."""
        return asdict(self)


def score_attempt(attempt, rubric=None):
    """Return the Score of an Attempt under a Rubric, the case's own where none is given."""
    log = Log.of(attempt)
    return score_log(log, rubric or load(attempt.scenario.rubric))


def score_log(log, rubric):
    """Return the Score of a Log under a Rubric; under another rubric only this is done again."""
    return score_measures(log, measure_all(log), rubric)


def score_measures(log, values, rubric):
    """Return the Score of values that `measure_all` took of a Log."""
    asked = [one for one in rubric.criteria if _is_asked(one, log, values[one.measure])]
    items = tuple(_item(criterion, values[criterion.measure]) for criterion in asked)
    earned, points = sum(item.earned for item in items), sum(item.points for item in items)
    percent = 100.0 * earned / points if points else 0.0
    critical = tuple(item.title for item in items if item.failed)
    return Score(
        case=log.case.title,
        case_version=log.case.version,
        rubric=rubric.name,
        rubric_version=rubric.version,
        rubric_digest=rubric.digest,
        program=__version__,
        mode=log.first.mode,
        seed=log.first.seed,
        events=len(log.acts),
        undone=log.undone,
        items=items,
        earned=earned,
        points=points,
        percent=percent,
        pass_percent=rubric.pass_percent,
        critical_errors=critical,
        passed=not critical and percent >= rubric.pass_percent,
    )


def _is_asked(criterion, log, value):
    """Return whether a criterion counts: not what the case leaves out, nor what follows a right refusal."""
    if value is NOT_ASKED:
        return False
    wanted, decided = log.case.decision.expected, log.last.plan.decision
    if wanted != "proceed" and decided == wanted:
        return criterion.part == BEFORE_THE_PATIENT and value is not None
    return True


def _item(criterion, value):
    share = 0.0 if value is None else criterion.share(value)
    return Item(
        key=criterion.key,
        title=criterion.title,
        part=criterion.part,
        measure=criterion.measure,
        value=value,
        unit=MEASURES[criterion.measure].unit,
        asked=criterion.asked,
        earned=share * criterion.points,
        points=criterion.points,
        critical=criterion.critical,
        failed=criterion.critical and share == 0.0,
        status=criterion.status,
        source=criterion.source,
        remedy=criterion.remedy,
    )
