"""Times down: overlaps, open ends, windows, skewed clocks."""

import datetime as dt

import pytest

from installs.calc.upkeep.downtime import (
    Spell,
    availability,
    lane_spells,
    merged,
    sensor_spells,
)
from installs.calc.upkeep.types import DowntimeCause
from wimprog.lib.errors import DomainError

NOW = dt.datetime(2031, 5, 10, tzinfo=dt.UTC)


def at(day, hour=0):
    return dt.datetime(2031, 5, day, hour, tzinfo=dt.UTC)


def spell(begin, end, cause=DowntimeCause.SENSOR_FAILURE, **more):
    return Spell("1", begin, end, cause, **more)


def test_overlapping_spells_are_one():
    found = merged(
        [
            spell(at(3), at(5), evidence="visit"),
            spell(at(1), at(4), DowntimeCause.NO_RECORDS, evidence="records"),
            spell(at(5), at(6), evidence="visit"),
            spell(at(7), at(8)),
        ],
        NOW,
    )
    assert [(one.begin, one.end) for one in found] == [
        (at(1), at(6)),
        (at(7), at(8)),
    ]
    assert found[0].causes == (
        DowntimeCause.NO_RECORDS,
        DowntimeCause.SENSOR_FAILURE,
    )
    assert found[0].evidence == ("records", "visit")
    assert found[0].hours == 120.0


def test_a_spell_inside_another_does_not_shorten_it():
    (found,) = merged([spell(at(1), at(6)), spell(at(2), at(3))], NOW)
    assert found.end == at(6)


def test_near_spells_are_joined_when_asked():
    gaps = [spell(at(1), at(2)), spell(at(2, 3), at(3))]
    assert len(merged(gaps, NOW)) == 2
    assert len(merged(gaps, NOW, join_within_hours=3.0)) == 1


def test_open_spells_last_until_now_and_future_ones_are_left_out():
    found = merged([spell(at(8), None), spell(at(12), None)], NOW)
    assert [(one.begin, one.end, one.is_open) for one in found] == [(at(8), NOW, True)]
    (ahead,) = merged([spell(at(8), at(14))], NOW)
    assert (ahead.end, ahead.is_open) == (NOW, True)


def test_time_zones_are_compared_as_instants():
    west = dt.timezone(dt.timedelta(hours=-7))
    local = dt.datetime(2031, 5, 1, 17, tzinfo=west)  # 2031-05-02 00:00 UTC
    (found,) = merged([spell(at(1), at(2)), spell(local, at(3))], NOW)
    assert found.hours == 48.0


def test_lane_and_sensor_take_what_concerns_them():
    spells = [
        spell(at(1), at(2), sensor="a"),
        spell(at(3), at(4), sensor="b"),
        spell(at(5), at(6), DowntimeCause.POWER),
        Spell("2", at(1), at(9), DowntimeCause.POWER),
    ]
    assert lane_spells(spells, "1") == spells[:3]
    assert sensor_spells(spells, "1", "a") == [spells[0], spells[2]]


def test_availability_by_hand():
    """A window of nine days: down one and a half of it, one time mended."""
    found = availability(
        [
            spell(dt.datetime(2031, 4, 29, tzinfo=dt.UTC), at(2)),
            spell(at(9, 12), None, DowntimeCause.POWER),
        ],
        begin=at(1),
        end=at(10),
    )
    assert found.window_hours == 216.0
    assert found.down_hours == 36.0
    assert found.share == pytest.approx(180 / 216)
    assert (found.n_times_down, found.n_mended) == (2, 1)
    assert found.mean_hours_to_repair == 72.0  # from its beginning on 29 April
    assert found.mean_hours_between == 90.0
    assert dict(found.down_hours_by_cause) == {
        DowntimeCause.SENSOR_FAILURE: 24.0,
        DowntimeCause.POWER: 12.0,
    }


def test_hours_by_cause_add_up_to_the_hours_down():
    spells = [
        spell(at(1), at(5)),
        spell(at(2), at(3), DowntimeCause.POWER),
        spell(at(4), at(7), DowntimeCause.NO_RECORDS),
    ]
    found = availability(spells, begin=at(1), end=at(10))
    assert sum(h for _, h in found.down_hours_by_cause) == found.down_hours == 144.0


def test_never_down_is_no_mean_time():
    found = availability([], begin=at(1), end=at(10))
    assert found.share == 1.0
    assert found.mean_hours_between is found.mean_hours_to_repair is None
    assert availability([], begin=at(1), end=at(1)).share is None


def test_instants_that_cannot_be_are_refused():
    with pytest.raises(DomainError, match="time zone"):
        spell(dt.datetime(2031, 5, 1), None)  # noqa: DTZ001
    with pytest.raises(DomainError, match="before it went down"):
        spell(at(3), at(2))
    with pytest.raises(DomainError, match="time zone"):
        merged([], dt.datetime(2031, 5, 1))  # noqa: DTZ001
    with pytest.raises(DomainError, match="before it ends"):
        availability([], begin=at(3), end=at(2))
