"""COST 323, European WIM Specification 3.0 (1999): classes of sites.

Confirmed, by a public handbook that quotes the specification (Jacob, OBrien and Jehaes,
2002): slopes, radius and the 50 m and 25 m. From memory: rutting, roughness index,
deflection, and the accuracy that each class can carry.
"""

import pytest

from sites.calc.suitability.base import CONFIRMED, SuitabilitySettings
from sites.calc.suitability.cost_323 import ACCURACY, STANDARD
from sites.calc.types import PavementKind, SiteClass
from tests.sites.calc.build import curve, survey
from wimprog.lib.units import UnitSystem

SI = SuitabilitySettings(unit_system=UnitSystem.SI)
NONE = "no site class"


def supported(facts, key):
    words = STANDARD.judge(facts, wanted="Type I", settings=SI).line_of(key).carries
    return words.split(":")[0].removeprefix("site class ")


@pytest.mark.parametrize(
    ("grade_pct", "expected"),  # < 1, < 2, < 2 %: confirmed
    [(0.99, "I"), (1.0, "II"), (1.99, "II"), (-1.99, "II"), (2.0, NONE), (-2.0, NONE)],
)
def test_longitudinal_slope(grade_pct, expected):
    assert supported(survey(grade_pct=grade_pct), "grade") == expected


@pytest.mark.parametrize(
    ("slope_pct", "expected"), [(2.99, "I"), (3.0, NONE), (-3.0, NONE)]
)
def test_transverse_slope_below_3_percent(slope_pct, expected):  # confirmed
    assert supported(survey(cross_slope_pct=slope_pct), "cross_slope") == expected


@pytest.mark.parametrize(("radius_m", "expected"), [(1000.1, "I"), (1000.0, NONE)])
def test_radius_above_1000_m(radius_m, expected):  # confirmed
    assert supported(curve(radius_m), "curve_radius") == expected


def test_slope_has_to_hold_50_m_before_and_25_m_after():  # confirmed
    assert supported(survey(geometry_before_m=50.0), "geometry_before") == "I"
    assert supported(survey(geometry_before_m=49.9), "geometry_before") == NONE
    assert supported(survey(geometry_after_m=25.0), "geometry_after") == "I"
    assert supported(survey(geometry_after_m=24.9), "geometry_after") == NONE


@pytest.mark.parametrize(
    ("field", "key", "limits"),  # from memory
    [
        ("rutting_mm", "rutting", (4.0, 7.0, 10.0)),
        ("iri_m_per_km", "iri", (1.3, 2.6, 4.0)),
    ],
)
def test_pavement_limits_belong_to_the_better_class(field, key, limits):
    for at, expected, beyond in zip(
        limits, ("I", "II", "III"), ("II", "III", NONE), strict=True
    ):
        assert supported(survey(**{field: at}), key) == expected
        assert supported(survey(**{field: at + 0.01}), key) == beyond


@pytest.mark.parametrize(
    ("kind", "deflections", "differences"),  # from memory, flexible the least certain
    [
        (PavementKind.SEMI_RIGID, (15, 20, 30), (3, 5, 10)),
        (PavementKind.ALL_BITUMEN, (20, 35, 50), (4, 8, 12)),
        (PavementKind.FLEXIBLE, (30, 50, 75), (7, 10, 15)),
    ],
)
def test_deflection_by_kind_of_pavement(kind, deflections, differences):
    classes = ("I", "II", "III", NONE)
    for i in range(3):
        facts = survey(
            pavement_kind=kind,
            deflection_hundredths_mm=float(deflections[i]),
            deflection_difference_hundredths_mm=-float(differences[i]),
        )
        assert supported(facts, "deflection") == classes[i]
        assert supported(facts, "deflection_difference") == classes[i]
        facts = survey(
            pavement_kind=kind,
            deflection_hundredths_mm=deflections[i] + 0.1,
            deflection_difference_hundredths_mm=differences[i] + 0.1,
        )
        assert supported(facts, "deflection") == classes[i + 1]
        assert supported(facts, "deflection_difference") == classes[i + 1]


def test_accuracy_that_a_site_class_can_carry():  # from memory
    assert "A(5)" in ACCURACY[SiteClass.EXCELLENT]
    assert ACCURACY[SiteClass.GOOD].startswith("B+(7), B(10)")
    assert ACCURACY[SiteClass.ACCEPTABLE].startswith("C(15)")


def test_geometry_is_confirmed_and_the_pavement_is_not():
    lines = STANDARD.judge(survey(), wanted="Type I").lines
    standing = {line.key: line.judgement.standing for line in lines}
    confirmed = {key for key, words in standing.items() if words == CONFIRMED}
    assert confirmed == {
        "grade",
        "cross_slope",
        "curve_radius",
        "geometry_before",
        "geometry_after",
    }
