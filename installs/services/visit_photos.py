"""Photos of a visit: written anew, kept beside it, struck out but never deleted."""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from installs.models import Installation, MaintenanceVisit, VisitPhoto
from installs.selectors.plans import work_settings_get
from installs.services.photos import (
    OTHER_MARK,
    bytes_of,
    caption_of,
    not_struck,
    picture_fields,
    struck,
    write_down,
)
from installs.services.pictures import Picture, take_in
from wimprog.lib.errors import DomainError


def visit_photo_add(
    *,
    visit: MaintenanceVisit,
    upload: Any,
    client_id: uuid.UUID | None = None,
    name: str = "",
    caption: str = "",
    installation: Installation | None = None,
    by: Any,
) -> VisitPhoto:
    """Keep a photo with a visit; sent twice it is kept once.

    Parameters
    ----------
    upload
        The bytes, or an open file of them.
    name
        The file's name where it came from.

    Raises
    ------
    DomainError
        When the picture is not taken (too large, none, moving, damaged), shows a sensor
        of another site, or was struck out here before.
    """
    client_id = client_id or uuid.uuid4()
    repeated = VisitPhoto.objects.filter(client_id=client_id).first()
    if repeated is not None:
        return _sent_again(repeated, visit)
    if installation and installation.lane.wim_site_id != visit.wim_site_id:
        raise DomainError(
            f"{installation} is no sensor of {visit.wim_site.code}; choose one of this "
            "site."
        )
    caption = caption_of(caption)
    work = work_settings_get()
    # decoding takes long; nobody waits for it
    picture = take_in(
        bytes_of(upload, work.photo_limit_mb), zone=ZoneInfo(visit.wim_site.time_zone)
    )
    folder = Path("photos") / "visits" / str(visit.pk)
    photo = VisitPhoto(
        client_id=client_id,
        visit=visit,
        installation=installation,
        caption=caption,
        added_by=by,
        **picture_fields(picture, folder, name, work),
    )
    with transaction.atomic():
        return _kept(photo, picture)


def _kept(photo: VisitPhoto, picture: Picture) -> VisitPhoto:
    """Keep it, unless it was sent before or lies here already."""
    visit = MaintenanceVisit.objects.select_for_update().get(pk=photo.visit_id)
    repeated = VisitPhoto.objects.filter(client_id=photo.client_id).first()
    if repeated is not None:
        return _sent_again(repeated, visit)
    same = visit.photos.filter(sha256=photo.sha256).first()
    return write_down(photo, picture) if same is None else not_struck(same)


def _sent_again(photo: VisitPhoto, visit: MaintenanceVisit) -> VisitPhoto:
    if photo.visit_id != visit.pk:
        raise DomainError(OTHER_MARK)
    return photo


@transaction.atomic
def visit_photo_strike(*, photo: VisitPhoto, reason: str, by: Any) -> VisitPhoto:
    """Strike a photo out: it stays, and no longer counts.

    Raises
    ------
    DomainError
        Without a reason, or when it is struck out already.
    """
    return struck(photo, reason=reason, by=by)
