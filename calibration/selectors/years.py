"""A lane's calibration through the years: sessions, bias then and now, its cost."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calibration.models import (
    CalibrationSession,
    CalibrationSettings,
    FactorSet,
    RunStage,
    SessionResult,
)
from calibration.selectors.due import (
    LaneDue,
    bias_walks,
    kept_by_facts,
    lane_biases,
    lane_dues,
    longest_days_of,
)
from calibration.selectors.lane_records import LaneRecord, lane_records
from calibration.selectors.references import settings_get
from sites.models import Lane, Program

if TYPE_CHECKING:
    from calibration.calc.bias_types import BiasOn, BiasWalk, LaneBias
    from calibration.calc.worth_types import CostInputs, Worth
    from wimprog.lib.judgement import Interval

STEP_DAYS = 14
"""Days between the points of the drawn forecast."""

NEEDED_COSTS = {
    "session_cost": "cost of a session",
    "price_per_lane_km_cm": "price of pavement",
    "designed_per_year_km": "lane length designed in a year",
    "design_esals": "design ESALs",
    "resilient_modulus_mpa": "resilient modulus of the roadbed",
}


@dataclass(frozen=True)
class StageFound:
    """What one stage of a session showed of gross weight; all in %."""

    n: int
    mean_pct: float | None
    low_pct: float | None
    high_pct: float | None
    sd_pct: float | None
    sd_interval: Interval | None
    verdict: str


@dataclass(frozen=True)
class YearRow:
    """One session of a lane."""

    session: CalibrationSession
    found: StageFound | None
    left: StageFound | None
    factor_before: float | None
    factor_after: float | None

    @property
    def change_pct(self) -> float | None:
        """Change of the factor [%]; None where one of them is not known."""
        if self.factor_before is None or self.factor_after is None:
            return None
        return 100.0 * (self.factor_after / self.factor_before - 1.0)


@dataclass(frozen=True)
class LaneYears:
    """Everything that a lane's page of years shows.

    Attributes
    ----------
    lane
        With its site.
    rows
        Sessions with runs, oldest first.
    due
        None where the lane is closed or its site not in service.
    bias
        What is believed of its bias today.
    walk
        The fit of its technology.
    path
        Bias from its last session to the end of the longest interval.
    worth
        Calibrate or leave; None where costs are not set or the lane is not open.
    missing_costs
        Settings that are empty, in words.
    """

    lane: Lane
    record: LaneRecord
    rows: tuple[YearRow, ...]
    due: LaneDue | None
    bias: LaneBias | None
    walk: BiasWalk
    path: tuple[BiasOn, ...]
    worth: Worth | None
    missing_costs: tuple[str, ...]
    settings: CalibrationSettings


def missing_costs(settings: CalibrationSettings) -> tuple[str, ...]:
    """Which of the figures that costs need are not set, in words."""
    return tuple(
        words for name, words in NEEDED_COSTS.items() if getattr(settings, name) is None
    )


def cost_inputs(settings: CalibrationSettings, program: Program) -> CostInputs | None:
    """What a session and biased loads cost; None while a figure is not set."""
    from calibration.calc.pavement_design import FlexibleDesign
    from calibration.calc.worth_types import CostInputs

    if missing_costs(settings):
        return None
    return CostInputs(
        session_cost=float(settings.session_cost or 0),
        price_per_lane_km_cm=float(settings.price_per_lane_km_cm or 0),
        designed_lane_km_per_year=float(settings.designed_per_year_km or 0),
        design=FlexibleDesign(
            design_esals=float(settings.design_esals or 0),
            resilient_modulus_mpa=float(settings.resilient_modulus_mpa or 0),
            reliability=settings.design_reliability,
            serviceability_loss=settings.serviceability_loss,
            layer_coefficient_per_in=settings.layer_coefficient_per_in,
        ),
        too_thin_factor=settings.too_thin_factor,
        currency=program.currency,
    )


def lane_worths(
    dues: Iterable[LaneDue], program: Program, today: dt.date
) -> dict[int, Worth]:
    """Calibrate or leave, for some lanes; empty while costs are not set."""
    settings = settings_get()
    inputs = cost_inputs(settings, program)
    dues = list(dues)
    if inputs is None or not dues:
        return {}
    walks = bias_walks(lane_records(today))
    return {
        one.lane.pk: lane_worth(
            one.record, walks[one.record.technology], inputs, program, today
        )
        for one in dues
    }


def lane_worth(
    record: LaneRecord,
    walk: BiasWalk,
    inputs: CostInputs,
    program: Program,
    today: dt.date,
) -> Worth:
    """Calibrate a lane or leave it, by the agency's costs."""
    from calibration.calc.worth import calibrate_or_leave

    days = longest_days_of(program, record.last_session_on or today)

    def weigh(*facts: Any) -> Worth:
        return calibrate_or_leave(walk, record.key, today, inputs, longest_days=days)

    sessions = [(end.key, end.last_on, end.mean.tolist()) for end in walk.lanes]
    return kept_by_facts(
        "worth", (walk.sentence, sessions, record.key, today, inputs, days), weigh
    )


def lane_years(lane: Lane, program: Program, today: dt.date) -> LaneYears:
    """One lane through the years, in a fixed number of queries."""
    settings = settings_get()
    records = lane_records(today)
    record = next(one for one in records if one.lane.pk == lane.pk)
    walk = bias_walks(records)[record.technology]
    biases = lane_biases(
        [record], {record.technology: walk}, program=program, settings=settings,
        today=today,
    )  # fmt: skip
    due = lane_dues(program, today).get(lane.pk)
    inputs = cost_inputs(settings, program)
    return LaneYears(
        lane=lane,
        record=record,
        rows=_rows(lane, today),
        due=due,
        bias=biases.get(lane.pk),
        walk=walk,
        path=_path(record, walk, program, settings),
        worth=lane_worth(record, walk, inputs, program, today)
        if inputs and due
        else None,
        missing_costs=missing_costs(settings),
        settings=settings,
    )


def _path(
    record: LaneRecord,
    walk: BiasWalk,
    program: Program,
    settings: CalibrationSettings,
) -> tuple[BiasOn, ...]:
    """Bias from the last session on, every two weeks; empty where none still holds."""
    end = next(one for one in walk.lanes if one.key == record.key)
    if end.last_on is None:
        return ()
    days = longest_days_of(program, end.last_on)
    steps = [*range(STEP_DAYS, days, STEP_DAYS), days]
    found = lane_biases(
        [record],
        {record.technology: replace(walk, lanes=(end,))},
        program=program,
        settings=settings,
        today=end.last_on,
        later_days=steps,
    )[record.lane.pk]
    return (found.today, *found.later) if found.today else ()


def _rows(lane: Lane, today: dt.date) -> tuple[YearRow, ...]:
    results: dict[int, list[SessionResult]] = {}
    rows = (
        SessionResult.objects.filter(session__lane=lane, session__held_on__lte=today)
        .select_related("session")
        .order_by("session__held_on", "session_id", "stage")
    )
    for row in rows:
        results.setdefault(row.session_id, []).append(row)
    factors = {
        (session, stage): overall
        for session, stage, overall in FactorSet.objects.filter(session__lane=lane)
        .order_by()
        .values_list("session_id", "stage", "overall")
    }
    return tuple(_year_row(own, factors) for own in results.values())


def _year_row(
    own: Sequence[SessionResult], factors: dict[tuple[int, str], float | None]
) -> YearRow:
    session = own[0].session
    session.lane_id = own[0].session.lane_id
    by_stage = {one.stage: _stage(one) for one in own}
    before = factors.get((session.pk, RunStage.AS_FOUND.value))
    after = factors.get((session.pk, RunStage.AS_LEFT.value))
    return YearRow(
        session=session,
        found=by_stage.get(RunStage.AS_FOUND.value),
        left=by_stage.get(RunStage.AS_LEFT.value),
        factor_before=before if before is not None else session.factor_before,
        factor_after=after if after is not None else session.factor_after,
    )


def _stage(result: SessionResult) -> StageFound:
    from calibration.calc.planning import sd_interval_factors
    from wimprog.lib.judgement import Interval

    interval = None
    if result.gvw_sd_pct is not None and result.n_runs >= 2:
        low, high = sd_interval_factors([result.n_runs])
        interval = Interval(
            float(low[0]) * result.gvw_sd_pct, float(high[0]) * result.gvw_sd_pct
        )
    return StageFound(
        n=result.n_runs,
        mean_pct=result.gvw_mean_pct,
        low_pct=result.gvw_low_pct,
        high_pct=result.gvw_high_pct,
        sd_pct=result.gvw_sd_pct,
        sd_interval=interval,
        verdict=result.verdict_word,
    )


def year_cells(page: LaneYears) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of a lane's sessions, for a spreadsheet."""
    headings = [
        "held on", "purpose", "stage", "runs", "mean gross weight error %",
        "mean low %", "mean high %", "sd %", "sd low %", "sd high %", "verdict",
        "class", "factor before", "factor after",
    ]  # fmt: skip
    cells = []
    for row in page.rows:
        for stage, one in (("as found", row.found), ("as left", row.left)):
            if one is None:
                continue
            span = one.sd_interval
            cells.append(
                [
                    row.session.held_on, row.session.purpose, stage, one.n,
                    one.mean_pct, one.low_pct, one.high_pct, one.sd_pct,
                    span.low if span else None, span.high if span else None,
                    one.verdict, row.session.wanted_class, row.factor_before,
                    row.factor_after,
                ]
            )  # fmt: skip
    return headings, cells


def due_cells(dues: Iterable[LaneDue]) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of the due list, for a spreadsheet."""
    headings = [
        "site", "lane", "state", "last session", "from", "due", "days left", "reason",
        "chance out of tolerance today", "why",
    ]  # fmt: skip
    cells = [
        [
            one.lane.wim_site.code, one.lane.label, str(one.entry.state),
            one.record.last_session_on, one.entry.from_on, one.entry.due_on,
            one.days_left, str(one.entry.reason), one.entry.chance_out,
            one.entry.sentence,
        ]
        for one in dues
    ]  # fmt: skip
    return headings, cells
