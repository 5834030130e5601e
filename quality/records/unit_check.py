"""Whether a file's units are what they were declared to be.

A unit declared wrongly leaves every record whole and every weight wrong by the same
factor. Five-axle vehicles give it away: whatever they carry, the steering axle of most
weighs 3 to 8 t and their closest axles stand 0.9 to 2.2 m apart, and at any free road
most go slower than 125 km/h. The typical steering axle of class 9 is 8.5 to 10.4 kip by
gross weight (Dahlin 1992, from memory); the limits around it are ours (common practice,
no source), set so that pounds and kilograms, feet and metres can be told apart.

The suspicion is a sentence for people, never a refusal.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from quality.records.mapping import (
    MASS_UNITS,
    SPACING_UNITS,
    length_factor,
)
from quality.records.schema import SPACING_COLUMNS, matrix
from wimprog.lib.units import UNITS, format_number

AXLES = 5
FEWEST = 30
ENOUGH = 20_000
STEERING_KG = (3000.0, 8000.0)
CLOSEST_M = (0.9, 2.2)
FASTEST_KMH = 125.0


class UnitWatch:
    """Gathers the first five-axle vehicles of a file."""

    def __init__(self) -> None:
        self._steering: list[np.ndarray] = []
        self._closest: list[np.ndarray] = []
        self._speed: list[np.ndarray] = []
        self.n = 0

    def see(self, batch: pa.RecordBatch) -> None:
        """Look at a batch, until enough have been seen."""
        if self.n >= ENOUGH:
            return
        wanted = ["n_axles", "w1_kg", "speed_kmh", *SPACING_COLUMNS[: AXLES - 1]]
        chosen = batch.select(wanted).filter(pc.equal(batch.column("n_axles"), AXLES))
        chosen = chosen.slice(0, ENOUGH - self.n)
        if chosen.num_rows == 0:
            return
        self.n += chosen.num_rows
        self._steering.append(matrix(chosen, ("w1_kg",))[:, 0])
        spacings = matrix(chosen, SPACING_COLUMNS[: AXLES - 1])
        self._closest.append(spacings.min(axis=1))
        self._speed.append(matrix(chosen, ("speed_kmh",))[:, 0])

    def suspicions(
        self, *, mass_unit: str, spacing_unit: str, speed_unit: str
    ) -> tuple[str, ...]:
        """A sentence for each unit that does not look right; () when all do, or when
        fewer than thirty five-axle vehicles were seen.

        Parameters
        ----------
        mass_unit, spacing_unit, speed_unit
            As declared.
        """
        if self.n < FEWEST:
            return ()
        found = []
        steering = float(np.median(np.concatenate(self._steering)))
        if not STEERING_KG[0] <= steering <= STEERING_KG[1]:
            factors = {unit: UNITS[unit].factor for unit in MASS_UNITS}
            found.append(
                _sentence(
                    f"half of the {self.n:,} five-axle vehicles seen have a steering "
                    f"axle of less than {format_number(steering, 0)} kg",
                    "3,000 to 8,000 kg",
                    "weights",
                    mass_unit,
                    _fitting(steering, mass_unit, factors, STEERING_KG),
                )
            )
        closest = float(np.median(np.concatenate(self._closest)))
        if not CLOSEST_M[0] <= closest <= CLOSEST_M[1]:
            factors = {unit: length_factor(unit) for unit in SPACING_UNITS}
            found.append(
                _sentence(
                    f"the closest two axles of five-axle vehicles stand "
                    f"{format_number(closest, 2)} m apart in the middle of "
                    f"{self.n:,} seen",
                    "0.9 to 2.2 m",
                    "spacings",
                    spacing_unit,
                    _fitting(closest, spacing_unit, factors, CLOSEST_M),
                )
            )
        found += self._speeds(speed_unit)
        return tuple(found)

    def _speeds(self, speed_unit: str) -> list[str]:
        speed = np.concatenate(self._speed)
        speed = speed[np.isfinite(speed)]
        if len(speed) < FEWEST or float(np.median(speed)) <= FASTEST_KMH:
            return []
        middle = format_number(float(np.median(speed)), 0)
        return [
            _sentence(
                f"half of the five-axle vehicles seen go faster than {middle} km/h",
                "less than 125 km/h",
                "speeds",
                speed_unit,
                ("km/h",) if speed_unit == "mph" else (),
            )
        ]


def _fitting(
    value: float, declared: str, factors: dict[str, float], limits: tuple[float, float]
) -> tuple[str, ...]:
    """The units in which the file's own numbers would lie within the limits."""
    written = value / factors[declared]
    return tuple(
        unit
        for unit, factor in factors.items()
        if limits[0] <= written * factor <= limits[1]
    )


def _sentence(
    seen: str, usual: str, what: str, declared: str, fitting: tuple[str, ...]
) -> str:
    text = (
        f"Check the units: {seen}; {usual} is usual. The {what} were read as {declared}"
    )
    if fitting:
        return f"{text}; they look like {' or '.join(fitting)}."
    return f"{text}; no other unit known here fits them either."
