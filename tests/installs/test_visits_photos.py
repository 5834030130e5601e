"""Photos of a visit: written anew, shown with permission, struck out, kept once."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from installs.models import VisitPhoto
from tests import factories
from tests.installs import record_factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(world, settings, tmp_path):
    settings.UPLOAD_DIR = tmp_path
    return factories.MaintenanceVisitFactory(wim_site=world.wim_site)


def upload(name="IMG_7.jpg", **parts):
    content = make.picture((400, 300), comment=b"typed by hand", **parts)
    return SimpleUploadedFile(name, content, content_type="image/jpeg")


def test_a_photo_is_written_anew_and_served(
    client_for, technician, guest, outsider, world, visit, settings
):
    url = reverse("installs:visit-photo-add", args=[visit.pk])
    sent = {"photo": upload(), "caption": "The door", "installation": world.live[0].pk}
    answer = client_for(technician).post(url, sent, follow=True)
    assert "The photo is kept." in answer.content.decode()
    photo = VisitPhoto.objects.get()
    assert photo.installation == world.live[0]
    kept = (Path(settings.UPLOAD_DIR) / photo.picture).read_bytes()
    assert b"typed by hand" not in kept
    shown = reverse("installs:visit-photo-file", args=[photo.pk, "picture"])
    assert client_for(guest).get(shown).content == kept
    assert client_for(outsider).get(shown).status_code == 403
    assert client_for(guest).post(url, {"photo": upload()}).status_code == 403
    # the same picture again is the same photo
    client_for(technician).post(url, {"photo": upload()})
    assert VisitPhoto.objects.count() == 1


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (SimpleUploadedFile("x.jpg", b"<svg onload=alert(1)>"), "can hold scripts"),
        (SimpleUploadedFile("x.jpg", b"no picture at all"), "not a picture"),
        ("", "required"),
    ],
)
def test_what_is_no_photo_is_refused(client_for, technician, visit, sent, words):
    url = reverse("installs:visit-photo-add", args=[visit.pk])
    answer = client_for(technician).post(url, {"photo": sent}, follow=True)
    assert words in answer.content.decode()
    assert not VisitPhoto.objects.exists()


def test_a_sensor_of_another_site_is_refused(client_for, technician, visit):
    other = factories.InstallationFactory()
    url = reverse("installs:visit-photo-add", args=[visit.pk])
    client_for(technician).post(url, {"photo": upload(), "installation": other.pk})
    assert not VisitPhoto.objects.exists()


def test_photos_come_with_the_visit_and_a_bad_one_does_not_lose_it(
    client_for, technician, world, visit
):
    answer = client_for(technician).post(
        f"{reverse('installs:visit-add')}?site=OV-014",
        {
            "purpose": "fault",
            "arrived_at": "2024-05-31T09:00",
            "people": "M. Tarn",
            "photos": [upload(), SimpleUploadedFile("note.txt", b"no picture")],
        },
        follow=True,
    )
    page = answer.content.decode()
    assert "The visit is kept." in page
    assert "note.txt: This is not a picture" in page
    photo = VisitPhoto.objects.get()
    assert photo.visit != visit
    assert reverse("installs:visit-photo-file", args=[photo.pk, "thumbnail"]) in page


def test_a_photo_is_struck_out_and_stays(client_for, technician, visit):
    client = client_for(technician)
    add = reverse("installs:visit-photo-add", args=[visit.pk])
    client.post(add, {"photo": upload()})
    photo = VisitPhoto.objects.get()
    url = reverse("installs:visit-photo-strike", args=[photo.pk])
    assert client.post(url, {"reason": ""}).status_code == 422
    assert client.post(url, {"reason": "another site"}).status_code == 302
    photo.refresh_from_db()
    assert photo.struck_reason == "another site"
    assert photo.struck_by == technician
    answer = client.post(url, {"reason": "again"})
    assert "struck out already" in answer.content.decode()
    page = client.get(visit.get_absolute_url()).content.decode()
    assert "struck out: another site" in page
    answer = client.post(add, {"photo": upload()}, follow=True)
    assert "was struck out here" in answer.content.decode()
