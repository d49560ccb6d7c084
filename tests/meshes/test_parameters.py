import pytest

from meshes.levels import INTERSPACES, check_interspace, check_level, level_below, split_interspace
from meshes.parameters import LIMITS, NAMES, SpineParameters
from meshes.units import degrees, radians


@pytest.mark.parametrize("name", LIMITS)
def test_limits_refuse_and_accept(name):
    low, high = LIMITS[name]
    for value in (low, high):
        assert getattr(SpineParameters(**{name: value}), name) == value
    for value in (low - 0.01, high + 0.01):
        with pytest.raises(ValueError, match=f"{name}.* must lie between .*, got .*: choose a value inside"):
            SpineParameters(**{name: value})


def test_an_angle_out_of_range_is_told_in_degrees():
    with pytest.raises(ValueError, match="lumbar_lordosis_deg must lie between 10 and 80, got 95"):
        SpineParameters(lumbar_lordosis=radians(95.0))


def test_not_a_number_is_refused():
    with pytest.raises(ValueError, match="window_scale must lie between"):
        SpineParameters(window_scale=float("nan"))


def test_changes_make_a_copy():
    first = SpineParameters()
    second = first.with_changes(body_mass_index=40.0)
    assert (first.body_mass_index, second.body_mass_index) == (25.0, 40.0)
    assert set(LIMITS) < set(NAMES)


def test_levels():
    assert check_level(" t8 ") == "T8"
    assert level_below("L5") == "S1"
    with pytest.raises(ValueError, match="level must be one of T6, .* got 'T13': name a modelled level"):
        check_level("T13")


@pytest.mark.parametrize("text", ["T12-L1", "t12–l1", "T12/L1"])
def test_interspaces(text):
    assert check_interspace(text) == "T12-L1"
    assert split_interspace(text) == ("T12", "L1")


def test_unknown_interspace_lists_what_is_allowed():
    assert len(INTERSPACES) == 12
    with pytest.raises(
        ValueError, match="interspace must be one of T6-T7, .* got 'T12-L2': name two neighbouring"
    ):
        check_interspace("T12-L2")


def test_units_of_numbers_and_arrays():
    assert degrees(radians(90.0)) == 90.0
    assert list(degrees(radians([0.0, 180.0]))) == [0.0, 180.0]


def test_gaps_of_the_flavum_are_named_once_each_head_first():
    assert SpineParameters(flavum_gaps=("L1/L2", "t9-t10", "L1-L2")).flavum_gaps == ("T9-T10", "L1-L2")
    assert SpineParameters(flavum_gaps=[]).flavum_gaps == ()
    with pytest.raises(ValueError, match="interspace must be one of T6-T7, .* got 'L1-L3'"):
        SpineParameters(flavum_gaps=("L1-L3",))
    with pytest.raises(ValueError, match="flavum_gaps must be a list of interspaces, got 'L1-L2': put the"):
        SpineParameters(flavum_gaps="L1-L2")


def test_parameters_with_findings_can_be_keys():
    assert len({SpineParameters(flavum_gaps=("L1-L2",)), SpineParameters(flavum_gaps=["L1-L2"])}) == 1
