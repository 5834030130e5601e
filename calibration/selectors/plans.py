"""Session plans: what they can show, what the standard asks of them, the run sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import QuerySet

from calibration.calc.types import EnvironmentPlan, LanePosition, TestPlan
from calibration.models import SessionPlan, SessionResult
from calibration.selectors.plan_advice import Advice, advice_of, blocks_of
from calibration.selectors.standards import agency_values
from sites.models import Lane
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem, format_number

if TYPE_CHECKING:
    from calibration.calc.pass_chances import PassCurves, Population
    from calibration.calc.planning import BiasCurves
    from calibration.calc.run_schedule import PlannedRun
    from calibration.calc.standards.base import (
        Conditions,
        ToleranceStandard,
    )
    from calibration.calc.types import FloatArray

EARLIER_SESSIONS = 4
"""How many of a lane's sessions its expected spread is taken from."""
LARGEST_TRUCK_SHARE = 0.5
"""Where the spread expected is small, trucks are given no more than this share of it
(common practice, no source)."""


def plan_list() -> QuerySet[SessionPlan]:
    """All plans, the newest first, with all that their pages name."""
    return (
        SessionPlan.objects.select_related("lane__wim_site", "session")
        .prefetch_related("vehicles")
        .order_by("-planned_on", "-pk")
    )


def plan_get(pk: int) -> SessionPlan | None:
    """One plan with its lane, session and vehicles."""
    return plan_list().filter(pk=pk).first()


def expected_sd_of(lane: Lane) -> float | None:
    """Spread of gross weight errors [%] in the lane's latest sessions, pooled.

    As found where there is that, since that is what a session meets. None without two
    runs in any.
    """
    rows = (
        SessionResult.objects.filter(session__lane=lane, gvw_sd_pct__isnull=False)
        .order_by("-session__held_on", "-session_id", "stage")
        .values_list("session_id", "gvw_sd_pct", "n_runs")
    )
    by_session: dict[int, tuple[float, int]] = {}
    for session, sd, n in rows:
        if sd is not None:
            by_session.setdefault(session, (sd, n - 1))
    kept = [(sd, df) for sd, df in by_session.values() if df > 0][:EARLIER_SESSIONS]
    if not kept:
        return None
    total = sum(df for _, df in kept)
    return float((sum(df * sd**2 for sd, df in kept) / total) ** 0.5)


def population_of(plan: SessionPlan) -> Population:
    """How the lane is expected to err: the bias asked about, and the spread expected.

    The spread of single errors holds the trucks' own; what is left is that of one
    truck's runs.
    """
    from calibration.calc.pass_chances import Population
    from calibration.calc.planning import TRUCK_SD_PCT

    sd = plan.expected_sd_pct
    truck_sd = min(TRUCK_SD_PCT, LARGEST_TRUCK_SHARE * sd)
    return Population(plan.bias_to_show_pct, (sd**2 - truck_sd**2) ** 0.5, truck_sd)


def conditions_of_plan(plan: SessionPlan, system: UnitSystem | str) -> Conditions:
    """The plan's test conditions and the agency's own values of the standards."""
    from calibration.calc.standards.base import Conditions

    return Conditions(
        plan=TestPlan(plan.plan),
        environment=EnvironmentPlan(plan.environment),
        unit_system=UnitSystem(system),
        agency_values=agency_values(),
    )


def runs_of(plan: SessionPlan, vehicles: Sequence[str]) -> tuple[PlannedRun, ...]:
    """The runs in the order in which they are to be driven.

    Raises
    ------
    DomainError
        When the runs do not share out over the speeds, or nothing is to be driven.
    """
    from calibration.calc.run_schedule import schedule

    speeds = plan.speeds_kmh or []
    if speeds and plan.runs_per_vehicle % len(speeds):
        n, k = plan.runs_per_vehicle, len(speeds)
        lower = n // k * k
        told = f"{lower} or {lower + k}" if lower else f"{k}"
        raise DomainError(
            f"{n} runs of each vehicle do not share out evenly over {k} speeds; plan "
            f"{told}, or another number of speeds."
        )
    return schedule(
        vehicles,
        speeds,
        runs_at_speed=plan.runs_per_vehicle // max(len(speeds), 1),
        blocks=blocks_of(plan),
        with_lane_edges=LanePosition.LEFT.value in plan.lane_positions,
    )


@dataclass(frozen=True, eq=False)
class PlanPage:
    """Everything that a plan's page shows.

    Attributes
    ----------
    plan, standard
        The plan, and the standard it is to be judged by.
    vehicles
        Its vehicles.
    population
        How the lane is expected to err.
    bias, passing
        The curves; ``passing`` is None where the standard has no rule to plan for, and
        ``why_no_rule`` says why.
    sd_low, sd_high
        Limits of the interval of the spread over the spread found, by runs of each.
    sentences
        What the planned number can show.
    advice
        What the standard asks of the test.
    runs
        The order of the runs; empty where there is none, and ``why_no_runs`` says why.
    """

    plan: SessionPlan
    standard: ToleranceStandard
    vehicles: tuple[Any, ...]
    population: Population | None = None
    bias: BiasCurves | None = None
    passing: PassCurves | None = None
    sd_low: FloatArray | None = None
    sd_high: FloatArray | None = None
    sentences: tuple[str, ...] = ()
    why_no_rule: str = ""
    advice: tuple[Advice, ...] = ()
    runs: tuple[PlannedRun, ...] = ()
    why_no_runs: str = ""

    @property
    def n_runs(self) -> int:
        """Runs in all."""
        return self.plan.runs_per_vehicle * len(self.vehicles)

    @property
    def curve_rows(self) -> list[dict[str, Any]]:
        """The curves as rows: one for each number of runs of each vehicle."""
        if self.bias is None or self.sd_low is None or self.sd_high is None:
            return []
        passing = self.passing
        return [
            {
                "each": int(each),
                "all": int(each) * self.bias.n_vehicles,
                "half_these": float(self.bias.half_width_these[i]),
                "half_like": float(self.bias.half_width_like[i]),
                "power_these": float(self.bias.power_these[i]),
                "power_like": float(self.bias.power_like[i]),
                "sd_low": float(self.sd_low[i]),
                "sd_high": float(self.sd_high[i]),
                "at_limit": float(passing.at_limit[i]) if passing else None,
                "as_expected": float(passing.as_expected[i]) if passing else None,
                "is_plan": int(each) == self.plan.runs_per_vehicle,
            }
            for i, each in enumerate(self.bias.runs_each)
        ]


def plan_page(plan: SessionPlan, *, system: UnitSystem | str) -> PlanPage:
    """What a plan can show; needs ``vehicles`` prefetched."""
    from calibration.calc.standards import find_standard

    vehicles = tuple(plan.vehicles.all())
    standard = find_standard(plan.standard)
    conditions = conditions_of_plan(plan, system)
    runs: tuple[PlannedRun, ...] = ()
    why_no_runs = ""
    try:
        runs = runs_of(plan, [one.name for one in vehicles])
    except DomainError as error:
        why_no_runs = error.message
    curves = _curves(plan, len(vehicles), conditions) if vehicles else {}
    return PlanPage(
        plan=plan,
        standard=standard,
        vehicles=vehicles,
        advice=advice_of(plan, vehicles, standard, conditions),
        runs=runs,
        why_no_runs=why_no_runs,
        **curves,
    )


def _curves(plan: SessionPlan, n_vehicles: int, conditions: Conditions) -> Any:
    """The curves from two runs of each vehicle on, with what the plan can show."""
    from calibration.calc.pass_rules import pass_rule
    from calibration.calc.planning import bias_curves, draw_up, sd_interval_factors

    population = population_of(plan)
    each = max(plan.runs_per_vehicle, 2)
    try:
        rule = pass_rule(plan.standard, plan.wanted_class, conditions=conditions)
    except DomainError as error:
        numbers = list(range(2, max(2 * each, 20) + 1))
        low, high = sd_interval_factors([n_vehicles * n for n in numbers])
        bias = bias_curves(population, n_vehicles=n_vehicles, runs_each=numbers)
        return {
            "population": population,
            "bias": bias,
            "sd_low": low,
            "sd_high": high,
            "why_no_rule": error.message,
        }
    drawn = draw_up(rule, population, n_vehicles=n_vehicles, runs_each=each)
    return {
        "population": population,
        "bias": drawn.bias,
        "passing": drawn.passing,
        "sd_low": drawn.sd_low,
        "sd_high": drawn.sd_high,
        "sentences": drawn.sentences if plan.runs_per_vehicle >= 2 else (),
    }


def curve_cells(page: PlanPage) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the curves, for a spreadsheet."""
    headings = [
        "runs of each", "runs in all", "half-width of the bias, these trucks %",
        "half-width, trucks like these %", "chance to show the bias, these trucks",
        "chance, trucks like these", "spread low factor", "spread high factor",
        "chance of passing at the limit", "chance of passing as expected", "planned",
    ]  # fmt: skip
    keys = (
        "each", "all", "half_these", "half_like", "power_these", "power_like",
        "sd_low", "sd_high", "at_limit", "as_expected",
    )  # fmt: skip
    rows = [
        [
            *(None if row[key] == float("inf") else row[key] for key in keys),
            "yes" if row["is_plan"] else "",
        ]
        for row in page.curve_rows
    ]
    return headings, rows


def expected_words(page: PlanPage) -> str:
    """The spreads that the curves rest on, in words."""
    if page.population is None:
        return ""
    one = page.population
    return (
        f"Rests on a spread of single errors of {format_number(one.sd, 2)} %: "
        f"{format_number(one.run_sd, 2)} % among the runs of one truck and "
        f"{format_number(one.truck_sd, 2)} % between trucks (common practice, no "
        "source)."
    )
