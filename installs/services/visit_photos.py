"""Photos of a visit: written anew, kept beside it, struck out but never deleted."""

from __future__ import annotations

import hashlib
import uuid
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from installs.models import Installation, MaintenanceVisit, VisitPhoto
from installs.selectors.plans import work_settings_get
from installs.services.photos import (
    NAME_LENGTH,
    bytes_of,
    when_and_where,
    write_file,
)
from installs.services.pictures import Picture, take_in
from wimprog.lib import clock
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
    caption = " ".join(caption.split())
    if len(caption) > NAME_LENGTH:
        raise DomainError(f"A caption holds {NAME_LENGTH} letters at most.")
    work = work_settings_get()
    # decoding takes long; nobody waits for it
    picture = take_in(
        bytes_of(upload, work.photo_limit_mb), zone=ZoneInfo(visit.wim_site.time_zone)
    )
    folder = Path("photos") / "visits" / str(visit.pk)
    digest = hashlib.sha256(picture.jpeg).hexdigest()
    photo = VisitPhoto(
        client_id=client_id,
        visit=visit,
        installation=installation,
        picture=str(folder / f"{digest}.jpg"),
        thumbnail=str(folder / f"{digest}-small.jpg"),
        width_px=picture.width_px,
        height_px=picture.height_px,
        size_bytes=len(picture.jpeg),
        sha256=digest,
        original_name=Path(name.replace("\\", "/")).name[:NAME_LENGTH],
        caption=caption,
        **when_and_where(picture, work),
        added_by=by,
    )
    with transaction.atomic():
        return _kept(photo, picture)


def _kept(photo: VisitPhoto, picture: Picture) -> VisitPhoto:
    """Files first, then the row that makes them count."""
    visit = MaintenanceVisit.objects.select_for_update().get(pk=photo.visit_id)
    repeated = VisitPhoto.objects.filter(client_id=photo.client_id).first()
    if repeated is not None:
        return _sent_again(repeated, visit)
    same = visit.photos.filter(sha256=photo.sha256).first()
    if same is not None:
        if same.struck_at is not None:
            raise DomainError(
                f"This photo was struck out here ({same.struck_reason}); take another."
            )
        return same
    write_file(photo.thumbnail, picture.thumbnail)
    write_file(photo.picture, picture.jpeg)
    photo.save(force_insert=True)
    return photo


def _sent_again(photo: VisitPhoto, visit: MaintenanceVisit) -> VisitPhoto:
    if photo.visit_id != visit.pk:
        raise DomainError(
            "Another photo was kept under the same mark already, so this one was not; "
            "choose it again."
        )
    return photo


@transaction.atomic
def visit_photo_strike(*, photo: VisitPhoto, reason: str, by: Any) -> VisitPhoto:
    """Strike a photo out: it stays, and no longer counts.

    Raises
    ------
    DomainError
        Without a reason, or when it is struck out already.
    """
    reason = " ".join(reason.split())
    if not reason:
        raise DomainError("Say why the photo is struck out.")
    if len(reason) > NAME_LENGTH:
        raise DomainError(f"A reason holds {NAME_LENGTH} letters at most.")
    kept = VisitPhoto.objects.select_for_update().get(pk=photo.pk)
    if kept.struck_at is not None:
        raise DomainError(f"It is struck out already ({kept.struck_reason}).")
    kept.struck_at = clock.now()
    kept.struck_by = by
    kept.struck_reason = reason
    kept.save(update_fields=["struck_at", "struck_by", "struck_reason"])
    return kept
