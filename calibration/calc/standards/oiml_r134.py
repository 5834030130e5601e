"""OIML R 134-1:2006: automatic instruments for weighing road vehicles in motion.

Vehicle mass has classes 0.2 to 10 and axle loads have classes A to F, each with a
maximum permissible error (mpe) at initial verification and, twice as wide, in service.
"5-D" here is vehicle mass class 5 with axle load class D; "5" alone asks nothing of
axle loads.

Vehicle mass is held against the static mass. So are the axle loads of two-axle rigid
vehicles. Of other vehicles no static axle load is taken for true: each single axle or
group is held against its own corrected mean, the mean recorded load times static
vehicle mass over the mean of the summed axle loads. At an initial verification up to
10 % of the errors may exceed the mpe, and none by more than twice; in service none may
exceed it.

Class names are confirmed by published certificates. All limits and rules are from
memory and were not checked against the document; they can be set by the agency. A
Recommendation of legal metrology asks much more of an instrument than this.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from calibration.calc.standards.base import (
    DEFAULT_CONDITIONS,
    FROM_MEMORY,
    MIN_RUNS,
    Conditions,
    EditableValue,
    StandardVerdict,
    ValuesInUse,
    check_class,
    coverage,
    margin_details,
    no_data,
    overall_judgement,
    percent,
    too_few,
    values_in_use,
)
from calibration.calc.standards.shares import n_allowed
from calibration.calc.statistics import TOLERANCE_SLACK, share_within, summarise
from calibration.calc.types import FloatArray, Quantity, QuantityErrors, RunErrors
from wimprog.lib.judgement import Interval, Judgement, Verdict

MASS_MPE_PCT: dict[str, tuple[float, float]] = {
    "0.2": (0.10, 0.20),
    "0.5": (0.25, 0.50),
    "1": (0.50, 1.00),
    "2": (1.00, 2.00),
    "5": (2.50, 5.00),
    "10": (5.00, 10.00),
}
"""Vehicle mass: mpe [±%] at initial verification and in service (from memory)."""

RIGID_MPE_PCT: dict[str, tuple[float, float]] = {
    "A": (0.25, 0.50),
    "B": (0.50, 1.00),
    "C": (0.75, 1.50),
    "D": (1.00, 2.00),
    "E": (2.00, 4.00),
    "F": (4.00, 8.00),
}
"""Axle loads of two-axle rigid vehicles, against the static load (from memory)."""

OTHER_MPE_PCT: dict[str, tuple[float, float]] = {
    "A": (0.50, 1.00),
    "B": (1.00, 2.00),
    "C": (1.50, 3.00),
    "D": (2.00, 4.00),
    "E": (4.00, 8.00),
    "F": (8.00, 16.00),
}
"""Axle and group loads of other vehicles, against the corrected mean (from memory)."""

MAX_EXCEEDING_PCT = 10.0
MAX_EXCESS = 2.0
"""Initial verification: share that may exceed the mpe, and by how many times at most
(confirmed for the rail instruments of R 106; from memory for R 134)."""

CLASSES = tuple(
    f"{mass}-{axle}" if axle else mass
    for mass, axle in product(MASS_MPE_PCT, (*RIGID_MPE_PCT, ""))
)

RIGID = "axle loads of two-axle vehicles"
SINGLE = "single axle loads of other vehicles"
GROUP = "axle-group loads of other vehicles"

_STAGES = ("initial", "service")
_STAGE_WORDS = {"initial": "initial verification", "service": "in service"}
_RULES = {
    "initial": (
        "No more than 10 % of the errors beyond the maximum permissible error and none "
        "beyond twice it (OIML R 134-1:2006, initial verification)"
    ),
    "service": (
        "No error beyond the maximum permissible error (OIML R 134-1:2006, in service)"
    ),
}
_TABLES = (
    ("mass", MASS_MPE_PCT, "vehicle mass class"),
    ("rigid", RIGID_MPE_PCT, "two-axle vehicles, axle load class"),
    ("other", OTHER_MPE_PCT, "other vehicles, axle load class"),
)

VALUES = (
    *(
        EditableValue(
            f"{table}_{name}_{stage}",
            f"{words} {name}, {_STAGE_WORDS[stage]}",
            limits[place],
            "%",
            "OIML R 134-1:2006, maximum permissible errors",
            at_most=100.0,
        )
        for table, classes, words in _TABLES
        for name, limits in classes.items()
        for place, stage in enumerate(_STAGES)
    ),
    EditableValue(
        "max_exceeding",
        "initial verification, share that may exceed the limit",
        MAX_EXCEEDING_PCT,
        "%",
        "OIML R 134-1:2006, initial verification",
        at_most=100.0,
    ),
    EditableValue(
        "max_excess",
        "initial verification, greatest excess as a multiple of the limit",
        MAX_EXCESS,
        "",
        "OIML R 134-1:2006, initial verification",
    ),
)
"""Limits and rules that an agency may set."""


@dataclass(frozen=True)
class OimlR134:
    """Vehicle mass classes 0.2 to 10, axle load classes A to F."""

    key: str = "oiml-r134"
    title: str = "OIML R 134"
    edition: str = "part 1 (2006)"
    standing: str = f"Limits and rules {FROM_MEMORY}."
    classes: tuple[str, ...] = CLASSES
    default_class: str = "10-F"
    does_not_cover: str = (
        "Scale intervals, speed and temperature ranges, influence factors, marking and "
        "sealing, and the range of vehicles, loads and runs of a type approval are not "
        "judged here; this is no verification under a law of metrology. The result "
        "speaks for these trucks only."
    )
    values: tuple[EditableValue, ...] = VALUES

    def judge(
        self,
        errors: RunErrors,
        *,
        wanted_class: str | None = None,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> StandardVerdict:
        """Judge runs against a class, or find the strictest class they meet.

        Parameters
        ----------
        errors
            Errors of the runs, gross weights and axles of all vehicles.
        wanted_class
            "5-D" for vehicle mass class 5 with axle load class D, "5" for vehicle mass
            alone; None for the strictest that is met, vehicle mass first.
        conditions
            Initial verification or in service; the agency's own values.

        Returns
        -------
        StandardVerdict

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such class, or an agency's value cannot be used.
        """
        wanted = check_class(self, wanted_class)
        values = values_in_use(self, conditions)
        stage = "initial" if conditions.is_initial else "service"
        criteria = _criteria(errors, values, stage)
        attained = _attained(criteria)
        is_judged = criteria[0].is_judged
        fallback = self.classes[-1] if is_judged else self.default_class
        judged = wanted or attained or fallback
        judgements = tuple(one.judgement(judged) for one in criteria)
        with_margin = [one for one in judgements if _margin(one) is not None]
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=judged,
            rule=f"{_RULES[stage]}; every criterion",
            standing=values.standing_with_own(self.standing),
            deciding=min(
                with_margin, key=lambda one: _margin(one) or 0.0, default=None
            ),
        )
        covers, not_covered = coverage(judgements)
        words = "initial verification" if stage == "initial" else "use in service"
        return StandardVerdict(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            judged_class=judged,
            wanted_class=wanted,
            attained_class=attained,
            judgements=judgements,
            overall=overall,
            covers=covers,
            not_covered=not_covered,
            does_not_cover=self.does_not_cover,
            notes=(f"Limits of {words}.", *values.notes()),
        )


def corrected_mean_kg(
    recorded_kg: FloatArray, summed_kg: FloatArray, static_mass_kg: float
) -> float:
    """Corrected mean load of one axle or group.

    Parameters
    ----------
    recorded_kg
        Recorded loads of the axle or group [kg], shape (runs,).
    summed_kg
        Sums of all axle loads of the same runs [kg], shape (runs,).
    static_mass_kg
        Static vehicle mass [kg].

    Returns
    -------
    float
        Mean recorded load × static vehicle mass / mean of the summed axle loads [kg].

    References
    ----------
    OIML R 134-1:2006 (from memory).

    Examples
    --------
    >>> corrected_mean_kg(np.array([5000., 5200.]), np.array([19800., 20200.]), 20400.)
    5202.0
    """
    return float(recorded_kg.mean() * static_mass_kg / summed_kg.mean())


def deviations(errors: RunErrors, quantity: Quantity) -> QuantityErrors:
    """Deviations of loads from their corrected means, of vehicles beyond two axles.

    Parameters
    ----------
    errors
        Errors of the runs.
    quantity
        Single axle or axle group.

    Returns
    -------
    QuantityErrors
        ``reference`` [kg] is the corrected mean, ``errors`` [%] the deviation from it.
    """
    loads, gross = errors[quantity], errors[Quantity.GROSS_WEIGHT]
    masses = set(zip(gross.vehicles, gross.reference_gvw_kg.tolist(), strict=True))
    weighed = np.array(
        [
            pair in masses
            for pair in zip(
                loads.vehicles, loads.reference_gvw_kg.tolist(), strict=True
            )
        ],
        dtype=bool,
    )
    kept = loads.where(
        weighed & ~_is_two_axle(errors, loads), "There are no such vehicles."
    )
    corrected = np.empty(kept.n)
    by_part: dict[tuple[str, float, str], list[int]] = defaultdict(list)
    for place, (vehicle, mass_kg, part) in enumerate(
        zip(kept.vehicles, kept.reference_gvw_kg, kept.parts, strict=True)
    ):
        by_part[vehicle, float(mass_kg), part].append(place)
    for (vehicle, mass_kg, _), places in by_part.items():
        own = _of(gross, vehicle, mass_kg)
        corrected[places] = corrected_mean_kg(
            kept.measured[places], gross.measured[own], mass_kg
        )
    return replace(
        kept,
        reference=corrected,
        errors=100.0 * (kept.measured - corrected) / corrected,
    )


def two_axle_errors(errors: RunErrors) -> QuantityErrors:
    """Errors of the axle loads of two-axle vehicles, against the static loads [%].

    Parameters
    ----------
    errors
        Errors of the runs.
    """
    axles = errors[Quantity.AXLE]
    return axles.where(_is_two_axle(errors, axles), "There are no two-axle vehicles.")


def _is_two_axle(errors: RunErrors, loads: QuantityErrors) -> NDArray[np.bool_]:
    """For each load: does its vehicle have two axles?"""
    axles = errors[Quantity.AXLE]
    parts = set(
        zip(axles.vehicles, axles.reference_gvw_kg.tolist(), axles.parts, strict=True)
    )
    counts = Counter((vehicle, mass_kg) for vehicle, mass_kg, _ in parts)
    return np.array(
        [
            counts[pair] == 2
            for pair in zip(
                loads.vehicles, loads.reference_gvw_kg.tolist(), strict=True
            )
        ],
        dtype=bool,
    )


def _of(errors: QuantityErrors, vehicle: str, mass_kg: float) -> NDArray[np.bool_]:
    named = np.array([one == vehicle for one in errors.vehicles], dtype=bool)
    return named & np.asarray(errors.reference_gvw_kg == mass_kg, dtype=bool)


def _margin(judgement: Judgement) -> float | None:
    margin: float | None = dict(judgement.details)["margin"]
    return margin


@dataclass(frozen=True)
class _Criterion:
    """Errors of one criterion, and the table of limits that they are held against."""

    name: str
    errors: QuantityErrors
    table: str
    stage: str
    values: ValuesInUse

    @property
    def is_judged(self) -> bool:
        return self.errors.n_runs >= MIN_RUNS

    @property
    def allowed(self) -> int:
        """How many errors may exceed the mpe."""
        if self.stage == "service":
            return 0
        return n_allowed(self.errors.n, self.values["max_exceeding"])

    def key(self, class_name: str) -> str:
        mass, _, axle = class_name.partition("-")
        return f"{self.table}_{mass if self.table == 'mass' else axle}_{self.stage}"

    def margin(self, class_name: str) -> float | None:
        """How far inside the limits [%]: by count and, at the first, by twice the mpe.

        Of the errors that count (all but those that may exceed), the largest must be
        within the mpe; at an initial verification the largest of all, within twice it.
        """
        if not self.errors.n:
            return None
        mpe = self.values[self.key(class_name)]
        sizes = np.sort(np.abs(self.errors.errors))[::-1]
        allowed = min(self.allowed, sizes.size - 1)
        margin = mpe - float(sizes[allowed])
        if self.stage == "initial":
            margin = min(margin, self.values["max_excess"] * mpe - float(sizes[0]))
        return margin

    def meets(self, class_name: str) -> bool:
        margin = self.margin(class_name)
        return self.is_judged and margin is not None and margin >= -TOLERANCE_SLACK

    def judgement(self, class_name: str) -> Judgement:
        if self.table != "mass" and "-" not in class_name:
            return self._not_asked(class_name)
        key = self.key(class_name)
        keys = [key]
        limit = f"±{self.values.shown(key)}"
        words = f"{limit} for every value"
        if self.stage == "initial":
            keys += ["max_exceeding", "max_excess"]
            words = (
                f"{limit} for all but {self.values.shown('max_exceeding')} of values, "
                f"none beyond {self.values.shown('max_excess')} times that"
            )
        mpe, margin = self.values[key], self.margin(class_name)
        found, statistics = share_within(self.errors, mpe), summarise(self.errors)
        n_runs, n_exceeding = self.errors.n_runs, found.n_outside
        largest = float(np.abs(self.errors.errors).max()) if found.n else None
        interval = found.interval and Interval(
            100.0 * found.interval.low,
            100.0 * found.interval.high,
            found.interval.level,
        )
        is_outside = margin is not None and margin < -TOLERANCE_SLACK
        if margin is None or largest is None:
            verdict, sentence = Verdict.CANNOT_SAY, no_data(self.errors.why_none)
        elif n_runs < 2 or (n_runs < MIN_RUNS and not is_outside):
            verdict, sentence = Verdict.CANNOT_SAY, too_few(n_runs)
        else:
            verdict = Verdict.MISSES if is_outside else Verdict.MEETS
            sentence = (
                f"{'Misses' if is_outside else 'Meets'}: {n_exceeding} of {found.n} "
                f"beyond {limit}, {self.allowed} allowed; the largest error is "
                f"{percent(largest, 2)}."
            )
        return Judgement(
            quantity=self.name,
            value=None if found.share is None else 100.0 * found.share,
            unit="%",
            n=found.n,
            interval=interval,
            rule=_RULES[self.stage],
            limit=words,
            verdict=verdict,
            sentence=sentence,
            standing=self.values.standing(*keys),
            details=(
                ("statistic", "share within"),
                ("mean", statistics.mean),
                ("sd", statistics.sd),
                ("error unit", "%"),
                ("tolerance", mpe),
                ("n outside", n_exceeding),
                ("n allowed outside", self.allowed),
                ("largest error", largest),
                *margin_details(margin, "%"),
            ),
        )

    def _not_asked(self, class_name: str) -> Judgement:
        """An axle criterion under a class of vehicle mass alone."""
        return Judgement(
            quantity=self.name,
            value=None,
            unit="%",
            n=self.errors.n,
            interval=None,
            rule=_RULES[self.stage],
            limit="none",
            verdict=Verdict.CANNOT_SAY,
            sentence=no_data(f"class {class_name} asks nothing of axle loads"),
            standing=FROM_MEMORY,
            details=margin_details(None, "%"),
        )


def _criteria(
    errors: RunErrors, values: ValuesInUse, stage: str
) -> tuple[_Criterion, ...]:
    found = (
        (Quantity.GROSS_WEIGHT.value, errors[Quantity.GROSS_WEIGHT], "mass"),
        (RIGID, two_axle_errors(errors), "rigid"),
        (SINGLE, deviations(errors, Quantity.SINGLE_AXLE), "other"),
        (GROUP, deviations(errors, Quantity.AXLE_GROUP), "other"),
    )
    return tuple(
        _Criterion(name, own, table, stage, values) for name, own, table in found
    )


def _attained(criteria: tuple[_Criterion, ...]) -> str | None:
    """The strictest class met; one with an axle letter only where axles were judged."""
    mass, *axles = criteria
    judged = [one for one in axles if one.is_judged]
    for name in CLASSES:
        letter = name.partition("-")[2]
        if letter and not (judged and all(one.meets(name) for one in judged)):
            continue
        if mass.meets(name):
            return name
    return None


STANDARD = OimlR134()
