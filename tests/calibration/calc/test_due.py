"""When a lane is next due, and why."""

import datetime as dt

import pytest

from calibration.calc.bias_forecast import forecast_bias
from calibration.calc.bias_types import BiasSession, LaneSessions
from calibration.calc.bias_walk import fit_bias_walk
from calibration.calc.due import (
    DueReason,
    DueRules,
    DueState,
    LaneEvent,
    LaneFacts,
    due_list,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Condition

TODAY = dt.date(2032, 6, 1)


def ago(days):
    return TODAY - dt.timedelta(days=days)


def ahead(days):
    return TODAY + dt.timedelta(days=days)


def due(rules=None, **facts):
    (entry,) = due_list(
        [LaneFacts("1", "OV-001 lane 1", **facts)], today=TODAY, rules=rules
    )
    return entry


def bias_of(last_on, *, tolerance_pct, longest_days=365):
    lane = LaneSessions("1", (BiasSession(last_on, 3.0, 0.5, 0.0, 0.5),))
    walk = fit_bias_walk([lane], technology="quartz piezo")
    (found,) = forecast_bias(
        walk, TODAY, tolerance_pct=tolerance_pct, longest_days=longest_days
    )
    return found


def test_a_lane_without_a_session_is_due_now():
    entry = due()
    assert entry.due_on == entry.from_on == TODAY
    assert entry.reason is DueReason.NEVER_CALIBRATED
    assert entry.state is DueState.DUE_NOW
    assert entry.state.condition is Condition.ACT
    assert entry.chance_out is None


def test_a_new_lane_settles_for_72_hours_first():
    """Installed yesterday at an unknown hour: 72 hours are over on the fourth day."""
    entry = due(installed_on=ago(1))
    assert entry.from_on == ahead(3)
    assert entry.due_on == ago(1) + dt.timedelta(weeks=6)
    assert entry.state is DueState.SETTLING
    assert "72 hours" in entry.sentence
    assert due(installed_on=ago(4)).state is DueState.DUE_SOON
    late = due(installed_on=ago(43))
    assert late.state is DueState.OVERDUE
    assert late.reason is DueReason.AFTER_INSTALLATION


def test_the_longest_interval_is_never_exceeded():
    entry = due(last_session_on=ago(100))
    assert entry.due_on == ahead(265)
    assert entry.reason is DueReason.LONGEST_INTERVAL
    assert entry.state is DueState.LATER
    wide = bias_of(ago(100), tolerance_pct=20.0)
    assert wide.passes_on is None
    assert due(last_session_on=ago(100), bias=wide).due_on == ahead(265)
    # a forecast made with a longer interval cannot put the day off either
    loose = bias_of(ago(100), tolerance_pct=4.5, longest_days=4000)
    assert loose.passes_on > ahead(265)
    assert due(last_session_on=ago(100), bias=loose).due_on == ahead(265)
    assert due(last_session_on=ago(366)).state is DueState.OVERDUE
    assert due(last_session_on=ago(365)).state is DueState.DUE_NOW


def test_the_bias_brings_the_day_forward():
    bias = bias_of(ago(30), tolerance_pct=2.0)
    entry = due(last_session_on=ago(30), bias=bias)
    assert entry.due_on == bias.passes_on < ahead(335)
    assert entry.reason is DueReason.BIAS
    assert "±2 % reaches 20 %" in entry.sentence
    assert bias.sentence in entry.sentence
    assert entry.chance_out == bias.today.chance_out


def test_works_since_the_last_session_count_and_earlier_ones_do_not():
    early = LaneEvent(ago(60), "pavement milled")
    late = LaneEvent(ago(10), "sensor replaced")
    assert due(last_session_on=ago(30), events=(early,)).reason is (
        DueReason.LONGEST_INTERVAL
    )
    entry = due(
        last_session_on=ago(30),
        events=(late, early),
        bias=bias_of(ago(30), tolerance_pct=2.0),
    )
    assert entry.reason is DueReason.AFTER_WORKS
    assert entry.due_on == ago(10) + dt.timedelta(weeks=6)
    assert "sensor replaced" in entry.sentence


def test_works_again_and_again_do_not_put_the_day_off():
    """First works' six weeks are nearly over; the latest need four days to settle."""
    first, again = LaneEvent(ago(41), "sensor replaced"), LaneEvent(ago(1), "rewired")
    entry = due(last_session_on=ago(50), events=(first, again))
    assert entry.from_on == entry.due_on == ahead(3)
    held = due(last_session_on=ago(364), events=(again,))
    assert held.due_on == ahead(1)
    assert held.reason is DueReason.LONGEST_INTERVAL
    assert "rewired" in held.sentence
    coming = due(last_session_on=ago(30), events=(LaneEvent(ahead(5), "planned"),))
    assert coming.reason is DueReason.LONGEST_INTERVAL


def test_the_most_urgent_comes_first():
    lanes = [
        LaneFacts("a", "later", last_session_on=ago(10)),
        LaneFacts("b", "overdue", last_session_on=ago(400)),
        LaneFacts("c", "never"),
        LaneFacts("d", "Never too"),
        LaneFacts("e", "soon", last_session_on=ago(340)),
    ]
    found = due_list(lanes, today=TODAY)
    assert [one.name for one in found] == [
        "overdue",
        "Never too",
        "never",
        "soon",
        "later",
    ]
    assert [one.state for one in found] == [
        DueState.OVERDUE,
        DueState.DUE_NOW,
        DueState.DUE_NOW,
        DueState.DUE_SOON,
        DueState.LATER,
    ]


def test_rules_that_cannot_be():
    for rules, message in [
        ({"settling_hours": 24}, "at least 72 hours"),
        ({"longest_days": 0}, "at least one day"),
        ({"weeks_after_works": 0}, "leave no day"),
        ({"soon_days": -1}, "zero days"),
    ]:
        with pytest.raises(DomainError, match=message):
            DueRules(**rules)
    with pytest.raises(DomainError, match="after the day of the list"):
        due(last_session_on=ahead(1))
