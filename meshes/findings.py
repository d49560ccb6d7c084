"""What can be wrong with, or have been done to, a spine: composable findings, one frozen value each.

A finding names where it is and how much; the modules that build bones, canal and soft tissue read it. Lengths
in mm, shares as fractions of one.
"""

from dataclasses import MISSING, dataclass, fields
from typing import ClassVar

from meshes.levels import COLUMN, LEVELS, check_interspace, check_level

SIDES = ("both", "left", "right")
REACHES = ("lamina", "facets", "pedicles")
TRANSITIONS = ("sacralised", "lumbarised")


def _number(name, value, low, high):
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise ValueError(
            f"{name} must lie between {low:g} and {high:g}, got {value!r}: choose a value inside"
        )


def _one_of(name, value, allowed):
    if value not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(allowed)}, got {value!r}: choose one of these")


@dataclass(frozen=True)
class Finding:
    """Base of all findings. `changes_bones` tells whether bones must be built anew."""

    changes_bones: ClassVar[bool] = False
    LIMITS: ClassVar[dict] = {}
    CHOICES: ClassVar[dict] = {}

    def __post_init__(self):
        for entry in fields(self):
            value = getattr(self, entry.name)
            if entry.name in ("interspace",):
                object.__setattr__(self, entry.name, check_interspace(value))
            elif entry.name in ("level", "upper", "lower"):
                object.__setattr__(self, entry.name, check_level(value))
            elif entry.name in self.LIMITS:
                _number(entry.name, value, *self.LIMITS[entry.name])
                object.__setattr__(self, entry.name, float(value))
            elif entry.name in self.CHOICES:
                _one_of(entry.name, value, self.CHOICES[entry.name])


@dataclass(frozen=True)
class FacetHypertrophy(Finding):
    """Thick facet joints at one interspace that narrow its window from the sides; grade 1 is severe."""

    interspace: str
    grade: float = 0.6
    changes_bones: ClassVar[bool] = True
    LIMITS: ClassVar[dict] = {"grade": (0.0, 1.0)}


@dataclass(frozen=True)
class FlavumThickening(Finding):
    """A ligamentum flavum thicker by `millimetres`; ossified, it stops a needle like bone."""

    interspace: str
    millimetres: float = 2.0
    ossified: bool = False
    LIMITS: ClassVar[dict] = {"millimetres": (0.5, 6.0)}


@dataclass(frozen=True)
class CentralStenosis(Finding):
    """A canal that is narrower from front to back by `millimetres` at one interspace; the sac follows."""

    interspace: str
    millimetres: float = 3.0
    LIMITS: ClassVar[dict] = {"millimetres": (0.5, 7.0)}


@dataclass(frozen=True)
class DiscHeightLoss(Finding):
    """A disc that has lost a share of its height."""

    interspace: str
    share: float = 0.4
    LIMITS: ClassVar[dict] = {"share": (0.05, 0.7)}


@dataclass(frozen=True)
class WedgeFracture(Finding):
    """A body whose front has lost a share of its height; the column above bends forward by the wedge."""

    level: str
    share: float = 0.3
    changes_bones: ClassVar[bool] = True
    LIMITS: ClassVar[dict] = {"share": (0.1, 0.6)}


@dataclass(frozen=True)
class Laminectomy(Finding):
    """A lamina removed, with the flava that held on to it; one side alone is a laminotomy.

    `reach` tells how far to the side bone is missing; `scar` is how much of the fat's place has been taken by
    tethering scar, 0 none, 1 dense.
    """

    level: str
    side: str = "both"
    reach: str = "lamina"
    scar: float = 0.5
    changes_bones: ClassVar[bool] = True
    LIMITS: ClassVar[dict] = {"scar": (0.0, 1.0)}
    CHOICES: ClassVar[dict] = {"side": SIDES, "reach": REACHES}


@dataclass(frozen=True)
class Adhesion(Finding):
    """A patch where the canal grips a lead: `friction` and `hold` multiply those of healthy fat."""

    level: str
    friction: float = 5.0
    hold: float = 5.0
    length: float = 16.0
    LIMITS: ClassVar[dict] = {"friction": (1.0, 15.0), "hold": (1.0, 20.0), "length": (4.0, 60.0)}


@dataclass(frozen=True)
class EpiduralLipomatosis(Finding):
    """More dorsal fat from `upper` to `lower`, at the cost of the sac."""

    upper: str = "T6"
    lower: str = "T8"
    millimetres: float = 3.0
    LIMITS: ClassVar[dict] = {"millimetres": (0.5, 6.0)}


@dataclass(frozen=True)
class LigamentCalcification(Finding):
    """Calcified supraspinous and interspinous ligaments of one interspace: the midline path is shut."""

    interspace: str


@dataclass(frozen=True)
class InterspinousImplant(Finding):
    """A spacer between two spinous processes that keeps them apart."""

    interspace: str


@dataclass(frozen=True)
class PedicleScrews(Finding):
    """Screws in both pedicles of every level from `upper` to `lower`, joined by a rod on each side."""

    upper: str
    lower: str


@dataclass(frozen=True)
class VertebralCement(Finding):
    """Cement in a body. [cc]"""

    level: str
    volume: float = 4.0
    LIMITS: ClassVar[dict] = {"volume": (0.5, 10.0)}


@dataclass(frozen=True)
class TransitionalLevel(Finding):
    """A lumbosacral transitional vertebra: L5 grown to the sacrum, or S1 set free like a sixth lumbar one."""

    kind: str = "sacralised"
    changes_bones: ClassVar[bool] = True
    CHOICES: ClassVar[dict] = {"kind": TRANSITIONS}


KINDS = {
    "facet-hypertrophy": FacetHypertrophy,
    "flavum-thickening": FlavumThickening,
    "central-stenosis": CentralStenosis,
    "disc-height-loss": DiscHeightLoss,
    "wedge-fracture": WedgeFracture,
    "laminectomy": Laminectomy,
    "adhesion": Adhesion,
    "epidural-lipomatosis": EpiduralLipomatosis,
    "ligament-calcification": LigamentCalcification,
    "interspinous-implant": InterspinousImplant,
    "pedicle-screws": PedicleScrews,
    "vertebral-cement": VertebralCement,
    "transitional-level": TransitionalLevel,
}
NAMES = {kind: name for name, kind in KINDS.items()}


def required(kind):
    """Return the names of the values that a kind of finding cannot do without."""
    return tuple(f.name for f in fields(kind) if f.default is MISSING)


def of_kind(findings, kind):
    """Return the findings of one kind, in order."""
    return tuple(finding for finding in findings if isinstance(finding, kind))


def levels_between(upper, lower):
    """Return the levels from `upper` to `lower`, both included, head first.

    Raises
    ------
    ValueError
        If `upper` does not lie above or at `lower`.
    """
    first, last = COLUMN.index(check_level(upper)), COLUMN.index(check_level(lower))
    if first > last:
        raise ValueError(
            f"upper must not lie below lower, got {upper} and {lower}: name the higher level first"
        )
    return COLUMN[first : last + 1]


def check_findings(findings):
    """Return the findings as a tuple, or raise ValueError if two of them cannot be true at once."""
    findings = tuple(findings)
    _refuse_twice(findings)
    _refuse_screws_without_pedicles(findings)
    _refuse_two_screws_in_a_pedicle(findings)
    _refuse_what_needs_processes(findings)
    _refuse_flavum_without_laminae(findings)
    for finding in of_kind(findings, Laminectomy) + of_kind(findings, WedgeFracture):
        if finding.level not in LEVELS:
            raise ValueError(
                f"level must be one of {', '.join(LEVELS)} for {NAMES[type(finding)]}, "
                f"got {finding.level!r}: name a level above the sacrum"
            )
    for finding in of_kind(findings, PedicleScrews) + of_kind(findings, EpiduralLipomatosis):
        levels_between(finding.upper, finding.lower)
    return findings


def _place(finding):
    names = ("interspace", "level", "upper", "lower")
    return tuple(getattr(finding, name) for name in names if hasattr(finding, name))


def _refuse_twice(findings):
    seen = set()
    for finding in findings:
        key = (type(finding), _place(finding))
        if key in seen:
            raise ValueError(
                f"findings must name each place once a kind, got {NAMES[type(finding)]} at "
                f"{' to '.join(_place(finding)) or 'the column'} again: remove one"
            )
        seen.add(key)


def _refuse_screws_without_pedicles(findings):
    gone = {cut.level for cut in of_kind(findings, Laminectomy) if cut.reach == "pedicles"}
    for screws in of_kind(findings, PedicleScrews):
        for level in levels_between(screws.upper, screws.lower):
            if level in gone:
                raise ValueError(
                    f"pedicle-screws must have a pedicle to hold, got {level} where a laminectomy has "
                    "removed the pedicles: leave that level out, or let the laminectomy reach less far"
                )


def _refuse_two_screws_in_a_pedicle(findings):
    seen = set()
    for screws in of_kind(findings, PedicleScrews):
        held = set(levels_between(screws.upper, screws.lower))
        if twice := held & seen:
            raise ValueError(
                f"pedicle-screws must hold each level once, got {min(twice, key=COLUMN.index)} again in "
                f"{screws.upper} to {screws.lower}: join the two constructs, or leave that level out of one"
            )
        seen |= held


def _refuse_what_needs_processes(findings):
    needs = {InterspinousImplant: "stand", LigamentCalcification: "run"}
    for kind, verb in needs.items():
        for finding in of_kind(findings, kind):
            if gone := _levels_of(finding.interspace) & _roofless(findings):
                raise ValueError(
                    f"{NAMES[kind]} must {verb} between two spinous processes, got {finding.interspace} "
                    f"where that of {gone.pop()} has been removed: choose another interspace"
                )


def _refuse_flavum_without_laminae(findings):
    for finding in of_kind(findings, FlavumThickening):
        if gone := _levels_of(finding.interspace) & _roofless(findings):
            raise ValueError(
                f"flavum-thickening must have a flavum, got {finding.interspace} where it went with the "
                f"lamina of {gone.pop()}: choose another interspace, or cut one side only"
            )


def _levels_of(interspace):
    return set(interspace.split("-"))


def _roofless(findings):
    return {cut.level for cut in of_kind(findings, Laminectomy) if cut.side == "both"}
