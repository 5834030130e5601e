"""Filters of the lists of sensors and visits."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from django.db.models import Q, QuerySet

from installs.calc.types import Technology, VisitPurpose
from installs.calc.types.records import RecordState
from installs.models import InstallationRecord, MaintenanceVisit, Sensor
from installs.selectors.roadside import SENSOR_STATES
from sites.models import Site


def _words(words: Any) -> list[tuple[str, str]]:
    return [(str(word), str(word)) for word in words]


def _site_codes() -> list[tuple[str, str]]:
    return [(c, c) for c in Site.objects.values_list("code", flat=True)]


class SensorFilter(filters.FilterSet):
    """Which sensors to show."""

    q = filters.CharFilter(label="Search", method="search")
    technology = filters.ChoiceFilter(
        field_name="model__technology", choices=_words(Technology), empty_label="all"
    )
    state = filters.ChoiceFilter(choices=_words(SENSOR_STATES), empty_label="all")
    wim_site = filters.ChoiceFilter(
        label="Site", field_name="place_site", choices=_site_codes, empty_label="all"
    )

    class Meta:
        model = Sensor
        fields: list[str] = []

    def search(self, rows: QuerySet[Sensor], _: str, text: str) -> QuerySet[Sensor]:
        """Every word somewhere in maker, model, serial or lot."""
        for word in text.split():
            rows = rows.filter(
                Q(serial__icontains=word)
                | Q(lot__icontains=word)
                | Q(model__maker__icontains=word)
                | Q(model__name__icontains=word)
            )
        return rows


class VisitFilter(filters.FilterSet):
    """Which visits to show."""

    site = filters.ChoiceFilter(
        label="Site",
        field_name="wim_site__code",
        choices=_site_codes,
        empty_label="all",
    )
    purpose = filters.ChoiceFilter(choices=_words(VisitPurpose), empty_label="all")

    class Meta:
        model = MaintenanceVisit
        fields: list[str] = []


class RecordFilter(filters.FilterSet):
    """Which installation records to show."""

    wim_site = filters.ChoiceFilter(
        label="Site",
        field_name="lane__wim_site__code",
        choices=_site_codes,
        empty_label="all",
    )
    technology = filters.ChoiceFilter(choices=_words(Technology), empty_label="all")
    state = filters.ChoiceFilter(choices=_words(RecordState), empty_label="all")

    class Meta:
        model = InstallationRecord
        fields: list[str] = []
