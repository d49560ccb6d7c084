"""Attenuation against published tables, path lengths on real bones against an independent ray caster."""

from decimal import Decimal

import numpy as np
import pytest
import trimesh
import xraydb

from meshes.levels import LEVELS
from meshes.tables.loader import number, numbers, table
from meshes.units import radians
from trainer.physics.xray_carm import CArm, isocentre_at
from trainer.physics.xray_raster import path_attenuation
from trainer.physics.xray_surfaces import Surfaces

MATERIALS = sorted({key.split(".")[0] for key in table("attenuation") if key.endswith(".density")})
# g/cm³ times cm²/g is 1/cm; the program counts in 1/mm.
PER_MM = 0.1


def from_xraydb(material, kilo_electron_volts):
    fractions = numbers("attenuation", f"{material}.fraction")
    mass = sum(share * float(xraydb.mu_elam(e, 1e3 * kilo_electron_volts)) for e, share in fractions.items())
    return mass * number("attenuation", f"{material}.density") * PER_MM


@pytest.mark.parametrize("material", MATERIALS)
def test_attenuation_table(material):
    """Elam, Ravel, Sieber, Radiat Phys Chem 2002;63:121, through xraydb, at 65, 70 and 60 keV."""
    assert number("attenuation", "energy") == 65.0
    figure = table("attenuation")[f"{material}.attenuation"]
    for got, energy in ((figure.value, 65.0), (figure.low, 70.0), (figure.high, 60.0)):
        # Four digits are kept.
        assert got == pytest.approx(from_xraydb(material, energy), rel=6e-4)


@pytest.mark.parametrize("material", MATERIALS)
def test_compositions_are_whole(material):
    assert sum(numbers("attenuation", f"{material}.fraction").values()) == pytest.approx(1.0, abs=2e-3)


def printed(text):
    """Return a number as printed and half a unit of its last digit."""
    digits = Decimal(text)
    return float(digits), 0.5 * 10.0 ** digits.as_tuple().exponent


@pytest.mark.parametrize(("material", "mass_attenuation"), [("water", "0.2059"), ("cortical_bone", "0.3148")])
def test_mass_attenuation_at_60_kev(material, mass_attenuation):
    """Hubbell and Seltzer, NIST tables of X-ray mass attenuation coefficients, cm²/g (from memory)."""
    value, half_digit = printed(mass_attenuation)
    got = table("attenuation")[f"{material}.attenuation"].high / PER_MM
    assert got / number("attenuation", f"{material}.density") == pytest.approx(value, abs=2.0 * half_digit)


def ray_casting(mesh, carm):
    """Return path lengths (pixels, pixels) by embree through trimesh, and which rays balance."""
    rays = carm.rays().reshape(-1, 3)
    starts = np.broadcast_to(carm.source, rays.shape)
    faces, ray, places = mesh.ray.intersects_id(starts, rays, multiple_hits=True, return_locations=True)
    sign = np.sign(np.einsum("ij,ij->i", mesh.face_normals[faces], rays[ray]))
    distance = np.einsum("ij,ij->i", places - carm.source, rays[ray])
    length = np.bincount(ray, sign * distance, minlength=len(rays))
    balanced = np.bincount(ray, sign, minlength=len(rays)) == 0.0
    shape = (carm.pixels, carm.pixels)
    return length.reshape(shape), balanced.reshape(shape)


@pytest.mark.parametrize(("orbit_deg", "tilt_deg"), [(0.0, 0.0), (90.0, 0.0), (50.0, -15.0)])
def test_real_bones_against_embree(anatomy, orbit_deg, tilt_deg):
    """Wald, Woop, Benthin, Johnson, Ernst, Embree, ACM Trans Graph 2014;33:143; single precision."""
    levels = [LEVELS[k] for k in (5, 6, 7)]
    mesh = trimesh.util.concatenate(
        [trimesh.Trimesh(*anatomy.bone_meshes[level], process=False) for level in levels]
    )
    carm = CArm(isocentre_at(anatomy, "T12"), radians(orbit_deg), radians(tilt_deg), 220.0, 160)
    assert mesh.ray.__class__.__module__.endswith("ray_pyembree")
    wanted, balanced = ray_casting(mesh, carm)
    assert balanced.mean() > 0.999
    jump = number("attenuation", "cortical_bone.attenuation") - number(
        "attenuation", "soft_tissue.attenuation"
    )
    got = path_attenuation(Surfaces(mesh.vertices, mesh.faces, jump), carm)
    error = (got - jump * wanted)[balanced]
    assert wanted.max() > 40.0
    assert np.sqrt(np.mean(error**2)) < 1e-3
    assert abs(np.median(error)) < 1e-6
