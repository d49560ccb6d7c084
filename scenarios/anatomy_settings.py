"""The `[anatomy]` table of a case: the parameters of the spine in edge units."""

from pydantic import Field, field_validator, model_validator

from meshes.findings import NAMES, VertebralCement, check_findings
from meshes.levels import COLUMN, check_level
from meshes.parameters import LIMITS, RIB_PAIRS, SpineParameters, check_gaps
from meshes.units import degrees, radians
from scenarios.finding_settings import AnyFinding, settings_of
from scenarios.refusals import Settings, inside, named, rule, together

_DEFAULT = SpineParameters()


def parameter_name(key):
    """Return the name inside of a key of the `anatomy` table: `scoliosis_deg` -> `scoliosis`."""
    return key.removesuffix("_deg").removesuffix("_mm")


def limits(key):
    """Return (low, high) of a key of the `anatomy` table in its own unit, or None where there is none."""
    bounds = LIMITS.get(parameter_name(key))
    return tuple(degrees(b) for b in bounds) if bounds and key.endswith("_deg") else bounds


class AnatomySettings(Settings):
    """The sliders of the spine in edge units; meaning and limits as in `meshes.parameters`."""

    stature_scale: float = _DEFAULT.stature_scale
    lumbar_lordosis_deg: float = round(degrees(_DEFAULT.lumbar_lordosis), 9)
    thoracic_kyphosis_deg: float = round(degrees(_DEFAULT.thoracic_kyphosis), 9)
    scoliosis_deg: float = round(degrees(_DEFAULT.scoliosis), 9)
    curve_top: str = _DEFAULT.curve_top
    curve_bottom: str = _DEFAULT.curve_bottom
    body_mass_index: float = _DEFAULT.body_mass_index
    skin_to_epidural_mm: float | None = _DEFAULT.skin_to_epidural
    window_scale: float = _DEFAULT.window_scale
    facet_hypertrophy: float = _DEFAULT.facet_hypertrophy
    spinous_overlap: float = _DEFAULT.spinous_overlap
    disc_loss: float = _DEFAULT.disc_loss
    flavum_scale: float = _DEFAULT.flavum_scale
    cord_shift_mm: float = _DEFAULT.cord_shift
    width_scale: float = _DEFAULT.width_scale
    canal_scale: float = _DEFAULT.canal_scale
    asymmetry: float = _DEFAULT.asymmetry
    bolster_deg: float = round(degrees(_DEFAULT.bolster), 9)
    rib_pairs: int = _DEFAULT.rib_pairs
    flavum_gaps: tuple[str, ...] = Field(default=_DEFAULT.flavum_gaps, strict=False)
    findings: tuple[AnyFinding, ...] = Field(default=(), strict=False)

    @field_validator("*")
    @classmethod
    def _within_limits(cls, value, info):
        bounds = limits(info.field_name)
        # Limits in degrees differ from the rounded ones in the last bit.
        return value if value is None or bounds is None else inside(value, *(round(b, 9) for b in bounds))

    @field_validator("curve_top", "curve_bottom")
    @classmethod
    def _modelled_level(cls, value):
        return named(check_level, value)

    @field_validator("rib_pairs")
    @classmethod
    def _counted(cls, value):
        return inside(value, RIB_PAIRS[0], RIB_PAIRS[-1])

    @field_validator("flavum_gaps")
    @classmethod
    def _modelled_interspaces(cls, value):
        return named(check_gaps, value)

    @field_validator("findings")
    @classmethod
    def _true_together(cls, value):
        together(check_findings, [settings.inside() for settings in value])
        return value

    @model_validator(mode="after")
    def _curve_has_two_ends(self):
        if COLUMN.index(self.curve_top) >= COLUMN.index(self.curve_bottom):
            raise rule(
                f"must have its curve_top above its curve_bottom, got {self.curve_top} and "
                f"{self.curve_bottom}: name the upper end vertebra as curve_top"
            )
        return self

    @model_validator(mode="after")
    def _cement_has_room(self):
        if any(settings.finding == NAMES[VertebralCement] for settings in self.findings):
            # Reading a case without cement shall not wait for the modules that draw bones.
            from meshes.fits import check_fits

            together(check_fits, self.parameters())
        return self

    @classmethod
    def of(cls, parameters):
        """Return the settings of SpineParameters, angles rounded to 1e-9 degrees."""
        values = {key: getattr(parameters, parameter_name(key)) for key in cls.model_fields}
        angles = {key: round(degrees(value), 9) for key, value in values.items() if key.endswith("_deg")}
        findings = tuple(settings_of(finding) for finding in parameters.findings)
        return cls(**{**values, **angles, "findings": findings})

    def parameters(self):
        """Return SpineParameters, in the units inside."""
        values = {key: getattr(self, key) for key in type(self).model_fields if key != "findings"}
        return SpineParameters(
            **{parameter_name(k): radians(v) if k.endswith("_deg") else v for k, v in values.items()},
            findings=tuple(settings.inside() for settings in self.findings),
        )
