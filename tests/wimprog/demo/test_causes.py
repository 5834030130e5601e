"""What the demo shows follows from the causes that it was given."""

import datetime as dt
import math

import numpy as np
import pytest

from quality.records.detect import open_records
from wimprog.demo import electrical, files, scenario, traffic, visits
from wimprog.demo.traits import KG_PER_KIP, LOOP, WEIGHING

AS_OF = dt.date(2026, 6, 1)


@pytest.fixture(scope="module")
def sites():
    return scenario.plan(AS_OF)


def lives(sites):
    return [life for site in sites for lane in site.lanes for life in lane.sensors]


def test_the_agency_has_the_size_that_was_asked_for(sites):
    assert len(sites) == 24
    assert sum(len(site.lanes) for site in sites) == 70
    assert (AS_OF - min(site.in_service_on for site in sites)).days > 11.9 * 365
    assert {site.state for site in sites} >= {"in service", "suspended", "retired"}


def test_one_seed_one_plan():
    assert scenario.plan(AS_OF, small=True) == scenario.plan(AS_OF, small=True)
    assert scenario.plan(AS_OF, small=True) != scenario.plan(
        AS_OF, small=True, seed=scenario.SEED + 1
    )


def test_nothing_happens_after_the_last_day(sites):
    for life in lives(sites):
        assert life.installed_on <= AS_OF
        assert life.ended_on is None or life.installed_on < life.ended_on <= AS_OF
    for site in sites:
        assert all(visit.on <= AS_OF for visit in visits.site_visits(site, AS_OF))


def chance_of_failing(traits, years):
    """By the causes: worn out (Weibull) or drowned, whichever comes first.

    Drowning takes an exponential wait for moisture, then the decline from 1500 MΩ to
    FAIL_MOHM at 0.9 to 2.6 decades a year (uniform); averaged here over that rate.
    """
    decades = np.linspace(0.9, 2.6, 2001)
    decline = math.log10(1500.0 / scenario.FAIL_MOHM) / decades
    dry = np.exp(-np.maximum(years - decline, 0) / traits.wet_mean_years).mean()
    worn = math.exp(-((years / traits.life_scale_years) ** traits.life_shape))
    return 1 - dry * worn


@pytest.mark.parametrize("traits", [*WEIGHING, LOOP], ids=lambda t: t.technology)
def test_as_many_sensors_fail_as_their_causes_imply(traits):
    until, n_years, n = dt.date(2030, 1, 1), 3.0, 1500
    opened = until - dt.timedelta(days=round(365.25 * n_years))
    lane = scenario.LanePlan(3, 1, traits, 40.0, opened, 1)
    rng = np.random.default_rng(20)
    failed = sum(
        scenario._lives(lane, traits, "p", until, None, rng, [0], False)[0].end_reason
        == "failed"
        for _ in range(n)
    )
    expected = chance_of_failing(traits, n_years)
    spread = math.sqrt(expected * (1 - expected) / n)
    assert failed / n == pytest.approx(expected, abs=4 * spread)


def test_moisture_drags_insulation_down_and_the_rest_stays_dry(sites):
    rng = np.random.default_rng(4)
    key = "insulation resistance"
    drowned, dry = [], []
    for life in lives(sites):
        if life.failure_mode in ("splice", "lead"):
            drowned.append(electrical.readings(life, life.ended_on, rng)[key][0])
        elif life.wet_on is None:
            on = life.installed_on + dt.timedelta(days=100)
            dry.append(electrical.readings(life, on, rng)[key][0])
    assert len(drowned) > 10
    assert len(dry) > 100
    # It fails at FAIL_MOHM (0.5 MΩ) by construction; heat and the meter scatter it.
    assert max(drowned) < 2 < 500 < min(dry)


def noise_of_mean(lane, runs, static):
    """Standard error of the runs' mean error, from the noise that was given.

    A run's gross weight carries 0.45 of the axle noise as a whole and 0.85 of it on
    each axle, weighted by the axle's share of the weight.
    """
    used = [run for run in runs if not run.exclusion_reason]
    shares = np.mean([(axles**2).sum() / axles.sum() ** 2 for axles in static])
    one = lane.traits.axle_noise * math.sqrt(0.45**2 + 0.85**2 * shares)
    return one / math.sqrt(len(used))


def test_a_new_factor_leaves_only_the_noise_of_its_runs(sites):
    scores, n_sessions, wrong_way = [], 0, 0
    for site in sites:
        for lane in site.lanes:
            for one in lane.sessions:
                static = [np.array(axles) for axles in one.static_kg]
                found = scenario._ratio(one.as_found, static)
                left = scenario._ratio(one.as_left, static)
                n_sessions += 1
                if one.factor_after == one.factor_before:
                    continue
                applied = one.factor_after / one.factor_before
                if abs(applied - found) < abs(applied - 1 / found):
                    wrong_way += 1
                    continue
                noise = math.hypot(
                    noise_of_mean(lane, one.as_found, static),
                    noise_of_mean(lane, one.as_left, static),
                )
                scores.append((left - 1) / noise)
    assert len(scores) > 300
    assert abs(np.mean(scores)) < 4 / math.sqrt(len(scores))
    assert np.std(scores) == pytest.approx(1, abs=0.15)
    assert 0 < wrong_way < 0.04 * n_sessions  # the factor typed upside down


def test_traffic_drifts_as_the_gain_does():
    """The steering axle of class 9, month by month, follows gain and nothing else."""
    lane = scenario.plan(AS_OF, small=True)[0].lanes[0]
    table = traffic.lane_vehicles(lane, lane.opened_on, AS_OF)
    nine = np.asarray(table.column("vehicle_class")) == 9
    day = np.asarray(table.column("time")).astype("datetime64[D]").astype(int)
    first = day.min()
    days = np.arange(first, day.max() + 1)
    gain = lane.gain(days, scenario.pavement_temp_c(days))[day - first]
    sound = nine & ~traffic.erratic_days(lane, day)
    steering = np.asarray(table.column("w1_kg"))[sound]
    month = (day[sound] - first) // 30
    enough = [m for m in np.unique(month) if np.sum(month == m) > 300]
    level = np.array([steering[month == m].mean() for m in enough])
    cause = np.array([gain[sound][month == m].mean() for m in enough])
    true = level / cause / KG_PER_KIP
    assert cause.max() / cause.min() > 1.03  # there is something to follow
    assert true.std() / true.mean() < 0.008


def test_weekends_and_nights_are_quiet():
    lane = scenario.plan(AS_OF, small=True)[0].lanes[0]
    table = traffic.lane_vehicles(lane, lane.opened_on, AS_OF)
    time = np.asarray(table.column("time"))
    weekday = (time.astype("datetime64[D]").astype(int) + 3) % 7
    hour = time.astype("datetime64[h]").astype(int) % 24
    counts = np.bincount(weekday, minlength=7)
    assert counts[6] < 0.6 * counts[1]
    assert np.mean((hour >= 7) & (hour < 17)) > 0.5


def test_a_silent_lane_records_nothing():
    lane = scenario.plan(AS_OF, small=True)[1].lanes[0]
    table = traffic.lane_vehicles(lane, lane.opened_on, AS_OF)
    seen = set(np.asarray(table.column("time")).astype("datetime64[D]").tolist())
    silent = [fault for fault in lane.faults if fault.is_silent]
    assert silent
    for fault in silent:
        length = (fault.to_on - fault.from_on).days + 1
        assert not seen & {fault.from_on + dt.timedelta(days=n) for n in range(length)}


def test_a_file_is_read_back_but_for_its_bad_lines(tmp_path):
    """As many lines are refused as were planted, and the reader says where."""
    planted = refused = 0
    for job in files.file_jobs(scenario.plan(AS_OF, small=True), AS_OF):
        path = files.write_file(job, tmp_path)
        rng = np.random.default_rng([job.site.lanes[0].seed, job.first_on.year, 11])
        n_bad = files.spoil(path.read_bytes(), rng)[1]
        with open_records(path) as reader:
            kept = sum(batch.num_rows for batch in reader)
            report = reader.report
        assert report.n_kept == kept > 0
        assert report.n_refused == n_bad == len(report.complaints)
        planted, refused = planted + n_bad, refused + report.n_refused
    assert refused == planted > 0


def test_each_failure_and_replacement_brings_somebody_out(sites):
    for site in sites:
        there = {
            (one.purpose, one.on, one.lane) for one in visits.site_visits(site, AS_OF)
        }
        for place, lane in enumerate(site.lanes):
            for one in lane.sessions:
                assert ("calibration", one.held_on, place) in there
            for life in lane.sensors:
                on = life.installed_on
                assert there & {
                    ("installation", on, place),
                    ("installation", on, None),
                }
