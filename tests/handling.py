"""Leads handled at random in ten bodies, healthy and not, and what came of it."""

from dataclasses import dataclass, field

import numpy as np

from meshes import findings as f
from meshes.anatomy import Anatomy, build_anatomy
from meshes.units import radians
from trainer.physics.lead import advance, insert_lead, rotate, settle_on
from trainer.physics.mouth import mouth_from_placement

TURNS_DEG = (-180, -90, -45, -5, 5, 45, 90, 180)
# The hand looks again so often before it takes a lead that has not come to rest for what it is.
PATIENCE = 30
FINDINGS = (
    (),
    (f.CentralStenosis("T10-T11", 5.0),),
    (f.Adhesion("T11", friction=10.0, hold=15.0),),
    (f.Adhesion("T10", friction=5.0, hold=5.0, length=40.0), f.CentralStenosis("T9-T10", 3.0)),
    (f.EpiduralLipomatosis("T8", "T12", 4.0),),
)
POSTURES = (
    {"scoliosis": radians(35.0)},
    {"lumbar_lordosis": radians(20.0), "thoracic_kyphosis": radians(55.0)},
    {"lumbar_lordosis": radians(70.0), "flavum_scale": 1.8},
)
BUILDS = (
    {"findings": (f.Laminectomy("T10", scar=1.0),)},
    {"stature_scale": 0.88, "canal_scale": 0.9, "asymmetry": 0.8},
)


def bodies(anatomy):
    """Return the canals of ten bodies; `anatomy` is the ordinary one, whose bones most of them share."""
    ordinary = anatomy.parameters
    kept = [Anatomy(ordinary.with_changes(findings=some), anatomy.bones, anatomy.poses) for some in FINDINGS]
    kept += [anatomy.with_pose(**posture) for posture in POSTURES]
    kept += [build_anatomy(ordinary.with_changes(**build)) for build in BUILDS]
    return [body.canal for body in kept]


@dataclass
class Handled:
    """What came of some commands. Lengths in mm."""

    commands: int = 0
    unconverged: int = 0  # also after carrying on
    carried_on: int = 0
    overlap: float = 0.0
    stretch: float = 0.0
    iterations: list = field(default_factory=list)  # Newton steps of each command
    residuals: list = field(default_factory=list)  # of those that did not come to rest [N]

    def add(self, other):
        self.commands += other.commands
        self.unconverged += other.unconverged
        self.carried_on += other.carried_on
        self.overlap = max(self.overlap, other.overlap)
        self.stretch = max(self.stretch, other.stretch)
        self.iterations += other.iterations
        self.residuals += other.residuals


def random_lead(canal, rng):
    """Return a lead just out of a needle whose mouth does not lie against the wall."""
    while True:
        mouth = mouth_from_placement(
            canal,
            interspace=str(rng.choice(["T12-L1", "L1-L2", "T11-T12"])),
            offset=rng.uniform(-4.0, 4.0),
            approach=radians(rng.uniform(22.0, 45.0)),
            medial=radians(rng.uniform(-5.0, 20.0)),
        )
        lead = insert_lead(canal, mouth)
        if lead.largest_overlap < 0.02:
            return lead


def random_command(lead, rng, *, highest):
    """Return the lead after one command; it is only pulled once its tip lies above station `highest`."""
    kind, amount = rng.random(), float(rng.integers(1, 11))
    if kind < 0.3:
        return rotate(lead, radians(float(rng.choice(TURNS_DEG))))
    if kind < 0.45 or lead.place[-1, 0] > highest:
        return advance(lead, -min(amount, lead.fed - 4.0))
    return advance(lead, amount)


def handled(canal, *, seed, commands=60):
    """Return the Handled of a lead under random commands; raises AssertionError for a number that is none."""
    rng = np.random.default_rng(seed)
    lead, came = random_lead(canal, rng), Handled()
    for _ in range(commands):
        lead = random_command(lead, rng, highest=canal.valid_span[1] - 12.0)
        came.commands += 1
        came.iterations.append(lead.iterations)
        came.carried_on += not lead.converged
        for _ in range(PATIENCE):
            if lead.converged:
                break
            lead = settle_on(lead)
        assert np.isfinite(lead.nodes).all() and np.isfinite(lead.push)
        if not lead.converged:
            came.unconverged += 1
            came.residuals.append(lead.residual)
        came.overlap = max(came.overlap, lead.largest_overlap)
        lengths = np.linalg.norm(np.diff(lead.nodes, axis=0), axis=1)
        came.stretch = max(came.stretch, float(np.abs(lengths / lead.shaft.rest_lengths - 1.0).max()))
    return came
