"""Work: urgency and its rule, duplicates, trips."""

import datetime as dt
import math

import pytest

from installs.calc.upkeep.trips import Place, trips
from installs.calc.upkeep.types import Urgency, WorkSource, WorkState
from installs.calc.upkeep.work_list import (
    USUAL_HOURS,
    WorkFacts,
    ranked,
    urgency_of,
)
from wimprog.lib.errors import DomainError

TODAY = dt.date(2031, 5, 10)


def work(key="1", source=WorkSource.REPORT, site="OV-001", days=0, **more):
    since = TODAY - dt.timedelta(days=days)
    return WorkFacts(key, source, site, since, more.pop("reason", f"r{key}"), **more)


@pytest.mark.parametrize(
    ("item", "urgency", "why"),
    [
        (work(is_hazard=True), Urgency.AT_ONCE, "hurt"),
        (work(lane_is_down=True, days=1), Urgency.THIS_WEEK, "for 1 day"),
        (work(lane_is_down=True, days=15), Urgency.AT_ONCE, "more than 14"),
        (
            work(source=WorkSource.FAILED_COMMUNICATION, days=14),
            Urgency.THIS_WEEK,
            "no contact",
        ),
        (work(source=WorkSource.DRIFT), Urgency.THIS_MONTH, "in doubt"),
        (work(spoils_data=True, days=31), Urgency.THIS_WEEK, "more than 30"),
        (
            work(source=WorkSource.CALIBRATION_DUE, days=31),
            Urgency.THIS_MONTH,
            "overdue by 31",
        ),
        (work(source=WorkSource.CALIBRATION_DUE), Urgency.NEXT_TRIP, "nothing"),
        (work(days=-400, lane_is_down=True), Urgency.THIS_WEEK, "for 0 days"),
    ],
)
def test_urgency_says_its_rule(item, urgency, why):
    found, rule = urgency_of(item, TODAY)
    assert found is urgency
    assert why in rule


def test_most_urgent_first_then_longest_waiting():
    found = ranked(
        [
            work("a", cause="a"),
            work("b", cause="b", days=5, lane_is_down=True),
            work("c", cause="c", days=9, lane_is_down=True),
        ],
        TODAY,
    )
    assert [one.facts.key for one in found] == ["c", "b", "a"]


def test_one_cause_at_one_object_is_one_piece_of_work():
    found = ranked(
        [
            work("new", WorkSource.REPORT, cause="lead", sensor="s1", evidence=("p",)),
            work(
                "old",
                WorkSource.ELECTRICAL_LIMIT,
                cause="lead",
                sensor="s1",
                days=40,
                evidence=("t", "p"),
            ),
            work("other", cause="lead", sensor="s2"),
        ],
        TODAY,
    )
    assert [one.merged_keys for one in found] == [("old", "new"), ("other",)]
    first = found[0]
    assert first.urgency is Urgency.THIS_WEEK
    assert first.facts.reason == "rold rnew"
    assert first.facts.evidence == ("t", "p")
    assert first.sources == (WorkSource.ELECTRICAL_LIMIT, WorkSource.REPORT)
    assert first.hours == USUAL_HOURS[WorkSource.ELECTRICAL_LIMIT]


def test_merging_takes_the_worst_together():
    """Found long ago and down: together the lane has been down since it was found."""
    (found,) = ranked(
        [
            work("a", cause="x", days=20),
            work("b", WorkSource.VISIT, cause="x", lane_is_down=True),
        ],
        TODAY,
    )
    assert found.urgency is Urgency.AT_ONCE


PLACES = {
    "OV-001": Place("OV-001", 45.0, -110.0),
    "OV-002": Place("OV-002", 45.1, -110.0),  # 11 km north
    "OV-003": Place("OV-003", 45.25, -110.0),  # 28 km
    "OV-004": Place("OV-004", 46.0, -110.0),  # 111 km
}


def at_sites(**hours):
    """Work at each site; the first is the most urgent."""
    return ranked(
        [
            work(site, site=site.replace("_", "-"), hours=h, lane_is_down=i == 0)
            for i, (site, h) in enumerate(hours.items())
        ],
        TODAY,
    )


def test_near_sites_share_a_trip():
    first, second = trips(
        at_sites(OV_003=1.0, OV_001=1.0, OV_002=1.0, OV_004=1.0), PLACES
    )
    assert first.sites == ("OV-003", "OV-002", "OV-001")
    assert first.urgency is Urgency.THIS_WEEK
    assert first.distance_km == pytest.approx(27.8, abs=0.1)
    assert first.hours == pytest.approx(3.0 + 27.8 / 60, abs=0.01)
    assert "OV-002, OV-001 join: within 40 km" in first.sentence
    assert second.sites == ("OV-004",)


def test_a_trip_ends_with_its_hours():
    found = trips(at_sites(OV_001=5.0, OV_002=4.0, OV_003=2.0), PLACES)
    assert [one.sites for one in found] == [("OV-001", "OV-003"), ("OV-002",)]
    (alone,) = trips(at_sites(OV_001=20.0), PLACES)
    assert alone.hours == 20.0


def test_a_site_without_a_place_goes_alone():
    found = trips(at_sites(OV_009=1.0, OV_001=1.0), PLACES)
    assert [one.sites for one in found] == [("OV-009",), ("OV-001",)]


def test_each_item_is_on_one_trip():
    items = at_sites(OV_001=3.0, OV_002=3.0, OV_003=3.0, OV_004=3.0)
    found = trips(items, PLACES)
    keys = [one.facts.key for trip in found for one in trip.items]
    assert sorted(keys) == sorted(one.facts.key for one in items)


def test_what_cannot_be_is_refused():
    with pytest.raises(DomainError, match="reach"):
        trips([], PLACES, hours_per_trip=0.0)
    with pytest.raises(DomainError, match="no latitude"):
        Place("OV-001", 95.0, 0.0)
    with pytest.raises(DomainError, match="hours cannot be"):
        work(hours=math.nan)


def test_work_that_is_verified_stays_so():
    assert WorkState.VERIFIED.may_become == ()
    for state in WorkState:
        assert state not in state.may_become
    assert WorkState.FOUND in WorkState.DONE.may_become
    assert [s for s in WorkState if s.is_open] == [
        WorkState.FOUND,
        WorkState.ASSIGNED,
        WorkState.PLANNED,
    ]
