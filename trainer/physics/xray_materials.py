"""How strongly materials attenuate, at the one energy that pictures are drawn at."""

from meshes.tables.loader import number


def attenuation(material):
    """Return the linear attenuation of a material of the table at its energy. [1/mm]"""
    return number("attenuation", f"{material}.attenuation")


def step(inside, outside="soft_tissue"):
    """Return the jump of attenuation at a surface between two materials. [1/mm]"""
    return attenuation(inside) - attenuation(outside)
