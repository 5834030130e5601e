"""A record whole: its size changes no number of queries."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from installs import selectors
from installs.calc.types.records import StageState
from installs.models import CuringRow, CuringTable, ProductBatch
from tests import factories
from tests.installs import record_factories as make

MOST_QUERIES = 12


def _show(page):
    """Touch all that the pages of a record show."""
    for stage in page.stages:
        for signoff in stage.signoffs:
            assert signoff.signed_by.username
        for one in stage.items:
            assert one.finding.sentence
            assert one.item.stage == stage.stage
            for entry in one.history:
                assert entry.entered_by.username
                assert str(entry.instrument or "")[:4] in ("", "insu")
                assert entry.answer_words
            for photo in one.photos:
                assert photo.thumbnail
    assert str(page.record.lane.wim_site)
    assert str(page.record.template)


def test_a_large_record_opens_in_a_bounded_number_of_queries(
    program, held_clock, technician, django_assert_max_num_queries
):
    large = make.large_record(technician)
    make.sign(large, "stage-1", technician)
    with django_assert_max_num_queries(MOST_QUERIES):
        page = selectors.record_page(large)
        _show(page)
    assert len(page.stages) == 12
    assert page.n_items == sum(len(stage.items) for stage in page.stages) == 150
    assert (len(page.photos), page.n_answered) == (60, 150)
    assert page.stages[0].state is StageState.SIGNED
    assert page.next_stage.stage.key == "stage-2"


def test_the_size_of_a_record_changes_no_number_of_queries(
    program, held_clock, technician
):
    small = make.large_record(
        technician, n_stages=1, n_items=5, n_photos=1, technology="quartz piezo"
    )
    large = make.large_record(technician, n_stages=4, n_items=60, n_photos=20)
    counts = []
    for record in (small, large):
        with CaptureQueriesContext(connection) as seen:
            _show(selectors.record_page(record))
        counts.append(len(seen))
    assert counts[0] == counts[1]


def _curing_table(**parts):
    table = CuringTable.objects.create(
        product="Resin R", document="sheet 9 (invented)", hardener_unit="g", **parts
    )
    for temp_c, cure_min in ((5.0, 90.0), (20.0, 40.0), (35.0, 20.0)):
        CuringRow.objects.create(
            table=table,
            temp_c=temp_c,
            hardener_amount=80.0,
            pot_life_min=12.0,
            cure_min=cure_min,
        )
    return table


POUR = [
    {"key": "resin-batch", "kind": "product batch", "prompt": "Resin"},
    {
        "key": "pavement-temperature-at-pour",
        "kind": "measurement",
        "prompt": "Pavement temperature",
        "measure": "temperature",
        "low": 0.5,
        "limit_rule": "curing table of the product",
    },
    {
        "key": "cure-time",
        "kind": "measurement",
        "prompt": "Cure",
        "unit": "min",
        "low": 30.0,
        "limit_rule": "curing table of the product",
    },
]


def test_the_cure_is_held_to_the_table_of_the_batch_that_was_poured(
    program, held_clock, technician, django_assert_max_num_queries
):
    make.make_template([("pouring", ["inspector"], POUR)])
    record = make.make_record(technician)
    batch = ProductBatch.objects.create(
        product="Resin R",
        lot="77",
        expires_on=dt.date(2025, 1, 1),
        curing_table=_curing_table(),
    )
    early = make.answer(record, "cure-time", technician, "45", unit="min")
    assert early.finding.state == "meets"  # the template's 30 min, so far
    make.answer(record, "resin-batch", technician, batch=batch)
    make.answer(
        record, "pavement-temperature-at-pour", technician, "50", unit="°F"
    )  # 50 °F is 10 °C: between the lines of 5 and 20 °C the longer cure counts
    with django_assert_max_num_queries(MOST_QUERIES):
        stage = selectors.stage_view(record, "pouring")
    cure = stage.items[2]
    assert cure.limit_words == "at least 90 min"
    assert cure.finding.state == "misses"
    assert "sheet 9 (invented)" in cure.limit_source_words
    later = make.answer(
        record,
        "cure-time",
        technician,
        "95",
        unit="min",
        seen=early.entry.pk,
        reason="waited on",
    )
    assert later.finding.state == "meets"


def test_a_record_goes_by_the_temperature_and_the_line_of_its_makers_table(
    program, held_clock, technician
):
    """The air of 50 °F is 10 °C: 90 − (10 − 5)/15 × (90 − 40) is 73.3 min."""
    pavement = POUR[1]
    air = {**pavement, "key": "air-temperature-at-pour", "limit_rule": "as written"}
    make.make_template([("pouring", ["inspector"], [*POUR, air])])
    record = make.make_record(technician)
    batch = ProductBatch.objects.create(
        product="Resin R",
        lot="78",
        expires_on=dt.date(2025, 1, 1),
        curing_table=_curing_table(goes_by="air", between_rows="straight lines"),
    )
    make.answer(record, "resin-batch", technician, batch=batch)
    make.answer(record, "pavement-temperature-at-pour", technician, "95", unit="°F")
    cure = selectors.stage_view(record, "pouring").items[2]
    assert "the air's temperature at the pour is not known" in cure.limit_source_words
    make.answer(record, "air-temperature-at-pour", technician, "50", unit="°F")
    cure = selectors.stage_view(record, "pouring").items[2]
    assert cure.limit_words == "at least 73.33 min"
    assert "for the air's temperature, on a straight line" in cure.limit_source_words


def test_limits_are_shown_in_the_unit_of_the_boxes(program, held_clock, technician):
    make.make_template()
    record = make.make_record(technician)
    depth = selectors.stage_view(record, "saw-cutting").items[0]
    assert depth.unit_symbol == "in"
    # 50.8 mm, 57.15 mm and 3.175 mm by 25.4 mm to the inch
    shown = (depth.low_shown, depth.high_shown, depth.range_shown)
    assert shown == pytest.approx((2.0, 2.25, 0.125))
    assert depth.n_boxes == 4
    program.unit_system = "si"
    program.save()
    depth = selectors.stage_view(record, "saw-cutting").items[0]
    assert (depth.unit_symbol, depth.low_shown) == ("mm", 50.8)


def test_what_was_typed_stays_typed_when_the_program_changes_its_units(
    program, held_clock, technician
):
    make.make_template()
    record = make.make_record(technician)
    make.answer(record, "slot-width", technician, "0.90")
    program.unit_system = "si"
    program.save()
    width = selectors.stage_view(record, "saw-cutting").items[1]
    assert width.answer_words == "0.90 in (22.86 mm)"
    assert width.entry.typed == [["0.90", "in"]]


def test_a_stage_that_the_template_has_not_is_no_stage(program, held_clock, technician):
    make.make_template()
    record = make.make_record(technician, lane=factories.LaneFactory.create())
    with pytest.raises(KeyError):
        selectors.stage_view(record, "grinding")
