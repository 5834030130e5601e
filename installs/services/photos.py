"""Photos of a record: written anew, kept beside it, struck out but never deleted."""

from __future__ import annotations

import hashlib
import os
import tempfile
import uuid
from pathlib import Path
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from installs.models import (
    InstallationRecord,
    KeptPicture,
    Photo,
    SignOff,
    TemplateItem,
    WorkSettings,
)
from installs.selectors.plans import work_settings_get
from installs.services.answers import open_record, refuse_foreign
from installs.services.pictures import Picture, take_in
from wimprog.lib import clock
from wimprog.lib.errors import DomainError

BYTES_PER_MB = 1024 * 1024
NAME_LENGTH = 200
OTHER_MARK = (
    "Another photo was kept under the same mark already, so this one was not; choose "
    "it again."
)
AnyPicture = TypeVar("AnyPicture", bound=KeptPicture)


def photo_add(
    *,
    record: InstallationRecord,
    item: TemplateItem,
    client_id: uuid.UUID,
    upload: Any,
    name: str = "",
    caption: str = "",
    by: Any,
) -> Photo:
    """Keep a photo with an item; sent twice it is kept once.

    Parameters
    ----------
    upload
        The bytes, or an open file of them.
    name
        The file's name where it came from.

    Raises
    ------
    DomainError
        When the picture is not taken (too large, none, moving, damaged), the record is
        closed, or the stage is signed and the caption does not say why it comes later.
    """
    work = work_settings_get()
    repeated = Photo.objects.filter(client_id=client_id).first()
    if repeated is not None:
        return _sent_again(repeated, record, item)
    zone = ZoneInfo(record.lane.wim_site.time_zone)
    # decoding takes long; nobody waits for it
    picture = take_in(bytes_of(upload, work.photo_limit_mb), zone=zone)
    photo = Photo(
        client_id=client_id,
        record=record,
        item=item,
        caption=caption_of(caption),
        added_by=by,
        **picture_fields(picture, Path("photos") / str(record.pk), name, work),
    )
    with transaction.atomic():
        return _kept(photo, picture)


def _kept(photo: Photo, picture: Picture) -> Photo:
    """Keep it, unless it was sent before or lies here already."""
    record = open_record(photo.record)
    refuse_foreign(record, photo.item)
    repeated = Photo.objects.filter(client_id=photo.client_id).first()
    if repeated is not None:
        return _sent_again(repeated, record, photo.item)
    same = Photo.objects.filter(
        record=record, item=photo.item, sha256=photo.sha256
    ).first()
    if same is not None:
        return not_struck(same)
    stage = photo.item.stage
    signed = SignOff.objects.filter(record=record, stage=stage).exists()
    if signed and not photo.caption:
        raise DomainError(
            f"“{stage.title}” is signed; say in the caption why the photo comes later."
        )
    return write_down(photo, picture)


def _sent_again(photo: Photo, record: InstallationRecord, item: TemplateItem) -> Photo:
    if (photo.record_id, photo.item_id) != (record.pk, item.pk):
        raise DomainError(OTHER_MARK)
    return photo


@transaction.atomic
def photo_strike(*, photo: Photo, reason: str, by: Any) -> Photo:
    """Strike a photo out: it stays, and no longer counts.

    Raises
    ------
    DomainError
        Without a reason, when it is struck out already, or when the record is closed.
    """
    open_record(photo.record)
    return struck(photo, reason=reason, by=by)


# --- what photos of records and of visits share ---------------------------------------


def caption_of(text: str) -> str:
    """A caption in one line, if it is not too long."""
    caption = " ".join(text.split())
    if len(caption) > NAME_LENGTH:
        raise DomainError(f"A caption holds {NAME_LENGTH} letters at most.")
    return caption


def picture_fields(
    picture: Picture, folder: Path, name: str, work: WorkSettings
) -> dict[str, Any]:
    """What a row says of its picture: its files in ``folder``, size, name, when, where.

    The files bear the picture's SHA-256; ``name`` is the file's where it came from.
    """
    digest = hashlib.sha256(picture.jpeg).hexdigest()
    return {
        "picture": str(folder / f"{digest}.jpg"),
        "thumbnail": str(folder / f"{digest}-small.jpg"),
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "size_bytes": len(picture.jpeg),
        "sha256": digest,
        "original_name": Path(name.replace("\\", "/")).name[:NAME_LENGTH],
        **_when_and_where(picture, work),
    }


def not_struck(same: AnyPicture) -> AnyPicture:
    """A picture that is kept here already, unless somebody struck it out."""
    if same.struck_at is not None:
        raise DomainError(
            f"This photo was struck out here ({same.struck_reason}); take another."
        )
    return same


def write_down(photo: AnyPicture, picture: Picture) -> AnyPicture:
    """Files first, then the row that makes them count."""
    _write_file(photo.thumbnail, picture.thumbnail)
    _write_file(photo.picture, picture.jpeg)
    photo.save(force_insert=True)
    return photo


def struck(photo: AnyPicture, *, reason: str, by: Any) -> AnyPicture:
    """Strike a picture out, inside the caller's transaction.

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
    held = type(photo)._default_manager.select_for_update().get(pk=photo.pk)
    if held.struck_at is not None:
        raise DomainError(f"It is struck out already ({held.struck_reason}).")
    photo.struck_at = clock.now()
    photo.struck_by = by
    photo.struck_reason = reason
    photo.save(update_fields=["struck_at", "struck_by", "struck_reason"])
    return photo


def bytes_of(upload: Any, limit_mb: int) -> bytes:
    """The bytes of an upload, never more than the limit in memory."""
    most = limit_mb * BYTES_PER_MB
    if isinstance(upload, bytes | bytearray | memoryview):
        raw = bytes(upload)
    else:
        raw = upload.read(most + 1)
    size = max(len(raw), getattr(upload, "size", 0) or 0)
    if size > most:
        told = f"{size / BYTES_PER_MB:.0f}" if size > most + 1 else f"over {limit_mb}"
        raise DomainError(
            f"The photo is {told} MB large; at most {limit_mb} MB are taken. Send it "
            "in a smaller size."
        )
    return raw


def _when_and_where(picture: Picture, work: WorkSettings) -> dict[str, Any]:
    """When a picture was taken, and where if the program keeps places."""
    taken = picture.taken_at
    found: dict[str, Any] = {
        "taken_at": taken if taken is not None and taken <= clock.now() else None
    }
    if work.keep_photo_location:
        found |= {"latitude": picture.latitude, "longitude": picture.longitude}
    return found


def _write_file(name: str, content: bytes) -> None:
    """Write a file under the uploads: aside, synced, then in its place."""
    path = Path(settings.UPLOAD_DIR) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    aside, place = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(aside, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        Path(place).replace(path)
    except BaseException:
        Path(place).unlink(missing_ok=True)
        raise
