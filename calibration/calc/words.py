"""Words of references, factors and signatures that models store and people read."""

from __future__ import annotations

from enum import StrEnum


class VehicleOrigin(StrEnum):
    """Where a vehicle of known weight comes from."""

    TEST_VEHICLE = "test vehicle"
    TRAFFIC = "drawn from traffic"


class FactorOrigin(StrEnum):
    """How a set of factors came about; the first three as ``factor_types`` has them."""

    RATIO_OF_SUMS = "ratio of sums"
    INVERSE_MEAN_RATIO = "1 / mean of measured over static"
    MEAN_RATIO = "mean of static over measured"
    TYPED = "as set in the controller"


class SessionRole(StrEnum):
    """Who signs a session, by what they answer for."""

    TECHNICIAN = "technician"
    ENGINEER = "engineer"
