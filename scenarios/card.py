"""The patient card of a case, and what a careful reader decides after reading it."""

from typing import Literal

from pydantic import Field, field_validator, model_validator

from scenarios.refusals import Settings, inside, rule

AGE = (18, 100)
LONGEST_TEXT = 1000
# What of the card, and of the slices, can be opened; a careful reader opens all.
ITEMS = (
    "story",
    "pain map",
    "medicines",
    "consent",
    "infection",
    "implants",
    "allergies",
    "slices at the entry",
    "slices up to the target",
)
# Why a case is not done today, in the words that a trainee chooses from.
REASONS = (
    "antithrombotics",
    "infection",
    "consent",
    "allergy",
    "implanted device",
    "stenosis",
    "no way to the canal",
    "mental health",
    "pregnancy",
)
REGIONS = (
    "low back",
    "left buttock",
    "right buttock",
    "left thigh",
    "right thigh",
    "left lower leg",
    "right lower leg",
    "left foot",
    "right foot",
)


def text_of(value):
    """Return a text, or refuse one that says nothing or far too much."""
    if not value.strip() or len(value) > LONGEST_TEXT:
        raise rule(f"must hold 1 to {LONGEST_TEXT} characters, got {len(value.strip())}: write a few words")
    return value


class Medicine(Settings):
    """One medicine of the patient.

    Parameters
    ----------
    name : str
    antithrombotic : bool
        Whether it thins the blood.
    stopped_days : float, optional
        Since the last dose; left out while it is taken.
    """

    name: str
    antithrombotic: bool = False
    stopped_days: float | None = None

    _says_something = field_validator("name")(text_of)

    @field_validator("stopped_days")
    @classmethod
    def _plausible(cls, value):
        return value if value is None else inside(value, 0.0, 365.0)


class PatientCard(Settings):
    """What hangs on the wall: everything here is invented.

    Parameters
    ----------
    age : int
        [years]
    sex : str
    pain : tuple of str
        The pain map, from `REGIONS`.
    medicines : tuple of Medicine
    consent, infection, implants, allergies, slices : str
        In words; `slices` is the reader's note to the planning slices.
    """

    age: int = 50
    sex: Literal["woman", "man"] = "woman"
    pain: tuple[str, ...] = Field(default=("low back", "left lower leg", "right lower leg"), strict=False)
    medicines: tuple[Medicine, ...] = Field(default=(), strict=False)
    consent: str = "signed, understood"
    infection: str = "none known"
    implants: str = "none"
    allergies: str = "none known"
    slices: str = "no note"

    _texts = field_validator("consent", "infection", "implants", "allergies", "slices")(text_of)

    @field_validator("age")
    @classmethod
    def _adult(cls, value):
        return inside(value, *AGE)

    @field_validator("pain")
    @classmethod
    def _regions(cls, value):
        if wrong := [region for region in value if region not in REGIONS]:
            raise rule(f"must be taken from {', '.join(REGIONS)}, got {wrong[0]!r}: name the region so")
        if not value:
            raise rule("must hold at least one region, got an empty list: name where it hurts")
        return value


class Decision(Settings):
    """What a careful resident decides: go on, put the case off, or decline it.

    Parameters
    ----------
    expected : str
        "proceed", "defer" or "refuse".
    reasons : tuple of str
        Any of which is right; none for a case that is done.
    why : str
        Told in the debriefing.
    """

    expected: Literal["proceed", "defer", "refuse"] = "proceed"
    reasons: tuple[str, ...] = Field(default=(), strict=False)
    why: str = "nothing on the card speaks against it"

    _why = field_validator("why")(text_of)

    @field_validator("reasons")
    @classmethod
    def _known(cls, value):
        if wrong := [reason for reason in value if reason not in REASONS]:
            raise rule(f"must be taken from {', '.join(REASONS)}, got {wrong[0]!r}: name the reason so")
        return value

    @model_validator(mode="after")
    def _reason_where_needed(self):
        if (self.expected == "proceed") == bool(self.reasons):
            raise rule(
                "must have reasons where the case is put off or declined and none where it is done, "
                f"got {self.expected} with {len(self.reasons)}: correct one of them"
            )
        return self
