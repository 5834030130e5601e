"""Surveys kept, profiles taken in, a site planned: state, reasons and refusals."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from sites.calc.profile_layout import ProfileColumns
from sites.calc.profile_words import ElevationUnit
from sites.models import RoadProfile, Site, SiteSurvey
from sites.selectors import (
    profile_samples,
    profile_view,
    study_comparison,
    survey_facts,
    survey_page,
)
from sites.services import (
    profile_add,
    site_from_survey,
    survey_save,
    survey_take_from_profile,
)
from tests.factories import LaneFactory, SiteFactory
from tests.sites.calc.build import SOUND
from tests.sites.surveying import survey_of, upload, wave_csv
from wimprog.lib.errors import DomainError, UnreadableInput

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def uploads(settings, tmp_path, program, held_clock) -> Path:
    settings.UPLOAD_DIR = tmp_path / "uploads"
    return settings.UPLOAD_DIR


def kept_files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def test_a_survey_gives_its_facts_back_as_plain_values():
    assert survey_facts(survey_of()) == SOUND


def test_a_survey_is_kept_with_who_and_why(technician):
    survey = survey_of()
    survey.grade_pct = 1.5
    survey.study = "  Route 14   renewal "
    survey_save(survey=survey, by=technician, why="levelled again")
    entry = survey.history.first()
    assert (entry.history_user, entry.history_change_reason) == (
        technician,
        "levelled again",
    )
    assert survey.study == "Route 14 renewal"


def test_a_survey_of_tomorrow_is_refused(technician, held_clock):
    survey = survey_of()
    survey.surveyed_on = held_clock + dt.timedelta(days=1)
    with pytest.raises(DomainError, match="lies ahead of today"):
        survey_save(survey=survey, by=technician, why="")


def test_facts_that_contradict_each_other_are_refused(technician):
    survey = survey_of()
    survey.speed_p15_kmh, survey.speed_p85_kmh = 110.0, 90.0
    with pytest.raises(DomainError, match="Were they exchanged"):
        survey_save(survey=survey, by=technician, why="")
    survey.refresh_from_db()
    survey.curve_radius_m = 2_000.0
    with pytest.raises(DomainError, match="straight"):
        survey_save(survey=survey, by=technician, why="")


def test_a_lane_of_another_site_is_refused(technician):
    lane = LaneFactory.create()
    survey = survey_of(place="", wim_site=SiteFactory.create())
    survey.lane = lane
    with pytest.raises(ValidationError, match="not a lane of the chosen site"):
        survey_save(survey=survey, by=technician, why="")


@pytest.mark.parametrize(
    "changes",
    [
        {"place": ""},
        {"curve_radius_m": 2_000.0},
        {"latitude": 44.0},
        {"speed_p15_kmh": 200.0},
    ],
)
def test_the_database_too_refuses(changes):
    with pytest.raises(IntegrityError), transaction.atomic():
        survey_of(**changes)


def test_a_site_is_planned_where_a_candidate_was_surveyed(manager):
    survey = survey_of(latitude=44.1, longitude=-101.2, location_ref="mile 12.4")
    made = site_from_survey(
        survey=survey, code="OV-031", state_code="99", station_id="000031",
        by=manager, why="first in the study",
    )  # fmt: skip
    survey.refresh_from_db()
    assert (survey.wim_site, survey.place) == (made, "")
    assert (made.state, made.name, made.route) == (
        "planned",
        "north of the quarry gate",
        "Route 14",
    )
    assert (made.latitude, made.pavement_type) == (44.1, "asphalt")
    assert made.history.get().history_change_reason == "first in the study"
    with pytest.raises(DomainError, match="OV-031, a site already"):
        site_from_survey(
            survey=survey, code="OV-032", state_code="99", station_id="000032",
            by=manager,
        )  # fmt: skip


def test_a_taken_code_leaves_the_survey_as_it_was(manager):
    SiteFactory.create(code="OV-031", station_id="000031")
    survey = survey_of()
    with pytest.raises(ValidationError):
        site_from_survey(
            survey=survey, code="OV-031", state_code="99", station_id="000032",
            by=manager,
        )  # fmt: skip
    survey.refresh_from_db()
    assert survey.place
    assert Site.objects.count() == 1


@pytest.mark.parametrize("code", ["surveys", "Add", "lanes"])
def test_no_site_has_a_word_of_the_addresses_as_its_code(code):
    with pytest.raises(ValidationError, match="own addresses"):
        SiteFactory.build(code=code).full_clean()


# --- profiles ----------------------------------------------------------------------


def test_a_profile_is_read_kept_and_comes_back(technician, uploads):
    survey = survey_of()
    kept = profile_add(survey=survey, upload=upload(wave_csv()), by=technician)
    assert (kept.n, round(kept.interval_mm, 6), kept.length_m) == (
        6001,
        50.0,
        pytest.approx(300.0),
    )
    assert kept_files(uploads) == [f"{kept.store_key}.parquet"]
    samples = profile_samples(kept)
    left, right = samples.elevation_mm.values()
    assert left[25] == pytest.approx(1.0)  # a quarter of the 5 m wave, 1.25 m on
    assert right[25] == pytest.approx(1.2)
    # the quarter car is linear: a path 1.2 times as high is 1.2 times as rough
    iri = kept.derived["iri_m_per_km"]
    ratio = iri["right wheel path"] / iri["left wheel path"]
    assert ratio == pytest.approx(1.2, rel=1e-5)
    best = kept.derived["places"][0]
    assert 200 < best["distance_m"] < 300  # in the calm part, clear of its edge
    assert kept.history.get().history_change_reason == "route-14-e1.csv sent in"


def test_the_same_profile_twice_is_kept_once(technician, uploads):
    survey = survey_of()
    first = profile_add(survey=survey, upload=upload(wave_csv()), by=technician)
    again = wave_csv().replace(b"\n", b"\r\n")  # the same samples, another export
    second = profile_add(survey=survey, upload=upload(again, "copy.csv"), by=technician)
    assert second == first
    assert RoadProfile.objects.count() == 1
    other = survey_of(place="south of the quarry gate")
    third = profile_add(survey=other, upload=upload(wave_csv()), by=technician)
    assert third.store_key == first.store_key
    assert len(kept_files(uploads)) == 1


def test_a_profile_that_cannot_be_read_leaves_nothing(technician, uploads):
    broken = wave_csv().replace(b"\n1.000,", b"\n1.000x,")
    with pytest.raises(UnreadableInput) as refusal:
        profile_add(survey=survey_of(), upload=upload(broken), by=technician)
    complaint = refusal.value.complaints[0]
    assert complaint.row == 22  # heading, then 0.00 to 1.00 m every 0.05 m
    assert complaint.value == "1.000x"
    assert not RoadProfile.objects.exists()
    assert kept_files(uploads) == []


def test_a_row_that_cannot_be_kept_leaves_no_file(technician, uploads, monkeypatch):
    def fail(*_args, **_kwargs):
        raise RuntimeError("the disk of the database is full")

    survey = survey_of()
    monkeypatch.setattr("sites.services.profiles.save_with_reason", fail)
    with pytest.raises(RuntimeError):
        profile_add(survey=survey, upload=upload(wave_csv()), by=technician)
    assert kept_files(uploads) == []


def test_a_profile_beyond_the_limit_is_refused_before_it_is_read(technician, settings):
    settings.UPLOAD_LIMIT_MB = 0
    with pytest.raises(UnreadableInput, match="limit for a profile is 0 MB"):
        profile_add(survey=survey_of(), upload=upload(wave_csv()), by=technician)


def test_a_unit_may_be_said_where_the_heading_is_silent(technician):
    content = wave_csv(heading="distance (m),left,right")
    survey = survey_of()
    with pytest.raises(UnreadableInput, match="unit"):
        profile_add(survey=survey, upload=upload(content), by=technician)
    kept = profile_add(
        survey=survey,
        upload=upload(content),
        columns=ProfileColumns(elevation_unit=ElevationUnit.MM),
        by=technician,
    )
    assert kept.read_as == {"elevation_unit": "mm"}


def test_the_roughness_of_the_approach_is_taken_with_its_reason(technician):
    survey = survey_of(iri_m_per_km=None)
    SiteSurvey.objects.filter(pk=survey.pk).update(
        as_typed={"iri_m_per_km": ["95", "in/mi"], "lane_width_m": ["12", "ft"]}
    )
    profile = profile_add(survey=survey, upload=upload(wave_csv()), by=technician)
    kept = survey_take_from_profile(
        survey=survey, profile=profile, at_m=265.0, by=technician, why="calm part"
    )
    # all of the approach (205 to 295 m) is calm: a quarter of the wave elsewhere,
    # where nothing but the wave drives the car
    elsewhere = survey_take_from_profile(
        survey=survey, profile=profile, at_m=120.0, by=technician
    )
    assert kept.iri_m_per_km == pytest.approx(elsewhere.iri_m_per_km / 4, rel=0.02)
    assert kept.as_typed == {"lane_width_m": ["12", "ft"]}
    reason = kept.history.all()[1].history_change_reason
    assert reason == (
        "from route-14-e1.csv, array at 265.0 m, right wheel path: calm part"
    )
    assert kept.lri_m_per_km == SOUND.lri_m_per_km  # IRI is no index of M 331


def test_roughness_is_refused_where_the_profile_does_not_reach(technician):
    survey = survey_of()
    profile = profile_add(survey=survey, upload=upload(wave_csv()), by=technician)
    for at_m in (10.0, 290.0, -500.0):
        with pytest.raises(DomainError, match="does not cover the approach"):
            survey_take_from_profile(
                survey=survey, profile=profile, at_m=at_m, by=technician
            )
    other = survey_of(place="south of the quarry gate")
    with pytest.raises(DomainError, match="not measured for this survey"):
        survey_take_from_profile(
            survey=other, profile=profile, at_m=200.0, by=technician
        )


def test_a_short_profile_is_kept_and_says_what_it_cannot(technician):
    survey = survey_of()
    profile = profile_add(
        survey=survey,
        upload=upload(wave_csv(30.0, calm_m=(0.0, 0.0))),
        by=technician,
    )
    view = profile_view(profile, "us")
    assert view.chart is None
    assert view.places == ()
    assert any("needs 11 m more" in words for words in view.refusals)
    short = profile_view(profile, "us", 5.0)
    assert short.chart is not None
    assert short.chart.series[0].points


def test_a_lost_file_is_said_in_words(technician, uploads):
    survey = survey_of()
    profile = profile_add(survey=survey, upload=upload(wave_csv()), by=technician)
    next(uploads.rglob("*.parquet")).unlink()
    view = profile_view(profile, "us", 10.0)
    assert "restore it from the backup" in view.refusals[-1]
    assert profile_view(profile, "us").chart is not None  # kept beside the samples


# --- judged and compared -----------------------------------------------------------


def test_a_page_says_what_was_measured_and_what_was_not():
    survey = survey_of(rutting_mm=None, as_typed={"lane_width_m": ["12.8", "ft"]})
    page = survey_page(survey, "us")
    shown = {row.line.key: row.measured for one in page.standards for row in one.lines}
    assert shown["lane_width"] == "12.8 ft"
    assert shown["rutting"] == "not measured"
    assert shown["curve_radius"] == "straight"
    assert shown["grade"] == "-0.5 %".replace("-", "−")
    assert "deepest rut" in page.facts_missing


def test_candidates_are_ranked_by_what_fails_first():
    survey_of(place="good")
    survey_of(place="steep", grade_pct=3.0)
    survey_of(place="less known", rutting_mm=None)
    survey_of(place="steep", grade_pct=0.2, surveyed_on=dt.date(2023, 5, 1))
    found = study_comparison("Route 14 renewal", "us")
    assert [one.ranked.name for one in found.rivals] == ["good", "less known", "steep"]
    assert found.n_earlier == 1
    assert found.rivals[2].ranked.fails_first.key == "grade"
    assert all(len(row.cells) == 3 for one in found.standards for row in one.rows)


def test_a_study_without_surveys_is_none():
    assert study_comparison("nothing", "us") is None


def test_two_places_of_one_name_are_told_apart():
    survey_of(place="bridge", route="Route 14")
    survey_of(place="bridge", route="Route 7")
    found = study_comparison("Route 14 renewal", "si")
    assert {one.ranked.name for one in found.rivals} == {
        "bridge, Route 14",
        "bridge, Route 7",
    }
