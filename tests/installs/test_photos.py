"""Photos: written anew, nothing hidden kept, everything that is no photo refused."""

from __future__ import annotations

import datetime as dt
import io
import struct
import uuid
import zlib
from pathlib import Path

import pytest
from PIL import Image

from installs import selectors, services
from installs.calc.types.records import StageState
from installs.models import Photo, WorkSettings
from installs.services.pictures import take_in
from tests.installs import record_factories as make
from wimprog.lib.errors import DomainError

PLACE = (41.25, -105.5)


@pytest.fixture
def record(program, held_clock, technician, settings, tmp_path):
    settings.UPLOAD_DIR = tmp_path
    make.make_template([("saw-cutting", ["inspector"], [make.SLOT_PHOTO])])
    return make.make_record(technician)


def _add(record, by, upload, **parts):
    return services.photo_add(
        record=record,
        item=make.item_of(record, "slot-photo"),
        by=by,
        **{
            "client_id": uuid.uuid4(),
            "upload": upload,
            "name": "IMG_0042.jpg",
            **parts,
        },
    )


def _with_place(size=(400, 300), orientation=6):
    """A picture as a phone writes it: on its side, with when and where."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = "Invented Cameras"
    details = exif.get_ifd(0x8769)
    details[0x9003] = "2024:05:20 09:30:00"
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (41.0, 15.0, 0.0)
    place[3], place[4] = "W", (105.0, 30.0, 0.0)
    return make.picture(size, exif=exif, comment=b"typed by hand")


def _path(settings, name):
    return Path(settings.UPLOAD_DIR) / name


def _image(settings, name):
    return Image.open(io.BytesIO(_path(settings, name).read_bytes()))


def test_a_photo_is_kept_upright_smaller_and_bare(record, technician, settings):
    photo = _add(record, technician, _with_place((4000, 3000)))
    # orientation 6: the camera's right side is the top (Exif 2.3, tag 0x0112)
    assert (photo.width_px, photo.height_px) == (1536, 2048)
    kept = _image(settings, photo.picture)
    assert kept.format == "JPEG"
    assert kept.size == (1536, 2048)
    assert dict(kept.getexif()) == {}
    raw = _path(settings, photo.picture).read_bytes()
    for hidden in (b"Exif", b"Invented Cameras", b"typed by hand"):
        assert hidden not in raw
    small = _image(settings, photo.thumbnail)
    assert max(small.size) == 320
    assert photo.size_bytes == len(raw)
    assert photo.picture == f"photos/{record.pk}/{photo.sha256}.jpg"
    assert list(_path(settings, "photos").rglob("*.part")) == []


def test_where_it_was_taken_is_dropped_unless_the_agency_keeps_it(record, technician):
    bare = _add(record, technician, _with_place())
    assert (bare.latitude, bare.longitude) == (None, None)
    WorkSettings.objects.create(keep_photo_location=True)
    placed = _add(record, technician, _with_place((404, 300)))
    assert (placed.latitude, placed.longitude) == pytest.approx(PLACE)
    # 09:30 on the clock at the site (America/Denver, six hours behind UTC in May)
    assert placed.taken_at == dt.datetime(2024, 5, 20, 15, 30, tzinfo=dt.UTC)


def test_the_kept_file_has_no_place_even_when_the_columns_do(
    record, technician, settings
):
    WorkSettings.objects.create(keep_photo_location=True)
    photo = _add(record, technician, _with_place())
    kept = _image(settings, photo.picture)
    assert dict(kept.getexif().get_ifd(0x8825)) == {}


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_still_pictures_become_jpeg(record, technician, settings, kind):
    photo = _add(record, technician, make.picture(kind=kind))
    assert _image(settings, photo.picture).format == "JPEG"


def test_what_is_seen_through_becomes_white():
    out = io.BytesIO()
    Image.new("RGBA", (20, 20), (255, 0, 0, 0)).save(out, "PNG")
    found = Image.open(io.BytesIO(take_in(out.getvalue(), zone=dt.UTC).jpeg))
    assert found.getpixel((10, 10)) == (255, 255, 255)


def _bomb(width=20_000, height=20_000):
    """A PNG of one row, whose head promises width × height pixels (PNG, 11.2.2)."""

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            chunk(b"IHDR", head),
            chunk(b"IDAT", zlib.compress(b"\0" * (width + 1))),
            chunk(b"IEND", b""),
        ]
    )


def _moving(kind):
    frames = [Image.new("RGB", (20, 20), colour) for colour in ("red", "blue")]
    out = io.BytesIO()
    frames[0].save(out, kind, save_all=True, append_images=frames[1:])
    return out.getvalue()


SVG = b'<?xml version="1.0"?><svg xmlns="x"><script>alert(1)</script></svg>'
REFUSED = {
    "nothing": (lambda: b"", "empty"),
    "words": (lambda: b"not a picture at all", "not a picture"),
    "svg with a script": (lambda: SVG, "SVG, HTML"),
    "svg behind a byte order mark": (lambda: b"\xef\xbb\xbf\n" + SVG, "SVG, HTML"),
    "a page": (lambda: b"<!DOCTYPE html><script>1</script>", "SVG, HTML"),
    "heic": (lambda: b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 50, "HEIC"),
    "gif": (lambda: make.picture(kind="GIF"), "not a picture that can be opened"),
    "pdf": (lambda: b"%PDF-1.7\n" + b"\0" * 50, "not a picture"),
    "cut off": (lambda: make.picture((800, 600))[:-900], "cut off or damaged"),
    "only a head": (lambda: make.picture((800, 600))[:300], "picture"),
    "400 million pixels": (_bomb, "60 million pixels"),
    "100 million pixels": (lambda: _bomb(10_000, 10_000), "60 million pixels"),
    "61 million pixels": (lambda: _bomb(10_000, 6_100), "60 million pixels"),
    "moving png": (lambda: _moving("PNG"), "moving picture"),
    "moving webp": (lambda: _moving("WEBP"), "moving picture"),
}


@pytest.mark.parametrize("case", sorted(REFUSED))
def test_what_is_no_photo_is_refused_in_words(record, technician, settings, case):
    build, words = REFUSED[case]
    with pytest.raises(DomainError, match=words):
        _add(record, technician, build())
    assert Photo.objects.count() == 0
    assert list(Path(settings.UPLOAD_DIR).rglob("*.*")) == []


def test_a_jpeg_with_a_script_behind_it_keeps_only_the_picture(
    record, technician, settings
):
    sent = make.picture() + b"<script>alert(1)</script>"
    photo = _add(record, technician, sent)
    assert b"script" not in _path(settings, photo.picture).read_bytes()


class _Upload(io.BytesIO):
    """An upload that counts how much of it was read."""

    n_read = 0

    def read(self, size=-1):
        found = super().read(size)
        self.n_read += len(found)
        return found


def test_a_photo_of_sixty_megabytes_is_refused_before_it_is_read_whole(
    record, technician
):
    upload = _Upload(make.picture() + b"\0" * 60 * 1024 * 1024)
    with pytest.raises(DomainError, match="at most 25 MB are taken"):
        _add(record, technician, upload)
    assert upload.n_read <= 25 * 1024 * 1024 + 1


def test_sent_twice_it_is_kept_once(record, technician):
    mark = uuid.uuid4()
    first = _add(record, technician, make.picture(), client_id=mark)
    assert _add(record, technician, make.picture(), client_id=mark) == first
    # the same picture under another mark: the connection dropped before the answer
    assert _add(record, technician, make.picture()) == first
    assert Photo.objects.count() == 1


def test_a_struck_photo_stays_and_no_longer_counts(record, technician, settings):
    photo = _add(record, technician, make.picture())
    view = selectors.stage_view(record, "saw-cutting")
    assert view.state is StageState.READY
    with pytest.raises(DomainError, match="Say why"):
        services.photo_strike(photo=photo, reason=" ", by=technician)
    services.photo_strike(photo=photo, reason="another slot", by=technician)
    view = selectors.stage_view(record, "saw-cutting")
    assert view.reasons_not_ready == ("“Photo of the slot”: 0 photos of at least 1",)
    assert view.items[0].photos == (photo,)
    assert _path(settings, photo.picture).is_file()
    with pytest.raises(DomainError, match="struck out already"):
        services.photo_strike(photo=photo, reason="again", by=technician)
    with pytest.raises(DomainError, match="was struck out here"):
        _add(record, technician, make.picture())


def test_a_photo_after_signing_says_why_and_reopens_the_stage(record, technician):
    _add(record, technician, make.picture())
    make.sign(record, "saw-cutting", technician)
    with pytest.raises(DomainError, match="say in the caption why"):
        _add(record, technician, make.picture((80, 60)))
    _add(record, technician, make.picture((80, 60)), caption="taken before, sent late")
    view = selectors.stage_view(record, "saw-cutting")
    assert view.state is StageState.CORRECTED


def test_nothing_is_added_to_a_closed_record(record, technician, settings):
    services.record_abandon(record=record, reason="rain", by=technician)
    with pytest.raises(DomainError, match="nothing can be added"):
        _add(record, technician, make.picture())
    assert list(Path(settings.UPLOAD_DIR).rglob("*.jpg")) == []


def test_the_name_of_the_file_is_only_kept_as_a_name(record, technician):
    photo = _add(record, technician, make.picture(), name="..\\..\\etc/IMG 1.jpg")
    assert photo.original_name == "IMG 1.jpg"
