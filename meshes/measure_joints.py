"""How close neighbouring bones come in a posture: the least clearance, negative where they overlap.

Bones of `build_anatomy` keep apart in every posture, because they give way to each other (see
`meshes.joint_carving`); bones that were only moved (`Anatomy.with_pose`) can overlap by 1-5 mm in a strong
one: lordosis of 70 degrees, scoliosis from 20, a third of the disc height lost.
"""

from meshes.levels import INTERSPACES, split_interspace


def measure_joints(anatomy, interspaces=INTERSPACES):
    """Return {interspace: least distance between its two bones [mm]}, negative where they overlap.

    Measured from the vertices of the lower bone, 0.8 mm apart, in the distance grid of the upper one;
    clearances beyond the reach of the grid (6 mm) are lower bounds.
    """
    found = {}
    for name in interspaces:
        upper, lower = split_interspace(name)
        points = anatomy.poses[lower].apply(anatomy.bones[lower].vertices)
        found[name] = float(anatomy.packed.only((upper,)).nearest(points).min())
    return found
