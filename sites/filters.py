"""Filter of the list of surveys."""

from __future__ import annotations

import django_filters as filters
from django.db.models import Q, QuerySet

from sites.models import Site, SiteSurvey
from sites.selectors import study_names


def _studies() -> list[tuple[str, str]]:
    return [(name, name) for name in study_names()]


def _site_codes() -> list[tuple[str, str]]:
    codes = Site.objects.filter(surveys__isnull=False).distinct()
    return [(c, c) for c in codes.order_by("code").values_list("code", flat=True)]


class SurveyFilter(filters.FilterSet):
    """Which surveys to show."""

    q = filters.CharFilter(label="Search", method="search")
    study = filters.ChoiceFilter(choices=_studies, empty_label="all")
    site = filters.ChoiceFilter(
        label="Site",
        field_name="wim_site__code",
        choices=_site_codes,
        empty_label="all",
    )

    class Meta:
        model = SiteSurvey
        fields: list[str] = []

    def search(
        self, rows: QuerySet[SiteSurvey], _: str, text: str
    ) -> QuerySet[SiteSurvey]:
        """Every word somewhere in place, route, site, study or surveyor."""
        for word in text.split():
            rows = rows.filter(
                Q(place__icontains=word)
                | Q(route__icontains=word)
                | Q(location_ref__icontains=word)
                | Q(wim_site__code__icontains=word)
                | Q(study__icontains=word)
                | Q(surveyed_by__icontains=word)
            )
        return rows
