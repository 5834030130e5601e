"""The demo's store, purchases and failure reports, and what lanes are used for."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from decimal import Decimal
from typing import Any

from installs.calc.types import EndReason, VisitPurpose
from installs.calc.upkeep.types import DataUse, StockMove, WarrantyStart
from installs.models import (
    Installation,
    MaintenanceVisit,
    Purchase,
    Sensor,
    SensorModel,
    SparePart,
    StockEntry,
)
from installs.services.failures import FailureKnown, failure_report
from installs.services.lane_uses import lane_uses_set
from installs.services.purchases import purchase_save, purchase_sensors
from installs.services.stores import spare_save, stock_move
from sites.models import Lane, SiteState
from wimprog.demo.standing import WHY

SUPPLIER = "Gannet Road Instruments (invented)"
REPORTED_YEARS = 6
"""Failures of so many years are reported in full; older ones are known by their day."""
TERMS: dict[str, tuple[Decimal, int, int, int]] = {
    "polymer piezo": (Decimal(1_350), 24, 60, 3),
    "quartz piezo": (Decimal(6_400), 36, 120, 2),
    "bending plate": (Decimal(14_500), 60, 150, 1),
}
"""Price of one, months of warranty, lead time in days, and how many lie in store."""
PARTS = (
    ("Battery 12 V, 100 Ah", Decimal(310), 14, 4.0, 3),
    ("Modem", Decimal(480), 30, 2.0, 1),
    ("Surge protector, sensor input", Decimal(85), 21, 5.0, 6),
    ("Lead cable, 100 m reel", Decimal(260), 28, 3.0, 2),
    ("Loop sealant, 10 cartridges", Decimal(140), 10, 8.0, 5),
)
"""Name, price, lead time in days, used a year, and how many lie in store."""


def storing(*, as_of: dt.date, manager: Any, technician: Any) -> None:
    """What was bought, what lies in store, how sensors failed, what lanes are for."""
    for model in SensorModel.objects.filter(technology__in=TERMS):
        _bought(model, as_of, manager, technician)
    for name, price, lead_days, a_year, count in PARTS:
        part = spare_save(
            part=SparePart(
                name=name, unit_price=price, lead_time_days=lead_days,
                used_per_year=a_year, place="Orrin depot, shelf 4",
            ),
            by=technician, why=WHY,
        )  # fmt: skip
        _move(part, StockMove.COUNTED, count, as_of - dt.timedelta(days=40), technician)
    _failures(as_of, technician)
    lanes = Lane.objects.filter(wim_site__state=SiteState.IN_SERVICE)
    for place, lane in enumerate(lanes.order_by("pk")):
        uses = [DataUse.PAVEMENT_DESIGN, DataUse.FREIGHT_STATISTICS]
        if place % 5 == 0:
            uses.append(DataUse.BRIDGE)
        lane_uses_set(lane=lane, uses=uses, by=manager, why=WHY)


def _bought(model: SensorModel, as_of: dt.date, manager: Any, technician: Any) -> None:
    """One order a year in which sensors of the model were bought, and the store."""
    price, months, lead_days, count = TERMS[model.technology]
    by_year: dict[int, list[Sensor]] = defaultdict(list)
    for sensor in Sensor.objects.filter(model=model).exclude(purchased_on=None):
        if sensor.purchased_on is not None:
            by_year[sensor.purchased_on.year].append(sensor)
    for year, sensors in sorted(by_year.items()):
        days = [one.purchased_on for one in sensors if one.purchased_on is not None]
        purchase = Purchase(
            order_ref=f"OV-{year}-{model.pk:02d}", supplier=SUPPLIER,
            bought_on=min(days), what=f"{model}, sensors with lead",
            sensor_model=model, unit_price=price, warranty_months=months,
            warranty_start=WarrantyStart.INSTALLATION.value,
            latest_months_from_purchase=months + 12,
            terms="Needs the signed installation record and the tests before and after "
            "grout; surge and pavement failures are left out.",
        )  # fmt: skip
        purchase_save(purchase=purchase, today=as_of, by=manager, why=WHY)
        purchase_sensors(purchase=purchase, sensors=sensors, by=manager, why=WHY)
    part = spare_save(
        part=SparePart(
            name=str(model), sensor_model=model, unit_price=price,
            lead_time_days=lead_days, place="Orrin depot, rack 1",
        ),
        by=technician, why=WHY,
    )  # fmt: skip
    _move(part, StockMove.COUNTED, count, as_of - dt.timedelta(days=90), technician)
    if model.technology == "polymer piezo":
        ordered = Purchase(
            order_ref=f"OV-{as_of.year}-S{model.pk}", supplier=SUPPLIER,
            bought_on=as_of - dt.timedelta(days=20), what=f"{model}, for the store",
            sensor_model=model, spare_part=part, quantity=4,
            expected_on=as_of + dt.timedelta(days=40), unit_price=price,
            warranty_months=months,
        )  # fmt: skip
        purchase_save(purchase=ordered, today=as_of, by=manager, why=WHY)


def _move(
    part: SparePart, move: StockMove, quantity: int, day: dt.date, by: Any
) -> None:
    entry = StockEntry(spare_part=part, move=move, quantity=quantity, moved_on=day)
    stock_move(entry=entry, today=day, by=by, why=WHY)


def _failures(as_of: dt.date, by: Any) -> None:
    """What the technician knew of each failure of the latest years."""
    failed = Installation.objects.select_related("lane__wim_site").filter(
        end_reason=EndReason.FAILED.value,
        ended_on__gte=as_of - dt.timedelta(days=round(365.25 * REPORTED_YEARS)),
    )
    visits: dict[int, list[MaintenanceVisit]] = defaultdict(list)
    for one in MaintenanceVisit.objects.filter(purpose=VisitPurpose.FAULT.value):
        if one.lane_id is not None:
            visits[one.lane_id].append(one)
    for life in failed:
        ended = life.ended_on
        if ended is None:
            continue
        seen = [
            one
            for one in visits[life.lane_id]
            if 0 <= (one.arrived_at.date() - ended).days <= 14
        ]
        visit = min(seen, key=lambda one: one.arrived_at, default=None)
        found_on = visit.arrived_at.date() if visit else ended
        failure_report(
            installation=life,
            failure_mode=life.failure_mode,
            known=FailureKnown(
                found_by="T. Quist",
                found_on=found_on,
                day_is_known=True,
                evidence="The lane's weights fell from one day to the next; the "
                "electrical test at the visit agrees."
                if visit
                else "The lane's weights fell from one day to the next.",
                lead_checked=visit is not None,
                visit=visit,
            ),
            by=by,
            why=WHY,
        )
