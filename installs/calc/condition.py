"""Condition: two sensors of one age differ when one is wet.

Proportional hazards on top of the technology's life curve. A sensor whose covariates
(decades of insulation below new, drift, pavement, ...) differ from the typical ones has
its hazard multiplied by the product of the effects' ratios. With fewer than ten
failures per effect the history cannot carry a fit and the stated effects are used; from
ten on they are fitted, the stated effects serving as prior.

A covariate that changes is taken at its last value *before* each stretch of time
(:func:`spells`): a sensor measured wet because it was about to be replaced must not
prove that wet sensors fail. Values at the end of a life would do just that.

References
----------
Cox, Journal of the Royal Statistical Society B 34 (1972) 187-220; Weibull form and
spells between changes: Kalbfleisch & Prentice, The Statistical Analysis of Failure Time
Data, 2nd ed., 2002, sections 2.3 and 6.3; ten events per term: Peduzzi et al., Journal
of Clinical Epidemiology 48 (1995) 1503-1510 (all from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from installs.calc.likelihood import Array
from installs.calc.types import (
    Condition,
    ConditionModel,
    Driver,
    Effect,
    Life,
    WeibullFit,
)
from installs.calc.types.condition import ASSUMED, FITTED
from wimprog.lib.errors import DomainError

EVENTS_PER_EFFECT = 10
#: Ratios nearer to 1 than this are not told as drivers.
_WORTH_TELLING = 0.05

DECADES_BELOW_NEW = "insulation below new"
DECADES_A_YEAR = "insulation falling"
CAPACITANCE_OFF = "capacitance off new"
ASPHALT = "asphalt pavement"

#: Effects in use until the agency states its own or its history carries a fit. No
#: published hazard ratio is known for WIM sensors: these are assumptions, told as such.
ASSUMED_EFFECTS = (
    Effect(DECADES_BELOW_NEW, 1.7, "decade of insulation below new", 0.0, 4.0),
    Effect(DECADES_A_YEAR, 1.5, "decade of insulation lost a year", 0.0, 2.0),
    Effect(CAPACITANCE_OFF, 1.2, "10 % of capacitance off new", 0.0, 5.0),
    Effect(ASPHALT, 1.2, "asphalt in place of concrete", 0.0, 1.0),
)


@dataclass(frozen=True)
class Spell:
    """A stretch of one life during which its covariates were known and constant."""

    life: Life
    values: Mapping[str, float]


def spells(
    life: Life, known: Sequence[tuple[float, Mapping[str, float]]]
) -> list[Spell]:
    """Cut a life where what is known of it changed.

    Parameters
    ----------
    life
        The life; a bracketed failure is placed midway.
    known
        Age [years] at which values became known, and the values from then on; ages at
        or beyond the end of the life tell nothing and are left out.

    Returns
    -------
    list of Spell
        From the first age at which anything was known; empty when nothing ever was.
        Only the last can have failed.
    """
    end = life.point_age_years
    marks = sorted(
        ((age, values) for age, values in known if age < end), key=lambda m: m[0]
    )
    found: list[Spell] = []
    held: dict[str, float] = {}
    for i, (age, values) in enumerate(marks):
        held |= values
        begin = max(age, life.entry_age_years)
        until = marks[i + 1][0] if i + 1 < len(marks) else end
        if until <= begin:
            continue
        last = until == end
        found.append(
            Spell(Life(until, life.failed and last, begin, key=life.key), dict(held))
        )
    return found


def condition_model(
    history: Sequence[Spell],
    curve: WeibullFit | None,
    *,
    effects: Sequence[Effect] = ASSUMED_EFFECTS,
    typical: Mapping[str, float] | None = None,
) -> ConditionModel:
    """Effects to use: stated, or fitted where the history carries them.

    Parameters
    ----------
    history
        Spells of past and present lives of one technology. Spells in which an effect's
        covariate is not known count as typical in it.
    curve
        The technology's life curve; its shape starts the fit. Without one, or without
        history, the stated effects are used.
    effects
        Effects to consider. Those that never vary in the history stay as stated.
    typical
        Values that the life curve stands for; the medians over the history otherwise
        (the low end of the range where nothing is known).

    Returns
    -------
    ConditionModel
    """
    stated = tuple(effects)
    middle = {one.name: _typical(one, history, typical or {}) for one in stated}
    n = sum(one.life.failed for one in history)
    needed = EVENTS_PER_EFFECT * len(stated)
    assumed = ConditionModel(
        effects=stated,
        log_ratios=tuple(math.log(one.ratio) for one in stated),
        covariance=tuple(
            tuple(one.log_sd**2 if i == j else 0.0 for j in range(len(stated)))
            for i, one in enumerate(stated)
        ),
        typical=middle,
        n_failures=n,
        standing=ASSUMED,
        sentence=(
            f"Effects of condition are assumed, not fitted: {n} failures with known "
            f"condition, and {needed} are needed for {len(stated)} effects."
        ),
    )
    if curve is None or not stated or n < needed:
        return assumed
    fitted = _fit(history, curve, stated, middle)
    if fitted is None:
        return replace(
            assumed,
            sentence="Effects of condition are assumed: their fit did not settle.",
        )
    return fitted


def _typical(
    effect: Effect, history: Sequence[Spell], given: Mapping[str, float]
) -> float:
    if effect.name in given:
        return effect.held(given[effect.name])
    values = [s.values[effect.name] for s in history if effect.name in s.values]
    return effect.held(float(np.median(values))) if values else effect.low


def _fit(
    history: Sequence[Spell],
    curve: WeibullFit,
    effects: tuple[Effect, ...],
    typical: Mapping[str, float],
) -> ConditionModel | None:
    z = np.array(
        [
            [e.held(s.values.get(e.name, typical[e.name])) - typical[e.name]
             for e in effects]
            for s in history
        ]
    )  # fmt: skip
    prior = np.array([math.log(e.ratio) for e in effects])
    weight = np.array([e.log_sd**-2 for e in effects])
    found = weibull_hazards(
        [s.life for s in history],
        z,
        start=(math.log(curve.shape), math.log(curve.scale_years)),
        prior=prior,
        prior_weight=weight,
    )
    if found is None:
        return None
    parameters, covariance = found
    told = tuple(
        replace(e, ratio=float(math.exp(g)), standing=FITTED, source="own failures")
        for e, g in zip(effects, parameters[2:], strict=True)
    )
    n = sum(s.life.failed for s in history)
    return ConditionModel(
        effects=told,
        log_ratios=tuple(parameters[2:].tolist()),
        covariance=tuple(tuple(row) for row in covariance[2:, 2:].tolist()),
        typical=dict(typical),
        n_failures=n,
        standing=FITTED,
        sentence=(
            f"Effects of condition are fitted to {n} failures with known condition, "
            "drawn towards the stated effects."
        ),
    )


def weibull_hazards(
    lives: Sequence[Life],
    covariates: Array,
    *,
    start: tuple[float, float],
    prior: Array | None = None,
    prior_weight: Array | None = None,
) -> tuple[Array, Array] | None:
    """Weibull proportional hazards by maximum likelihood, or with normal priors.

    H(x; z) = (x / scale) ** shape * exp(z . g). Takes right censoring and delayed
    entry.

    Parameters
    ----------
    lives
        n lives or spells; bracketed failures are placed midway.
    covariates
        Shape (n, k).
    start
        (log shape, log scale) to begin from.
    prior, prior_weight
        Centres and inverse variances of normal priors on g, shape (k,).

    Returns
    -------
    (parameters, covariance) or None
        (log shape, log scale, g...) and the inverse observed information; None when
        the search does not settle.
    """
    z = np.asarray(covariates, dtype=float)
    if z.shape[0] != len(lives):
        raise DomainError(f"{len(lives)} lives came with {z.shape[0]} covariates.")
    k = z.shape[1]
    centre = np.zeros(k) if prior is None else np.asarray(prior, dtype=float)
    weight = np.zeros(k) if prior_weight is None else np.asarray(prior_weight)
    failed = np.array([life.failed for life in lives])
    with np.errstate(divide="ignore"):
        exits = np.log([life.point_age_years for life in lives])
        entries = np.log([life.entry_age_years for life in lives])
    at = np.concatenate([np.asarray(start, dtype=float), centre])
    here = _slopes(at, z, failed, exits, entries, centre, weight)
    for _ in range(100):
        if np.all(np.abs(here[1]) < 1e-7 * (1.0 + failed.sum())):
            return at, np.asarray(np.linalg.inv(-here[2]), dtype=np.float64)
        sizes, axes = np.linalg.eigh(here[2])
        step = axes @ ((axes.T @ here[1]) / np.maximum(np.abs(sizes), 1e-8))
        step = np.asarray(step / max(1.0, float(np.linalg.norm(step))))
        for _ in range(40):
            there = _slopes(at + step, z, failed, exits, entries, centre, weight)
            if there[0] >= here[0] - 1e-9 * (1.0 + abs(here[0])):
                break
            step /= 2.0
        else:
            return None
        at, here = at + step, there
    return None


def _slopes(
    at: Array,
    z: Array,
    failed: np.ndarray,
    exits: Array,
    entries: Array,
    centre: Array,
    weight: Array,
) -> tuple[float, Array, Array]:
    """Log-posterior with gradient and Hessian in (log shape, log scale, g)."""
    shape, v, g = math.exp(at[0]), at[1], at[2:]
    risk = z @ g
    value = float(np.sum(at[0] + shape * (exits[failed] - v) + risk[failed]))
    value -= float(np.sum(exits[failed]))
    first = np.concatenate(
        [
            [np.sum(1.0 + shape * (exits[failed] - v)), -shape * failed.sum()],
            z[failed].sum(axis=0),
        ]
    )
    second = np.zeros((at.size, at.size))
    second[0, 0] = np.sum(shape * (exits[failed] - v))
    second[0, 1] = second[1, 0] = -shape * failed.sum()
    for log_age, sign in ((exits, -1.0), (entries, 1.0)):
        kept = np.isfinite(log_age)
        y = shape * (log_age[kept] - v)
        hazard = np.exp(np.minimum(y + risk[kept], 200.0))
        # d log H is (y, -shape, z); log H bends by y in (u, u) and -shape in (u, v).
        slope = np.column_stack([y, np.full(y.size, -shape), z[kept]])
        value += sign * float(hazard.sum())
        first += sign * (hazard @ slope)
        second += sign * (slope.T * hazard) @ slope
        second[0, 0] += sign * float(hazard @ y)
        second[0, 1] -= sign * shape * float(hazard.sum())
        second[1, 0] -= sign * shape * float(hazard.sum())
    off = g - centre
    value -= 0.5 * float(weight @ off**2)
    first[2:] -= weight * off
    second[2:, 2:] -= np.diag(weight)
    return value, first, second


def condition_of(model: ConditionModel, values: Mapping[str, float]) -> Condition:
    """A sensor's hazard ratio, and why, from what is known of it.

    What is not known of it counts as typical and is no driver.
    """
    log_ratio = 0.0
    off = np.zeros(len(model.effects))
    drivers = []
    for i, (effect, slope) in enumerate(
        zip(model.effects, model.log_ratios, strict=True)
    ):
        if effect.name not in values:
            continue
        value = effect.held(values[effect.name])
        off[i] = value - model.typical[effect.name]
        part = slope * float(off[i])
        log_ratio += part
        if abs(math.expm1(part)) >= _WORTH_TELLING:
            drivers.append(_driver(effect, value, model.typical[effect.name], part))
    variance = float(off @ np.array(model.covariance) @ off) if off.size else 0.0
    return Condition(
        hazard_ratio=math.exp(log_ratio),
        log_sd=math.sqrt(max(variance, 0.0)),
        drivers=tuple(sorted(drivers, key=lambda d: -abs(math.log(d.ratio)))),
        standing=model.standing,
    )


def _driver(effect: Effect, value: float, typical: float, part: float) -> Driver:
    ratio = math.exp(part)
    word = "raises" if ratio > 1 else "lowers"
    return Driver(
        effect.name,
        value,
        ratio,
        f"{effect.name} {word} it: {_plain(value)} against {_plain(typical)} as usual "
        f"({effect.step}), hazard × {ratio:.2g}, {effect.standing}",
    )


def _plain(value: float) -> str:
    """A covariate to the second place, so that nearly nothing reads 0."""
    return f"{round(value, 2):g}"
