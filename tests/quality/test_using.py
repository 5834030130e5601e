"""What lanes carried: the right days, the right sums, the files taken from them."""

from __future__ import annotations

import datetime as dt
import io

import numpy as np
import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest
from django.urls import reverse

from quality.models import BackCorrection, LaneDay, LaneWeek, RecordPart, RecordSettings
from quality.records.store import read_parts
from quality.selectors.program_traffic import program_traffic
from quality.selectors.using import Asked, lane_carried
from quality.services import days_decide, records_import
from sites.models import Lane
from tests.quality.conftest import SAMPLES
from wimprog.lib.errors import DomainError

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


@pytest.fixture
def lane(store, analyst):
    """The sample's busiest lane; nobody has judged its days."""
    records_import(SAMPLES / "orrin_w2016.wgt", by=analyst)
    part = RecordPart.objects.order_by("-n_records").first()
    return Lane.objects.select_related("wim_site").get(pk=part.lane_id)


def span(lane):
    dates = LaneDay.objects.filter(lane=lane).order_by("date")
    return dates.first().date, dates.last().date


def decide(lane, analyst, decision, first=None, last=None):
    days = span(lane)
    days_decide(
        lane=lane, from_on=first or days[0], to_on=last or days[1], decision=decision,
        reason="looked at", by=analyst,
    )  # fmt: skip


def asked_of(lane, **how):
    first, last = span(lane)
    return Asked(lanes=(lane,), first_on=first, last_on=last, **how)


def by_hand(store, lane):
    """The lane's records, read with plain pandas."""
    paths = RecordPart.objects.filter(lane=lane).values_list("path", flat=True)
    return read_parts(store, paths).to_pandas()


def test_only_accepted_days_are_counted_and_set_aside_ones_never(store, lane, analyst):
    frame = by_hand(store, lane)
    assert lane_carried(asked_of(lane)).year is None  # nobody has judged them
    first = span(lane)[0]
    decide(lane, analyst, "set aside", first, first)
    open_ones = lane_carried(asked_of(lane, with_undecided=True))
    kept = frame[frame["time"].dt.date != first]
    assert open_ones.year.carried.n_vehicles == len(kept) > 0
    assert (open_ones.days.set_aside, open_ones.days.left_out) == (1, 1)
    decide(lane, analyst, "accepted")
    answer = lane_carried(asked_of(lane))
    assert answer.year.carried.n_vehicles == len(frame)
    assert answer.days.unrecorded == answer.days.n - answer.days.counted
    assert "Accepted days only" in answer.rule


def test_sums_are_those_of_the_records(store, lane, analyst):
    decide(lane, analyst, "accepted")
    frame = by_hand(store, lane)
    carried = lane_carried(asked_of(lane)).year.carried
    by_class = frame["vehicle_class"].value_counts()
    assert {k: n for k, n in enumerate(carried.by_class) if n} == by_class.to_dict()
    hours = frame.groupby([frame["time"].dt.date, frame["time"].dt.hour]).size()
    counted = carried.hourly.sum(axis=2)
    for (day, hour), n in hours.items():
        assert counted[(day - span(lane)[0]).days, hour] == n
    pounds = np.rint(frame["gvw_kg"] / 0.45359237)
    assert carried.over["gross"].sum() == (pounds > 80_000).sum()
    places = np.minimum(pounds // 2000, 75).astype(int)
    gross = carried.gross.counts.sum(axis=(0, 1))
    assert gross.tolist() == np.bincount(places, minlength=76).tolist()
    spectra = carried.spectra
    n_axles = sum(k.value * c.sum() for k, c in spectra.counts.items())
    if spectra.n_larger.sum() == 0 and spectra.n_unknown == 0:
        assert n_axles == frame["n_axles"].sum()


def test_corrected_weights_only_where_the_policy_allows_and_marked(
    store, lane, analyst, client_for
):
    decide(lane, analyst, "accepted")
    first, last = span(lane)
    BackCorrection.objects.create(
        lane=lane, from_on=first, to_on=last, factor=1.1, factor_low=1.05,
        factor_high=1.15, n_weeks=8, n_trucks=900, basis="made up", state="allowed",
    )  # fmt: skip
    raw = lane_carried(asked_of(lane, corrected=True))
    assert raw.corrections == ()
    RecordSettings.objects.create(use_corrections=True)
    scaled = lane_carried(asked_of(lane, corrected=True))
    assert scaled.year.carried.n_scaled == scaled.year.carried.n_vehicles
    assert scaled.year.carried.flexible.total > 1.2 * raw.year.carried.flexible.total
    assert lane_carried(asked_of(lane)).corrections == ()
    query = {"place": f"{lane.wim_site.code}/{lane.label}", "corrected": "on"}
    text = client_for(analyst).get(reverse("quality:traffic"), query).content.decode()
    assert "times 1.1000 (1.0500 to 1.1500, 95 % interval)" in text


def test_a_page_for_a_lane_says_days_n_interval_and_rule(
    lane, analyst, client_for, django_assert_max_num_queries
):
    client = client_for(analyst)
    url, place = reverse("quality:traffic"), f"{lane.wim_site.code}/{lane.label}"
    assert "Show" in client.get(url).content.decode()
    empty = client.get(url, {"place": place}).content.decode()
    assert "No data: no day of this period is counted" in empty
    decide(lane, analyst, "accepted")
    with django_assert_max_num_queries(30):
        text = client.get(url, {"place": place, "axles": "single"}).content.decode()
    for words in (
        "Accepted days only", "95 % interval", "80,000 lb", "34,000 lb", "20,000 lb",
        "structural number 5", "slab 229 mm", "Axle load spectrum, single", "<svg",
    ):  # fmt: skip
        assert words in text
    whole = client.get(url, {"place": lane.wim_site.code})
    assert whole.status_code == 200
    assert "lane-days" in whole.content.decode()


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"place": "nowhere"}, "nowhere"),
        ({"first": "2024-05-02", "last": "2024-05-01"}, "before the first"),
        ({"first": "2010-01-01", "last": "2024-05-01"}, "three years"),
        ({"first": "soon"}, "valid date"),
    ],
)
def test_a_question_without_an_answer_is_told(lane, guest, client_for, query, words):
    query = {"place": f"{lane.wim_site.code}/{lane.label}", **query}
    answer = client_for(guest).get(reverse("quality:traffic"), query)
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_tables_out_hold_the_page_and_repeat_to_the_byte(
    store, lane, analyst, client_for
):
    decide(lane, analyst, "accepted")
    client, url = client_for(analyst), reverse("quality:traffic-sheet")
    first, last = span(lane)
    query = {"place": f"{lane.wim_site.code}/{lane.label}", "first": first}
    query["last"] = min(last, first + dt.timedelta(days=20))
    book = client.get(url, query | {"as": "xlsx"}).content
    assert book == client.get(url, query | {"as": "xlsx"}).content
    sheets = openpyxl.load_workbook(io.BytesIO(book))
    assert sheets.sheetnames[0] == "Read me first"
    daily = client.get(url, query | {"as": "csv", "table": "daily"}).content
    frame = pd.read_csv(io.BytesIO(daily))
    columnar = client.get(url, query | {"as": "parquet", "table": "daily"}).content
    again = pq.read_table(io.BytesIO(columnar)).to_pandas()
    assert frame["total"].sum() == again["total"].sum()
    assert frame["total"].notna().sum() <= LaneDay.objects.filter(lane=lane).count()
    spectra = client.get(url, query | {"as": "csv", "table": "spectra"}).content
    assert pd.read_csv(io.BytesIO(spectra))["n"].sum() > 0
    assert client.get(url, query | {"as": "doc"}).status_code == 404


def test_the_programs_year_reads_no_record(store, lane, analyst, client_for):
    decide(lane, analyst, "accepted")
    frame = by_hand(store, lane)
    for path in RecordPart.objects.values_list("path", flat=True):
        (store / path).unlink()
    year = span(lane)[0].year
    row = next(one for one in program_traffic(year).lanes if one.lane == lane)
    assert row.n_vehicles == len(frame)
    trucks = frame[frame["vehicle_class"].between(4, 13)]
    assert row.n_trucks == len(trucks)
    assert row.gross_t == pytest.approx(trucks["gvw_kg"].sum() / 1000, rel=1e-6)
    figures = [
        week.figures for week in LaneWeek.objects.filter(lane=lane, week_on__year=year)
    ]
    loads = sum(one["esal_flexible"]["total"] for one in figures)
    n = sum(one["n_trucks"] for one in figures)
    assert (row.n_esal_trucks, row.n_weeks) == (n, len(figures))
    assert row.esal_flexible == pytest.approx(loads / n)
    url = reverse("quality:traffic-program")
    text = client_for(analyst).get(url, {"year": year}).content.decode()
    assert str(lane) in text
    assert "Accepted days only" in text
    sheet = client_for(analyst).get(url, {"year": year, "as": "csv"}).content.decode()
    assert f"{lane.wim_site.code},{lane.label}," in sheet
    assert f"carried in {year}" in client_for(analyst).get(url).content.decode()
    nothing = client_for(analyst).get(url, {"year": 1999}).content.decode()
    assert "No data" in nothing


def test_a_period_must_be_in_order_and_not_too_long(lane):
    with pytest.raises(DomainError, match="before the first"):
        Asked((lane,), dt.date(2024, 2, 1), dt.date(2024, 1, 1))
    long = Asked((lane,), dt.date(2010, 1, 1), dt.date(2024, 1, 1))
    with pytest.raises(DomainError, match="three years"):
        lane_carried(long)


def test_an_empty_hour_is_quiet_until_the_check_of_missing_hours_says_otherwise(
    lane, analyst
):
    decide(lane, analyst, "accepted")
    day = LaneDay.objects.filter(lane=lane).order_by("date").first()

    def is_whole(bits, findings=()):
        LaneDay.objects.filter(pk=day.pk).update(
            hours_seen=bits, findings=list(findings)
        )
        asked = Asked((lane,), day.date, day.date)
        return not np.isnan(lane_carried(asked).year.daily()[0])

    finding = {"check": "hours-missing", "weight": "look at", "sentence": "Empty."}
    other = {"check": "volume", "weight": "look at", "sentence": "Few."}
    assert is_whole(0xFFFFFF)
    assert is_whole(0xFFFFC0)  # six empty hours in a row
    assert is_whole(0xFFFFC0, [other])
    assert not is_whole(0xFFFFC0, [finding])
    assert not is_whole(0xFFFF80)  # seven
