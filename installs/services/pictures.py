"""A picture taken in: checked, turned upright, made smaller, its hidden data left out.

Whatever comes is decoded and written anew, so that nothing but the picture itself is
kept: no place, no camera, no text, no second picture, no script.
"""

from __future__ import annotations

import datetime as dt
import io
import struct
import zlib
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from wimprog.lib.errors import DomainError

LONGEST_EDGE_PX = 2048
THUMBNAIL_EDGE_PX = 320
MOST_PIXELS = 60_000_000
FORMATS = ("JPEG", "PNG", "WEBP")
TAKEN = "JPEG, PNG or WebP"
QUALITY = 85

_PHONE_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_EXIF_DETAILS, _EXIF_PLACE = 0x8769, 0x8825
_TAKEN_AT, _TAKEN_OFFSET = 0x9003, 0x9011
_LAT_REF, _LAT, _LON_REF, _LON = 1, 2, 3, 4
_BROKEN = (OSError, SyntaxError, ValueError, EOFError, struct.error, zlib.error)


@dataclass(frozen=True)
class Picture:
    """A picture as it is kept, and what was read from it before that was left out."""

    jpeg: bytes
    thumbnail: bytes
    width_px: int
    height_px: int
    taken_at: dt.datetime | None
    latitude: float | None
    longitude: float | None


def take_in(raw: bytes, *, zone: ZoneInfo) -> Picture:
    """Check a picture and write it anew as JPEG.

    Parameters
    ----------
    raw
        The file as it came.
    zone
        Clock of the camera where the picture does not say.

    Raises
    ------
    DomainError
        When it is no picture, a kind that is not taken, moving, cut off, or would grow
        beyond :data:`MOST_PIXELS` when opened.
    """
    from PIL import ImageOps

    _refuse_others(raw)
    image = _opened(raw)
    taken_at, latitude, longitude = _hidden(image, zone)
    try:
        image.draft("RGB", (LONGEST_EDGE_PX, LONGEST_EDGE_PX))
        image.load()
        upright = _on_white(ImageOps.exif_transpose(image))
    except _BROKEN as error:
        raise DomainError(
            "The picture is cut off or damaged, so it cannot be opened to its end; "
            "send it again."
        ) from error
    upright.thumbnail((LONGEST_EDGE_PX, LONGEST_EDGE_PX))
    small = upright.copy()
    small.thumbnail((THUMBNAIL_EDGE_PX, THUMBNAIL_EDGE_PX))
    return Picture(
        jpeg=_jpeg(upright),
        thumbnail=_jpeg(small),
        width_px=upright.width,
        height_px=upright.height,
        taken_at=taken_at,
        latitude=latitude,
        longitude=longitude,
    )


def _refuse_others(raw: bytes) -> None:
    """Tell plainly of what is often sent instead of a photo."""
    if not raw:
        raise DomainError("The file is empty; send the picture again.")
    head = raw[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith(b"<"):
        raise DomainError(
            "This is a drawing or a web page (SVG, HTML), which can hold scripts; it "
            f"is not taken. Send a photo as {TAKEN}."
        )
    if raw[4:8] == b"ftyp" and raw[8:12] in _PHONE_BRANDS:
        raise DomainError(
            "This is a HEIC picture, which cannot be opened here. Set the phone's "
            f"camera to save JPEG, or send a copy as {TAKEN}."
        )


def _opened(raw: bytes) -> Any:
    from PIL import Image, UnidentifiedImageError

    too_large = DomainError(
        f"The picture would grow beyond {MOST_PIXELS // 1_000_000} million pixels when "
        "opened; send it in a smaller size."
    )
    try:
        image = Image.open(io.BytesIO(raw), formats=FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise too_large from None
    except (UnidentifiedImageError, *_BROKEN):
        raise DomainError(
            f"This is not a picture that can be opened; send a photo as {TAKEN}."
        ) from None
    if image.width * image.height > MOST_PIXELS:
        raise too_large
    # phones write a second, smaller picture behind the first; only the first is kept
    if image.format != "MPO" and getattr(image, "is_animated", False):
        raise DomainError("This is a moving picture; send a still photo.")
    return image


def _on_white(image: Any) -> Any:
    from PIL import Image

    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        white = Image.new("RGB", image.size, "white")
        white.paste(image, mask=image.getchannel("A"))
        return white
    return image.convert("RGB")


def _jpeg(image: Any) -> bytes:
    """The pixels alone: what the picture carried beside them is not passed on."""
    from PIL import Image

    bare = Image.new("RGB", image.size)
    bare.paste(image)
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


# --- what the camera wrote ----------------------------------------------------------


def _hidden(
    image: Any, zone: ZoneInfo
) -> tuple[dt.datetime | None, float | None, float | None]:
    """When and where it was taken; None for what cannot be read."""
    try:
        exif = image.getexif()
        details = dict(exif.get_ifd(_EXIF_DETAILS))
        place = dict(exif.get_ifd(_EXIF_PLACE))
    except (*_BROKEN, KeyError, TypeError):
        return None, None, None
    latitude = _degrees(place, _LAT, _LAT_REF, "S", 90.0)
    longitude = _degrees(place, _LON, _LON_REF, "W", 180.0)
    if latitude is None or longitude is None:
        latitude = longitude = None
    return _taken_at(details, zone), latitude, longitude


def _taken_at(details: dict[int, Any], zone: ZoneInfo) -> dt.datetime | None:
    text = str(details.get(_TAKEN_AT, "")).strip("\0 ")
    offset = str(details.get(_TAKEN_OFFSET, "")).strip("\0 ")
    try:
        if offset:
            return dt.datetime.strptime(f"{text}{offset}", "%Y:%m:%d %H:%M:%S%z")
        local = dt.datetime.strptime(text, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
    except ValueError:
        return None
    return local.replace(tzinfo=zone)


def _degrees(
    place: dict[int, Any], tag: int, side: int, negative: str, most: float
) -> float | None:
    try:
        degrees, minutes, seconds = (float(part) for part in place[tag])
    except (KeyError, TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60.0 + seconds / 3600.0
    if not 0.0 <= value <= most:
        return None
    return -value if str(place.get(side, "")).strip("\0 ") == negative else value
