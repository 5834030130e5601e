"""The manager sets by what surveys are judged; everybody sees it."""

import pytest
from django.urls import reverse

from sites.models import SurveyLimit, SurveySettings
from sites.selectors import suitability_settings

pytestmark = pytest.mark.django_db
PAGE = "sites:survey-settings"
LIMIT = ("astm-e1318", "curve_radius")


def test_everybody_sees_limits_with_their_standing_and_no_way_to_set(
    world, client_for, technician
):
    shown = client_for(technician).get(reverse(PAGE)).content.decode()
    assert "5,700 ft" in shown
    assert "from memory" in shown
    assert reverse("sites:survey-limit-edit", args=LIMIT) not in shown
    refused = client_for(technician).get(reverse("sites:survey-limit-edit", args=LIMIT))
    assert refused.status_code == 403


def test_a_limit_is_set_as_typed_used_and_given_back(world, client_for, manager):
    client = client_for(manager)
    url = reverse("sites:survey-limit-edit", args=LIMIT)
    assert 'value="5,700"' in client.get(url).content.decode()
    sent = {"value": "5,600.0", "source": "E1318-09, section 6", "why": "read there"}
    assert client.post(url, sent).status_code == 302
    assert "5,600.0 ft" in client.get(reverse(PAGE)).content.decode()
    own = suitability_settings("us").agency_values["astm-e1318"]["curve_radius"]
    assert own == (pytest.approx(5600 * 0.3048), "E1318-09, section 6")
    back = reverse("sites:survey-limit-return", args=LIMIT)
    assert client.post(back, {"why": "withdrawn"}).status_code == 302
    assert not SurveyLimit.objects.exists()


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"value": "wide", "source": "x"}, "ft"),
        ({"value": "-3", "source": "x"}, "cannot be used"),
        ({"value": "5,600", "source": ""}, "required"),
    ],
)
def test_what_cannot_be_a_limit_is_refused_and_nothing_typed_is_lost(
    world, client_for, manager, sent, words
):
    answer = client_for(manager).post(
        reverse("sites:survey-limit-edit", args=LIMIT), sent
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert words in text
    assert f'value="{sent["value"]}"' in text
    assert not SurveyLimit.objects.exists()


def test_thresholds_are_kept_in_si_with_who_and_why(world, client_for, manager):
    client = client_for(manager)
    url = reverse("sites:survey-settings-edit")
    sent = {
        "governing": ["astm-e1318"],
        "site_class_wanted": "",
        "trucks_per_day_min": "150",
        "power_distance_max_m": "1,000",
        "pavement_thickness_min_mm": "6",
        "pavement_age_max_years": "",
        "speed_spread_max_pct": "20",
        "why": "network plan",
    }
    assert client.post(url, sent).status_code == 302
    kept = SurveySettings.objects.get()
    assert kept.governing == ["astm-e1318"]
    assert kept.power_distance_max_m == pytest.approx(304.8)
    assert kept.pavement_thickness_min_mm == pytest.approx(152.4)
    assert kept.history.first().history_user == manager
    none = client.post(url, sent | {"governing": []})
    assert none.status_code == 422
    assert "Choose at least one" in none.content.decode()
