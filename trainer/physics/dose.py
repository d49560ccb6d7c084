"""What the patient has been given so far: a value that only grows."""

from dataclasses import dataclass, replace

from meshes.tables.loader import number
from trainer.physics.xray_collimation import OPEN
from trainer.physics.xray_technique import reference_distance


def check_rate(frames_per_second):
    """Return a pulse rate [1/s]; raises ValueError if it is not positive or faster than continuous view."""
    fastest = number("dose", "rate.continuous")
    if not 0.0 < frames_per_second <= fastest:
        raise ValueError(
            f"frames_per_second must lie between 0 and {fastest:g}, got {frames_per_second!r}: "
            "choose a pulse rate"
        )
    return frames_per_second


@dataclass(frozen=True)
class DoseRecord:
    """Sums since the beginning. An estimate from the technique, as a C-arm without a meter shows it.

    Parameters
    ----------
    images : int
        Single pictures.
    frames : int
        Pulses of live viewing.
    live_seconds : float
        How long the pedal was down. [s]
    air_kerma : float
        At the entrance reference point, free in air, without backscatter. [mGy]
    kerma_area : float
        Air kerma times the area of the beam; the same at any distance. [mGy mm2]
    """

    images: int = 0
    frames: int = 0
    live_seconds: float = 0.0
    air_kerma: float = 0.0
    kerma_area: float = 0.0

    @property
    def kerma_area_gray_square_centimetres(self):
        """The kerma-area product in the unit that is read aloud. [Gy cm2]"""
        return self.kerma_area * 1e-5

    def with_image(self, technique, *, carm, collimation=OPEN):
        """Return the record after one single picture."""
        return replace(self._with(technique, carm, collimation, 1.0), images=self.images + 1)

    def with_live(self, seconds, technique, *, carm, collimation=OPEN, frames_per_second=None):
        """Return the record after live viewing; the part of a pulse that has begun counts as that part.

        Raises
        ------
        ValueError
            If `seconds` is negative or the rate is not positive.
        """
        rate = number("dose", "rate.ordinary") if frames_per_second is None else frames_per_second
        if not seconds >= 0.0:
            raise ValueError(f"seconds must not be negative, got {seconds!r}: time runs on")
        grown = self._with(technique, carm, collimation, seconds * check_rate(rate))
        return replace(
            grown,
            live_seconds=self.live_seconds + seconds,
            frames=self.frames + round(seconds * rate),
        )

    def _with(self, technique, carm, collimation, exposures):
        kerma = technique.reference_kerma * exposures
        # The beam widens as the square of the distance while its kerma falls by it.
        side = carm.image_size * reference_distance(carm) / carm.source_to_detector
        area = collimation.open_share * side**2
        return replace(self, air_kerma=self.air_kerma + kerma, kerma_area=self.kerma_area + kerma * area)


def words(record):
    """Return one line for the screen and the log."""
    return (
        f"{record.images} images, {record.live_seconds:.0f} s live, "
        f"{record.air_kerma:.1f} mGy at the entrance, "
        f"{record.kerma_area_gray_square_centimetres:.2f} Gy cm² (estimates)"
    )
