"""Words of references, factors and signatures that models store and people read."""

from __future__ import annotations

from enum import StrEnum


class VehicleOrigin(StrEnum):
    """Where a vehicle of known weight comes from."""

    TEST_VEHICLE = "test vehicle"
    TRAFFIC = "drawn from traffic"


class FactorMethod(StrEnum):
    """How a set of factors came about."""

    RATIO_OF_SUMS = "ratio of sums"
    MEAN_OF_RATIOS = "mean of ratios"
    INVERSE_MEAN = "inverse of the mean error"
    TYPED = "as set in the controller"


class SessionRole(StrEnum):
    """Who signs a session, by what they answer for."""

    TECHNICIAN = "technician"
    ENGINEER = "engineer"
