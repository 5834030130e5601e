"""LTPP field validation: research-quality limits of the Long-Term Pavement Performance
program.

The interval mean ± t(0.975, n−1)·sd, between which single passes fall, must lie inside
the limits as a whole. Which items are judged is confirmed by public project
descriptions; the limits and the rule are from memory and were not checked against the
document.
"""

from __future__ import annotations

from dataclasses import dataclass

from calibration.calc.standards.base import (
    DEFAULT_CONDITIONS,
    FROM_MEMORY,
    MIN_RUNS,
    Conditions,
    StandardVerdict,
    check_class,
    coverage,
    no_data,
    overall_judgement,
    too_few,
)
from calibration.calc.statistics import TOLERANCE_SLACK, summarise
from calibration.calc.types import Quantity, QuantityErrors, RunErrors
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import (
    KMH_PER_MPH,
    M_PER_FT,
    Kind,
    UnitSystem,
    format_number,
    shown_unit,
)

LIMIT_PCT: dict[Quantity, float] = {
    Quantity.GROSS_WEIGHT: 10.0,
    Quantity.AXLE_GROUP: 15.0,
    Quantity.SINGLE_AXLE: 20.0,
}
"""Limits of weights [±%]; single axles, the steering axle among them."""

ADVISED_RUNS = 40
"""Two trucks with twenty passes each (from memory)."""

RESEARCH = "research quality"
_SPEED = {
    UnitSystem.US: (KMH_PER_MPH, "±1 mph"),
    UnitSystem.SI: (2.0, "±2 km/h"),
}
_SPACING = {
    UnitSystem.US: (0.5 * M_PER_FT, "±0.5 ft"),
    UnitSystem.SI: (0.15, "±150 mm"),
}
_ITEMS = (*LIMIT_PCT, Quantity.SPEED, Quantity.AXLE_SPACING)
_RULE = "mean ± t·sd wholly inside the limits (LTPP field validation)"


@dataclass(frozen=True)
class Ltpp:
    """Research-quality limits of LTPP field validation."""

    key: str = "ltpp"
    title: str = "LTPP field validation"
    edition: str = "research-quality limits"
    standing: str = f"Limits and rule {FROM_MEMORY}."
    classes: tuple[str, ...] = (RESEARCH,)
    default_class: str = RESEARCH
    does_not_cover: str = (
        "Number and loading of the trucks, spread of speeds and pavement temperatures, "
        "unclassified vehicles and days of data a year are not judged here. The "
        "interval speaks for these trucks only."
    )

    def judge(
        self,
        errors: RunErrors,
        *,
        wanted_class: str | None = None,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> StandardVerdict:
        """Judge runs against the research-quality limits.

        Parameters
        ----------
        errors
            Errors of the runs.
        wanted_class
            "research quality", the only one, or None.
        conditions
            The unit system picks the limits of speed and spacing.

        Returns
        -------
        StandardVerdict

        Raises
        ------
        wimprog.lib.errors.DomainError
            When there is no such class.
        """
        wanted = check_class(self, wanted_class)
        judgements = tuple(
            _judge_item(errors[item], conditions.unit_system) for item in _ITEMS
        )
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=RESEARCH,
            rule=f"{_RULE}; every item",
            standing=self.standing,
        )
        covers, not_covered = coverage(judgements)
        n_runs, n_vehicles = len(errors.runs_used), len(errors.vehicles)
        notes: tuple[str, ...] = ()
        if n_runs < ADVISED_RUNS or n_vehicles < 2:
            notes = (
                f"{n_runs} runs of {n_vehicles} vehicle{'s' * (n_vehicles != 1)}; a "
                f"validation is two trucks and {ADVISED_RUNS} passes (from memory).",
            )
        return StandardVerdict(
            standard=self.key,
            title=self.title,
            edition=self.edition,
            judged_class=RESEARCH,
            wanted_class=wanted,
            attained_class=RESEARCH if overall.verdict is Verdict.MEETS else None,
            judgements=judgements,
            overall=overall,
            covers=covers,
            not_covered=not_covered,
            does_not_cover=self.does_not_cover,
            notes=notes,
        )


def limit_of(
    quantity: Quantity, unit_system: UnitSystem = UnitSystem.US
) -> tuple[float, str]:
    """The limit of one item, in the unit of its errors, and in words.

    Parameters
    ----------
    quantity
        An item that LTPP judges.
    unit_system
        Which of the two limits holds for speed and spacing.
    """
    if quantity is Quantity.SPEED:
        return _SPEED[unit_system]
    if quantity is Quantity.AXLE_SPACING:
        return _SPACING[unit_system]
    return LIMIT_PCT[quantity], f"±{LIMIT_PCT[quantity]:g} %"


def _shown(interval: Interval, unit: str, system: UnitSystem) -> str:
    """The interval in the units of the limit."""
    factor, symbol, digits = 1.0, unit, 2
    if unit != "%":
        kind = Kind.SPEED if unit == "km/h" else Kind.LENGTH
        shown = shown_unit(kind, system)
        factor, symbol, digits = shown.from_si(1.0), shown.symbol, 3
    low, high = (
        format_number(x * factor, digits) for x in (interval.low, interval.high)
    )
    return f"{low} and {high} {symbol}"


def _judge_item(errors: QuantityErrors, unit_system: UnitSystem) -> Judgement:
    limit, text = limit_of(errors.quantity, unit_system)
    found = summarise(errors)
    interval = found.single_pass_interval
    if errors.n == 0:
        verdict, sentence = Verdict.CANNOT_SAY, no_data(errors.why_none)
    elif interval is None or errors.n_runs < MIN_RUNS:
        verdict, sentence = Verdict.CANNOT_SAY, too_few(errors.n_runs)
    else:
        widest = limit + TOLERANCE_SLACK
        inside = -widest <= interval.low and interval.high <= widest
        verdict = Verdict.MEETS if inside else Verdict.MISSES
        shown = _shown(interval, errors.unit, unit_system)
        sentence = (
            f"{'Meets' if inside else 'Misses'}: single passes between {shown} "
            f"(n {errors.n}), limits {text}."
        )
    return Judgement(
        quantity=errors.quantity,
        value=found.mean,
        unit=errors.unit,
        n=errors.n,
        interval=interval,
        rule=_RULE,
        limit=f"{text} for the whole interval",
        verdict=verdict,
        sentence=sentence,
        standing=FROM_MEMORY,
        details=(
            ("statistic", "mean"),
            ("mean", found.mean),
            ("sd", found.sd),
            ("error unit", errors.unit),
            ("tolerance", limit),
        ),
    )


STANDARD = Ltpp()
