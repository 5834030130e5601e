"""Filters of the records' side."""

from __future__ import annotations

import django_filters

from quality.models import RecordFile
from sites.models import Site


class RecordFileFilter(django_filters.FilterSet):
    """Which files to show."""

    source_name = django_filters.CharFilter(lookup_expr="icontains", label="File name")
    wim_site = django_filters.ModelChoiceFilter(
        queryset=Site.objects.order_by("code"),
        to_field_name="code",
        field_name="parts__lane__wim_site",
        label="Site",
        distinct=True,
    )
    year = django_filters.NumberFilter(field_name="first_on__year", label="Year")

    class Meta:
        model = RecordFile
        fields = ["source_name", "wim_site", "year"]
