"""LTPP field validation: research-quality limits of the Long-Term Pavement Performance
program.

The interval mean ± t(0.975, n−1)·sd, between which single passes fall, must lie inside
the limits as a whole. Which items are judged is confirmed by public project
descriptions; the limits and the rule are from memory and were not checked against the
document; what of it is a number can be set by the agency.
"""

from __future__ import annotations

from dataclasses import dataclass

from calibration.calc.many_rules import ManyVerdicts, all_together, many_by_interval
from calibration.calc.many_sessions import ManySessions
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
    too_few,
    values_in_use,
)
from calibration.calc.standards.conduct import (
    run_count_notes,
    speed_spread_notes,
    temperature_notes,
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

MIN_TEMPERATURE_SPAN_F = 30.0
"""Span of pavement temperatures aimed at [°F], about 17 °C (from memory)."""

RESEARCH = "research quality"
_SOURCE = "LTPP field validation, research-quality limits"
_ITEMS = (*LIMIT_PCT, Quantity.SPEED, Quantity.AXLE_SPACING)
_RULE = "mean ± t·sd wholly inside the limits (LTPP field validation)"

VALUES = (
    *(
        EditableValue(
            quantity.value.replace(" ", "_"),
            f"{quantity}, limit",
            limit,
            "%",
            _SOURCE,
            at_most=100.0,
        )
        for quantity, limit in LIMIT_PCT.items()
    ),
    EditableValue("speed_mph", "speed, limit", 1.0, "mph", _SOURCE),
    EditableValue("speed_kmh", "speed, limit", 2.0, "km/h", _SOURCE),
    EditableValue("spacing_ft", "axle spacing, limit", 0.5, "ft", _SOURCE),
    EditableValue("spacing_mm", "axle spacing, limit", 150.0, "mm", _SOURCE),
    EditableValue(
        "advised_runs",
        "passes of a validation",
        ADVISED_RUNS,
        "",
        _SOURCE,
        is_whole=True,
    ),
    EditableValue(
        "advised_vehicles", "trucks of a validation", 2, "", _SOURCE, is_whole=True
    ),
    EditableValue(
        "speed_bins", "speeds of a validation", 3, "", _SOURCE, is_whole=True
    ),
    EditableValue(
        "temperature_span",
        "span of pavement temperatures",
        MIN_TEMPERATURE_SPAN_F,
        "°F",
        _SOURCE,
    ),
)
"""Limits and counts that an agency may set."""

_PRINTED = ValuesInUse("LTPP field validation", VALUES, {})
# Key and size of its unit in the errors' unit, for the two unit systems.
_PAIRS = {
    Quantity.SPEED: {
        UnitSystem.US: ("speed_mph", KMH_PER_MPH),
        UnitSystem.SI: ("speed_kmh", 1.0),
    },
    Quantity.AXLE_SPACING: {
        UnitSystem.US: ("spacing_ft", M_PER_FT),
        UnitSystem.SI: ("spacing_mm", 0.001),
    },
}


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
        "Loading and suspension of the trucks, the share of unclassified vehicles (at "
        "most 2 %) and the days of such data in a year (at least 210) are not judged "
        "here. The interval speaks for these trucks only."
    )
    values: tuple[EditableValue, ...] = VALUES

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
            The unit system picks the limits of speed and spacing; the agency's own
            values stand in place of those from memory.

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
        judgements = tuple(
            _judge_item(errors[item], conditions.unit_system, values) for item in _ITEMS
        )
        overall = overall_judgement(
            judgements=judgements,
            n_runs=len(errors.runs_used),
            class_name=RESEARCH,
            rule=f"{_RULE}; every item",
            standing=values.standing_with_own(self.standing),
        )
        covers, not_covered = coverage(judgements)
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
            notes=(
                *run_count_notes(
                    errors,
                    n_runs=int(values["advised_runs"]),
                    n_vehicles=int(values["advised_vehicles"]),
                    test="a validation",
                    is_own=values.is_own("advised_runs", "advised_vehicles"),
                ),
                *speed_spread_notes(errors, n_speeds=int(values["speed_bins"])),
                *temperature_notes(
                    errors,
                    span_c=values["temperature_span"] / 1.8,
                    unit_system=conditions.unit_system,
                ),
                *values.notes(),
            ),
        )

    def judge_many(
        self,
        sessions: ManySessions,
        *,
        class_name: str,
        conditions: Conditions = DEFAULT_CONDITIONS,
    ) -> ManyVerdicts:
        """Judge many sessions in one pass; the same verdicts as :meth:`judge`.

        Parameters
        ----------
        sessions
            Flat errors.
        class_name
            "research quality".
        conditions
            As for :meth:`judge`.
        """
        values = values_in_use(self, conditions)
        criteria = [
            many_by_interval(
                sessions[item],
                sessions.n_sessions,
                limit=limit_of(item, conditions.unit_system, values)[0],
                min_runs=MIN_RUNS,
            )
            for item in _ITEMS
        ]
        return all_together(self.key, class_name, criteria)


def limit_key(quantity: Quantity, unit_system: UnitSystem) -> str:
    """Key of the editable value that is the limit of one item.

    Parameters
    ----------
    quantity
        An item that LTPP judges.
    unit_system
        Which of the two limits holds for speed and spacing.
    """
    if quantity in _PAIRS:
        return _PAIRS[quantity][unit_system][0]
    return quantity.value.replace(" ", "_")


def limit_of(
    quantity: Quantity,
    unit_system: UnitSystem = UnitSystem.US,
    values: ValuesInUse = _PRINTED,
) -> tuple[float, str]:
    """The limit of one item, in the unit of its errors, and in words.

    Parameters
    ----------
    quantity
        An item that LTPP judges.
    unit_system
        Which of the two limits holds for speed and spacing.
    values
        Editable values in use.
    """
    key = limit_key(quantity, unit_system)
    size = _PAIRS[quantity][unit_system][1] if quantity in _PAIRS else 1.0
    return values[key] * size, f"±{values.shown(key)}"


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


def _judge_item(
    errors: QuantityErrors, unit_system: UnitSystem, values: ValuesInUse
) -> Judgement:
    limit, text = limit_of(errors.quantity, unit_system, values)
    found = summarise(errors)
    interval = found.single_pass_interval
    margin = None
    if interval is not None:
        margin = limit - max(-interval.low, interval.high)
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
        standing=values.standing(limit_key(errors.quantity, unit_system)),
        details=(
            ("statistic", "mean"),
            ("mean", found.mean),
            ("sd", found.sd),
            ("error unit", errors.unit),
            ("tolerance", limit),
            *margin_details(margin, errors.unit),
        ),
    )


STANDARD = Ltpp()
