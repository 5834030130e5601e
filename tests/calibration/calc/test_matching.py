"""Controller records matched to passes: found, explained, corrected, refused."""

import datetime as dt

import numpy as np
import pytest

from calibration.calc.matching import match_passes
from calibration.calc.matching_types import (
    ControllerRecord,
    DrivenPass,
    MatchSettings,
)
from tests.calibration.calc.build import truck
from wimprog.lib.errors import DomainError
from wimprog.lib.units import UnitSystem

START = dt.datetime(2031, 5, 14, 9, 0)  # noqa: DTZ001 - sheets hold clock time
LONG = truck("T1")
SHORT = truck("T2", axle_weights_kg=(6000.0, 9000.0), axle_spacings_m=(5.6,))
VEHICLES = {"T1": LONG, "T2": SHORT}


def after(seconds):
    return START + dt.timedelta(seconds=float(seconds))


def driven(key, vehicle, seconds, **more):
    return DrivenPass(key, vehicle, after(seconds), **more)


def record(key, vehicle, seconds, *, factor=1.0, stretch=1.0, **more):
    return ControllerRecord(
        key,
        after(seconds),
        tuple(factor * kg for kg in vehicle.axle_weights_kg),
        tuple(stretch * m for m in vehicle.axle_spacings_m),
        **more,
    )


def car(key, seconds):
    return ControllerRecord(key, after(seconds), (700.0, 650.0), (2.7,))


def session(offset=0.0, n=8, seed=1):
    """Two trucks in turn every four minutes in traffic, clock off by ``offset``."""
    generator = np.random.default_rng(seed)
    passes, records = [], []
    for i in range(n):
        vehicle = (LONG, SHORT)[i % 2]
        at = 240.0 * i + float(generator.uniform(-30, 30))
        passes.append(driven(f"{i + 1}", vehicle.name, at))
        records.append(
            record(
                f"r{i + 1}",
                vehicle,
                at + offset + float(generator.normal(0, 4)),
                factor=float(generator.normal(1.05, 0.04)),
                stretch=float(generator.normal(1.0, 0.005)),
            )
        )
    for j in range(60):
        records.append(car(f"c{j}", float(generator.uniform(-600, 2600)) + offset))
    return passes, sorted(records, key=lambda one: one.time)


def pairs(result):
    return {match.driven: match.record for match in result.matches}


@pytest.mark.parametrize("offset", [0.0, 47.0, -312.0, 3607.0, -3600.0])
def test_every_pass_finds_its_record_whatever_the_clocks_say(offset):
    passes, records = session(offset)
    found = match_passes(passes, records, VEHICLES)
    assert pairs(found) == {str(i): f"r{i}" for i in range(1, 9)}
    assert found.clock_offset_s == pytest.approx(offset, abs=5)
    assert found.clock_spread_s < 10
    assert found.unmatched_passes == ()
    assert found.n_other_records == 60
    assert all(match.is_clear for match in found.matches)
    told = " ".join(found.notes)
    assert ("ahead of" in told) == (offset > 5)
    assert ("behind" in told) == (offset < -5)
    assert ("daylight saving" in told) == (abs(offset) > 3000)


def test_the_distance_is_explained_part_by_part():
    found = match_passes(
        [driven("1", "T1", 0, speed_kmh=80.0)],
        [record("a", LONG, 12, factor=1.1, speed_kmh=86.0)],
        VEHICLES,
        clock_offset_s=0.0,
    )
    (match,) = found.matches
    parts = {part.name: part for part in match.parts}
    assert set(parts) == {
        "time",
        "axle spacings",
        "axle loads",
        "gross weight",
        "speed",
    }
    assert parts["time"].share == pytest.approx(0.1)
    assert parts["time"].found == "12 s"
    assert parts["speed"].share == pytest.approx(0.4)
    assert parts["gross weight"].found == "10.0 %"
    us = match_passes(
        [driven("1", "T1", 0, speed_kmh=80.0)],
        [record("a", LONG, 12, speed_kmh=96.09344)],
        VEHICLES,
        unit_system=UnitSystem.US,
    )
    assert us.matches[0].parts[-1].found == "10 mph"
    shares = [part.share for part in match.parts]
    assert match.distance == pytest.approx(np.sqrt(np.mean(np.square(shares))))


def test_one_record_goes_to_one_pass_so_that_all_fit_best():
    """Greedy would give run 1 the record at 50 s and leave run 2 without."""
    passes = [driven("1", "T1", 0), driven("2", "T1", 100)]
    records = [record("a", LONG, -60), record("b", LONG, 50)]
    found = match_passes(passes, records, VEHICLES, clock_offset_s=0.0)
    assert pairs(found) == {"1": "a", "2": "b"}


def test_a_twin_in_traffic_is_an_alternative_to_look_at():
    passes = [driven("1", "T1", 0)]
    records = [record("a", LONG, 3), record("b", LONG, 6, factor=1.02)]
    (match,) = match_passes(passes, records, VEHICLES, clock_offset_s=0.0).matches
    assert match.record == "a"
    assert [one.record for one in match.alternatives] == ["b"]
    assert not match.is_clear
    assert "nearly as well" in match.remarks[0]


def test_a_person_has_the_last_word():
    passes = [driven("1", "T1", 0), driven("2", "T1", 30)]
    records = [record("a", LONG, 2), record("b", LONG, 31), car("c", 5)]
    swapped = match_passes(
        passes, records, VEHICLES, pinned=[("1", "b")], clock_offset_s=0.0
    )
    assert pairs(swapped) == {"1": "b", "2": "a"}
    assert swapped.of_pass("1").is_pinned
    assert "not in the same order" in swapped.notes[-1]
    out = match_passes(
        passes,
        records,
        VEHICLES,
        forbidden=[("1", "a"), ("1", "b")],
        clock_offset_s=0.0,
    )
    assert pairs(out) == {"2": "b"}
    assert out.look_alikes == (("a", "T1"),)
    odd = match_passes(passes[:1], records, VEHICLES, pinned=[("1", "c")])
    assert "2 axles, 5 expected" in odd.of_pass("1").remarks[-1]


def test_unmatched_both_ways_say_why():
    passes = [driven("1", "T1", 0), driven("2", "T1", 5), driven("3", "T2", 900)]
    records = [record("a", LONG, 1), record("x", LONG, 3000), car("c", 900)]
    found = match_passes(passes, records, VEHICLES, clock_offset_s=0.0)
    why = dict(found.unmatched_passes)
    assert pairs(found) == {"1": "a"}
    assert "went to run 1" in why["2"]
    assert "No record within 120 s has 2 axles" in why["3"]
    assert found.look_alikes == (("x", "T1"),)
    assert found.n_other_records == 1
    odd = (20000.0, 1000.0, 1000.0, 1000.0, 1000.0)
    far = match_passes(
        passes[:1],
        [ControllerRecord("a", after(110), odd, LONG.axle_spacings_m)],
        VEHICLES,
        clock_offset_s=0.0,
    )
    assert "too far" in far.unmatched_passes[0][1]


def test_pounds_taken_for_kilograms_are_asked_about_not_lost():
    passes, records = session()
    slipped = [
        ControllerRecord(
            one.key,
            one.time,
            tuple(2.2046 * kg for kg in one.axle_weights_kg),
            one.axle_spacings_m,
        )
        for one in records
    ]
    found = match_passes(passes, slipped, VEHICLES)
    assert len(found.matches) == 8
    assert "pounds and kilograms" in found.matches[0].remarks[0]


def test_a_weight_far_off_is_matched_and_told():
    passes, light = [driven("1", "T1", 0)], [record("a", LONG, 2, factor=0.6)]
    (match,) = match_passes(passes, light, VEHICLES).matches
    assert "loaded as weighed" in match.remarks[0]


def test_spacings_out_of_tolerance_are_no_match():
    passes = [driven("1", "T1", 0)]
    wrong = [record("a", LONG, 0, stretch=1.12)]
    assert match_passes(passes, wrong, VEHICLES).matches == ()
    wide = MatchSettings(spacing_share=0.15, spacing_m=0.7)
    assert len(match_passes(passes, wrong, VEHICLES, settings=wide).matches) == 1


def test_nothing_to_match_is_no_error():
    empty = match_passes([], [], VEHICLES)
    assert empty.matches == empty.notes == ()
    assert empty.clock_offset_s is None
    alone = match_passes([driven("1", "T1", 0)], [], VEHICLES)
    assert "5 axles" in alone.unmatched_passes[0][1]


def test_mixed_time_zones_are_compared_by_the_clock():
    aware = after(2).replace(tzinfo=dt.UTC)
    one = ControllerRecord("a", aware, LONG.axle_weights_kg, LONG.axle_spacings_m)
    found = match_passes([driven("1", "T1", 0)], [one], VEHICLES)
    assert pairs(found) == {"1": "a"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pinned": [("9", "a")]}, "not there"),
        (
            {"pinned": [("1", "a")], "forbidden": [("1", "a")]},
            "both made and ruled out",
        ),
        ({"pinned": [("1", "a"), ("2", "a")]}, "not the only one"),
        ({"vehicles": {"T2": SHORT}}, "no static weighing"),
        ({"twice": True}, "more than once"),
        ({"weight": 0.0}, "has no weight"),
    ],
)
def test_contradictions_are_refused(change, words):
    passes = [driven("1", "T1", 0), driven("2", "T1", 60)]
    records = [record("a", LONG, 0, factor=change.get("weight", 1.0))]
    if change.get("twice"):
        records *= 2
    with pytest.raises(DomainError) as caught:
        match_passes(
            passes,
            records,
            change.get("vehicles", VEHICLES),
            pinned=change.get("pinned", ()),
            forbidden=change.get("forbidden", ()),
        )
    assert words in " ".join(map(str, caught.value.complaints))
