"""Grouping of axles by spacing; the limit is 96 in (from memory)."""

import pytest

from calibration.calc.axle_groups import GROUP_LIMIT_M, AxleGroups, group_axles

FT = 0.3048


@pytest.mark.parametrize(
    ("spacings_m", "singles", "groups"),
    [
        ([], (0,), ()),
        ([5.0], (0, 1), ()),
        ([5.0, 1.3], (0,), ((1, 2),)),
        ([5.0, 1.3, 9.8, 1.25], (0,), ((1, 2), (3, 4))),
        ([5.0, 1.3, 9.8, 3.1], (0, 3, 4), ((1, 2),)),  # a spread axle is two singles
        ([1.9, 4.2, 1.3, 1.3], (), ((0, 1), (2, 3, 4))),  # twin steer, tridem
        ([8 * FT], (), ((0, 1),)),  # 96 in exactly is within
        ([8 * FT + 0.001], (0, 1), ()),
    ],
)
def test_groups(spacings_m, singles, groups):
    assert group_axles(spacings_m) == AxleGroups(singles, groups)


def test_axles_of_groups_and_singles_are_all_axles():
    groups = group_axles([5.0, 1.3, 9.8, 3.1])
    assert sorted((*groups.singles, *groups.of_groups)) == [0, 1, 2, 3, 4]


def test_the_limit_can_be_another():
    assert group_axles([2.0], group_limit_m=1.8).groups == ()
    assert pytest.approx(2.4384) == GROUP_LIMIT_M
