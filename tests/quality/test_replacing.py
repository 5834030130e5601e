"""A later delivery of held days: shown, kept out or put in place, and undone."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from quality.models import (
    DailySummary,
    DayDecision,
    LaneDay,
    LaneMonth,
    LaneWeek,
    RecordFile,
    RecordPart,
    RecordReplacement,
    ReviewQuestion,
)
from quality.services import (
    ImportOptions,
    days_decide,
    records_import,
    records_preview,
)
from quality.services.replacing import replacement_undo
from sites.models import Lane
from tests.quality.conftest import SAMPLES
from wimprog.lib.errors import DomainError

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("store", "program")]
WGT = SAMPLES / "orrin_w2016.wgt"
DAYS = (b"20310512", b"20310513", b"20310514")
FIRST, SECOND = dt.date(2031, 5, 12), dt.date(2031, 5, 13)
REPLACE = ImportOptions(held_days="replace", held_reason="sent again, complete")


def lines() -> list[bytes]:
    return [line for line in WGT.read_bytes().splitlines() if len(line) > 30]


def second(tmp_path: Path, name: str = "second.wgt", drop: int = 3) -> Path:
    """The first two of three days again, without some lines, and a day of June."""
    again = [line for line in lines() if line[11:19] in DAYS[:2]][drop:]
    june = [line[:11] + b"20310601" + line[19:] for line in lines()[:4]]
    path = tmp_path / name
    path.write_bytes(b"\n".join([*again, *june]) + b"\n")
    return path


def everything(store: Path) -> dict[str, list]:
    """What readers see, to the last bit, without row numbers."""
    found: dict[str, list] = {}
    for model in (LaneDay, DailySummary, LaneWeek, LaneMonth):
        names = [
            field.attname
            for field in model._meta.concrete_fields
            if field.attname != "id"
        ]
        rows = model.objects.order_by("pk").values(*names)
        found[model.__name__] = sorted(
            repr({k: bytes(v) if k == "hourly" else v for k, v in row.items()})
            for row in rows
        )
    parts = RecordPart.objects.current().order_by("path")
    found["parts"] = list(parts.values_list("path", "n_records", "sha256"))
    found["bytes"] = [(store / part.path).read_bytes() for part in parts]
    return found


def test_the_preview_tells_what_differs_day_by_day(tmp_path):
    records_import(WGT, by=None)
    preview = records_preview(second(tmp_path))
    assert not preview.would_be_taken
    assert [one["held_from"] for one in preview.overlaps] == [(WGT.name,)] * 2
    again = [line for line in lines() if line[11:19] in DAYS[:2]]
    days = [day for one in preview.overlaps for day in one["days"]]
    assert sum(day["n_old"] for day in days) == len(again)
    assert sum(day["n_new"] for day in days) == len(again) - 3
    assert sum(day["n_same"] for day in days) == len(again) - 3
    assert sum(day["n_only_old"] for day in days) == 3
    assert sum(day["n_only_new"] for day in days) == 0
    assert {day["date"] for day in days} == {"2031-05-12", "2031-05-13"}


def test_a_weight_that_changed_is_seen(tmp_path):
    records_import(WGT, by=None)
    changed = lines()
    line = changed[0]
    changed[0] = line[:21] + (b"05" if line[21:23] != b"05" else b"06") + line[23:]
    path = tmp_path / "changed.wgt"
    path.write_bytes(b"\n".join(changed) + b"\n")
    days = [d for one in records_preview(path).overlaps for d in one["days"]]
    assert sum(d["n_only_old"] for d in days) == 1
    assert sum(d["n_only_new"] for d in days) == 1


def test_kept_days_stay_and_the_others_are_added(store, tmp_path):
    records_import(WGT, by=None)
    held = list(LaneDay.objects.order_by("pk").values_list("pk", "n_vehicles"))
    new = records_import(
        second(tmp_path), options=ImportOptions(held_days="keep"), by=None
    )
    assert list(LaneDay.objects.filter(pk__in=[pk for pk, _ in held]).order_by("pk")
                .values_list("pk", "n_vehicles")) == held  # fmt: skip
    assert sum(part.n_records for part in new.parts.all()) == 4
    assert "left as they were" in " ".join(new.notes)
    assert not RecordReplacement.objects.exists()


def test_replaced_days_hold_the_new_records_and_the_rest_the_old(
    store, tmp_path, analyst
):
    records_import(WGT, by=analyst)
    new = records_import(second(tmp_path), options=REPLACE, by=analyst)
    n_again = len([line for line in lines() if line[11:19] in DAYS[:2]])
    n_rest = len(lines()) - n_again
    rests = RecordPart.objects.current().exclude(record_file=new)
    assert sum(part.n_records for part in rests) == n_rest
    current = RecordPart.objects.current()
    n_stored = sum(
        pq.ParquetFile(store / part.path).metadata.num_rows for part in current
    )
    n_days = sum(LaneDay.objects.values_list("n_vehicles", flat=True))
    assert n_stored == n_days == n_rest + n_again - 3 + 4
    assert {one.reason for one in RecordReplacement.objects.all()} == {
        "sent again, complete"
    }
    for part in RecordPart.objects.all():
        assert (store / part.path).is_file()


def test_undoing_brings_back_everything_to_the_last_bit(store, tmp_path, analyst):
    records_import(WGT, by=analyst)
    lane = Lane.objects.order_by("pk").first()
    days_decide(
        lane=lane, from_on=FIRST, to_on=SECOND,
        decision=DayDecision.ACCEPTED, reason="plain", by=analyst,
    )  # fmt: skip
    only_june = tmp_path / "june.wgt"
    june = [line[:11] + b"20310601" + line[19:] for line in lines()[:4]]
    only_june.write_bytes(b"\n".join(june) + b"\n")
    records_import(only_june, by=analyst)
    before = everything(store)
    again = second(tmp_path, drop=5)
    records_import(again, options=REPLACE, by=analyst)
    assert everything(store) != before
    question = ReviewQuestion.objects.get()
    assert (question.lane, str(question.from_on)) == (lane, "2031-05-12")
    kept = LaneDay.objects.filter(lane=lane, review__isnull=False)
    assert kept.count() == 2
    for one in RecordReplacement.objects.all():
        replacement_undo(replacement=one, by=analyst, why="it was a test delivery")
    assert everything(store) == before
    question.refresh_from_db()
    assert question.kept_as_is_at is not None


def test_one_lane_is_replaced_and_another_kept(tmp_path, analyst):
    records_import(WGT, by=analyst)
    one, two = Lane.objects.order_by("pk")
    options = ImportOptions(
        held_days="keep",
        held_lanes={str(one.pk): "replace"},
        held_reason="lane one was cut short",
    )
    records_import(second(tmp_path), options=options, by=analyst)
    assert [r.lane for r in RecordReplacement.objects.all()] == [one]
    assert not RecordPart.objects.filter(lane=two, replaced_by__isnull=False).exists()


def test_a_later_replacement_is_undone_first(tmp_path, analyst, store):
    records_import(WGT, by=analyst)
    before = everything(store)
    keep_june = second(tmp_path).read_bytes().splitlines()[:-4]
    for name, drop in (("b.wgt", 1), ("c.wgt", 2)):
        path = tmp_path / name
        path.write_bytes(b"\n".join(keep_june[drop:]) + b"\n")
        records_import(path, options=REPLACE, by=analyst)
    lane = Lane.objects.order_by("pk").first()
    last, first = RecordReplacement.objects.filter(lane=lane).order_by("-pk")
    with pytest.raises(DomainError, match="Undo that one first"):
        replacement_undo(replacement=first, by=analyst, why="no")
    for one in RecordReplacement.objects.order_by("-pk"):
        replacement_undo(replacement=one, by=analyst, why="back")
    assert everything(store) == before
    with pytest.raises(DomainError, match="undone already"):
        replacement_undo(replacement=last, by=analyst, why="again")


def test_without_a_reason_nothing_is_replaced(tmp_path, store):
    records_import(WGT, by=None)
    before = everything(store)
    with pytest.raises(DomainError, match="reason"):
        records_import(
            second(tmp_path), options=ImportOptions(held_days="replace"), by=None
        )
    assert everything(store) == before
    assert RecordFile.objects.count() == 1
