"""Latest results, due dates and verdicts side by side."""

from __future__ import annotations

import datetime as dt

import pytest

from calibration.selectors import (
    lane_dues,
    last_word,
    latest_results,
    session_errors,
    session_list,
    session_verdicts,
)
from calibration.services import runs_add
from tests.calibration.factories import (
    CalibrationSessionFactory,
    StaticWeighingFactory,
    unsaved_runs,
)
from tests.calibration.test_services import ERRORS_PCT
from tests.factories import LaneFactory

pytestmark = pytest.mark.django_db


def held(lane, on, *stages, by=None):
    session = CalibrationSessionFactory(lane=lane, held_on=on)
    weighing = StaticWeighingFactory()
    for place, stage in enumerate(stages):
        runs_add(
            session=session,
            runs=unsaved_runs(weighing, ERRORS_PCT, start=1 + 20 * place, stage=stage),
            by=by,
            why="typed",
        )
    return session


def test_the_latest_session_with_runs_speaks(program, django_assert_num_queries):
    one, two = LaneFactory(), LaneFactory()
    held(one, dt.date(2022, 5, 1), "as found")
    last = held(one, dt.date(2023, 5, 1), "as found", "as left")
    held(one, dt.date(2024, 5, 1))  # opened, no runs yet
    with django_assert_num_queries(1):
        found = latest_results([one.pk, two.pk])
        assert [r.session.pk for r in found[one.pk]] == [last.pk, last.pk]
    assert last_word(found[one.pk]).stage == "as left"
    assert found[two.pk] == []
    assert last_word([]) is None


def test_a_lane_is_due_after_the_agencys_interval(program):
    """Six months after 31 May is 30 November; never calibrated is due now."""
    lane, never = LaneFactory(), LaneFactory()
    held(lane, dt.date(2023, 5, 31), "as found")
    today = dt.date(2024, 6, 1)
    program.calibration_interval_months = 6
    rows = lane_dues(program, today)
    assert rows[lane.pk].due_on == dt.date(2023, 11, 30)
    assert [(row.lane, row.word) for row in rows.values()] == [
        (lane, "act"),
        (never, "act"),
    ]
    assert rows[never.pk].due_on == today
    assert rows[lane.pk].days_left == -184


def test_verdicts_stand_side_by_side(program):
    session = held(LaneFactory(), dt.date(2024, 5, 14), "as found")
    verdicts = session_verdicts(session, "as found", ["cost-323", "astm-e1318"])
    assert [one.standard for one in verdicts] == ["cost-323", "astm-e1318"]
    assert [one.wanted_class for one in verdicts] == [None, "Type I"]
    assert session_errors(session, "as found").runs_used == tuple(
        str(number) for number in range(1, len(ERRORS_PCT) + 1)
    )


def test_sessions_carry_their_counts_and_last_word(program):
    session = held(LaneFactory(), dt.date(2024, 5, 14), "as found", "as left")
    found = session_list().get(pk=session.pk)
    assert (found.n_runs, found.n_set_aside) == (2 * len(ERRORS_PCT), 0)
    assert found.result_stage == "as left"
    empty = session_list().get(pk=CalibrationSessionFactory().pk)
    assert (empty.n_runs, empty.verdict_word) == (0, None)
