"""How smooth a movement is: spectral arc length and log dimensionless jerk of its speed."""

import math

import numpy as np

CUT_OFF = 10.0  # [Hz]
THRESHOLD = 0.05  # of the spectrum's peak
PADDING = 4  # powers of two


def spectral_arc_length(speed, *, rate):
    """Return the spectral arc length of a speed profile: negative, nearer to 0 is smoother.

    Does not change with amplitude; nearly none with duration. At least two samples.

    Parameters
    ----------
    speed : (n,) float
    rate : float
        Samples a second. [Hz]

    Returns
    -------
    float
        nan for a speed that is zero throughout.

    Source
    ------
    Balasubramanian, Melendez-Calderon, Roby-Brami, Burdet, J Neuroeng Rehabil 2015;12:112.
    """
    speed = np.asarray(speed, float)
    size = 2 ** (math.ceil(math.log2(len(speed))) + PADDING)
    spectrum = np.abs(np.fft.rfft(speed, size))
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    if not spectrum.max() > 0.0:
        return math.nan
    kept = frequency <= CUT_OFF
    spectrum, frequency = spectrum[kept] / spectrum.max(), frequency[kept]
    above = np.nonzero(spectrum >= THRESHOLD)[0]
    part = slice(above[0], above[-1] + 1)
    spectrum, frequency = spectrum[part], frequency[part]
    if len(frequency) < 2:
        return 0.0
    across = np.diff(frequency) / (frequency[-1] - frequency[0])
    return -float(np.hypot(across, np.diff(spectrum)).sum())


def log_dimensionless_jerk(speed, *, rate):
    """Return -ln of the integrated squared jerk, made dimensionless by duration and peak speed.

    nan for a speed that is zero throughout. Source as for the spectral arc length.
    """
    speed = np.asarray(speed, float)
    peak = float(np.abs(speed).max())
    if not peak > 0.0:
        return math.nan
    step = 1.0 / rate
    jerk = np.gradient(np.gradient(speed, step), step)
    duration = (len(speed) - 1) * step
    return -math.log(duration**3 / peak**2 * float(np.trapezoid(jerk**2, dx=step)))
