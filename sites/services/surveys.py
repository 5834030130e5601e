"""Changes of surveys: kept, and turned into a planned site."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from sites.calc.types import PavementKind
from sites.models import PavementType, Program, Site, SiteSurvey
from sites.selectors import program_get, survey_facts
from wimprog.lib import clock
from wimprog.lib.errors import DomainError
from wimprog.lib.models import save_with_reason

_PAVEMENT = {
    PavementKind.CONCRETE: PavementType.CONCRETE,
    PavementKind.COMPOSITE: PavementType.COMPOSITE,
}


@transaction.atomic
def survey_save(*, survey: SiteSurvey, by: Any, why: str) -> SiteSurvey:
    """Add a survey or keep what was changed in one.

    Raises
    ------
    DomainError
        When it was made on a day ahead, or its facts contradict each other.
    django.core.exceptions.ValidationError
        When it is of neither or both of site and place, or a value cannot be.
    """
    survey.study = " ".join(survey.study.split())
    survey.place = " ".join(survey.place.split())
    today = clock.today(_zone(survey))
    if survey.surveyed_on is not None and survey.surveyed_on > today:
        raise DomainError(
            f"{survey.surveyed_on} lies ahead of today ({today}); a survey is dated on "
            "the day it was made."
        )
    survey_facts(survey)  # refuses facts that contradict each other
    save_with_reason(survey, by=by, why=why or "survey saved")
    return survey


def _zone(survey: SiteSurvey) -> str:
    site = survey.wim_site
    return site.time_zone if site is not None else program_get().time_zone


@transaction.atomic
def site_from_survey(
    *,
    survey: SiteSurvey,
    code: str,
    state_code: str,
    station_id: str,
    by: Any,
    why: str = "",
) -> Site:
    """Make a planned site of a candidate place; the survey becomes the site's.

    Raises
    ------
    DomainError
        When the survey is of an existing site already.
    django.core.exceptions.ValidationError
        When the code or the station is taken, or cannot be.
    """
    kept = SiteSurvey.objects.select_for_update().get(pk=survey.pk)
    if kept.wim_site is not None:
        raise DomainError(f"This survey is of {kept.wim_site.code}, a site already.")
    program: Program = program_get()
    reason = why or f"chosen from the survey of {kept.place}, {kept.surveyed_on}"
    wim_site = Site(
        code=code,
        name=kept.place,
        state_code=state_code,
        station_id=station_id,
        route=kept.route or "not recorded",
        location_ref=kept.location_ref,
        latitude=kept.latitude,
        longitude=kept.longitude,
        time_zone=program.time_zone,
        pavement_type=_pavement_type(kept),
        communications=kept.communications,
    )
    save_with_reason(wim_site, by=by, why=reason)
    kept.wim_site, kept.place = wim_site, ""
    save_with_reason(kept, by=by, why=reason)
    return wim_site


def _pavement_type(survey: SiteSurvey) -> str:
    if not survey.pavement_kind:
        return ""
    kind = PavementKind(survey.pavement_kind)
    return _PAVEMENT.get(kind, PavementType.ASPHALT).value
