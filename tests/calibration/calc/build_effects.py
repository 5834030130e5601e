"""Runs with what they were driven under, for tests of effects."""

import numpy as np

from calibration.calc.effect_types import RunTable
from calibration.calc.types import Quantity


def table(errors, *, vehicles=None, speed=None, temperature=None, places=None):
    n = len(errors)
    return RunTable(
        quantity=Quantity.GROSS_WEIGHT,
        errors=np.array(errors, dtype=float),
        runs=tuple(str(i) for i in range(1, n + 1)),
        vehicles=tuple(vehicles or ["T1"] * n),
        speed_kmh=np.full(n, np.nan) if speed is None else np.array(speed, dtype=float),
        temperature_c=(
            np.full(n, np.nan)
            if temperature is None
            else np.array(temperature, dtype=float)
        ),
        places=tuple(places or [None] * n),
    )
