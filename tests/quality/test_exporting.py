"""Vehicle records out: all of the counted days, none of the others, the same again."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest
from django.core.management import call_command
from django.urls import reverse

from quality.models import BackCorrection, LaneDay, RecordPart, RecordSettings
from quality.records.detect import open_records
from quality.records.report import Layout
from quality.records.schema import STORE_SCHEMA
from quality.records.store import read_parts
from quality.selectors.using import Asked
from quality.services import days_decide, records_import
from quality.services.exporting import RecordForm, records_out
from sites.models import Lane
from tests.quality.conftest import SAMPLES
from wimprog.lib.errors import DomainError

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]
KEPT = [name for name in STORE_SCHEMA.names if name != "source_line"]


@pytest.fixture
def asked(store, analyst):
    """All accepted days of the sample's busiest lane."""
    records_import(SAMPLES / "orrin_w2016.wgt", by=analyst)
    part = RecordPart.objects.order_by("-n_records").first()
    lane = Lane.objects.select_related("wim_site").get(pk=part.lane_id)
    days = LaneDay.objects.filter(lane=lane).order_by("date")
    first, last = days.first().date, days.last().date
    days_decide(
        lane=lane, from_on=first, to_on=last, decision="accepted", reason="looked at",
        by=analyst,
    )  # fmt: skip
    return Asked((lane,), first, last)


def stored(store, asked):
    paths = RecordPart.objects.filter(lane=asked.lanes[0]).order_by("month")
    return read_parts(store, paths.values_list("path", flat=True))


def out(asked, form):
    return b"".join(records_out(asked, form))


@pytest.mark.parametrize(
    ("form", "layout"),
    [
        (RecordForm.W2016, Layout.W_FIXED),
        (RecordForm.W2016_PIPE, Layout.W_PIPE),
    ],
)
def test_weight_records_read_back_are_the_stored_ones(store, asked, form, layout):
    content = out(asked, form)
    assert content == out(asked, form)
    reader = open_records(io.BytesIO(content))
    again = reader.read_all()
    assert reader.report.layout is layout
    assert reader.report.n_refused == 0
    kept = stored(store, asked)
    assert again.num_rows == kept.num_rows > 0
    for name in KEPT:
        assert again.column(name).equals(kept.column(name)), name


@pytest.mark.parametrize("form", [RecordForm.W2016, RecordForm.W2016_PIPE])
def test_hours_said_to_be_empty_stay_so(store, asked, form):
    day = LaneDay.objects.filter(lane=asked.lanes[0]).order_by("-date").first()
    held = sum(1 << h for h, n in enumerate(np.frombuffer(day.hourly, "<u2")) if n)
    LaneDay.objects.filter(pk=day.pk).update(hours_seen=held | 0b111)
    n_marks = bin((held | 0b111) & ~held).count("1")
    assert n_marks > 0
    reader = open_records(io.BytesIO(out(asked, form)))
    reader.read_all()
    assert reader.report.n_refused == 0
    marks = [mark for mark in reader.report.hour_marks if not mark.missing]
    assert len(marks) >= n_marks


def test_set_aside_days_never_leave(store, asked, analyst):
    lane, first = asked.lanes[0], asked.first_on
    before = pd.read_csv(io.BytesIO(out(asked, RecordForm.CSV)))
    days_decide(
        lane=lane, from_on=first, to_on=first, decision="set aside", reason="bad",
        by=analyst,
    )  # fmt: skip
    open_too = Asked(asked.lanes, asked.first_on, asked.last_on, with_undecided=True)
    after = pd.read_csv(io.BytesIO(out(open_too, RecordForm.CSV)))
    gone = before["time"].str[:10] == str(first)
    assert gone.sum() > 0
    assert len(after) == len(before) - gone.sum()
    only = Asked(asked.lanes, first, first, with_undecided=True)
    with pytest.raises(DomainError, match="no record to take out"):
        records_out(only, RecordForm.CSV)


def test_parquet_holds_the_records_and_marks_corrected_weights(store, asked):
    raw = pq.read_table(io.BytesIO(out(asked, RecordForm.PARQUET)))
    kept = stored(store, asked)
    assert raw.column("gvw_kg").equals(kept.column("gvw_kg"))
    assert raw.column("weights_scaled_by").null_count == raw.num_rows
    RecordSettings.objects.create(use_corrections=True)
    lane, last = asked.lanes[0], asked.last_on
    BackCorrection.objects.create(
        lane=lane, from_on=last, to_on=last, factor=0.9, factor_low=0.85,
        factor_high=0.95, n_weeks=8, n_trucks=900, basis="made up", state="allowed",
    )  # fmt: skip
    corrected = Asked((lane,), asked.first_on, last, corrected=True)
    frame = pq.read_table(io.BytesIO(out(corrected, RecordForm.PARQUET))).to_pandas()
    marked = frame["weights_scaled_by"] == 0.9
    assert (marked == (frame["time"].dt.date == last)).all()
    assert marked.any()
    ratio = frame["gvw_kg"] / raw.to_pandas()["gvw_kg"]
    assert np.allclose(ratio, np.where(marked, 0.9, 1.0), rtol=1e-6)
    with pytest.raises(DomainError, match="no place to say"):
        records_out(corrected, RecordForm.W2016)


def test_the_command_and_the_page_give_the_same_bytes(
    asked, tmp_path, analyst, client_for, capsys
):
    lane = asked.lanes[0]
    place = f"{lane.wim_site.code}/{lane.label}"
    path = tmp_path / "out.wgt"
    days = ["--from", str(asked.first_on), "--to", str(asked.last_on)]
    call_command("export_records", str(path), "--lane", place, *days, "--as", "w2016")
    answer = client_for(analyst).get(
        reverse("quality:traffic-records"),
        {"place": place, "first": asked.first_on, "last": asked.last_on, "as": "w2016"},
    )
    assert b"".join(answer.streaming_content) == path.read_bytes()
    with pytest.raises(SystemExit) as stopped:
        call_command("export_records", str(path), "--lane", "OV-999/E1", *days)
    assert stopped.value.code == 2
    none = ["--from", "1999-01-01", "--to", "1999-01-02"]
    before = path.read_bytes()
    with pytest.raises(SystemExit) as stopped:
        call_command("export_records", str(path), "--lane", place, *none)
    assert stopped.value.code == 1
    assert path.read_bytes() == before
    assert sorted(one.name for one in tmp_path.glob(".*")) == []
