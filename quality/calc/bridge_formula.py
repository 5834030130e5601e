"""The federal bridge formula: what a group of consecutive axles may weigh.

References
----------
23 U.S.C. 127 and 23 CFR 658.17: W = 500 [L N / (N − 1) + 12 N + 36] to the nearest
500 lb, for every group of two or more consecutive axles.
"""

from __future__ import annotations

import numpy as np

SOURCE = "23 U.S.C. 127, 23 CFR 658.17"
STEP_LB = 500.0


def formula_lb(length_ft: np.ndarray | float, n_axles: np.ndarray | int) -> np.ndarray:
    """The formula before it is rounded [lb].

    Parameters
    ----------
    length_ft
        Distance between the extreme axles of the group [ft].
    n_axles
        Axles of the group, 2 or more. Both broadcast.

    Raises
    ------
    ValueError
        When a group has fewer than two axles.
    """
    n = np.asarray(n_axles)
    if (n < 2).any():
        raise ValueError("the bridge formula is for groups of two axles or more")
    return np.asarray(500.0 * (length_ft * (n / (n - 1)) + 12 * n + 36))


def bridge_limit_lb(
    length_ft: np.ndarray | float, n_axles: np.ndarray | int
) -> np.ndarray:
    """What the group may weigh [lb], to the nearest 500 lb.

    Of groups no longer than 8 ft the limit of a tandem axle is spoken of, not this one,
    and no group may weigh more than the gross limit: see
    :mod:`quality.calc.legal_limits`.

    >>> float(bridge_limit_lb(51.0, 5))
    80000.0
    """
    return np.floor(formula_lb(length_ft, n_axles) / STEP_LB + 0.5) * STEP_LB
