"""What the corridor map says of one case, as plain values: one record of a survey over many anatomies."""

from dataclasses import asdict, dataclass

from meshes.anatomy import build_anatomy
from meshes.levels import check_interspace
from meshes.units import degrees
from scenarios import library
from trainer.physics.difficulty import rate
from trainer.physics.needle import Needle, check_angles, check_side
from trainer.physics.needle_check import check_needle

PARAMETERS = (
    "body_mass_index",
    "lumbar_lordosis",
    "thoracic_kyphosis",
    "scoliosis",
    "window_scale",
    "facet_hypertrophy",
)
ANGLES = ("lumbar_lordosis", "thoracic_kyphosis", "scoliosis")


@dataclass(frozen=True)
class Question:
    """What is asked of every case.

    Parameters
    ----------
    interspaces : tuple of str
    side : str
    needle_length : float
        [mm]
    largest_approach : float
        To the skin. [rad]

    Raises
    ------
    ValueError
        If there is no interspace, or one of the values cannot be aimed at.
    """

    interspaces: tuple
    side: str
    needle_length: float
    largest_approach: float

    def __post_init__(self):
        if not self.interspaces:
            raise ValueError("interspaces must name at least one, got none: name one like T12-L1")
        object.__setattr__(self, "interspaces", tuple(check_interspace(name) for name in self.interspaces))
        check_side(self.side), check_angles(self.largest_approach, 0.0), Needle(self.needle_length)

    def told(self):
        """Return the question as plain values, in edge units."""
        values = asdict(self)
        approach = round(degrees(values.pop("largest_approach")), 9)
        return {**values, "interspaces": list(self.interspaces), "largest_approach_deg": approach}


def case_record(case, question):
    """Return {name: value} of one case: its build, and per interspace shares, difficulties and best aims.

    The same case and question give the same record to the last bit, in whatever process. A case that cannot
    be built or loaded gives {"refused": why}.
    """
    try:
        parameters = library.load(case).anatomy.parameters()
        anatomy = build_anatomy(parameters)
        answers = {name: _answer(anatomy, name, question) for name in question.interspaces}
    except ValueError as error:
        return {"case": case, "refused": " ".join(str(error).split())}
    build = {name: getattr(parameters, name) for name in PARAMETERS}
    build = {
        f"{name}_deg" if name in ANGLES else name: round(degrees(value), 6) if name in ANGLES else value
        for name, value in build.items()
    }
    return {"case": case, **build, "answers": answers}


def _answer(anatomy, interspace, question):
    needle = Needle(question.needle_length)
    rating = rate(
        anatomy, interspace, side=question.side, needle=needle, largest_approach=question.largest_approach
    )
    some = rating.joint or rating.alone
    return {
        "needle_difficulty": rating.needle_difficulty,
        "difficulty": rating.difficulty,
        "free_share": 0.0 if some is None else some.needle_share,
        "joint_share": 0.0 if some is None else some.share,
        "best_aim": None if rating.joint is None else _needle(anatomy, rating.joint.aim, needle),
    }


def _needle(anatomy, aim, needle):
    check = check_needle(anatomy, aim, needle)
    return {
        "entry_mm": [aim.entry_x, aim.entry_z],
        "approach_deg": degrees(aim.approach),
        "medial_deg": degrees(aim.medial),
        "angle_to_canal_deg": degrees(check.angle_to_canal),
        "to_epidural_space_mm": check.to_epidural,
        "least_clearance_mm": check.least_clearance,
        "offset_mm": check.lateral_offset,
    }
