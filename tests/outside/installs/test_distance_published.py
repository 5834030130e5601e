"""Great-circle distances against values from elsewhere."""

import pytest

from installs.calc.upkeep.trips import EARTH_RADIUS_KM, Place, distance_km


def test_one_degree_of_a_meridian():
    """π R / 180 with the mean radius 6,371.0088 km (IUGG, from memory): 111.195 km."""
    one, other = Place("a", 45.0, 7.0), Place("b", 46.0, 7.0)
    assert distance_km(one, other) == pytest.approx(111.195, abs=5e-4)


def test_airports_example():
    """Williams, "Aviation Formulary", worked example (from memory): 33°57' N 118°24' W
    to 40°38' N 73°47' W is 0.623585 radians."""
    one = Place("a", 33 + 57 / 60, -118 - 24 / 60)
    other = Place("b", 40 + 38 / 60, -73 - 47 / 60)
    radians = distance_km(one, other) / EARTH_RADIUS_KM
    assert radians == pytest.approx(0.623585, abs=1e-6)


def test_the_far_side_of_the_earth():
    """Half a great circle, where rounding could leave the domain of arcsine."""
    one, other = Place("a", 0.0, 0.0), Place("b", 0.0, 180.0)
    assert distance_km(one, other) == pytest.approx(20015.1, abs=0.1)
