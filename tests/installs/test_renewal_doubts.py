"""Lives that cannot be, or that make a forecast doubtful, are refused or told."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from installs.calc.types import EndReason, FailureMode, LifeOutcome
from installs.selectors.life_curves import doubts
from installs.selectors.lives import LifeRow, life_rows
from installs.selectors.policies import WhatIf, spots_of
from installs.selectors.renewal import facts_version, renewal_forecast
from installs.services import installation_end, sensor_install
from tests import factories
from wimprog.lib.errors import DomainError

TODAY = dt.date(2024, 6, 1)


def life(pk, begin, end=None, *, reason="failed", position="piezo 1", lane=1):
    return LifeRow(
        pk=pk,
        lane_id=lane,
        position=position,
        technology="polymer piezo",
        installed_on=begin,
        ended_on=end,
        end_reason=reason if end else "",
        failure_mode="splice" if end else "",
        age_years=((end or TODAY) - begin).days / 365.25,
        watched_years=(TODAY - begin).days / 365.25,
    )


def test_failures_of_one_week_are_doubted():
    begun = dt.date(2018, 5, 1)
    week = [life(i, begun, dt.date(2022, 7, 4 + i), lane=i) for i in range(4)]
    (said,) = doubts([*week, life(9, begun, lane=9)])
    assert "4 of 4 failures of polymer piezo" in said
    assert "from 4 Jul 2022" in said
    spread = [life(i, begun, dt.date(2019 + i, 7, 4), lane=i) for i in range(4)]
    assert doubts(spread) == []


def test_lives_that_overlap_are_told():
    rows = [
        life(1, dt.date(2018, 5, 1), dt.date(2021, 5, 1)),
        life(2, dt.date(2020, 5, 1)),
    ]
    (said,) = doubts(rows, {2: "OV-001 lane N1 piezo 1"})
    assert "overlap at OV-001 lane N1 piezo 1: one begins on 1 May 2020" in said
    after = [rows[0], life(2, dt.date(2021, 5, 1))]
    assert doubts(after) == []


def test_only_the_last_failure_leaves_a_position_empty():
    rows = [
        life(1, dt.date(2016, 5, 1), dt.date(2018, 5, 1)),
        life(2, dt.date(2018, 6, 1), dt.date(2022, 5, 1)),
        life(3, dt.date(2018, 6, 1), lane=2),
        life(4, dt.date(2016, 6, 1), dt.date(2018, 5, 1), lane=2),
        life(5, dt.date(2016, 6, 1), dt.date(2018, 5, 1), reason="removed", lane=3),
    ]
    rows.sort(key=lambda row: (row.installed_on, row.pk))
    places = {row.pk: object() for row in rows}
    spots = spots_of(rows, places)  # type: ignore[arg-type]
    assert {(spot.row.pk, spot.is_down) for spot in spots} == {(2, True), (3, False)}


@pytest.mark.django_db
class TestRecords:
    """The same, where people write it down."""

    def test_a_removal_before_the_installation_is_refused(self, world, technician):
        with pytest.raises((ValidationError, DomainError)) as refused:
            installation_end(
                installation=world.live[0],
                ended_on=dt.date(2019, 1, 1),
                end_reason=EndReason.FAILED,
                failure_mode=FailureMode.SPLICE,
                by=technician,
                why="",
            )
        assert "before it was" in str(refused.value)

    def test_a_failure_of_a_retired_sensor_is_refused(self, world, technician):
        with pytest.raises(DomainError, match="already"):
            installation_end(
                installation=world.failed,
                ended_on=dt.date(2023, 1, 1),
                end_reason=EndReason.FAILED,
                failure_mode=FailureMode.SPLICE,
                by=technician,
                why="",
            )

    def test_a_second_life_in_one_position_is_refused(self, world, technician):
        with pytest.raises((ValidationError, DomainError)):
            sensor_install(
                sensor=factories.SensorFactory.create(),
                lane=world.lanes[0],
                position="piezo 1",
                installed_on=dt.date(2020, 1, 1),
                by=technician,
                why="",
            )

    def test_a_group_without_failures_says_that_it_rests_on_the_prior(
        self, client_for, guest, program, held_clock
    ):
        factories.InstallationFactory.create(installed_on=dt.date(2021, 5, 1))
        page = client_for(guest).get(reverse("installs:renewal-curves"))
        text = page.content.decode()
        assert "No sensor of this technology has failed" in text
        assert "rests on 0 failures of its own" in text
        (curve,) = page.context["found"].curves
        assert not any(one.outcome is LifeOutcome.FAILED for one in curve.lives)
        assert curve.fit.prior is not None

    def test_nothing_in_the_road_is_no_data_and_no_error(self, program, held_clock):
        found = renewal_forecast(program, TODAY)
        assert (found.fleet, found.programme, found.next_year) == (None, None, None)
        assert found.risks == ()

    def test_a_changed_fact_changes_the_version(self, world):
        before = facts_version(TODAY)
        assert facts_version(TODAY) == before
        world.live[0].note = "seen again"
        world.live[0].save()
        assert facts_version(TODAY) != before
        assert facts_version(TODAY + dt.timedelta(days=1)) != before

    def test_the_kept_forecast_is_not_older_than_the_lives(
        self, world, technician, program
    ):
        before = renewal_forecast(program, TODAY, asked=WhatIf(years=2))
        installation_end(
            installation=world.live[0],
            ended_on=dt.date(2024, 5, 1),
            end_reason=EndReason.FAILED,
            failure_mode=FailureMode.SPLICE,
            by=technician,
            why="",
        )
        after = renewal_forecast(program, TODAY, asked=WhatIf(years=2))
        assert (len(before.risks), len(after.risks)) == (2, 1)
        assert (before.n_down, after.n_down) == (0, 1)
        assert len(life_rows(TODAY)) == 3
