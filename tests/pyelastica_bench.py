"""A cantilever in PyElastica, a general-purpose Cosserat rod library, brought to rest by damping."""

import warnings

import numpy as np
from rods import BENDING, LENGTH

with warnings.catch_warnings():
    # Its own use of other packages is not ours to mend.
    warnings.simplefilter("ignore", DeprecationWarning)
    import elastica as pyelastica

ELEMENTS = 20
LOAD = 2.0  # F L^2 / EI
RADIUS = 0.65
# The mass only sets the pace at which it comes to rest. [N s^2 / mm]
ELEMENT_MASS = 2e-7


class Bench(pyelastica.BaseSystemCollection, pyelastica.Constraints, pyelastica.Forcing, pyelastica.Damping):
    """A PyElastica simulation with a clamp, a load and damping."""


def damped_tip():
    """Return PyElastica's tip (y, z) [mm] of a cantilever under a dead load, after eight time constants."""
    edge, area = LENGTH / ELEMENTS, np.pi * RADIUS**2
    modulus, density = BENDING / (np.pi * RADIUS**4 / 4.0), ELEMENT_MASS / (edge * area)
    along, across = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
    bench = Bench()
    rod = pyelastica.CosseratRod.straight_rod(
        ELEMENTS,
        np.zeros(3),
        along,
        across,
        LENGTH,
        RADIUS,
        density,
        youngs_modulus=modulus,
        shear_modulus=modulus / 3.0,
    )
    bench.append(rod)
    bench.constrain(rod).using(
        pyelastica.OneEndFixedBC, constrained_position_idx=(0,), constrained_director_idx=(0,)
    )
    force = LOAD * BENDING / LENGTH**2 * across
    bench.add_forcing_to(rod).using(pyelastica.EndpointForces, np.zeros(3), force, ramp_up_time=1e-9)
    pace = 3.52 * np.sqrt(BENDING / (density * area * LENGTH**4))
    time_step = 0.2 * edge / np.sqrt(modulus / density)
    bench.dampen(rod).using(
        pyelastica.AnalyticalLinearDamper, damping_constant=2.0 * pace, time_step=time_step
    )
    bench.finalize()
    stepper, time = pyelastica.PositionVerlet(), np.float64(0.0)
    while time < 8.0 / pace:
        time = stepper.step(bench, time, time_step)
    return rod.position_collection[1:, -1]
