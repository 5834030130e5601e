"""The guide's own examples go in and come out as the same lines.

Source: FHWA Traffic Monitoring Guide 2016, chapter 7, examples of the W record as
re-keyed in a public format library (the third, with transposed digits, is left out: it
is refused on the way in).
"""

from __future__ import annotations

import pytest

from quality.models import LaneDay
from quality.selectors.using import Asked, lane_carried
from quality.services import days_decide, records_import
from quality.services.exporting import RecordForm, records_out
from sites.models import Lane

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]
LINES = (
    b"W1701811531201211071609   0578860511210015112300004513730021409815004810831\n"
    b"W1701811531201211071604   0183510208522025209829\n"
)


@pytest.fixture
def asked(settings, tmp_path, analyst):
    settings.RECORD_STORE = tmp_path / "records"
    path = tmp_path / "guide.wgt"
    path.write_bytes(LINES)
    records_import(path, by=analyst)
    day = LaneDay.objects.get()
    lane = Lane.objects.select_related("wim_site").get(pk=day.lane_id)
    days_decide(
        lane=lane, from_on=day.date, to_on=day.date, decision="accepted",
        reason="the guide's own", by=analyst,
    )  # fmt: skip
    return Asked((lane,), day.date, day.date)


def test_the_guides_lines_come_out_as_they_went_in(asked):
    assert b"".join(records_out(asked, RecordForm.W2016)) == LINES


def test_pipes_stand_between_the_same_fields(asked):
    lines = b"".join(records_out(asked, RecordForm.W2016_PIPE)).splitlines()
    assert lines[1] == (b"W|17|018115|3|1|2012|11|07|16|04||018351|02|08522|0252|09829")


def test_the_guides_vehicles_are_counted_in_their_bins(asked):
    """Single axles of 11,210, 8,522 and 9,829 lb; tandems of 26,030 and 20,646 lb.

    Bins of 1,000 lb from 3,000 lb and of 2,000 lb from 6,000 lb: FHWA-HRT-13-090,
    table 56.
    """
    answer = lane_carried(asked)
    assert answer.year is not None
    frame = answer.year.carried.spectra.frame()
    found = {
        (row.axle_kind, row.from_lb, row.to_lb): row.n for row in frame.itertuples()
    }
    assert found == {
        ("single", 11_000, 12_000): 1,
        ("single", 8_000, 9_000): 1,
        ("single", 9_000, 10_000): 1,
        ("tandem", 26_000, 28_000): 1,
        ("tandem", 20_000, 22_000): 1,
    }
