"""Factories of the models, in the order of the apps. Every name here is invented."""

from __future__ import annotations

import datetime as dt

import factory
from factory.django import DjangoModelFactory

from installs import models as installs
from installs.calc.types import ElectricalQuantity, Technology, TestStage, VisitPurpose
from sites import models as sites

# --- sites -----------------------------------------------------------------------


class ProgramFactory(DjangoModelFactory[sites.Program]):
    class Meta:
        model = sites.Program

    pk = 1
    name = "Orrin Valley Roads Agency"
    time_zone = "America/Denver"


class SiteFactory(DjangoModelFactory[sites.Site]):
    class Meta:
        model = sites.Site

    code = factory.Sequence(lambda n: f"OV-{n + 101}")
    name = factory.Sequence(lambda n: f"Invented site {n + 1}")
    state_code = "99"
    station_id = factory.Sequence(lambda n: f"{n + 101:06d}")
    route = "Route 7"
    time_zone = "America/Denver"
    state = sites.SiteState.IN_SERVICE
    in_service_on = dt.date(2018, 6, 1)


class LaneFactory(DjangoModelFactory[sites.Lane]):
    class Meta:
        model = sites.Lane

    wim_site = factory.SubFactory(SiteFactory)
    number = factory.Sequence(lambda n: n % 9 + 1)
    direction = sites.Direction.EAST
    opened_on = dt.date(2018, 6, 1)


# --- installs --------------------------------------------------------------------


class TechnologyProfileFactory(DjangoModelFactory[installs.TechnologyProfile]):
    class Meta:
        model = installs.TechnologyProfile
        django_get_or_create = ("technology",)

    technology = Technology.POLYMER_PIEZO.value
    expected_life_years = 4.0
    replacement_cost = 5000
    source = "invented for the tests"


class SensorModelFactory(DjangoModelFactory[installs.SensorModel]):
    class Meta:
        model = installs.SensorModel
        django_get_or_create = ("maker", "name")

    maker = "Invented Works"
    name = factory.LazyAttribute(lambda o: f"Strip for {o.technology}")
    technology = Technology.POLYMER_PIEZO.value


class ElectricalLimitFactory(DjangoModelFactory[installs.ElectricalLimit]):
    class Meta:
        model = installs.ElectricalLimit

    sensor_model = factory.SubFactory(SensorModelFactory)
    quantity = ElectricalQuantity.INSULATION_RESISTANCE.value
    low = 20.0
    source = "maker's sheet (invented)"


class SensorFactory(DjangoModelFactory[installs.Sensor]):
    class Meta:
        model = installs.Sensor

    model = factory.SubFactory(SensorModelFactory)
    serial = factory.Sequence(lambda n: f"S{n + 1:05d}")


class InstallationFactory(DjangoModelFactory[installs.Installation]):
    class Meta:
        model = installs.Installation

    sensor = factory.SubFactory(SensorFactory)
    lane = factory.SubFactory(LaneFactory)
    position = factory.Sequence(lambda n: f"piezo {n + 1}")
    installed_on = dt.date(2020, 6, 1)


class MaintenanceVisitFactory(DjangoModelFactory[installs.MaintenanceVisit]):
    class Meta:
        model = installs.MaintenanceVisit

    wim_site = factory.SubFactory(SiteFactory)
    arrived_at = dt.datetime(2023, 5, 3, 15, 0, tzinfo=dt.UTC)
    purpose = VisitPurpose.ROUTINE_CHECK.value
    people = "M. Tarn"


class ElectricalTestFactory(DjangoModelFactory[installs.ElectricalTest]):
    class Meta:
        model = installs.ElectricalTest

    installation = factory.SubFactory(InstallationFactory)
    tested_at = dt.datetime(2023, 5, 3, 16, 0, tzinfo=dt.UTC)
    stage = TestStage.VISIT.value
    tested_by = "M. Tarn"


class ReadingFactory(DjangoModelFactory[installs.Reading]):
    class Meta:
        model = installs.Reading

    test = factory.SubFactory(ElectricalTestFactory)
    quantity = ElectricalQuantity.INSULATION_RESISTANCE.value
    value = 500.0


# --- calibration -----------------------------------------------------------------


# --- quality ---------------------------------------------------------------------
