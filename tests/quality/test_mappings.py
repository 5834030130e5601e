"""Saved mappings: kept from a file, offered for the same headings, used, forgotten."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from quality.models import RecordImport, SavedMapping
from quality.services import ImportOptions, import_receive
from tests.quality.conftest import SAMPLES

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]


def page(name, *args):
    return reverse(f"quality:{name}", args=args)


def received(user, **options) -> RecordImport:
    raw = (SAMPLES / "vehicles_si.csv").read_bytes()
    file = SimpleUploadedFile("table.csv", raw)
    return import_receive(upload=file, options=ImportOptions(**options), by=user)


def test_a_mapping_is_saved_offered_used_and_deleted(analyst, client_for):
    client = client_for(analyst)
    job = received(analyst)
    client.post(page("mapping-save", job.pk), {"name": "cabinet table"})
    saved = SavedMapping.objects.get()
    job.refresh_from_db()
    assert saved.mapping == job.preview["mapping"]
    assert saved.headings == job.preview["headings"]
    saved.mapping = saved.mapping | {"direction_code": "3"}
    saved.save()
    other = received(analyst)
    seen = client.get(page("import-detail", other.pk)).content.decode()
    assert "Read again with cabinet table" in seen
    client.post(page("mapping-use", other.pk), {"saved": saved.pk})
    other.refresh_from_db()
    assert other.preview["mapping"]["direction_code"] == "3"
    assert "cabinet table" in client.get(page("mapping-list")).content.decode()
    client.post(page("mapping-delete", saved.pk))
    assert not SavedMapping.objects.exists()


def test_a_mapping_without_a_name_is_not_saved(analyst, client_for):
    job = received(analyst)
    client_for(analyst).post(page("mapping-save", job.pk), {"name": " "})
    assert not SavedMapping.objects.exists()


def test_a_guest_saves_and_deletes_nothing(analyst, guest, client_for):
    job = received(analyst)
    browser = client_for(guest)
    for name in ("mapping-save", "mapping-use"):
        assert browser.post(page(name, job.pk), {"name": "x"}).status_code == 403
