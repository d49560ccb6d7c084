"""Find a rod's equilibrium: Newton's method on its incremental potential, with a banded Cholesky factor.

The loop is Python around two compiled kernels, which compiles in half the time of one big kernel and runs
as fast. Where the Hessian is not definite (buckling, snapping through) the diagonal is raised until it is.
"""

import math
from dataclasses import dataclass

import numpy as np

from meshes.compiled import kernel
from trainer.physics.rod_contact import remember_track, touch
from trainer.physics.rod_energy import bend_and_twist, clear, dead_loads, hub_torque, stretch
from trainer.physics.rod_frames import move
from trainer.physics.rod_model import BANDWIDTH, Contacts, Curve, System, new_contacts, new_system

# A spin of one radian weighs like this many mm in the damped Newton step and in the residual.
SPIN_WEIGHT = 20.0
SPIN_ARM = 3.0
LARGEST_DAMPING = 1e6
LEAST_PIVOT = 1e-12
# The potential must fall by this share of what the slope promises, but for rounding.
SUFFICIENT = 1e-4
# Its noise: foot points in the canal's chart are good to 1e-8 mm. [N·mm]
NOISE = 1e-9
LEAST_STEP = 1e-7
HALVINGS = 14
REJECTIONS = 6


@dataclass(frozen=True)
class SolverLimits:
    """When to stop, and how far to go at once.

    Parameters
    ----------
    iterations : int
    tolerance : float
        Largest force left on a node. [N]
    largest_step, largest_turn : float
        Of one node and one edge in one Newton step. [mm], [rad]

    Raises
    ------
    ValueError
        If one is not positive.
    """

    iterations: int = 60
    tolerance: float = 2e-4
    largest_step: float = 1.0
    largest_turn: float = 0.6

    def __post_init__(self):
        for name in ("iterations", "tolerance", "largest_step", "largest_turn"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be positive, got {getattr(self, name)!r}: choose a larger one")


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """Where the rod came to rest, or the last place tried when `converged` is False."""

    curve: Curve
    system: System
    contacts: Contacts
    energy: float
    residual: float
    iterations: int
    indefinite: int
    converged: bool


@kernel
def assemble(start, step, share, problem, curve, system, contacts):
    """Move to `curve` by `share` of `step`; return the incremental potential there.

    Writes its gradient and exact Hessian (but see rod_contact) into `system`, and the contacts.
    """
    move(start, step, share, curve)
    clear(system)
    energy = stretch(curve, problem.elastic, system)
    energy += bend_and_twist(curve, problem.elastic, system)
    energy += hub_torque(curve.spin[0], problem.hub, system)
    energy += touch(curve, problem, system, contacts)
    energy += remember_track(curve.nodes, problem.tissue, problem.nodal, problem.lagged, system)
    return energy + dead_loads(curve.nodes, problem.loads, system.gradient)


@kernel
def hold(system, held):
    """Fix the held unknowns; return the largest force left on the others."""
    band = system.band
    residual = 0.0
    for i in range(held.shape[0]):
        if held[i]:
            for k in range(BANDWIDTH + 1):
                band[i, k] = 0.0
                band[max(i - k, 0), k] = 0.0
            band[i, 0] = 1.0
        else:
            force = abs(system.gradient[i])
            residual = max(residual, force / SPIN_ARM if i % 4 == 3 else force)
    return residual


@kernel
def cholesky(band, size):
    """Factor a banded matrix in place; return False if it is not positive definite.

    `band` has BANDWIDTH rows of room beyond `size`, so that the inner loops need no end test.
    """
    for j in range(size):
        pivot = band[j, 0]
        if not pivot > LEAST_PIVOT:
            return False
        pivot = math.sqrt(pivot)
        band[j, 0] = pivot
        for a in range(1, BANDWIDTH + 1):
            band[j, a] /= pivot
        for a in range(1, BANDWIDTH + 1):
            entry = band[j, a]
            for b in range(a, BANDWIDTH + 1):
                band[j + a, b - a] -= band[j, b] * entry
    return True


@kernel
def substitute(factor, right):
    """Solve in place with a banded Cholesky factor."""
    size = right.shape[0]
    for j in range(size):
        right[j] /= factor[j, 0]
        for a in range(1, min(BANDWIDTH + 1, size - j)):
            right[j + a] -= factor[j, a] * right[j]
    for j in range(size - 1, -1, -1):
        value = right[j]
        for a in range(1, min(BANDWIDTH + 1, size - j)):
            value -= factor[j, a] * right[j + a]
        right[j] = value / factor[j, 0]


@kernel
def newton_step(system, held, damping, factor, step):
    """Write the Newton step; return the damping that made the Hessian definite, and how often it was not."""
    size = held.shape[0]
    indefinite = 0
    while True:
        for i in range(size):
            for k in range(BANDWIDTH + 1):
                factor[i, k] = system.band[i, k]
            if not held[i]:
                factor[i, 0] += damping * (SPIN_WEIGHT if i % 4 == 3 else 1.0)
        if cholesky(factor, size) or damping > LARGEST_DAMPING:
            break
        indefinite += 1
        damping = max(4.0 * damping, 0.01)
    for i in range(size):
        step[i] = 0.0 if held[i] else -system.gradient[i]
    substitute(factor, step)
    return damping, indefinite


@kernel
def step_size(system, held, step):
    """Return the largest move and turn of a step, and the slope of the potential along it."""
    largest_move, largest_turn, slope = 0.0, 0.0, 0.0
    for i in range(held.shape[0]):
        if held[i]:
            continue
        slope += system.gradient[i] * step[i]
        if i % 4 == 3:
            largest_turn = max(largest_turn, abs(step[i]))
        else:
            largest_move = max(largest_move, abs(step[i]))
    return largest_move, largest_turn, slope


def clamped(count):
    """Return which of the 4n unknowns are held: both nodes in the needle, and the spin that no edge has."""
    held = np.zeros(4 * count, bool)
    held[0:3] = held[4:7] = held[-1] = True
    return held


def find_equilibrium(curve, problem, *, limits=None, stations=None):
    """Return the Equilibrium near `curve`, its first two nodes held.

    Quasi-static: no inertia. From a symmetric start a symmetric solution is found, stable or not.

    Parameters
    ----------
    curve : Curve
        Start; it is not changed.
    problem : Problem
    limits : SolverLimits, optional
    stations : (n,) float, optional
        Guesses of each node's station in the canal's chart. [mm]

    Returns
    -------
    Equilibrium
        `converged` is False if the iterations ran out or no step lowered the potential.
    """
    limits = limits or SolverLimits()
    descent = _Descent(curve, problem, stations)
    while not descent.at_rest(limits) and descent.iterations < limits.iterations:
        if descent.rejections > REJECTIONS:
            break
        descent.step(limits)
    return Equilibrium(
        *descent.here,
        descent.energy,
        descent.residual,
        descent.iterations,
        descent.indefinite,
        descent.at_rest(limits),
    )


class _Descent:
    """Newton's way downhill: two sets of buffers, `here` and a `trial`, which change places."""

    def __init__(self, curve, problem, stations):
        count = len(curve.nodes)
        self.problem, self.held = problem, clamped(count)
        self.here, self.trial = (
            (Curve(*map(np.zeros_like, curve)), new_system(count), new_contacts(count, stations=stations))
            for _ in range(2)
        )
        self.move, self.factor = np.zeros(4 * count), np.empty_like(self.here[1].band)
        self.energy = assemble(curve, self.move, 0.0, problem, *self.here)
        self.residual = hold(self.here[1], self.held)
        self.damping, self.still = 0.0, False
        self.iterations = self.indefinite = self.rejections = 0

    def at_rest(self, limits):
        """Return whether no force is left, or an undamped step would go nowhere."""
        return self.residual < limits.tolerance or self.still

    def step(self, limits):
        """Go one Newton step downhill; if no part of it lowers the potential, damp the next one more."""
        system = self.here[1]
        self.iterations += 1
        self.damping, failures = newton_step(system, self.held, self.damping, self.factor, self.move)
        self.indefinite += failures
        largest_move, largest_turn, slope = step_size(system, self.held, self.move)
        self.still = self.damping == 0.0 and max(largest_move, largest_turn) < LEAST_STEP
        share = self._search(limited_share(limits, largest_move, largest_turn), slope)
        if share == 0.0:
            self.rejections += 1
            self.damping = max(10.0 * self.damping, 0.1)
            return
        self.here, self.trial = self.trial, self.here
        self.residual = hold(self.here[1], self.held)
        self.damping = relaxed(self.damping, share)

    def _search(self, share, slope):
        """Halve the step until the potential falls enough; return its share, 0 if it never does.

        `trial` then holds the new place with its gradient and Hessian: nothing is computed twice.
        """
        for _ in range(HALVINGS):
            energy = assemble(self.here[0], self.move, share, self.problem, *self.trial)
            if energy <= self.energy + SUFFICIENT * share * slope + NOISE:
                self.energy = energy
                return share
            share *= 0.5
        return 0.0


def limited_share(limits, largest_move, largest_turn):
    """Return the share of a step that keeps within the limits."""
    move, turn = max(largest_move, LEAST_STEP), max(largest_turn, LEAST_STEP)
    return min(1.0, limits.largest_step / move, limits.largest_turn / turn)


def relaxed(damping, share):
    """Return the damping for the next step: less after a full step, more after a short one."""
    if share > 0.9:
        return 0.1 * damping if damping > 1e-4 else 0.0
    return max(2.0 * damping, 0.003) if share < 0.3 else damping
