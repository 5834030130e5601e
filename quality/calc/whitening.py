"""Weeks that resemble their neighbours, turned into independent ones."""

from __future__ import annotations

import numpy as np


class Whitener:
    """Turns ``n`` first-order autoregressive weeks into independent ones of spread 1.

    Least squares on what :meth:`of` returns is generalised least squares on the weeks
    (Prais–Winsten transformation).

    Parameters
    ----------
    n
        Weeks.
    phi, sd
        Correlation of neighbouring weeks, and spread of one week [units of the data].
    """

    def __init__(self, n: int, phi: float, sd: float) -> None:
        self.n, self.phi = n, phi
        self.scale = sd * float(np.sqrt(1.0 - phi * phi))
        self.ones = self.of(np.ones((n, 1)))[:, 0]

    def of(self, columns: np.ndarray) -> np.ndarray:
        """Whitened columns, (n, p)."""
        out = np.array(columns, dtype=np.float64)
        out[1:] -= self.phi * columns[:-1]
        out[0] *= np.sqrt(1.0 - self.phi**2)
        return out / self.scale

    def clear(self, columns: np.ndarray) -> np.ndarray:
        """What is left of whitened columns when the mean is taken out."""
        share = (self.ones @ columns) / float(self.ones @ self.ones)
        return np.asarray(columns - self.ones[:, None] * share)

    def steps(self, places: np.ndarray) -> np.ndarray:
        """Whitened steps of 1 at each place, (n, p)."""
        return self.of((np.arange(self.n)[:, None] >= places).astype(np.float64))

    def ramps(self, places: np.ndarray) -> np.ndarray:
        """Whitened ramps of 1 a week, the first of them at each place, (n, p)."""
        return self.of(np.maximum(np.arange(self.n)[:, None] - places + 1.0, 0.0))
