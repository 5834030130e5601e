"""Road profiles taken in, and their roughness written into the survey."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from sites.calc.profile_layout import ProfileColumns
from sites.models import RoadProfile, SiteSurvey
from sites.profile_store import profile_key, profile_path, profile_write
from sites.selectors import profile_samples
from wimprog.lib.errors import DomainError, UnreadableInput
from wimprog.lib.models import save_with_reason

PROFILE_LIMIT_MB = 400
"""Largest profile that is read within a page's answer; 100 km at 25 mm is about 100 MB.
"""


def profile_add(
    *,
    survey: SiteSurvey,
    upload: UploadedFile,
    by: Any,
    why: str = "",
    columns: ProfileColumns | None = None,
    resample_mm: float | None = None,
    question_elevation: bool = True,
) -> RoadProfile:
    """Read a profile and keep it with a survey; the same one twice is kept once.

    Parameters
    ----------
    columns, resample_mm, question_elevation
        As of :func:`sites.calc.profile_reading.read_profile`.

    Raises
    ------
    UnreadableInput
        When it is too large or cannot be read; nothing is stored then.
    """
    from sites.calc.profile_reading import read_profile
    from sites.calc.profile_summary import METHOD_VERSION, profile_summary

    name = Path(upload.name or "profile").name[:255]
    data = _content(upload, name)
    profile = read_profile(
        data,
        columns=columns,
        resample_mm=resample_mm,
        question_elevation=question_elevation,
    )
    key = profile_key(profile)
    known = RoadProfile.objects.filter(survey=survey, store_key=key).first()
    if known is not None:
        return known
    row = RoadProfile(
        survey=survey,
        file_name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        store_key=key,
        interval_mm=profile.interval_mm,
        n=profile.n,
        start_m=profile.start_m,
        length_m=profile.length_m,
        direction=profile.direction,
        paths=[path.value for path in profile.paths],
        read_as=_said(columns, resample_mm, question_elevation),
        method_version=METHOD_VERSION,
        derived=profile_summary(profile),
    )
    root = Path(settings.UPLOAD_DIR)
    is_new = profile_write(root, profile, key)
    try:
        with transaction.atomic():
            save_with_reason(row, by=by, why=why or f"{name} sent in")
    except BaseException:
        if is_new and not RoadProfile.objects.filter(store_key=key).exists():
            profile_path(root, key).unlink(missing_ok=True)
        raise
    return row


def _content(upload: UploadedFile, name: str) -> bytes:
    limit_mb = min(settings.UPLOAD_LIMIT_MB, PROFILE_LIMIT_MB)
    if upload.size is not None and upload.size > limit_mb * 1024 * 1024:
        raise UnreadableInput(
            f"{name} holds {upload.size / 1e6:,.0f} MB; the limit for a profile is "
            f"{limit_mb:,} MB. Send in the stretch about the place alone: a kilometre "
            "is plenty."
        )
    upload.seek(0)
    return upload.read()


def _said(
    columns: ProfileColumns | None, resample_mm: float | None, is_questioned: bool
) -> dict[str, Any]:
    """What the sender said of the file, beyond its headings."""
    said: dict[str, Any] = {
        name: str(value)
        for name, value in (vars(columns) if columns else {}).items()
        if value
    }
    if resample_mm is not None:
        said["resample_mm"] = resample_mm
    if not is_questioned:
        said["elevations"] = "taken as measured"
    return said


def survey_take_from_profile(
    *, survey: SiteSurvey, profile: RoadProfile, at_m: float, by: Any, why: str = ""
) -> SiteSurvey:
    """Write the approach's IRI, for an array at ``at_m``, into the survey.

    The worse wheel path counts. The windows' IRI are not indices of AASHTO M 331, so
    none of them is written into a field of that standard.

    Parameters
    ----------
    at_m
        Place of the array, as the profile's file counts distance, m.

    Raises
    ------
    DomainError
        When the profile is of another survey or does not reach over the approach.
    """
    from sites.calc.profile_summary import APPROACH, approach_iri
    from sites.calc.roughness import road_response

    if profile.survey_id != survey.pk:
        raise DomainError(f"{profile.file_name} was not measured for this survey.")
    road = road_response(profile_samples(profile))
    found = approach_iri(road, at_m)
    if not found:
        raise DomainError(
            f"{profile.file_name} does not cover the approach of an array at "
            f"{at_m:,.1f} m: {APPROACH.before_m:g} m before it (and 11 m more to start "
            f"the car) and {APPROACH.after_m:g} m after it are needed. Choose another "
            "place, or measure a longer profile."
        )
    path = max(found, key=lambda one: found[one])
    reason = f"from {profile.file_name}, array at {at_m:,.1f} m, {path}"
    with transaction.atomic():
        kept = SiteSurvey.objects.select_for_update().get(pk=survey.pk)
        kept.iri_m_per_km = found[path]
        kept.as_typed.pop("iri_m_per_km", None)  # it was computed, not typed
        save_with_reason(kept, by=by, why=f"{reason}: {why}" if why else reason)
    return kept
