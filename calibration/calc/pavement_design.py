"""Required structural number of a flexible pavement, and what a load error does to it.

The flexible design equation of the AASHTO Guide for Design of Pavement Structures,
1993, Part II, chapter 3, Figure 3.1 (constants from memory; they reproduce the figure's
own example and a published problem to its last digit, see
``tests/outside/calibration/test_pavement_design.py``):

    log W18 = Z S0 + 9.36 log(SN + 1) − 0.20
              + log(ΔPSI / 2.7) / (0.40 + 1094 / (SN + 1)^5.19) + 2.32 log MR − 8.07

with Z the normal quantile of 1 − R and MR in psi. Rigid pavements are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB, MM_PER_IN

FloatArray = NDArray[np.float64]

STANDARD_GRAVITY_M_PER_S2 = 9.80665
PA_PER_PSI = KG_PER_LB * STANDARD_GRAVITY_M_PER_S2 / (MM_PER_IN / 1000.0) ** 2

#: Structural numbers that the search covers; practice lies between 1 and 8.
_LOWEST_SN, _HIGHEST_SN = 0.01, 20.0


@dataclass(frozen=True)
class FlexibleDesign:
    """A flexible pavement as designed with loads from the site; all the agency's own.

    Attributes
    ----------
    design_esals
        18-kip equivalent single axle loads in the design lane and period.
    resilient_modulus_mpa
        Effective resilient modulus of the roadbed soil [MPa].
    reliability
        Between 0.5 and 1.
    overall_sd
        Standard deviation of the logarithm of traffic and performance; 0.40 to 0.50
        for flexible pavements (from memory).
    serviceability_loss
        Initial less terminal serviceability, above 0 and below 5.
    layer_coefficient_per_in
        Structural coefficient of the layer whose thickness is varied, per inch; 0.44 is
        usual for new asphalt surface (from memory).
    """

    design_esals: float
    resilient_modulus_mpa: float
    reliability: float = 0.90
    overall_sd: float = 0.45
    serviceability_loss: float = 2.0
    layer_coefficient_per_in: float = 0.44

    def __post_init__(self) -> None:
        """Refuse designs that cannot be."""
        for name in (
            "design_esals",
            "resilient_modulus_mpa",
            "overall_sd",
            "layer_coefficient_per_in",
        ):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise DomainError(
                    f"Pavement design: {name} must be above zero, not {value}."
                )
        if not 0.5 <= self.reliability < 1.0:
            raise DomainError(
                "Pavement design: the reliability lies between 0.5 and 1, not "
                f"{self.reliability}."
            )
        if not 0.0 < self.serviceability_loss < 5.0:
            raise DomainError(
                "Pavement design: the loss of serviceability lies between 0 and 5, not "
                f"{self.serviceability_loss}."
            )

    @property
    def text(self) -> str:
        """The design in one line."""
        return (
            f"{self.design_esals:,.0f} design ESALs, roadbed modulus "
            f"{self.resilient_modulus_mpa:g} MPa, reliability "
            f"{self.reliability * 100:g} %, overall deviation {self.overall_sd:g}, "
            f"serviceability loss {self.serviceability_loss:g}, layer coefficient "
            f"{self.layer_coefficient_per_in:g} per inch"
        )


def log_allowed_esals(
    structural_number: ArrayLike, design: FlexibleDesign
) -> FloatArray:
    """Base-10 logarithm of the ESALs that a structural number carries.

    Parameters
    ----------
    structural_number
        Above zero, any shape.
    design
        ``design_esals`` is not used.
    """
    above = np.asarray(structural_number, dtype=float) + 1.0
    modulus_psi = design.resilient_modulus_mpa * 1e6 / PA_PER_PSI
    wear = math.log10(design.serviceability_loss / 2.7)
    return np.asarray(
        ndtri(1.0 - design.reliability) * design.overall_sd
        + 9.36 * np.log10(above)
        - 0.20
        + wear / (0.40 + 1094.0 / above**5.19)
        + 2.32 * math.log10(modulus_psi)
        - 8.07
    )


def required_structural_number(esals: ArrayLike, design: FlexibleDesign) -> FloatArray:
    """Structural number that carries so many ESALs, by bisection.

    Parameters
    ----------
    esals
        18-kip equivalent single axle loads, above zero, any shape.
    design
        ``design_esals`` is not used.

    Returns
    -------
    numpy.ndarray
        Same shape. Loads that the search's lowest or highest structural number (0.01
        and 20) carry or do not carry are given that number.
    """
    target = np.log10(np.asarray(esals, dtype=float))
    low = np.full(target.shape, _LOWEST_SN)
    high = np.full(target.shape, _HIGHEST_SN)
    for _ in range(60):
        middle = (low + high) / 2.0
        short = log_allowed_esals(middle, design) < target
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return (low + high) / 2.0


def load_ratio(bias_pct: ArrayLike) -> FloatArray:
    """Counted over true ESALs when weights are biased: (1 + b/100)⁴.

    Parameters
    ----------
    bias_pct
        Bias of weights [%], above −100.

    References
    ----------
    Fourth-power rule: damage rises about as the fourth power of axle load (confirmed in
    public texts).
    """
    return (1.0 + np.asarray(bias_pct, dtype=float) / 100.0) ** 4


def expected_load_ratio(mean_pct: float, sd_pct: float) -> float:
    """Mean of :func:`load_ratio` over a normal bias, in closed form.

    E[X⁴] of a normal X with mean m and standard deviation s: m⁴ + 6 m² s² + 3 s⁴.

    >>> round(expected_load_ratio(0.0, 5.0), 5)
    1.01502
    """
    m, s = 1.0 + mean_pct / 100.0, sd_pct / 100.0
    return m**4 + 6.0 * m**2 * s**2 + 3.0 * s**4


def thickness_error_mm(bias_pct: ArrayLike, design: FlexibleDesign) -> FloatArray:
    """Thickness designed too much (positive) or too little for biased loads [mm].

    Parameters
    ----------
    bias_pct
        Bias of weights [%], above −100, any shape.
    design
        The design with true loads.
    """
    true = required_structural_number(design.design_esals, design)
    counted = design.design_esals * load_ratio(bias_pct)
    off = required_structural_number(counted, design) - true
    return np.asarray(off / design.layer_coefficient_per_in * MM_PER_IN)
