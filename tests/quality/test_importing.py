"""Files into the program: all of one or nothing, once, and never silently wrong."""

from __future__ import annotations

import datetime as dt
import gzip
import zipfile
from collections import Counter
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from django.db import IntegrityError
from django.db.models import Sum

from quality.models import (
    DailySummary,
    LaneDay,
    LaneMonth,
    LaneWeek,
    RecordFile,
    RecordPart,
    RefusedLine,
)
from quality.records.store import read_parts
from quality.services import (
    ImportOptions,
    importing,
    incoming,
    records_import,
    records_preview,
)
from sites.models import Lane, Site, SiteState
from tests.factories import LaneFactory, SiteFactory
from tests.quality.conftest import SAMPLES
from tests.quality.records.conftest import BUS, TRUCK
from wimprog.lib.errors import DomainError, UnreadableInput
from wimprog.lib.units import KG_PER_LB

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]
WGT = SAMPLES / "orrin_w2016.wgt"
TABLES = (
    RecordFile, RecordPart, RefusedLine, LaneDay, DailySummary, LaneWeek, LaneMonth,
    Site, Lane,
)  # fmt: skip


def holdings(store: Path) -> dict[str, int]:
    """How much is held: rows of each table, files of the store."""
    rows = {model.__name__: model.objects.count() for model in TABLES}
    return rows | {"files": len([p for p in store.rglob("*") if p.is_file()])}


def written(tmp_path: Path, raw: bytes, name: str = "in.wgt") -> Path:
    path = tmp_path / name
    path.write_bytes(raw)
    return path


def sample_lines() -> list[bytes]:
    """The sample's vehicle lines (hour marks are shorter than 27 columns)."""
    return [line for line in WGT.read_bytes().splitlines() if len(line) > 30]


# --- what is stored ---------------------------------------------------------------


def test_days_and_classes_add_up_to_the_lines_of_the_file(store, analyst):
    """TMG 2016, W record: class in columns 22–23, gross weight [lb] in 27–32."""
    record_file = records_import(WGT, by=analyst, why="the spring's records")
    classes: Counter[tuple[str, int, int]] = Counter()
    gross_lb: Counter[int] = Counter()
    for line in sample_lines():
        day = line[11:19].decode()
        key = (f"{day[:4]}-{day[4:6]}-{day[6:]}", int(line[10:11]), int(line[21:23]))
        classes[key] += 1
        gross_lb[int(line[21:23])] += int(line[26:32])
    stored = DailySummary.objects.values_list(
        "date", "lane__number", "vehicle_class", "n_vehicles"
    )
    assert {(str(d), lane, c): n for d, lane, c, n in stored} == dict(classes)
    sums = DailySummary.objects.values("vehicle_class").annotate(kg=Sum("gvw_sum_kg"))
    for row in sums.values_list("vehicle_class", "kg"):
        assert row[1] == pytest.approx(gross_lb[row[0]] * KG_PER_LB, rel=1e-6)
    assert (record_file.n_read, record_file.n_kept) == (200, 200)
    assert LaneDay.objects.aggregate(n=Sum("n_vehicles"))["n"] == 200
    assert record_file.imported_by == analyst
    assert record_file.history.get().history_change_reason == "the spring's records"


def test_the_manifest_names_every_file_of_the_store_and_its_rows(store):
    records_import(WGT, by=None)
    parts = list(RecordPart.objects.all())
    on_disk = {p.relative_to(store).as_posix() for p in store.rglob("*.parquet")}
    assert on_disk == {part.path for part in parts}
    for part in parts:
        assert pq.ParquetFile(store / part.path).metadata.num_rows == part.n_records
    table = read_parts(store, [part.path for part in parts])
    assert table.num_rows == 200
    assert sum(part.n_records for part in parts) == 200


def test_hour_marks_say_which_hours_were_watched(tmp_path):
    """TMG 2016, W record: "d" no truck in the hour, "m" the hour's data are missing."""
    lines = [BUS, b"W17018115312012110717 d", b"W17018115312012110718 m"]
    records_import(written(tmp_path, b"\n".join(lines) + b"\n"), by=None)
    day = LaneDay.objects.get()
    assert [hour for hour in range(24) if day.hours_seen >> hour & 1] == [16, 17]


def test_weeks_hold_the_steering_axles_of_class_9(store):
    """Mean and spread again, vehicle by vehicle from the lines themselves."""
    records_import(WGT, by=None)
    weeks: dict[tuple[int, dt.date], list[float]] = {}
    for line in sample_lines():
        if line[21:23] == b"09":
            day = dt.datetime.strptime(line[11:19].decode(), "%Y%m%d").date()  # noqa: DTZ007
            key = (int(line[10:11]), day - dt.timedelta(days=day.weekday()))
            weeks.setdefault(key, []).append(int(line[34:39]) * KG_PER_LB)
    stored = {(week.lane.number, week.week_on): week for week in LaneWeek.objects.all()}
    assert set(stored) == set(weeks)
    for key, weights in weeks.items():
        n, mean = len(weights), sum(weights) / len(weights)
        sd = (sum((w - mean) ** 2 for w in weights) / (n - 1)) ** 0.5
        assert stored[key].n_vehicles == n
        assert stored[key].steering_mean_kg == pytest.approx(mean, rel=1e-5)
        assert stored[key].steering_sd_kg == pytest.approx(sd, rel=1e-3)


def test_the_5000_vehicles_have_their_known_figures(inputs, store):
    """inputs/README.md: counted from the source."""
    records_import(inputs / "vehicles_w2016.wgt", by=None)
    by_lane = dict(
        LaneMonth.objects.values_list("lane__number").annotate(n=Sum("n_vehicles"))
    )
    assert by_lane == {1: 724, 2: 1347, 3: 1213, 4: 1156, 5: 560}
    by_month = dict(
        LaneMonth.objects.values_list("month__month").annotate(n=Sum("n_vehicles"))
    )
    assert by_month == {7: 611, 8: 927, 9: 848, 10: 1075, 11: 1031, 12: 508}
    paths = RecordPart.objects.values_list("path", flat=True)
    axles = Counter(
        read_parts(store, paths, columns=["n_axles"])["n_axles"].to_pylist()
    )
    assert axles == {2: 1762, 3: 907, 4: 266, 5: 235, 6: 1346, 7: 101, 8: 25, 9: 358}


# --- whose records they are -------------------------------------------------------


def test_an_unknown_station_becomes_a_planned_site_and_says_so():
    preview = records_preview(WGT)
    assert {lane.is_new_site for lane in preview.lanes} == {True}
    records_import(WGT, by=None)
    wim_site = Site.objects.get()
    assert (wim_site.code, wim_site.state) == ("99-000101", SiteState.PLANNED)
    assert sorted(lane.number for lane in wim_site.lanes.all()) == [1, 2]
    assert "orrin_w2016.wgt" in wim_site.history.get().history_change_reason


def test_a_known_site_keeps_its_lanes_and_gains_the_missing_one():
    wim_site = SiteFactory.create(code="OV-101", station_id="000101")
    one = LaneFactory.create(wim_site=wim_site, number=1)
    preview = records_preview(WGT)
    assert [(lane.name, lane.lane_id) for lane in preview.lanes] == [
        ("OV-101 lane E1", one.pk),
        ("OV-101 lane E2", None),
    ]
    records_import(WGT, by=None)
    assert Site.objects.count() == 1
    assert RecordPart.objects.filter(lane=one).exists()
    assert wim_site.lanes.count() == 2


def test_unknown_lanes_are_refused_when_none_may_be_made(store):
    before = holdings(store)
    with pytest.raises(DomainError, match=r"2 lanes are not in the program"):
        records_import(WGT, options=ImportOptions(new_sites=False), by=None)
    assert holdings(store) == before


def test_a_table_without_a_station_asks_whose_it_is(store):
    preview = records_preview(SAMPLES / "vehicles_si.csv")
    assert not preview.would_be_taken
    assert "does not say which state code, station, direction" in preview.obstacles[0]
    with pytest.raises(UnreadableInput, match="--site"):
        records_import(SAMPLES / "vehicles_si.csv", by=None)
    assert holdings(store)["files"] == 0


def test_a_table_is_taken_for_the_site_that_was_given():
    wim_site = SiteFactory.create(code="OV-101", station_id="000101")
    options = ImportOptions(site_code="OV-101", direction="3")
    record_file = records_import(SAMPLES / "vehicles_si.csv", options=options, by=None)
    assert record_file.n_kept == 80
    assert {part.lane.wim_site for part in record_file.parts.all()} == {wim_site}


def test_a_site_that_is_not_there_is_said():
    options = ImportOptions(site_code="OV-999", direction="3")
    with pytest.raises(UnreadableInput, match="no site OV-999"):
        records_preview(SAMPLES / "vehicles_si.csv", options=options)


def sums_of(record_file: RecordFile) -> dict[tuple[int, dt.date, int], list[float]]:
    """A file's number, gross and steering sums by lane number, day and class."""
    rows = DailySummary.objects.filter(
        lane__in=record_file.lane_days.values("lane")
    ).values_list(
        "lane__number", "date", "vehicle_class", "n_vehicles", "gvw_sum_kg",
        "steering_sum_kg",
    )  # fmt: skip
    return {row[:3]: list(row[3:]) for row in rows}


def by_lane_day(
    sums: dict[tuple[int, dt.date, int], list[float]],
) -> dict[tuple[int, dt.date], tuple[int, float]]:
    """Vehicles and their gross weight [kg] by lane number and day."""
    found: dict[tuple[int, dt.date], tuple[int, float]] = {}
    for (lane, date, _), (n, gross, _) in sums.items():
        n_before, gross_before = found.get((lane, date), (0, 0.0))
        found[lane, date] = (n_before + int(n), gross_before + gross)
    return found


def test_a_table_gives_the_same_days_as_the_truck_weight_record(tmp_path):
    table = (
        (SAMPLES / "vehicles_us.csv").read_bytes().replace(b"\n000101,", b"\n000202,")
    )
    ours = sums_of(records_import(WGT, by=None))
    options = ImportOptions(site_code="99-000202")
    theirs = sums_of(
        records_import(written(tmp_path, table, "t.csv"), options=options, by=None)
    )
    assert set(ours) == set(theirs)
    for key, values in ours.items():
        assert theirs[key] == pytest.approx(values, rel=1e-5), key


def test_the_metric_table_gives_the_record_files_vehicles(inputs):
    """The same vehicles; the record's pounds are whole: half a pound an axle, 9 axles.

    inputs/README.md says that one was written from the other.
    """
    wgt = records_import(inputs / "vehicles_w2016.wgt", by=None)
    options = ImportOptions(site_code="99-000902", direction="3")
    table = records_import(inputs / "vehicles_metric.csv", options=options, by=None)
    assert (wgt.n_kept, table.n_kept) == (5000, 5000)
    ours, theirs = by_lane_day(sums_of(wgt)), by_lane_day(sums_of(table))
    assert set(ours) == set(theirs)
    for key, (n, gross_kg) in ours.items():
        assert theirs[key][0] == n
        rounding_kg = n * 9 * 0.5 * KG_PER_LB
        assert theirs[key][1] == pytest.approx(gross_kg, abs=rounding_kg), key


# --- once, and never over what is held --------------------------------------------


def test_the_same_content_again_adds_nothing_however_it_is_wrapped(store, tmp_path):
    first = records_import(WGT, by=None)
    before = holdings(store)
    packed = written(tmp_path, gzip.compress(WGT.read_bytes()), "again.wgt.gz")
    zipped = tmp_path / "again.zip"
    with zipfile.ZipFile(zipped, "w") as archive:
        archive.write(WGT, "renamed.wgt")
    for path in (WGT, packed, zipped):
        assert records_preview(path).already_in == first.pk
        assert records_import(path, by=None) == first
    assert holdings(store) == before


def test_days_that_are_held_are_not_replaced_and_the_message_names_them(
    store, tmp_path
):
    records_import(WGT, by=None)
    before = holdings(store)
    again = written(tmp_path, b"\n".join(sample_lines()[5:]) + b"\n", "resent.wgt")
    preview = records_preview(again)
    with pytest.raises(DomainError) as refused:
        records_import(again, by=None)
    for text in (preview.obstacles[0], refused.value.message):
        assert "99-000101 lane E1: 3 days from 2031-05-12 to 2031-05-14" in text
        assert "orrin_w2016.wgt" in text
    assert holdings(store) == before


def test_a_lanes_other_days_are_added_to_those_held(tmp_path):
    records_import(WGT, by=None)
    later = [line[:11] + b"20310601" + line[19:] for line in sample_lines()[:10]]
    records_import(written(tmp_path, b"\n".join(later) + b"\n"), by=None)
    assert RecordFile.objects.count() == 2
    assert LaneMonth.objects.filter(month="2031-06-01").exists()
    assert LaneDay.objects.aggregate(n=Sum("n_vehicles"))["n"] == 210


# --- bad input --------------------------------------------------------------------

STATION = b"S99000101312031" + b"1" * 198 + b"\n"
NOTHING_STORED = [
    pytest.param(b"", "empty", id="empty"),
    pytest.param(b"\x89PNG\r\n\x1a\n\0\0\0", "not text", id="picture"),
    pytest.param(STATION, "station description", id="wrong layout"),
    pytest.param(b"quite\nanother\nthing\n", "", id="not records"),
    pytest.param(
        BUS + b"\n" + TRUCK + b"\nW|99|000101|3|1|2031|05|12|00|09|062|047120|05\n",
        "",
        id="mixed layouts",
    ),
    pytest.param(b"PK\x05\x06" + b"\0" * 18, "zip", id="empty zip"),
    pytest.param(b"PK\x03\x04damaged", "zip", id="damaged zip"),
    pytest.param(b"\x1f\x8b\x08damaged", "", id="damaged gzip"),
]


@pytest.mark.parametrize(("raw", "words"), NOTHING_STORED)
def test_what_cannot_be_read_is_refused_and_nothing_is_stored(
    raw, words, store, tmp_path
):
    before = holdings(store)
    path = written(tmp_path, raw, "bad.wgt")
    with pytest.raises(UnreadableInput) as refused:
        records_import(path, by=None)
    assert words in refused.value.message
    assert len(refused.value.message) > 30
    assert holdings(store) == before


@pytest.mark.parametrize(
    ("raw", "line", "field", "value", "words"),
    [
        pytest.param(
            BUS + b"\n" + TRUCK[:50], 2, "33–34", "05", "middle of this line", id="cut"
        ),
        pytest.param(
            BUS + b"\n" + TRUCK[:5] + b"\xc3\xa9" + TRUCK[7:] + b"\n",
            2, "4–9", "\\xc3", "column 6", id="not ascii",
        ),
        pytest.param(
            BUS + b"\r\n" + TRUCK.replace(b"20121107", b"20121307") + b"\r\n",
            2, "12–19", "20121307", "calendar", id="no such date",
        ),
        pytest.param(
            b"\xef\xbb\xbf" + BUS + b"\n" + TRUCK.replace(b"057886", b"075886") + b"\n",
            2, "27–32", "075886", "gross weight", id="transposed digits",
        ),
    ],
)  # fmt: skip
def test_a_refused_line_is_kept_with_its_number_field_value_and_remedy(
    raw, line, field, value, words, tmp_path
):
    record_file = records_import(written(tmp_path, raw), by=None)
    assert (record_file.n_kept, record_file.n_refused) == (1, 1)
    kept = record_file.refused_lines.get()
    assert kept.line == line
    assert field in kept.field
    assert value in kept.value
    assert words in kept.message
    assert kept.remedy
    assert LaneDay.objects.get().n_vehicles == 1


def test_mark_and_line_ends_change_nothing_that_is_stored(tmp_path):
    raw = b"\xef\xbb\xbf" + b"\r\n".join(sample_lines()) + b"\r\n"
    record_file = records_import(written(tmp_path, raw), by=None)
    assert (record_file.n_kept, record_file.n_refused) == (200, 0)


def test_a_long_file_with_too_many_refused_lines_is_not_taken(store, tmp_path):
    bad = TRUCK.replace(b"057886", b"075886")
    path = written(tmp_path, b"\n".join([BUS] * 100 + [bad] * 60) + b"\n")
    before = holdings(store)
    with pytest.raises(UnreadableInput, match=r"60 of 160 lines.*37\.5 %") as refused:
        records_import(path, by=None)
    assert refused.value.complaints[0].row == 101
    assert holdings(store) == before


def test_a_preview_stores_nothing(store):
    before = holdings(store)
    preview = records_preview(WGT)
    assert preview.would_be_taken
    assert (preview.n_read, preview.n_kept) == (200, 200)
    assert holdings(store) == before


# --- interruptions ----------------------------------------------------------------


class Interrupted(BaseException):
    """Stands for the end of the process."""


@pytest.mark.parametrize("where", ["derived_refresh", "_store_days", "_lanes_for"])
def test_an_interruption_while_storing_leaves_the_old_state(where, store, monkeypatch):
    before = holdings(store)

    def stop(*args, **kwargs):
        raise Interrupted

    with monkeypatch.context() as patch:
        patch.setattr(importing, where, stop)
        with pytest.raises(Interrupted):
            records_import(WGT, by=None)
    assert holdings(store) == before
    assert records_import(WGT, by=None).n_kept == 200


def test_an_interruption_while_reading_leaves_the_old_state(store):
    before = holdings(store)

    def stop(done, total):
        raise Interrupted

    with pytest.raises(Interrupted):
        records_import(WGT, by=None, progress=stop)
    assert holdings(store) == before


def test_of_two_imports_at_once_one_is_stored_and_keeps_its_parts(store, monkeypatch):
    real = importing._store

    def beaten(*args, **kwargs):
        real(*args, **kwargs)
        raise IntegrityError("sha256")

    monkeypatch.setattr(importing, "_store", beaten)
    record_file = records_import(WGT, by=None)
    assert RecordFile.objects.get() == record_file
    paths = list(record_file.parts.values_list("path", flat=True))
    assert read_parts(store, paths).num_rows == 200


def test_of_two_imports_of_the_same_days_the_second_is_told(store, monkeypatch):
    def beaten(*args, **kwargs):
        raise IntegrityError("lane_day_once")

    before = holdings(store)
    monkeypatch.setattr(importing, "_store", beaten)
    with pytest.raises(DomainError, match="at the same moment"):
        records_import(WGT, by=None)
    assert holdings(store) == before


def test_folding_the_sums_changes_none_of_them(tmp_path, monkeypatch):
    """Sums of a lane's many batches are added up in between."""
    gathered = incoming.Gathered(36_287.0)
    monkeypatch.setattr(incoming, "FOLD_AFTER", 3)
    from quality.records.detect import open_records
    from quality.records.schema import split_by_lane

    with open_records(WGT) as reader:
        table = reader.read_all()
    for start in range(0, 200, 20):
        for key, rows in split_by_lane(table.slice(start, 20)):
            gathered.take(key, rows)
    whole = incoming.Gathered(36_287.0)
    for key, rows in split_by_lane(table):
        whole.take(key, rows)
    for (key, ours), (other, theirs) in zip(
        gathered.lanes(reader.report), whole.lanes(reader.report), strict=True
    ):
        assert key == other
        folded, at_once = ours.by_day, theirs.by_day
        assert folded.drop(columns="figures").equals(at_once.drop(columns="figures"))
        for mine, its in zip(folded["figures"], at_once["figures"], strict=True):
            assert mine["classes"] == its["classes"]
            # only what looks at the record before is not tested where a batch begins
            apart = {k for k in its["checks"] if mine["checks"][k] != its["checks"][k]}
            assert apart <= {"repeats", "headway"}
        assert ours.by_class["n_vehicles"].sum() == theirs.by_class["n_vehicles"].sum()
