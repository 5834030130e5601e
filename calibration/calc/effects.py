"""What speed, temperature, the truck and its place in the lane do to the errors.

One linear model of the errors of whole runs: each truck has its own level (a fixed
effect), speed and pavement temperature add a straight line, places in the lane a step.
Each term is tested by leaving it out (F test of nested models), so that trucks driven
at different speeds are not taken for a speed effect. Two one-way tests would do that
wrongly as soon as the runs are not balanced.

What keeps a term out is said in words. Its limits are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.calc.effect_types import Effect, Effects, Estimate, RunTable
from calibration.calc.least_squares import (
    FTest,
    LinearFit,
    fit,
    indicators,
    is_estimable,
    nested_f,
    variance_inflation,
)
from calibration.calc.types import FloatArray, LanePosition
from wimprog.lib.units import Kind, UnitSystem, format_number, shown_unit

MIN_RUNS = 6
"""Fewest runs that any effect is looked for in."""

MIN_RESIDUAL_DF = 3
"""Fewest residual degrees of freedom of the whole model."""

MIN_SPEED_SPAN_KMH = 15.0
MIN_TEMPERATURE_SPAN_C = 5.0
"""Least spread within trucks between lowest and highest."""

MIN_SHARE_RECORDED = 0.75
"""Least share of the runs that must have a speed, temperature or place recorded."""

CONFOUNDED_VIF = 5.0
"""Variance inflation from which two effects are said to be hard to tell apart."""

PER = 10.0
"""Slopes are given for ten units: 10 km/h and 10 °C, or 10 mph and 10 °F."""

SPEED, TEMPERATURE = "speed", "pavement temperature"
PLACE, VEHICLE = "lane position", "vehicle"


def find_effects(
    table: RunTable,
    *,
    level: float = 0.95,
    unit_system: UnitSystem = UnitSystem.SI,
) -> Effects:
    """Fit the model and test each of its terms.

    Parameters
    ----------
    table
        Errors of runs with what they were driven under.
    level
        Level of the intervals; an effect is shown when p is below 1 − level.
    unit_system
        Units of slopes and sentences: for 10 km/h and 10 °C, or 10 mph and 10 °F.

    Returns
    -------
    Effects
        Terms that the runs cannot speak of are refused in words.

    References
    ----------
    NIST/SEMATECH e-Handbook 7.4.3 (one-way case); Draper and Smith, Applied Regression
    Analysis, on the extra sum of squares (from memory).
    """
    if table.n < MIN_RUNS:
        why = (
            f"{table.n} run{'s' * (table.n != 1)}; effects are looked for from "
            f"{MIN_RUNS} on."
        )
        names = (SPEED, TEMPERATURE, PLACE, VEHICLE)
        return Effects(table.n, (), tuple((name, why) for name in names), (), None)
    model, refusals, notes = _build(table, unit_system)
    while model.table.n - model.width < MIN_RESIDUAL_DF and model.terms:
        name = model.terms[-1].name
        refusals.append((name, "Too few runs for so many effects at once."))
        model = model.without(name)
    if model.table.n - model.width < MIN_RESIDUAL_DF:
        refusals.append((VEHICLE, "Too few runs for so many vehicles."))
        return Effects(table.n, (), tuple(refusals), tuple(notes), None)
    full = fit(model.design(), model.table.errors)
    found = [_slope_or_steps(model, full, term, level) for term in model.terms]
    if len(model.vehicles) > 1:
        found.append(_vehicle_effect(model, full, level))
    else:
        refusals.append((VEHICLE, "One vehicle has nothing to be compared with."))
    notes += _confounding(found)
    return Effects(
        n=model.table.n,
        effects=tuple(found),
        refusals=tuple(refusals),
        notes=tuple(notes),
        residual_sd=full.sd,
        residuals=dict(
            zip(model.table.runs, (float(r) for r in full.residuals), strict=True)
        ),
    )


@dataclass(frozen=True, eq=False)
class _Term:
    """Columns of one term: a slope per ``PER``, or steps away from a base place."""

    name: str
    columns: FloatArray
    labels: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Model:
    table: RunTable
    vehicles: tuple[str, ...]
    terms: tuple[_Term, ...]
    unit_system: UnitSystem

    @property
    def width(self) -> int:
        return len(self.vehicles) + sum(t.columns.shape[1] for t in self.terms)

    def without(self, name: str) -> _Model:
        kept = tuple(term for term in self.terms if term.name != name)
        return replace(self, terms=kept)

    def design(self, *, is_pooled: bool = False) -> FloatArray:
        """Vehicles' columns (one of ones where pooled), then the terms' columns."""
        base = (
            np.ones((self.table.n, 1))
            if is_pooled
            else indicators(self.table.vehicles, self.vehicles)
        )
        return np.column_stack([base, *(term.columns for term in self.terms)])

    def place_of(self, name: str) -> int:
        """First column of a term."""
        at = len(self.vehicles)
        for term in self.terms:
            if term.name == name:
                return at
            at += term.columns.shape[1]
        raise KeyError(name)


def _build(
    table: RunTable, unit_system: UnitSystem
) -> tuple[_Model, list[tuple[str, str]], list[str]]:
    refusals: list[tuple[str, str]] = []
    keep = np.ones(table.n, dtype=bool)
    wanted = []
    for name, is_known in _recorded(table).items():
        share = float(is_known.mean())
        if share < MIN_SHARE_RECORDED:
            told = "no run" if share == 0.0 else f"{int(is_known.sum())} of {table.n}"
            refusals.append((name, f"Recorded for {told}."))
        else:
            wanted.append(name)
            keep &= is_known
    notes = []
    if not keep.all():
        missing = [
            run for run, is_kept in zip(table.runs, keep, strict=True) if not is_kept
        ]
        notes.append(
            f"Left out, for something was not recorded: run {', '.join(missing)}."
        )
    kept = table.where(keep)
    model = _Model(kept, tuple(dict.fromkeys(kept.vehicles)), (), unit_system)
    for name in wanted:
        term = _term(kept, name, unit_system)
        why = term if isinstance(term, str) else ""
        if isinstance(term, _Term):
            grown = replace(model, terms=(*model.terms, term))
            if is_estimable(grown.design()):
                model = grown
            else:
                known = [one.name for one in model.terms] or ["the vehicle"]
                why = f"It moved exactly with {' and '.join(known)} in these runs."
        if why:
            refusals.append((name, why))
    return model, refusals, notes


def _recorded(table: RunTable) -> dict[str, NDArray[np.bool_]]:
    return {
        SPEED: np.isfinite(table.speed_kmh),
        TEMPERATURE: np.isfinite(table.temperature_c),
        PLACE: np.array([place is not None for place in table.places], dtype=bool),
    }


def _term(table: RunTable, name: str, unit_system: UnitSystem) -> _Term | str:
    """The term's columns, or why the runs cannot speak of it."""
    if name == PLACE:
        return _place_term(table)
    values, least, kind = (
        (table.speed_kmh, MIN_SPEED_SPAN_KMH, Kind.SPEED)
        if name == SPEED
        else (table.temperature_c, MIN_TEMPERATURE_SPAN_C, Kind.TEMPERATURE)
    )
    unit = shown_unit(kind, unit_system)
    span = _span_within(values, table.vehicles)
    if span < least:
        # Differences have no offset: 5 °C apart is 9 °F apart.
        apart, needed = (format_number(x / unit.factor, 0) for x in (span, least))
        return (
            f"No vehicle's runs lie more than {apart} {unit.symbol} apart; {needed} "
            f"{unit.symbol} are needed to see an effect."
        )
    columns = values[:, np.newaxis] / (PER * unit.factor)
    return _Term(name, columns, (f"per {PER:g} {unit.symbol}",))


def _span_within(values: FloatArray, vehicles: Sequence[str]) -> float:
    """Widest span of one vehicle's runs."""
    names = np.array(vehicles)
    return max(
        (float(np.ptp(values[names == name])) for name in set(vehicles)), default=0.0
    )


def _place_term(table: RunTable) -> _Term | str:
    counts = {place: table.places.count(place) for place in LanePosition}
    used = [place for place in LanePosition if counts[place] >= 2]
    lonely = [str(place) for place in LanePosition if counts[place] == 1]
    if len(used) < 2 or lonely:
        told = ", ".join(f"{n} {place}" for place, n in counts.items() if n) or "none"
        return f"Two places or more need two runs each; there are {told}."
    base = LanePosition.CENTRE if LanePosition.CENTRE in used else used[0]
    steps = [place for place in used if place is not base]
    return _Term(
        PLACE,
        indicators([str(p) for p in table.places], [str(p) for p in steps]),
        tuple(f"{step} against {base}" for step in steps),
    )


def _slope_or_steps(
    model: _Model, full: LinearFit, term: _Term, level: float
) -> Effect:
    smaller = fit(model.without(term.name).design(), model.table.errors)
    test = nested_f(full, smaller)
    at = model.place_of(term.name)
    estimates = []
    for step, label in enumerate(term.labels):
        weights = np.zeros(full.coefficients.size)
        weights[at + step] = 1.0
        value = float(full.coefficients[at + step])
        estimates.append(Estimate(label, value, full.interval(weights, level=level)))
    inflation = None if term.name == PLACE else variance_inflation(model.design(), at)
    return _effect(model, term.name, estimates, test, inflation, level)


def _vehicle_effect(model: _Model, full: LinearFit, level: float) -> Effect:
    """Each vehicle's level where all other terms are at their mean."""
    test = nested_f(full, fit(model.design(is_pooled=True), model.table.errors))
    means = model.design().mean(axis=0)
    estimates = []
    for place, name in enumerate(model.vehicles):
        weights = means.copy()
        weights[: len(model.vehicles)] = 0.0
        weights[place] = 1.0
        value = float(weights @ full.coefficients)
        estimates.append(Estimate(name, value, full.interval(weights, level=level)))
    return _effect(model, VEHICLE, estimates, test, None, level)


def _effect(
    model: _Model,
    name: str,
    estimates: list[Estimate],
    test: FTest,
    inflation: float | None,
    level: float,
) -> Effect:
    is_shown = test.p < 1.0 - level
    size, unit = _error_unit(model.table.quantity.unit, model.unit_system)
    told = "; ".join(
        f"{format_number(size * one.value, 2)} {unit} {one.label} "
        f"({level * 100:g} % interval {format_number(size * one.interval.low, 2)} to "
        f"{format_number(size * one.interval.high, 2)})"
        for one in estimates
    )
    word = "shown" if is_shown else "not shown"
    p = "p < 0.001" if test.p < 0.001 else f"p {format_number(test.p, 3)}"
    f = "∞" if math.isinf(test.f) else format_number(test.f, 2)
    sentence = (
        f"Effect of {name} {word} (F {f} on {test.df_num} and {test.df_den}, {p}, "
        f"n {model.table.n}): {told}."
    )
    return Effect(name, tuple(estimates), test, is_shown, inflation, sentence)


def _error_unit(unit: str, unit_system: UnitSystem) -> tuple[float, str]:
    """How many shown units one unit of the errors is, and the shown one's symbol."""
    kinds = {"km/h": Kind.SPEED, "m": Kind.LENGTH}
    if unit not in kinds:
        return 1.0, unit
    shown = shown_unit(kinds[unit], unit_system)
    return 1.0 / shown.factor, shown.symbol


def _confounding(found: Sequence[Effect]) -> list[str]:
    tied = [
        one
        for one in found
        if one.inflation is not None and one.inflation > CONFOUNDED_VIF
    ]
    if not tied:
        return []
    names = " and ".join(one.name for one in tied)
    worst = max(one.inflation or 0.0 for one in tied)
    times = format_number(math.sqrt(worst), 1)
    return [
        f"{names.capitalize()} moved with the other terms in these runs: what is put "
        f"down to one may be another's, and intervals are up to {times} times as wide "
        "as with runs spread evenly. Drive slow and fast runs at both temperatures."
    ]
