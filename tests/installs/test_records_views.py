"""Pages of the installation record: who may open them, and what they answer."""

import datetime as dt
import re
import uuid

import pytest
from django.urls import reverse

from installs import services
from installs.models import InstallationRecord, ItemEntry, SignOff
from installs.selectors import stage_view
from tests.installs import record_factories as made


@pytest.fixture
def record(world, technician):
    made.make_template()
    return made.make_record(by=technician, position="piezo 3")


@pytest.fixture
def as_technician(client_for, technician):
    return client_for(technician)


def urls(record):
    return [
        reverse("installs:record-list"),
        record.get_absolute_url(),
        reverse("installs:record-stage", args=[record.pk, "saw-cutting"]),
        reverse("installs:record-sheet", args=[record.pk]),
        reverse("installs:record-as-built", args=[record.pk]),
    ]


def answer_url(record, key):
    view = next(
        one
        for stage in ("saw-cutting", "bench-test")
        for one in stage_view(record, stage).items
        if one.spec.key == key
    )
    return reverse("installs:answer-save", args=[record.pk, view.item.pk])


def test_everybody_with_a_role_reads_and_only_crews_write(
    record, client_for, guest, analyst, manager, technician
):
    for user in (guest, analyst, manager, technician):
        client = client_for(user)
        for url in urls(record):
            assert client.get(url).status_code == 200, (user, url)
    for user in (guest, analyst):
        client = client_for(user)
        answer = client.post(answer_url(record, "slot-width"), {"number": "0.8"})
        assert answer.status_code == 403
    assert not ItemEntry.objects.exists()


def test_a_plain_form_answers_and_comes_back_to_its_item(record, as_technician):
    answer = as_technician.post(
        answer_url(record, "slot-width"), {"number": "0.8", "unit": "in"}
    )
    assert answer.status_code == 302
    assert re.search(r"/saw-cutting/#item-\d+$", answer["Location"])
    entry = ItemEntry.objects.get()
    assert entry.typed == [["0.8", "in"]]
    assert entry.numbers == pytest.approx([20.32])  # 0.8 in × 25.4, by definition
    page = as_technician.get(urls(record)[2]).content.decode()
    assert "0.8 in" in page
    assert "meets" in page


def test_a_script_gets_the_item_back_judged(record, as_technician):
    answer = as_technician.post(
        answer_url(record, "slot-width"),
        {"number": "2", "unit": "in", "client_id": str(uuid.uuid4())},
        headers={"X-Answer": "fragment"},
    )
    assert answer.status_code == 200
    text = answer.content.decode()
    assert text.lstrip().startswith("<article")
    assert "misses" in text
    assert "Decide about this" in text


def test_an_answer_that_cannot_be_read_is_refused_with_its_text(record, as_technician):
    answer = as_technician.post(
        answer_url(record, "slot-width"),
        {"number": "wide", "unit": "in"},
        headers={"X-Answer": "fragment"},
    )
    assert answer.status_code == 422
    assert "“wide”" in answer.content.decode()
    assert not ItemEntry.objects.exists()


def test_an_answer_sent_twice_is_kept_once(record, as_technician):
    form = {"number": "0.8", "unit": "in", "client_id": str(uuid.uuid4())}
    for _ in range(2):
        assert (
            as_technician.post(
                answer_url(record, "slot-width"), form, headers={"X-Answer": "fragment"}
            ).status_code
            == 200
        )
    assert ItemEntry.objects.count() == 1


def test_a_clock_that_is_fast_does_not_date_an_answer_ahead(record, as_technician):
    ahead = (dt.datetime.now(dt.UTC) + dt.timedelta(days=3)).isoformat()
    as_technician.post(
        answer_url(record, "slot-width"),
        {"number": "0.8", "unit": "in", "observed_at": ahead},
    )
    entry = ItemEntry.objects.get()
    assert entry.observed_at <= entry.entered_at + dt.timedelta(seconds=1)


def test_a_stage_without_its_proof_cannot_be_signed(record, as_technician):
    url = reverse("installs:stage-sign", args=[record.pk, "saw-cutting"])
    answer = as_technician.post(
        url,
        {"role": "inspector", "name_signed": "A. Person", "client_id": uuid.uuid4()},
    )
    assert answer.status_code == 422
    assert "cannot be signed" in answer.content.decode()
    assert not SignOff.objects.exists()


def test_a_decision_is_kept_and_shown(record, as_technician):
    as_technician.post(answer_url(record, "slot-width"), {"number": "2", "unit": "in"})
    entry = ItemEntry.objects.get()
    url = reverse("installs:entry-dispose", args=[record.pk, entry.pk])
    assert as_technician.get(url).status_code == 200
    answer = as_technician.post(
        url,
        {
            "kind": "accepted as it is",
            "decided_by": "B. Engineer",
            "reason": "wide enough for the body, more resin is on site",
        },
    )
    assert answer.status_code == 302
    page = as_technician.get(urls(record)[2]).content.decode()
    assert "accepted as it is" in page
    assert "B. Engineer" in page


def test_a_record_is_held_to_the_limit_of_its_contract(
    record, client_for, manager, as_technician
):
    item = next(
        one.item
        for one in stage_view(record, "saw-cutting").items
        if one.spec.key == "slot-width"
    )
    url = reverse("installs:record-limit", args=[record.pk, item.pk])
    client = client_for(manager)
    assert client.get(url).status_code == 200
    assert as_technician.get(url).status_code == 403
    answer = client.post(
        url,
        {
            "low": "0.5",
            "high": "0.7",
            "limit_source": "contract",
            "limit_reference": "clause 7.2",
            "why": "the contract is tighter",
        },
    )
    assert answer.status_code == 302
    as_technician.post(
        answer_url(record, "slot-width"), {"number": "0.8", "unit": "in"}
    )
    page = as_technician.get(urls(record)[2]).content.decode()
    assert "clause 7.2" in page
    assert "misses" in page


def test_a_record_is_opened_from_its_lane(world, client_for, technician, record):
    client = client_for(technician)
    assert client.get(reverse("installs:record-add")).status_code == 302
    lane = record.lane
    url = f"{reverse('installs:record-add')}?lane={lane.pk}"
    page = client.get(url)
    assert page.status_code == 200
    assert "Before you start" in page.content.decode()
    answer = client.post(
        url,
        {
            "position": "piezo 9",
            "technology": "polymer piezo",
            "work_on": "2024-05-30",
            "traffic_control_plan": "TCP-9",
        },
    )
    assert answer.status_code == 302, re.findall(
        r"error-summary.*?</div>", answer.content.decode(), re.S
    )
    kept = InstallationRecord.objects.get(position="piezo 9")
    assert answer["Location"] == kept.get_absolute_url()
    twice = client.post(
        url,
        {
            "position": "piezo 9",
            "technology": "polymer piezo",
            "work_on": "2024-05-30",
            "traffic_control_plan": "TCP-9",
        },
    )
    assert twice.status_code == 422
    assert "open record already" in twice.content.decode()


def test_a_record_without_a_template_is_refused_in_words(world, client_for, technician):
    from tests import factories

    lane = factories.LaneFactory.create()
    answer = client_for(technician).post(
        f"{reverse('installs:record-add')}?lane={lane.pk}",
        {
            "position": "loop 1",
            "technology": "inductive loop",
            "work_on": "2024-05-30",
            "traffic_control_plan": "TCP-9",
        },
    )
    assert answer.status_code == 422
    assert "inductive loop" in answer.content.decode()


def test_a_paper_sheet_is_kept_whole_or_not_at_all(record, as_technician):
    url = reverse("installs:record-paper", args=[record.pk, "saw-cutting"])
    items = {
        one.spec.key: one.item.pk for one in stage_view(record, "saw-cutting").items
    }
    sheet = {
        "observed_at": "2024-05-20T10:00",
        "written_by": "C. Writer",
        f"item_{items['slot-depth']}": "2.05 2.06 2.07 2.05",
        f"item_{items['slot-width']}": "wide",
        f"item_{items['cut-straight']}": "yes",
    }
    answer = as_technician.post(url, sheet)
    assert answer.status_code == 422
    assert "“wide”" in answer.content.decode()
    assert not ItemEntry.objects.exists()
    sheet[f"item_{items['slot-width']}"] = "0.8"
    assert as_technician.post(url, sheet).status_code == 302
    entries = ItemEntry.objects.all()
    assert {entry.source for entry in entries} == {"typed in from a paper sheet"}
    assert len(entries) == 3
    assert {(entry.written_by, entry.reason) for entry in entries} == {
        ("C. Writer", "")
    }


def test_a_closed_record_takes_no_answer(record, as_technician, technician):
    answer = as_technician.post(
        reverse("installs:record-close", args=[record.pk]),
        {"state": "abandoned", "reason": "rain all week"},
    )
    assert answer.status_code == 302
    answer = as_technician.post(
        answer_url(record, "slot-width"),
        {"number": "0.8", "unit": "in"},
        headers={"X-Answer": "fragment"},
    )
    assert answer.status_code == 422
    assert "abandoned" in answer.content.decode()


def test_papers_are_tagged_pdfs(record, as_technician):
    for url in urls(record)[3:]:
        content = as_technician.get(url).content
        assert content.startswith(b"%PDF")
        assert b"/StructTreeRoot" in content or b"ObjStm" in content


def test_a_photo_goes_in_comes_out_and_is_struck_out(
    record, as_technician, settings, tmp_path
):
    settings.UPLOAD_DIR = tmp_path
    item = stage_view(record, "saw-cutting").items[0].item
    from django.core.files.uploadedfile import SimpleUploadedFile

    picture = SimpleUploadedFile("slot.jpg", made.picture(), content_type="image/jpeg")
    add = reverse("installs:photo-add", args=[record.pk, item.pk])
    assert (
        as_technician.post(add, {"photo": picture, "caption": "slot"}).status_code
        == 302
    )
    photo = record.photos.get()
    shown = as_technician.get(
        reverse("installs:photo-file", args=[photo.pk, "thumbnail"])
    )
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert shown.content[:2] == b"\xff\xd8"
    strike = reverse("installs:photo-strike", args=[photo.pk])
    assert as_technician.post(strike, {"reason": ""}).status_code == 422
    assert as_technician.post(strike, {"reason": "blurred"}).status_code == 302
    photo.refresh_from_db()
    assert photo.struck_reason == "blurred"
    bad = SimpleUploadedFile(
        "x.jpg", b"<svg><script/></svg>", content_type="image/jpeg"
    )
    answer = as_technician.post(add, {"photo": bad}, headers={"X-Answer": "fragment"})
    assert answer.status_code == 422


def test_services_take_what_the_pages_send(record, technician):
    assert (
        services.paper_save(
            record=record,
            answers=[],
            observed_at=made.OBSERVED,
            written_by="",
            by=technician,
        )
        == 0
    )
