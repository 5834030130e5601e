"""The agency's limits in the browser: set, switched off, returned, with history."""

from __future__ import annotations

import pytest
from django.urls import reverse

from quality.calc.checks import CHECKS, PAIR_CHECKS, RECORD_CHECKS
from quality.models import CheckLimit, LaneDay
from quality.selectors.limits import check_limits
from quality.services.deriving import derived_refresh
from quality.services.limits import findings_refresh
from tests.factories import LaneFactory
from tests.quality.factories import FIRST_ON, LaneDayFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("program")]


def page(name, *args):
    return reverse(f"quality:{name}", args=args)


@pytest.fixture
def client(analyst, client_for):
    return client_for(analyst)


def test_every_check_is_listed_with_its_source_and_opens(client):
    text = client.get(page("limit-list")).content.decode()
    for check in (*CHECKS, *PAIR_CHECKS, *RECORD_CHECKS):
        assert page("limit-detail", check.key) in text
        assert client.get(page("limit-detail", check.key)).status_code == 200
    assert client.get(page("limit-detail", "no-such-check")).status_code == 404


def test_a_limit_is_set_for_a_lane_and_returned_with_reasons(client, analyst):
    lane = LaneFactory.create()
    set_it = {"lane": lane.pk, "value": "0.2", "source": "our study of 2031"}
    client.post(page("limit-edit", "unclassified"), set_it)
    assert check_limits(lane).values == {"unclassified": 0.2}
    assert check_limits().values == {}
    limit = CheckLimit.objects.get()
    assert limit.history.get().history_user == analyst
    text = client.get(page("limit-detail", "unclassified")).content.decode()
    assert "our study of 2031" in text
    assert client.post(page("limit-drop", limit.pk)).status_code == 422
    client.post(page("limit-drop", limit.pk), {"reason": "study withdrawn"})
    assert not CheckLimit.objects.exists()
    text = client.get(page("limit-detail", "unclassified")).content.decode()
    assert "study withdrawn" in text


def test_a_check_is_switched_off_for_all_lanes(client):
    client.post(
        page("limit-edit", "unclassified"), {"is_off": "on", "source": "not of use"}
    )
    assert check_limits().not_used == {"unclassified"}


@pytest.mark.parametrize(
    "wrong", [{"value": "0.2"}, {"source": "x"}, {"value": "many", "source": "x"},
              {"value": "nan", "source": "x"}],
)  # fmt: skip
def test_a_limit_without_its_grounds_is_refused(wrong, client):
    answer = client.post(page("limit-edit", "unclassified"), wrong)
    assert answer.status_code == 422
    assert not CheckLimit.objects.exists()


def test_stored_days_are_found_anew_by_the_changed_limit(client):
    lane = LaneFactory.create()
    LaneDayFactory.create(lane=lane, date=FIRST_ON, n_vehicles=1000, n_unclassified=100)
    derived_refresh(lane=lane, first_on=FIRST_ON, last_on=FIRST_ON)
    assert LaneDay.objects.get().findings
    client.post(page("limit-edit", "unclassified"), {"value": "0.5", "source": "x"})
    assert LaneDay.objects.get().findings
    seen = []
    findings_refresh(progress=lambda done, of: seen.append((done, of)))
    assert seen == [(1, 1)]
    assert LaneDay.objects.get().findings == []
