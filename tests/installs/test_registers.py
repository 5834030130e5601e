"""Instruments and product batches: kept with who and why, told when out of date."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from installs.calc.dates_due import DueState, due_state
from installs.models import Instrument, ProductBatch
from installs.selectors import in_date as selectors
from installs.services.registers import batch_save, instrument_save

TODAY = dt.date(2024, 6, 1)


@pytest.mark.parametrize(
    ("due", "state"),
    [
        (None, DueState.NOT_KEPT),
        (dt.date(2024, 5, 31), DueState.OUT_OF_DATE),
        (TODAY, DueState.DUE_SOON),
        (dt.date(2024, 7, 1), DueState.DUE_SOON),
        (dt.date(2024, 7, 2), DueState.IN_DATE),
    ],
)
def test_the_last_good_day_is_good_and_30_days_ahead_is_soon(due, state):
    assert due_state(due, TODAY) is state


def test_each_state_has_a_shape_of_its_own():
    assert len({state.condition for state in DueState}) == len(DueState)


@pytest.mark.django_db
def test_an_instrument_is_kept_once_with_who_and_why(technician):
    made = instrument_save(
        instrument=Instrument(kind=" insulation  tester ", serial=" 0042 "),
        by=technician,
        why="",
    )
    assert str(made) == "insulation tester no. 0042"
    kept = made.history.get()
    assert (kept.history_user, kept.history_change_reason) == (
        technician,
        "instrument saved",
    )
    with pytest.raises(ValidationError):
        instrument_save(
            instrument=Instrument(kind="insulation tester", serial="0042"),
            by=technician,
            why="",
        )
    made.calibrated_on, made.calibration_due_on = TODAY, dt.date(2023, 6, 1)
    with pytest.raises(ValidationError, match="cannot end before"):
        instrument_save(instrument=made, by=technician, why="")


@pytest.mark.django_db
def test_a_batch_is_kept_once(technician):
    batch_save(batch=ProductBatch(product="Grout", lot="L1"), by=technician, why="")
    with pytest.raises(ValidationError):
        batch_save(batch=ProductBatch(product="Grout", lot="L1"), by=technician, why="")
    assert ProductBatch.objects.count() == 1


@pytest.mark.django_db
def test_what_is_due_first_stands_on_top_and_expired_batches_below():
    for serial, due in (("1", None), ("2", dt.date(2025, 1, 1)), ("3", TODAY)):
        Instrument.objects.create(kind="gauge", serial=serial, calibration_due_on=due)
    rows = selectors.instrument_rows(TODAY)
    assert [row.instrument.serial for row in rows] == ["3", "2", "1"]
    assert [row.instrument.serial for row in selectors.instrument_rows(TODAY, "2")] == [
        "2"
    ]
    for lot, until in (
        ("old", dt.date(2023, 1, 1)),
        ("soon", TODAY),
        ("open", None),
    ):
        ProductBatch.objects.create(product="resin", lot=lot, expires_on=until)
    lots = [row.batch.lot for row in selectors.batch_rows(TODAY)]
    assert lots == ["soon", "open", "old"]
    assert selectors.batch_rows(TODAY, "resin nothing") == []


@pytest.mark.django_db
@pytest.mark.parametrize("what", ["instrument", "batch"])
def test_empty_lists_say_what_to_do_next(client_for, technician, guest, program, what):
    where = reverse(f"installs:{what}-list")
    assert 'class="empty"' in client_for(technician).get(where).content.decode()
    page = client_for(guest).get(where).content.decode()
    assert "The technicians add them" in page
    add = reverse(f"installs:{what}-add")
    assert add not in page
    assert client_for(guest).get(add).status_code == 403


@pytest.mark.django_db
def test_a_technician_adds_and_recalibrates_an_instrument(
    client_for, technician, program, held_clock
):
    client = client_for(technician)
    add = reverse("installs:instrument-add")
    sent = {"kind": "insulation tester", "serial": "0042"}
    wrong = client.post(
        add,
        sent | {"calibrated_on": "2024-01-01", "calibration_due_on": "2023-01-01"},
    )
    assert wrong.status_code == 422
    assert "cannot end before it began" in wrong.content.decode()
    listed = reverse("installs:instrument-list")
    answer = client.post(add, sent | {"calibration_due_on": "2024-05-31"})
    assert answer.url == listed
    page = client.get(listed).content.decode()
    assert 'class="condition condition-act"' in page
    assert "out of date" in page
    made = Instrument.objects.get()
    edit = reverse("installs:instrument-edit", args=[made.pk])
    client.post(
        edit, sent | {"calibration_due_on": "2025-05-31", "why": "calibrated anew"}
    )
    assert "in date" in client.get(listed).content.decode()
    assert made.history.first().history_change_reason == "calibrated anew"
    nothing = client.get(listed, {"q": "torque"}).content.decode()
    assert "Nothing matches." in nothing


@pytest.mark.django_db
def test_a_batch_added_from_a_record_leads_back_to_it(client_for, technician, program):
    client = client_for(technician)
    add = reverse("installs:batch-add")
    sent = {"product": "Grout", "lot": "L1", "expires_on": "2024-06-20"}
    answer = client.post(f"{add}?next=/roadside/records/7/stages/pouring/", sent)
    assert answer.url == "/roadside/records/7/stages/pouring/"
    sent["lot"] = "L2"
    elsewhere = client.post(f"{add}?next=https://example.org/", sent)
    assert elsewhere.url == reverse("installs:batch-list")
    again = client.post(add, sent)
    assert again.status_code == 422
    assert ProductBatch.objects.count() == 2
