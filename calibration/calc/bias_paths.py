"""A lane's bias as a function of the days since its last session.

From the end of the last session the bias walks on with the wander, drift and
temperature effect of its kind (:mod:`calibration.calc.bias_walk`), each as uncertain as
the sessions left it: a mixture of normals over the grid of wander values.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from calibration.calc.bias_types import (
    DAYS_PER_YEAR,
    BiasWalk,
    FloatArray,
    SteeringDrift,
    day_text,
)
from wimprog.lib.errors import DomainError


@dataclass(frozen=True, eq=False)
class BiasPaths:
    """Each lane's bias as a function of the days since its last session.

    For G wander values and L lanes: ``mean`` and ``variance`` given the effects, and
    their coefficients ``by_drift`` and ``by_temp``, each (G, L), as they are on day
    ``start`` (L,) after the last session: that day itself, or that of a steering
    reading since.
    """

    weights: FloatArray
    walk: FloatArray
    effect_mean: FloatArray
    effect_covariance: FloatArray
    mean: FloatArray
    variance: FloatArray
    by_drift: FloatArray
    by_temp: FloatArray
    start: FloatArray
    last: np.ndarray

    @classmethod
    def of(
        cls,
        walk: BiasWalk,
        pavement_temp_c: float | None,
        steering: Mapping[str, SteeringDrift],
        today: dt.date,
    ) -> BiasPaths:
        ends = walk.lanes
        mean = np.stack([end.mean for end in ends], axis=1)
        variance = np.stack([end.variance for end in ends], axis=1)
        effect = np.stack([end.effect for end in ends], axis=1)
        for i, end in enumerate(ends):
            if end.last_on is None:  # nothing is known, whatever there was before
                mean[:, i] = effect[:, i] = 0.0
                variance[:, i] = walk.prior.unknown_sd_pct**2
        by_drift, by_temp = effect[..., 0].copy(), effect[..., 1].copy()
        if pavement_temp_c is not None and walk.reference_temp_c is not None:
            by_temp += pavement_temp_c - walk.reference_temp_c
        square = walk.wander_grid_pct**2
        start = np.zeros(len(ends))
        for i, end in enumerate(ends):
            reading = steering.get(end.key)
            if reading is None or end.last_on is None:
                continue
            days = (reading.day - end.last_on).days
            if reading.day > today or days <= 0:
                raise DomainError(
                    f"Lane {end.key}: the steering-axle drift is of "
                    f"{day_text(reading.day)}; it must lie after the last session "
                    f"({day_text(end.last_on)}) and not after today."
                )
            years = days / DAYS_PER_YEAR
            # Since the session the bias changed by d·h + w, w ~ N(0, wander²·h); the
            # reading shows that change, whatever the bias was to begin with.
            gain = square * years / (square * years + reading.sd_pct**2)
            mean[:, i] += gain * reading.change_pct
            by_drift[:, i] += (1.0 - gain) * years
            variance[:, i] += square * years * (1.0 - gain)
            start[i] = days
        last = [end.last_on or today for end in ends]
        return cls(
            walk.weights,
            square,
            walk.effect_mean,
            walk.effect_covariance,
            mean,
            variance,
            by_drift,
            by_temp,
            start,
            np.array(last, dtype="datetime64[D]"),
        )

    def days_since(self, day: dt.date) -> FloatArray:
        """Days from each lane's last session to a day, shape (L,)."""
        return (np.datetime64(day) - self.last).astype(float)

    def moments(self, days: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and standard deviation given wander, shape (G, L, m), on days (L, m)."""
        years = np.maximum(days - self.start[:, None], 0.0) / DAYS_PER_YEAR
        drift = self.by_drift[:, :, None] + years
        temp = self.by_temp[:, :, None]
        d, g = self.effect_mean[:, 0], self.effect_mean[:, 1]
        mean = (
            self.mean[:, :, None] + drift * d[:, None, None] + temp * g[:, None, None]
        )
        cov = self.effect_covariance[:, None, None]
        variance = (
            self.variance[:, :, None]
            + self.walk[:, None, None] * years
            + drift**2 * cov[..., 0, 0]
            + 2.0 * drift * temp * cov[..., 0, 1]
            + temp**2 * cov[..., 1, 1]
        )
        return mean, np.sqrt(variance)

    def chance_out(self, days: FloatArray, tolerance_pct: float) -> FloatArray:
        """Chance that the size of the bias exceeds the tolerance, shape (L, m)."""
        mean, sd = self.moments(days)
        out = ndtr((-tolerance_pct - mean) / sd) + ndtr((mean - tolerance_pct) / sd)
        return np.einsum("g,glm->lm", self.weights, out)

    def expected_size(self, days: FloatArray) -> FloatArray:
        """Mean of the size of the bias (folded normals), shape (L, m)."""
        mean, sd = self.moments(days)
        z = mean / sd
        size = sd * math.sqrt(2.0 / math.pi) * np.exp(-0.5 * z**2) + mean * (
            1.0 - 2.0 * ndtr(-z)
        )
        return np.einsum("g,glm->lm", self.weights, size)

    def draws(
        self, i: int, days: FloatArray, *, n: int, rng: np.random.Generator
    ) -> FloatArray:
        """Drawn biases of lane ``i`` on ascending days since its last session (m,).

        Each of the n rows, shape (n, m), has a wander, drift and temperature effect of
        its own, drawn from what the sessions leave open.
        """
        place = rng.choice(self.weights.size, size=n, p=self.weights)
        root = np.linalg.cholesky(self.effect_covariance)
        noise = np.einsum("nij,nj->ni", root[place], rng.standard_normal((n, 2)))
        drift, temp = (self.effect_mean[place] + noise).T
        now = (
            self.mean[place, i]
            + self.by_drift[place, i] * drift
            + self.by_temp[place, i] * temp
            + np.sqrt(self.variance[place, i]) * rng.standard_normal(n)
        )
        years = np.maximum(days - self.start[i], 0.0) / DAYS_PER_YEAR
        steps = np.diff(years, prepend=0.0)
        moves = np.sqrt(self.walk[place, None] * steps) * rng.standard_normal(
            (n, days.size)
        )
        return np.asarray(
            now[:, None] + drift[:, None] * years + np.cumsum(moves, axis=1)
        )
