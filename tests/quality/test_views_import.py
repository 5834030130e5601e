"""Files in the browser: upload, what would happen, taking in, what was taken."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from quality.forms import UNITS, MappingForm
from quality.models import (
    ImportState,
    LaneDay,
    RecordFile,
    RecordImport,
    RecordPart,
    RecordReplacement,
    RefusedLine,
)
from quality.records import mapping
from quality.services import (
    ImportOptions,
    import_enqueue,
    import_receive,
    import_run,
    records_import,
)
from sites.models import Site
from tests.factories import SiteFactory
from tests.quality.conftest import SAMPLES
from tests.quality.factories import RecordFileFactory
from tests.quality.records.conftest import BUS, TRUCK
from tests.quality.test_importing import NOTHING_STORED

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]


def page(name, *args):
    return reverse(f"quality:{name}", args=args)


def sample(name: str = "orrin_w2016.wgt") -> bytes:
    return (SAMPLES / name).read_bytes()


def upload(client, raw, name="orrin.wgt", **more):
    data = {"file": SimpleUploadedFile(name, raw), "new_sites": "on", **more}
    return client.post(page("import-add"), data)


@pytest.fixture
def client(analyst, client_for):
    return client_for(analyst)


@pytest.fixture
def job(analyst):
    raw = SimpleUploadedFile("orrin.wgt", sample())
    return import_receive(upload=raw, options=ImportOptions(), by=analyst)


def start(client, job, commit):
    with commit(execute=True):
        return client.post(page("import-start", job.pk))


def test_a_file_is_looked_at_then_taken_in_then_shown(
    client, analyst, django_capture_on_commit_callbacks
):
    answer = upload(client, sample())
    job = RecordImport.objects.get()
    assert answer.url == page("import-detail", job.pk)
    seen = client.get(answer.url).content.decode()
    assert "200 of 200 records kept" in seen
    assert "99-000101 lane E1" in seen
    assert "its site would be made as planned" in seen
    assert "Take it in" in seen
    assert not RecordFile.objects.exists()

    start(client, job, django_capture_on_commit_callbacks)
    job.refresh_from_db()
    assert job.state == ImportState.DONE
    seen = client.get(page("import-detail", job.pk)).content.decode()
    assert "Taken in." in seen
    assert page("record-file-detail", job.record_file_id) in seen
    seen = client.get(page("record-file-detail", job.record_file_id)).content.decode()
    assert f"by {analyst.username}" in seen
    assert all(part.path in seen for part in RecordPart.objects.all())
    assert "orrin.wgt" in client.get(page("record-list")).content.decode()


@pytest.mark.parametrize(("raw", "words"), NOTHING_STORED)
def test_what_cannot_be_read_is_told_on_the_form(raw, words, client, settings):
    answer = upload(client, raw)
    if raw == b"":  # the browser's own field refuses it before the reader sees it
        words = "empty"
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not RecordImport.objects.exists()
    kept = settings.UPLOAD_DIR
    assert not kept.exists() or list(kept.iterdir()) == []


def test_refused_lines_are_shown_with_field_value_and_remedy(
    client, django_capture_on_commit_callbacks
):
    bad = TRUCK.replace(b"057886", b"075886")
    answer = upload(client, BUS + b"\n" + bad + b"\n")
    job = RecordImport.objects.get()
    start(client, job, django_capture_on_commit_callbacks)
    line = RefusedLine.objects.get()
    record_file = RecordFile.objects.get()
    for url in (answer.url, page("record-file-detail", record_file.pk)):
        seen = client.get(url).content.decode()
        assert re.search(r'data-label="Line"[^>]*>2<', seen)
        for text in ("075886", "fall short of its gross weight by 18,000 lb"):
            assert text in seen
        assert line.remedy in seen


def test_the_same_file_again_is_recognised_and_not_offered(client):
    record_file = records_import(SAMPLES / "orrin_w2016.wgt", by=None)
    seen = client.get(upload(client, sample(), "other-name.wgt").url).content.decode()
    assert "Held already" in seen
    assert page("record-file-detail", record_file.pk) in seen
    assert "Take it in" not in seen


def test_days_that_are_held_stand_in_the_way_and_are_named(client):
    records_import(SAMPLES / "orrin_w2016.wgt", by=None)
    seen = client.get(upload(client, sample("orrin_w2016_pipe.wgt")).url)
    text = seen.content.decode()
    assert "held already, from orrin_w2016.wgt" in text
    assert "Take it in" not in text


def test_unknown_lanes_stand_in_the_way_when_none_may_be_made(client):
    answer = client.post(
        page("import-add"), {"file": SimpleUploadedFile("orrin.wgt", sample())}
    )
    text = client.get(answer.url).content.decode()
    assert "2 lanes are not in the program" in text
    assert "Take it in" not in text
    assert not Site.objects.exists()


def test_a_table_is_mapped_on_its_page_and_read_again(client):
    """Headings that say nothing, in pounds, for a site that is chosen."""
    SiteFactory.create(code="OV-101", station_id="000101")
    table = (
        b"when,track,total,a,b,ab\n"
        b"2031-05-12 00:15:30,1,20000,9000,11000,14.0\n"
        b"2031-05-12 01:15:30,1,30000,12000,18000,20.0\n"
    )
    answer = upload(client, table, "table.csv")
    job = RecordImport.objects.get()
    seen = client.get(answer.url).content.decode()
    assert "It cannot be taken in as it is" in seen
    assert "nothing says which lane" in seen
    assert "not read yet" in seen
    assert '<option value="track">track</option>' in seen
    mapped = {
        "time": "when", "lane": "track", "gross": "total", "weights": "a | b",
        "spacings": "ab", "mass_unit": "lb", "spacing_unit": "ft",
        "speed_unit": "mph", "date_order": "ymd", "decimal_mark": ".",
        "wim_site": "OV-101", "fixed_direction": "3",
    }  # fmt: skip
    assert client.post(page("import-map", job.pk), mapped).status_code == 302
    job.refresh_from_db()
    assert job.preview["n_kept"] == 2
    assert [lane["name"] for lane in job.preview["lanes"]] == ["OV-101 lane E1"]
    assert job.preview["would_be_taken"]
    again = client.get(answer.url).content.decode()
    assert '<option value="track" selected>track</option>' in again
    assert '<option value="OV-101" selected>' in again


def mapped_again(job, **changes):
    """The mapping form's boxes as they stand, with changes."""
    form = MappingForm(
        headings=job.preview["headings"],
        mapping=job.preview["mapping"],
        options=job.options,
    )
    boxes = {
        name: form.get_initial_for_field(f, name) for name, f in form.fields.items()
    }
    return {name: value or "" for name, value in boxes.items()} | changes


def test_a_table_without_a_state_takes_it_from_its_page(client):
    upload(client, sample("vehicles_us.csv"), "table.csv")
    job = RecordImport.objects.get()
    assert "does not say which state code its" in job.preview["obstacles"][0]
    client.post(page("import-map", job.pk), mapped_again(job, state_code="99"))
    job.refresh_from_db()
    assert job.preview["n_kept"] == 200
    assert job.preview["would_be_taken"]
    assert {lane["station_id"] for lane in job.preview["lanes"]} == {"000101"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"time": "no such heading"}, "no such heading"),
        ({"state_code": "Colorado"}, "two digits"),
        ({"lane_code": "12"}, "one digit"),
    ],
)
def test_a_mapping_that_cannot_be_is_refused_on_its_page(change, words, client):
    upload(client, sample("vehicles_us.csv"), "table.csv")
    job = RecordImport.objects.get()
    answer = client.post(page("import-map", job.pk), mapped_again(job, **change))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    before = job.preview
    job.refresh_from_db()
    assert job.preview == before


def test_the_form_offers_the_units_that_the_reader_knows():
    assert set(UNITS["mass_unit"][1]) == set(mapping.MASS_UNITS)
    assert set(UNITS["spacing_unit"][1]) == set(mapping.SPACING_UNITS)
    assert set(UNITS["speed_unit"][1]) == set(mapping.SPEED_UNITS)
    assert set(UNITS["date_order"][1]) == set(mapping.DATE_ORDERS)


def test_a_truck_weight_file_has_no_mapping_to_change(client, job):
    assert client.post(page("import-map", job.pk), {}).status_code == 404


def test_progress_is_a_piece_for_the_page_and_the_page_without_script(client, job):
    RecordImport.objects.filter(pk=job.pk).update(
        state=ImportState.RUNNING, bytes_done=40, bytes_total=100, attempt=1,
        lease_until=timezone.now() + dt.timedelta(hours=1),
    )  # fmt: skip
    piece = client.get(page("import-progress", job.pk), headers={"HX-Request": "true"})
    text = piece.content.decode()
    assert text.startswith("<section")
    assert 'value="40"' in text
    assert "data-refresh" in text
    assert "Look again" in text
    assert "HX-Request" in piece["Vary"]
    whole = client.get(page("import-progress", job.pk))
    assert whole.url == page("import-detail", job.pk)


def test_an_interrupted_import_is_taken_up_again_from_its_page(
    client, job, django_capture_on_commit_callbacks
):
    RecordImport.objects.filter(pk=job.pk).update(
        state=ImportState.RUNNING, attempt=1,
        lease_until=timezone.now() - dt.timedelta(hours=1),
    )  # fmt: skip
    assert "fallen silent" in client.get(page("import-detail", job.pk)).content.decode()
    start(client, job, django_capture_on_commit_callbacks)
    job.refresh_from_db()
    assert job.state == ImportState.DONE
    assert RecordFile.objects.count() == 1


def test_starting_twice_says_so_and_stores_once(
    client, job, django_capture_on_commit_callbacks
):
    start(client, job, django_capture_on_commit_callbacks)
    start(client, job, django_capture_on_commit_callbacks)
    assert RecordFile.objects.count() == 1
    assert "already being taken in" in client.get(page("record-list")).content.decode()


def test_discarding_forgets_the_upload(client, job, settings):
    answer = client.post(page("import-discard", job.pk))
    assert answer.url == page("record-list")
    assert not RecordImport.objects.exists()
    assert list(settings.UPLOAD_DIR.iterdir()) == []


@pytest.mark.parametrize("name", ["import-start", "import-discard", "import-map"])
def test_nothing_is_changed_by_looking(name, client, job):
    assert client.get(page(name, job.pk)).status_code == 405
    assert RecordImport.objects.get().state == ImportState.READ


def test_who_may_not_import_is_refused_and_nothing_is_received(
    technician, guest, client_for, job
):
    for user in (technician, guest):
        browser = client_for(user)
        assert upload(browser, sample()).status_code == 403
        for name in ("import-start", "import-discard", "import-map"):
            assert browser.post(page(name, job.pk)).status_code == 403
        assert "Import records" not in browser.get(
            page("record-list")
        ).content.decode().replace("Import records files", "")
    assert RecordImport.objects.count() == 1
    assert not LaneDay.objects.exists()


def test_the_list_of_files_is_filtered_and_exported(client):
    RecordFileFactory.create(source_name="north.wgt")
    RecordFileFactory.create(source_name="south.wgt")
    seen = client.get(page("record-list"), {"source_name": "north"}).content.decode()
    assert "north.wgt" in seen
    assert "south.wgt" not in seen
    sheet = client.get(page("record-list"), {"source_name": "north", "as": "csv"})
    rows = sheet.content.decode("utf-8-sig").splitlines()
    assert rows[0].startswith("file,sha256,layout,from,to,read,kept,refused")
    assert len(rows) == 2
    assert rows[1].startswith("north.wgt,")
    assert client.get(page("record-list"), {"as": "xlsx"}).content[:2] == b"PK"


def test_the_list_of_files_takes_as_many_queries_for_many_as_for_few(
    client, django_assert_num_queries
):
    def queries():
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as found:
            client.get(page("record-list"))
        return len(found)

    RecordFileFactory.create_batch(2)
    queries()
    few = queries()
    RecordFileFactory.create_batch(20)
    assert queries() == few


def test_days_held_already_are_shown_chosen_replaced_and_brought_back(client, analyst):
    lines = [one for one in sample().splitlines() if len(one) > 30]
    records_import(SAMPLES / "orrin_w2016.wgt", by=analyst)
    upload(client, b"\n".join(lines[4:]) + b"\n")
    job = RecordImport.objects.latest("pk")
    seen = client.get(job.get_absolute_url()).content.decode()
    assert "Days that are held already" in seen
    lanes = [one["lane_id"] for one in job.preview["overlaps"]]
    chosen = {f"lane_{pk}": "replace" for pk in lanes}
    client.post(page("import-held-days", job.pk), chosen)
    job.refresh_from_db()
    assert not job.preview["would_be_taken"], "no reason was given"
    chosen["held_reason"] = "the first copy was cut short"
    client.post(page("import-held-days", job.pk), chosen)
    job.refresh_from_db()
    assert job.preview["would_be_taken"]
    import_enqueue(record_import=job, send=lambda pk: None, by=analyst)
    import_run(job.pk)
    one = RecordReplacement.objects.earliest("pk")
    assert "cut short" in client.get(page("replacement-list")).content.decode()
    assert client.post(page("replacement-undo", one.pk), {}).status_code == 422
    client.post(page("replacement-undo", one.pk), {"why": "it was right"})
    seen = client.get(page("replacement-detail", one.pk)).content.decode()
    assert "undone by" in seen
