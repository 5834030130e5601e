"""Static weighings as reference weights: their readings, spread and uncertainty."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Max, Q, QuerySet

from calibration.calc.axle_groups import AxleGroups, group_axles
from calibration.calc.types import Quantity, ReferenceVehicle
from calibration.models import (
    CalibrationSettings,
    StaticWeighing,
    TestVehicle,
    TruckRun,
)
from calibration.selectors.standards import agency_values
from sites.models import Program
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

if TYPE_CHECKING:
    from calibration.calc.reference_bias import ReferencePart
    from calibration.calc.reference_types import (
        FuelBurn,
        ReferenceWeight,
        Scale,
        ScaleReading,
        VehicleReference,
    )
    from wimprog.lib.judgement import Judgement

SHOWN_CHANGES = 30
WEIGHING_REACH = dt.timedelta(days=45)
"""How far from the session's day a static weighing is offered."""

BURN_REACH = dt.timedelta(hours=24)
"""Two weighings of one vehicle this near to each other tell how much it burns (common
practice, no source)."""


def settings_get() -> CalibrationSettings:
    """The agency's settings of calibration; the usual ones while none were made."""
    return CalibrationSettings.objects.first() or CalibrationSettings()


def vehicle_get(pk: int) -> TestVehicle | None:
    """One test vehicle."""
    return TestVehicle.objects.filter(pk=pk).first()


def groups_of(vehicle: TestVehicle) -> AxleGroups:
    """Which of the vehicle's axles stand alone and which in groups."""
    return group_axles(vehicle.axle_spacings_m)


def weighing_list(vehicle: TestVehicle) -> list[StaticWeighing]:
    """The vehicle's weighings, newest first, each with ``n_runs`` held against it."""
    own = vehicle.weighings.select_related("vehicle")
    return list(own.annotate(n_runs=Count("runs")).order_by("-weighed_at"))


def weighings_near(day: dt.date) -> QuerySet[StaticWeighing]:
    """Weighings that runs of a day may be held against, the latest of each first."""
    noon = dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)
    near = StaticWeighing.objects.select_related("vehicle").filter(
        weighed_at__range=(noon - WEIGHING_REACH, noon + WEIGHING_REACH)
    )
    return near.order_by("vehicle__name", "-weighed_at")


def weighing_get(pk: int) -> StaticWeighing | None:
    """One weighing with its vehicle and ``n_runs``."""
    found = StaticWeighing.objects.select_related("vehicle").filter(pk=pk)
    return found.annotate(n_runs=Count("runs")).first()


def vehicles_weighed() -> QuerySet[TestVehicle]:
    """Test vehicles with ``n_weighings``, ``last_weighed_at`` and ``n_runs``."""
    return TestVehicle.objects.annotate(
        n_weighings=Count("weighings", distinct=True),
        last_weighed_at=Max("weighings__weighed_at"),
        n_runs=Count(
            "weighings__runs", filter=Q(weighings__runs__excluded=False), distinct=True
        ),
    ).order_by("name")


def certificate_word(weighing: StaticWeighing) -> str:
    """What is wrong with the scale's certificate on the day; empty where nothing is."""
    until, day = weighing.certificate_until, weighing.weighed_at.date()
    if until is None or day <= until:
        return ""
    n = (day - until).days
    return (
        f"The scale’s certificate {weighing.certificate} had expired {n} "
        f"{'day' if n == 1 else 'days'} before this weighing (good until "
        f"{until:%Y-%m-%d}). A weight from it is no certified reference."
    )


def readings_of(weighing: StaticWeighing) -> list[ScaleReading]:
    """The scale's readings; one for each axle where only axle weights are known."""
    from calibration.calc.reference_types import ScaleReading

    if weighing.readings:
        return [
            ScaleReading(tuple(one["axles"]), float(one["kg"]))
            for one in weighing.readings
        ]
    return [
        ScaleReading((place,), float(kg))
        for place, kg in enumerate(weighing.axle_weights_kg)
    ]


def scale_of(weighing: StaticWeighing) -> Scale:
    """The scale as its certificate has it; what is not known counts nothing."""
    from calibration.calc.reference_types import Scale

    return Scale(
        certificate=weighing.certificate,
        resolution_kg=weighing.scale_step_kg or 0.0,
        expanded_kg=weighing.scale_expanded_kg or 0.0,
        expanded_pct=weighing.scale_expanded_pct or 0.0,
        coverage_k=weighing.scale_coverage_k,
    )


def fuel_of(weighing: StaticWeighing) -> FuelBurn | None:
    """The burn that the weighing states; None where it states none."""
    from calibration.calc.reference_types import FuelBurn

    rate = weighing.fuel_kg_per_hour
    return FuelBurn(kg_per_h=rate) if rate else None


def reference_of(weighing: StaticWeighing) -> VehicleReference:
    """Reference weights of a weighing with their uncertainty.

    Raises
    ------
    wimprog.lib.errors.UnreadableInput
        When the readings do not make up the vehicle.
    """
    from dataclasses import replace

    from calibration.calc.reference import reference_weights

    found = reference_weights(
        weighing.vehicle.name,
        readings_of(weighing),
        scale_of(weighing),
        axle_spacings_m=weighing.vehicle.axle_spacings_m,
    )
    return replace(found, at=weighing.weighed_at)


def axles_not_alone(weighing: StaticWeighing) -> list[int]:
    """Axles (1 is the front one) that were weighed only together with others."""
    if not weighing.readings:
        return []
    alone = {one["axles"][0] for one in weighing.readings if len(one["axles"]) == 1}
    return [n + 1 for n in range(weighing.vehicle.n_axles) if n not in alone]


@dataclass(frozen=True)
class ReferenceRow:
    """One part of a vehicle on the page of its weighing."""

    weight: ReferenceWeight
    expanded_kg: float
    judgement: Judgement | None

    @property
    def rebalanced_kg(self) -> float:
        """What closing on the gross weight added."""
        return self.weight.load_kg - self.weight.as_weighed_kg


@dataclass(frozen=True)
class BudgetRow:
    """Standard uncertainty [kg] of one part by source, and together."""

    part: str
    cells: tuple[tuple[str, float | None], ...]
    together: float


@dataclass(frozen=True)
class ReferenceSheet:
    """A weighing's reference weights, their budget, and whether they are good enough.

    Attributes
    ----------
    reference
        None where the readings do not make up the vehicle; ``why_none`` says why.
    rows
        Axles, groups, the whole vehicle.
    sources
        Sources of uncertainty in the order of the budget's columns.
    too_uncertain
        Judgements of the parts whose reference takes too much of the tolerance.
    measured_against
        Standard and class whose tolerances were used.
    """

    reference: VehicleReference | None
    rows: tuple[ReferenceRow, ...]
    sources: tuple[str, ...]
    too_uncertain: tuple[Judgement, ...]
    measured_against: str
    largest_share: float
    why_none: str = ""

    @property
    def is_known(self) -> bool:
        """Is any uncertainty known?"""
        return bool(self.sources)

    @property
    def budget_rows(self) -> list[BudgetRow]:
        """For each part its standard uncertainty [kg] from each source."""
        table = []
        for row in self.rows:
            own = {one.source: one.u for one in row.weight.components}
            cells = tuple((name, own.get(name)) for name in self.sources)
            table.append(BudgetRow(row.weight.part, cells, row.weight.u_kg))
        return table


def reference_sheet(weighing: StaticWeighing, program: Program) -> ReferenceSheet:
    """The weighing against the tolerances of the program's own standard and class."""
    from calibration.calc.reference_bias import judge_reference

    title, limits = _limits(weighing, program)
    share = settings_get().reference_share
    try:
        found = reference_of(weighing)
    except DomainError as error:
        told = " ".join([error.message, *(str(one) for one in error.complaints)])
        return ReferenceSheet(None, (), (), (), title, share, told)
    rows = []
    for weight in found.parts:
        limit = limits.get(_quantity(weight, weighing.vehicle))
        judged = None
        if limit is not None and weight.components:
            judged = judge_reference(
                weight,
                limit,
                largest_part=share,
                unit_system=UnitSystem(program.unit_system),
            )
        expanded = weight.expanded_kg() if weight.components else 0.0
        rows.append(ReferenceRow(weight, expanded, judged))
    sources = list(
        dict.fromkeys(one.source for row in rows for one in row.weight.components)
    )
    return ReferenceSheet(
        reference=found,
        rows=tuple(rows),
        sources=tuple(sources),
        too_uncertain=tuple(
            row.judgement
            for row in rows
            if row.judgement is not None and row.judgement.verdict.value == "misses"
        ),
        measured_against=title,
        largest_share=share,
    )


def _quantity(weight: ReferenceWeight, vehicle: TestVehicle) -> str:
    if len(weight.axles) == vehicle.n_axles:
        return Quantity.GROSS_WEIGHT.value
    return (Quantity.AXLE if len(weight.axles) == 1 else Quantity.AXLE_GROUP).value


def _limits(weighing: StaticWeighing, program: Program) -> tuple[str, dict[str, float]]:
    """Tolerances [%] of gross weight, groups and axles, by the program's standard."""
    from calibration.calc.run_errors import run_errors
    from calibration.calc.standards import find_standard
    from calibration.calc.standards.base import Conditions, check_class

    vehicle = weighing.vehicle
    standard = find_standard(program.default_standard)
    wanted = check_class(standard, program.default_class) or standard.default_class
    own = ReferenceVehicle(
        vehicle.name,
        vehicle.vehicle_class,
        tuple(weighing.axle_weights_kg),
        tuple(vehicle.axle_spacings_m),
    )
    verdict = standard.judge(
        run_errors([own], []),
        wanted_class=wanted,
        conditions=Conditions(
            unit_system=UnitSystem(program.unit_system), agency_values=agency_values()
        ),
    )
    limits: dict[str, float] = {}
    for one in verdict.judgements:
        details = dict(one.details)
        limit = details.get("tolerance", details.get("delta"))
        if limit is not None and one.unit == "%":
            limits[str(one.quantity)] = float(limit)
    if Quantity.SINGLE_AXLE.value in limits:
        limits.setdefault(Quantity.AXLE.value, limits[Quantity.SINGLE_AXLE.value])
    return f"{verdict.title} {verdict.edition}, {verdict.judged_class}", limits


@dataclass(frozen=True)
class Burn:
    """Fuel burnt between two weighings of a vehicle."""

    other: StaticWeighing
    lost_kg: float
    hours: float
    rate_kg_per_h: float
    u_kg_per_h: float


def burn_found(weighing: StaticWeighing) -> Burn | None:
    """What the vehicle's next weighing within a day says of its burn."""
    from calibration.calc.fuel import burn_between

    later = (
        weighing.vehicle.weighings.select_related("vehicle")
        .filter(
            weighed_at__gt=weighing.weighed_at,
            weighed_at__lte=weighing.weighed_at + BURN_REACH,
        )
        .order_by("weighed_at")
        .first()
    )
    if later is None:
        return None
    try:
        fuel = burn_between(reference_of(weighing), reference_of(later))
    except (ValueError, DomainError):
        return None
    hours = (later.weighed_at - weighing.weighed_at).total_seconds() / 3600.0
    return Burn(
        other=later,
        lost_kg=weighing.gvw_kg - later.gvw_kg,
        hours=hours,
        rate_kg_per_h=fuel.kg_per_h,
        u_kg_per_h=fuel.kg_per_h * fuel.u_relative,
    )


def reference_parts(runs: Sequence[TruckRun]) -> dict[str, ReferencePart]:
    """What each vehicle's weighing adds to its gross weight errors, by its name.

    Only of runs in use; a vehicle of whose reference no uncertainty is known is left
    out. Fuel counts at the middle of the runs.
    """
    from calibration.calc.fuel import after_burn
    from calibration.calc.reference_bias import reference_part

    found: dict[str, ReferencePart] = {}
    for weighing, own in _by_weighing(runs):
        try:
            reference = reference_of(weighing)
        except DomainError:
            continue
        fuel = fuel_of(weighing)
        if fuel is not None:
            hours = [
                (run.run_at - weighing.weighed_at).total_seconds() / 3600.0
                for run in own
            ]
            reference = after_burn(reference, fuel, hours=sum(hours) / len(hours))
        if reference.gross.components:
            found.setdefault(weighing.vehicle.name, reference_part(reference.gross))
    return found


def _by_weighing(
    runs: Iterable[TruckRun],
) -> list[tuple[StaticWeighing, list[TruckRun]]]:
    """Runs in use by their weighing, the weighing with most runs first."""
    groups: dict[int, list[TruckRun]] = {}
    for run in runs:
        if not run.excluded:
            groups.setdefault(run.weighing_id, []).append(run)
    pairs = [(own[0].weighing, own) for own in groups.values()]
    return sorted(pairs, key=lambda pair: -len(pair[1]))


@dataclass(frozen=True)
class Change:
    """One change of a fact: when, who, what it was, and why."""

    at: dt.datetime
    who: str
    how: str
    why: str


_CHANGES = {"+": "added", "~": "changed", "-": "deleted"}


def changes_of(fact: Any, *, shown: dict[str, str]) -> list[Change]:
    """Who changed a fact, and why, newest first, in one query.

    Parameters
    ----------
    fact
        An instance with history.
    shown
        Fields worth telling, with the words for them.
    """
    rows = list(
        fact.history.select_related("history_user").order_by(
            "-history_date", "-history_id"
        )[:SHOWN_CHANGES]
    )
    found = []
    for place, row in enumerate(rows):
        before = rows[place + 1] if place + 1 < len(rows) else None
        changed = [
            words
            for name, words in shown.items()
            if before is not None and getattr(before, name) != getattr(row, name)
        ]
        how = _CHANGES.get(row.history_type, "changed")
        user = row.history_user
        found.append(
            Change(
                at=row.history_date,
                who=(user.get_full_name() or user.get_username()) if user else "–",
                how=f"{how}: {', '.join(changed)}" if changed else how,
                why=row.history_change_reason or "",
            )
        )
    return found
