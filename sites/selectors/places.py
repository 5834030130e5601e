"""Reads about the program, its sites and lanes."""

from __future__ import annotations

from django.db.models import Count, Q, QuerySet

from sites.models import Lane, Program, Site, SiteState


def program_get() -> Program:
    """The program's settings; unsaved defaults where none are stored yet."""
    return Program.objects.filter(pk=1).first() or Program(
        pk=1, name="WIM program (not set up yet)"
    )


def site_list() -> QuerySet[Site]:
    """All sites with their number of open lanes."""
    return Site.objects.annotate(
        n_lanes=Count("lanes", filter=Q(lanes__closed_on__isnull=True))
    ).order_by("code")


def lane_list() -> QuerySet[Lane]:
    """All lanes with their sites, in the order of the road."""
    return Lane.objects.select_related("wim_site").order_by(
        "wim_site__code", "direction", "number"
    )


def lanes_in_service() -> QuerySet[Lane]:
    """Open lanes of the sites in service, with their sites, in the order of entry."""
    return (
        Lane.objects.select_related("wim_site")
        .filter(wim_site__state=SiteState.IN_SERVICE, closed_on__isnull=True)
        .order_by("pk")
    )


def lane_by_label(site_code: str, label: str) -> Lane | None:
    """The lane that its site calls ``label`` ("E1"), or None."""
    for lane in lane_list().filter(wim_site__code=site_code):
        if lane.label == label:
            return lane
    return None
