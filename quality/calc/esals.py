"""Equivalent single axle loads, AASHTO 1993.

A load equivalency factor says how many passes of an 18-kip single axle do the damage
of one pass of an axle group. The equations are those of the AASHTO Guide for Design of
Pavement Structures, 1993, appendix MM and the tables of appendix D (flexible ones
checked against two published tables; rigid ones from memory and recomputed). They are
written in the guide's units, kips and inches; weights come in as kilograms.

Flexible, with L the load of the group [kip] and k its number of axles:

    log LEF = 4.79 log(L + k) − 4.79 log(18 + 1) − 4.33 log k + G/β18 − G/β
    G = log((4.2 − pt) / (4.2 − 1.5))
    β = 0.40 + 0.081 (L + k)^3.23 / ((SN + 1)^5.19 k^3.23)

Rigid: 4.62 and 3.28 for 4.79 and 4.33, 4.5 for 4.2 in G, and
β = 1.00 + 3.63 (L + k)^5.20 / ((D + 1)^8.46 k^3.52), D the slab in inches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from quality.calc.axle_groups import AxleGroupLoads
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB, MM_PER_IN

METHOD_VERSION = "esals-1"
KG_PER_KIP = 1000.0 * KG_PER_LB
MOST_AXLES_IN_GUIDE = 3
"""The guide has factors for single, tandem and tridem axles only."""
_FAILED_SERVICEABILITY = 1.5


def _refuse_terminal(terminal: float, initial: float) -> None:
    if not _FAILED_SERVICEABILITY <= terminal < initial:
        raise DomainError(
            "Equivalent axle loads: the terminal serviceability lies between "
            f"{_FAILED_SERVICEABILITY} and {initial}, not {terminal}."
        )


@dataclass(frozen=True)
class FlexiblePavement:
    """Flexible pavement: structural number and terminal serviceability."""

    structural_number: float = 5.0
    terminal_serviceability: float = 2.5

    load_power = 4.79
    axles_power = 4.33
    initial_serviceability = 4.2

    def __post_init__(self) -> None:
        """Refuse pavements that cannot be."""
        if not (math.isfinite(self.structural_number) and self.structural_number > 0):
            raise DomainError(
                "Equivalent axle loads: the structural number must be above zero, not "
                f"{self.structural_number}."
            )
        _refuse_terminal(self.terminal_serviceability, self.initial_serviceability)

    @property
    def text(self) -> str:
        """The pavement in a few words."""
        return (
            f"flexible, structural number {self.structural_number:g}, terminal "
            f"serviceability {self.terminal_serviceability:g}"
        )

    def beta(self, load_kip: np.ndarray, n_axles: np.ndarray) -> np.ndarray:
        """The guide's β, same shape."""
        return np.asarray(
            0.40
            + 0.081
            * ((load_kip + n_axles) / n_axles) ** 3.23
            / (self.structural_number + 1.0) ** 5.19
        )


@dataclass(frozen=True)
class RigidPavement:
    """Rigid pavement: slab thickness and terminal serviceability."""

    slab_mm: float = 9 * MM_PER_IN
    terminal_serviceability: float = 2.5

    load_power = 4.62
    axles_power = 3.28
    initial_serviceability = 4.5

    def __post_init__(self) -> None:
        """Refuse pavements that cannot be."""
        if not (math.isfinite(self.slab_mm) and self.slab_mm > 0):
            raise DomainError(
                "Equivalent axle loads: the slab's thickness must be above zero, not "
                f"{self.slab_mm} mm."
            )
        _refuse_terminal(self.terminal_serviceability, self.initial_serviceability)

    @property
    def text(self) -> str:
        """The pavement in a few words."""
        return (
            f"rigid, slab {self.slab_mm:.0f} mm, terminal serviceability "
            f"{self.terminal_serviceability:g}"
        )

    def beta(self, load_kip: np.ndarray, n_axles: np.ndarray) -> np.ndarray:
        """The guide's β, same shape."""
        slab_in = self.slab_mm / MM_PER_IN
        return np.asarray(
            1.00
            + 3.63
            * (load_kip + n_axles) ** 5.20
            / ((slab_in + 1.0) ** 8.46 * n_axles**3.52)
        )


Pavement = FlexiblePavement | RigidPavement


def load_equivalency(
    load_kg: ArrayLike, n_axles: ArrayLike, pavement: Pavement
) -> np.ndarray:
    """Load equivalency factor of axle groups.

    Parameters
    ----------
    load_kg
        Load of the group [kg], not below zero; any shape.
    n_axles
        Axles of the group, 1 or more; broadcast against ``load_kg``.
    pavement
        Flexible or rigid.

    Returns
    -------
    float64, broadcast shape
        Passes of an 18-kip single axle; NaN for an unknown load, 0 for no load.

    Notes
    -----
    Groups of more than three axles are not in the guide; the equation is carried on to
    them (common practice, no source). Callers say how many there were.

    References
    ----------
    AASHTO Guide for Design of Pavement Structures, 1993, appendices D and MM.
    """
    load = np.asarray(load_kg, dtype=np.float64) / KG_PER_KIP
    axles = np.asarray(n_axles, dtype=np.float64)
    wear = math.log10(
        (pavement.initial_serviceability - pavement.terminal_serviceability)
        / (pavement.initial_serviceability - _FAILED_SERVICEABILITY)
    )
    standard = wear / float(pavement.beta(np.array(18.0), np.array(1.0)))
    log_lef = (
        pavement.load_power * np.log10((load + axles) / 19.0)
        - pavement.axles_power * np.log10(axles)
        + standard
        - wear / pavement.beta(load, axles)
    )
    return np.asarray(np.where(load == 0.0, 0.0, 10.0**log_lef))


@dataclass(frozen=True)
class Esals:
    """Equivalent single axle loads of the vehicles of a table.

    Attributes
    ----------
    per_vehicle : float64, (n,)
        Zero for a vehicle none of whose groups has a known load.
    n_groups
        Groups added up.
    n_unknown
        Groups left out because an axle's weight is unknown.
    n_beyond_guide
        Groups of more than three axles, for which the equation was carried on.
    pavement
        In a few words.
    """

    per_vehicle: np.ndarray
    n_groups: int
    n_unknown: int
    n_beyond_guide: int
    pavement: str

    @property
    def total(self) -> float:
        """Of all vehicles."""
        return float(self.per_vehicle.sum())


def vehicle_esals(groups: AxleGroupLoads, pavement: Pavement) -> Esals:
    """Equivalent single axle loads of each vehicle.

    Parameters
    ----------
    groups
        As :func:`quality.calc.axle_groups.axle_groups` gives them.
    pavement
        Flexible or rigid.
    """
    total = np.zeros(groups.n_vehicles)
    n_unknown = n_beyond = 0
    for size in np.unique(groups.n_axles):
        chosen = np.flatnonzero(groups.n_axles == size)
        factors = load_equivalency(groups.load_kg[chosen], float(size), pavement)
        unknown = np.isnan(factors)
        if unknown.any():
            n_unknown += int(unknown.sum())
            chosen, factors = chosen[~unknown], factors[~unknown]
        n_beyond += len(chosen) * bool(size > MOST_AXLES_IN_GUIDE)
        total += np.bincount(groups.row[chosen], factors, groups.n_vehicles)
    return Esals(
        total,
        n_groups=len(groups.row) - n_unknown,
        n_unknown=n_unknown,
        n_beyond_guide=n_beyond,
        pavement=pavement.text,
    )
