"""Preventive work: intervals, seasons, conditions, skewed clocks."""

import datetime as dt

import pytest

from installs.calc.types import Technology
from installs.calc.upkeep.schedule import (
    ScheduleRule,
    next_due,
    season_text,
    seasonal,
)
from installs.calc.upkeep.types import CabinetPart, ScheduleState, ScheduleTrigger
from wimprog.lib.errors import DomainError

BATTERY = ScheduleRule(
    "Load test of the battery",
    ScheduleTrigger.CALENDAR,
    part=CabinetPart.BATTERY,
    interval_months=6,
)
SUMMER = (5, 6, 7, 8, 9)
SEALS = ScheduleRule(
    "Sealing of the slot",
    ScheduleTrigger.CALENDAR,
    technology=Technology.POLYMER_PIEZO,
    interval_months=12,
    season_months=SUMMER,
)
LOW = ScheduleRule(
    "Change of the battery",
    ScheduleTrigger.CONDITION,
    part=CabinetPart.BATTERY,
    condition="the battery reads below 11.8 V at rest",
)


def day(text):
    return dt.date.fromisoformat(text)


def due(rule, last, today, since="2029-01-01", met=None):
    return next_due(
        rule,
        last_done=day(last) if last else None,
        in_service_since=day(since),
        today=day(today),
        condition_met_since=day(met) if met else None,
    )


@pytest.mark.parametrize(
    ("today", "state", "over"),
    [
        ("2031-01-01", ScheduleState.LATER, 0),
        ("2031-02-01", ScheduleState.DUE_SOON, 0),
        ("2031-02-28", ScheduleState.DUE_SOON, 0),
        ("2031-03-01", ScheduleState.OVERDUE, 1),
    ],
)
def test_half_a_year_after_the_end_of_august(today, state, over):
    found = due(BATTERY, "2030-08-31", today)
    assert (found.state, found.due) == (state, day("2031-02-28"))
    assert found.days_overdue(day(today)) == over
    assert "every 6 months" in found.sentence


def test_never_done_counts_from_the_start_of_service():
    found = due(BATTERY, None, "2029-03-01")
    assert (found.state, found.due) == (ScheduleState.NEVER_DONE, day("2029-07-01"))
    assert due(BATTERY, None, "2029-08-01").state is ScheduleState.OVERDUE


def test_a_day_outside_the_season_moves_before_it():
    found = due(SEALS, "2029-11-20", "2030-06-01")
    assert (found.due, found.moved_from) == (day("2030-09-30"), day("2030-11-20"))
    assert "May to September" in found.sentence


def test_a_season_too_soon_after_the_last_time_moves_on():
    start = day("2030-09-20")
    assert seasonal(day("2031-02-10"), SUMMER, start=start) == day("2031-05-01")
    inside = day("2031-06-10")
    assert seasonal(inside, (5, 6), start=start) == inside


def test_a_season_over_the_turn_of_the_year():
    winter = (11, 12, 1, 2)
    inside = day("2031-12-05")
    assert seasonal(inside, winter, start=day("2030-12-05")) == inside
    moved = seasonal(day("2031-07-05"), winter, start=day("2030-07-05"))
    assert moved == day("2031-02-28")
    assert season_text(winter) == "November to February"


@pytest.mark.parametrize(
    ("months", "text"),
    [
        ((), "all year"),
        (range(1, 13), "all year"),
        ((6,), "June"),
        ((1, 4, 5), "January, April to May"),
    ],
)
def test_seasons_in_words(months, text):
    assert season_text(months) == text


def test_a_condition_is_due_when_it_is_met():
    assert due(LOW, None, "2031-05-01").state is ScheduleState.NOT_DUE
    met = due(LOW, "2030-01-01", "2031-05-01", met="2031-04-20")
    assert (met.state, met.due) == (ScheduleState.OVERDUE, day("2031-04-20"))
    assert "below 11.8 V" in met.sentence
    mended = due(LOW, "2031-04-21", "2031-05-01", met="2031-04-20")
    assert mended.state is ScheduleState.NOT_DUE


def test_a_condition_waits_for_its_season():
    rule = ScheduleRule(
        "Grinding",
        ScheduleTrigger.CONDITION,
        technology=Technology.QUARTZ_PIEZO,
        condition="the sensor stands proud",
        season_months=(5, 6),
    )
    found = due(rule, None, "2031-01-10", met="2031-01-05")
    assert (found.state, found.due) == (ScheduleState.DUE_SOON, day("2031-05-01"))
    assert found.moved_from == day("2031-01-05")


def test_a_clock_ahead_puts_nothing_off():
    """Done "next year" by a wrong phone counts as done today, and is told."""
    found = due(BATTERY, "2032-01-01", "2031-01-10")
    assert found.due == day("2031-07-10")
    assert "check that clock" in found.sentence
    met = due(LOW, None, "2031-05-01", met="2033-01-01")
    assert met.due == day("2031-05-01")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "not both"),
        ({"part": CabinetPart.BATTERY, "technology": Technology.LOAD_CELL}, "not both"),
        ({"part": CabinetPart.BATTERY}, "interval"),
        (
            {"part": CabinetPart.BATTERY, "interval_months": 6, "season_months": (0,)},
            "1 to 12",
        ),
    ],
)
def test_rules_that_cannot_be_followed_are_refused(more, said):
    with pytest.raises(DomainError, match=said):
        ScheduleRule("A rule", ScheduleTrigger.CALENDAR, **more)


def test_a_condition_needs_words():
    with pytest.raises(DomainError, match="in words"):
        ScheduleRule("A rule", ScheduleTrigger.CONDITION, part=CabinetPart.BATTERY)
