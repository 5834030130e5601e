"""Factories of calibration's models. Every name and weight here is invented."""

from __future__ import annotations

import datetime as dt

import factory
from factory.django import DjangoModelFactory

from calibration import models
from calibration.calc.types import SessionPurpose
from tests.factories import LaneFactory
from wimprog.lib.units import KG_PER_LB

MORNING = dt.datetime(2024, 5, 14, 12, 40, tzinfo=dt.UTC)
STATIC_KG = [5200.0, 7700.0, 7650.0, 7800.0, 7750.0]


class TestVehicleFactory(DjangoModelFactory):
    __test__ = False

    class Meta:
        model = models.TestVehicle

    name = factory.Sequence(lambda n: f"Truck {n + 1}")
    vehicle_class = 9
    axle_spacings_m = [5.1, 1.3, 9.9, 1.25]


class StaticWeighingFactory(DjangoModelFactory):
    class Meta:
        model = models.StaticWeighing

    vehicle = factory.SubFactory(TestVehicleFactory)
    weighed_at = MORNING
    scale = "Orrin public scale"
    certificate = "SC-12"
    certified_on = dt.date(2024, 1, 10)
    axle_weights_kg = STATIC_KG


class CalibrationSessionFactory(DjangoModelFactory):
    class Meta:
        model = models.CalibrationSession

    lane = factory.SubFactory(LaneFactory)
    held_on = dt.date(2024, 5, 14)
    purpose = SessionPurpose.ROUTINE.value
    factor_before = 1.0


class TruckRunFactory(DjangoModelFactory):
    class Meta:
        model = models.TruckRun

    session = factory.SubFactory(CalibrationSessionFactory)
    weighing = factory.SubFactory(StaticWeighingFactory)
    number = factory.Sequence(lambda n: n + 1)
    run_at = factory.Sequence(lambda n: MORNING + dt.timedelta(minutes=20 + 5 * n))
    axle_weights_kg = STATIC_KG


def unsaved_runs(weighing, errors_pct, *, start=1, stage="as found", **options):
    """Unsaved runs whose every axle is off by the given errors, five minutes apart."""
    return [
        models.TruckRun(
            weighing=weighing,
            number=start + place,
            stage=stage,
            run_at=weighing.weighed_at + dt.timedelta(minutes=5 * (start + place)),
            axle_weights_kg=[
                weight * (1 + error / 100) for weight in weighing.axle_weights_kg
            ],
            **options,
        )
        for place, error in enumerate(errors_pct)
    ]


def pounds(values_kg):
    """The same weights as numbers of pounds."""
    return [value / KG_PER_LB for value in values_kg]
