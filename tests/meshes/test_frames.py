import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from meshes.frames import Pose, about_x, about_y, about_z, unit

ANGLE = st.floats(-3.2, 3.2)
POINT = st.lists(st.floats(-300, 300), min_size=3, max_size=3).map(np.array)


@pytest.mark.parametrize(("ours", "axis"), [(about_x, "x"), (about_y, "y"), (about_z, "z")])
@given(angle=ANGLE)
def test_rotations_agree_with_scipy(ours, axis, angle):
    np.testing.assert_allclose(ours(angle), Rotation.from_euler(axis, angle).as_matrix(), atol=1e-12)


@given(a=ANGLE, b=ANGLE, shift=POINT, point=POINT)
def test_inverse_and_product(a, b, shift, point):
    outer_from_middle = Pose(about_x(a) @ about_z(b), shift)
    middle_from_inner = Pose(about_y(b), -2.0 * shift)
    np.testing.assert_allclose(
        outer_from_middle.inverse().apply(outer_from_middle.apply(point)), point, atol=1e-9
    )
    both = (outer_from_middle @ middle_from_inner).apply(point)
    np.testing.assert_allclose(both, outer_from_middle.apply(middle_from_inner.apply(point)), atol=1e-9)


def test_turn_leaves_the_shift_out():
    pose = Pose(about_z(0.3), np.array([5.0, 6.0, 7.0]))
    np.testing.assert_allclose(pose.turn([1.0, 0.0, 0.0]), about_z(0.3)[:, 0])


def test_unit():
    np.testing.assert_allclose(unit([3.0, 0.0, 4.0]), [0.6, 0.0, 0.8])
    with pytest.raises(ValueError, match="must have a direction, got zero length"):
        unit([0.0, 0.0, 0.0])
