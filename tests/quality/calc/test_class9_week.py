"""A lane-week's figures against invented lanes whose truth is known."""

from __future__ import annotations

import json

import numpy as np
import pyarrow as pa
import pytest

from quality.calc.class9_week import (
    TRACTOR_SEMITRAILER,
    TruckKind,
    WeekSettings,
    held_against,
    is_of_kind,
    week_figures,
)
from quality.calc.loaded_peak import (
    fit_reference,
    fit_week,
    gross_counts,
    smoothed_peak_kg,
)
from quality.calc.mixture_fit import KIP_KG, N_STEPS, PeakFit
from quality.calc.sample_mean import SampleMean, SampleShare
from quality.calc.steering import GrossBand, steering_by_band
from quality.calc.week_types import ReferencePeriod, WeekFigures
from tests.quality.calc.trucks import gross_kg, record, records, semitrailers
from wimprog.lib.errors import DomainError
from wimprog.lib.units import KG_PER_LB

GAPS = [17.0, 4.4, 33.0, 4.1]
WEIGHTS = [12000, 17000, 17000, 15000, 15000]


@pytest.fixture(scope="module")
def reference() -> ReferencePeriod:
    rng = np.random.default_rng(1)
    return ReferencePeriod.of([week_figures(semitrailers(rng, 3000)) for _ in range(8)])


def test_trucks_are_known_by_class_and_where_blank_by_spacings() -> None:
    two_s_three = [17.0, 20.0, 4.1, 4.1]  # class 9 too, but no drive tandem
    table = records(
        record(WEIGHTS, GAPS),
        record(WEIGHTS, GAPS, vehicle_class=None),
        record(WEIGHTS, two_s_three),
        record(WEIGHTS, two_s_three, vehicle_class=None),
        record(WEIGHTS, GAPS, vehicle_class=11),
        record(WEIGHTS, []),  # class 9, no spacings recorded
        record(WEIGHTS, [], vehicle_class=None),
        record([*WEIGHTS, 9000], [*GAPS, 4.1]),
    )
    found, n_worked_out = is_of_kind(table)
    assert found.tolist() == [True, True, False, False, False, True, False, False]
    assert n_worked_out == 1
    by_spacings = TruckKind("any 3-S2", None, TRACTOR_SEMITRAILER.spacings_m)
    found, n_worked_out = is_of_kind(table, by_spacings)
    assert found.nonzero()[0].tolist() == [0, 1, 4]
    assert n_worked_out == 3


def test_figures_are_plain_means_of_the_trucks(reference: ReferencePeriod) -> None:
    rng = np.random.default_rng(6)
    trucks = semitrailers(rng, 4000, drive_split=0.53, drive_spacing_m=1.36)
    others = records(*[record([9000, 9000], [18.0], vehicle_class=5)] * 50)
    found = week_figures(pa.concat_tables([trucks, others]), reference)
    w = [trucks.column(f"w{k}_kg").to_numpy().astype(float) for k in range(1, 6)]
    gvw = trucks.column("gvw_kg").to_numpy().astype(float)
    assert (found.n_vehicles, found.n_trucks, found.n_worked_out) == (4050, 4000, 0)
    assert found.steering_kg.mean == pytest.approx(w[0].mean())
    assert found.steering_kg.sd == pytest.approx(w[0].std(ddof=1))
    assert sum(band.steering_kg.n for band in found.steering_by_band) == 4000
    light = gvw < 32_000 * KG_PER_LB
    assert found.steering_by_band[0].steering_kg.mean == pytest.approx(
        w[0][light].mean()
    )
    assert found.drive_split.mean == pytest.approx((w[1] / (w[1] + w[2])).mean())
    assert found.drive_split.mean == pytest.approx(0.53, abs=0.002)
    assert found.trailer_split.mean == pytest.approx(0.5)
    assert found.drive_spacing_m.mean == pytest.approx(1.36, abs=0.003)
    assert found.over_gross.part == (gvw > 80_000 * KG_PER_LB + 0.1).sum()
    assert found.over_gross.n == 4000
    assert found.counts.sum() == 4000
    assert found.esal_flexible.per_truck == pytest.approx(
        found.esal_flexible.total / 4000
    )
    assert found.esal_rigid.total > found.esal_flexible.total
    assert found.distance is not None
    assert (found.distance.n, found.distance.n_reference) == (4000, 24000)


@pytest.mark.parametrize(
    ("gain", "offset_kg", "moved"),
    [
        (1.0, 0.0, "neither"),
        (1.05, 0.0, "gain"),
        (0.95, 0.0, "gain"),
        (1.0, 1500.0, "offset"),
        (1.10, 0.0, "gain"),
    ],
)
def test_gain_is_told_from_offset(
    reference: ReferencePeriod, gain: float, offset_kg: float, moved: str
) -> None:
    rng = np.random.default_rng(21)
    table = semitrailers(rng, 8000, gain=gain, offset_kg=offset_kg)
    peaks = week_figures(table, reference).peaks
    assert peaks is not None
    assert peaks.n_weeks == 1
    assert peaks.gain_offset.gain == pytest.approx(gain, abs=0.012)
    assert peaks.gain_offset.offset_kg == pytest.approx(offset_kg, abs=320)
    assert peaks.gain_offset.moved == moved
    change = (gain * 76.5 * KIP_KG + offset_kg) / (76.5 * KIP_KG) - 1
    assert peaks.loaded_change_pct(reference.peaks) == pytest.approx(
        100 * change, abs=0.5
    )


def test_thin_weeks_are_pooled_and_say_so(reference: ReferencePeriod) -> None:
    rng = np.random.default_rng(8)
    earlier = [gross_counts(gross_kg(rng, 200)) for _ in range(6)]
    thin = semitrailers(rng, 200)
    found = week_figures(thin, reference, earlier=earlier)
    assert found.peaks is not None
    assert (found.peaks.n_weeks, found.peaks.fit.n) == (3, 600)
    assert "from 3 weeks" in found.notes[0]
    alone = week_figures(thin, reference)
    assert alone.peaks is None
    assert "200 trucks in one week" in alone.notes[0]
    without = week_figures(thin)
    assert without.peaks is None
    assert without.distance is None
    assert "no reference" in without.notes[0]


def test_weeks_without_loaded_trucks_have_no_loaded_peak(
    reference: ReferencePeriod,
) -> None:
    rng = np.random.default_rng(9)
    table = semitrailers(rng, 2000, shares=(0.65, 0.30, 0.05))
    found = week_figures(table, reference, earlier=[found_counts(rng)] * 3)
    assert found.peaks is None
    assert "% of them loaded" in found.notes[0]


def found_counts(rng: np.random.Generator) -> np.ndarray:
    return gross_counts(gross_kg(rng, 800, (0.65, 0.30, 0.05)))


def test_a_disagreeing_second_opinion_is_told(reference: ReferencePeriod) -> None:
    """A spike of identical trucks beside the peak draws the mode, not the mean."""
    rng = np.random.default_rng(10)
    usual = semitrailers(rng, 1500)
    spike = records(*[record([12000, 16500, 16500, 13500, 13500], GAPS)] * 250)
    found = week_figures(pa.concat_tables([usual, spike]), reference)
    assert any("smoothed histogram" in note for note in found.notes)
    assert week_figures(usual, reference).notes == ()


def test_noisier_weighing_is_told(reference: ReferencePeriod) -> None:
    """Random errors of 9 % more widen the peaks; the free fit is used then."""
    rng = np.random.default_rng(15)
    table = semitrailers(rng, 6000)
    gross = table.column("gvw_kg").to_numpy() * rng.normal(1.0, 0.09, 6000)
    place = table.schema.get_field_index("gvw_kg")
    noisy = table.set_column(
        place, table.schema.field(place), pa.array(gross.astype(np.float32))
    )
    found = week_figures(noisy, reference)
    assert any("another shape" in note for note in found.notes)
    assert found.peaks is not None
    assert not found.peaks.has_reference_shape
    assert abs(found.peaks.loaded_change_pct(reference.peaks)) < 2
    usual = week_figures(table, reference).peaks
    assert usual is not None
    assert usual.has_reference_shape


def test_trucks_unlike_the_reference_are_told(reference: ReferencePeriod) -> None:
    light = records(*[record([500, 400, 400, 400, 400], GAPS)] * 600)
    found = week_figures(light, reference)
    assert found.peaks is None
    assert "do not look like the reference" in found.notes[0]


def test_an_empty_week_is_no_data_and_goes_through_json(
    reference: ReferencePeriod,
) -> None:
    found = week_figures(records(), reference)
    assert found.steering_kg == SampleMean(0, None, None, None, None)
    assert found.over_gross.share is None
    assert found.esal_flexible.per_truck is None
    assert found.distance is None
    again = WeekFigures.from_dict(
        json.loads(json.dumps(found.as_dict(), allow_nan=False))
    )
    assert again == found
    assert again.counts.shape == (N_STEPS + 1,)


def test_figures_and_reference_come_back_from_json(reference: ReferencePeriod) -> None:
    rng = np.random.default_rng(12)
    found = week_figures(semitrailers(rng, 900, recorded_class=None), reference)
    assert found.n_worked_out == found.n_trucks > 800
    text = json.dumps(found.as_dict(), allow_nan=False)
    assert len(text) < 8000
    again = WeekFigures.from_dict(json.loads(text))
    assert again == found
    assert (again.counts == found.counts).all()
    kept = ReferencePeriod.from_dict(json.loads(json.dumps(reference.as_dict())))
    assert kept.peaks == reference.peaks
    assert (kept.counts == reference.counts).all()
    with pytest.raises(DomainError, match="work them out again"):
        WeekFigures.from_dict({**found.as_dict(), "method_version": "class9-week-0"})


def test_a_week_is_held_against_another_reference_without_its_records(
    reference: ReferencePeriod,
) -> None:
    rng = np.random.default_rng(13)
    table = semitrailers(rng, 300)
    earlier = [gross_counts(gross_kg(rng, 400))]
    alone = week_figures(table)
    assert held_against(alone, reference, earlier) == week_figures(
        table, reference, earlier=earlier
    )
    assert held_against(week_figures(table, reference), None) == alone


def test_own_bands_and_limit(reference: ReferencePeriod) -> None:
    bands = (GrossBand(0, 25_000), GrossBand(25_000, 60_000))
    settings = WeekSettings(bands=bands, gross_limit_kg=30_000.0)
    found = week_figures(
        semitrailers(np.random.default_rng(3), 600), reference, settings=settings
    )
    assert [one.band for one in found.steering_by_band] == list(bands)
    assert 0.3 < (found.over_gross.share or 0) < 0.6


def test_band_edges_hold_whole_pounds() -> None:
    gvw = np.array([31_999, 32_000, 70_000], dtype=np.float32) * np.float32(KG_PER_LB)
    found = steering_by_band(gvw, np.array([1.0, 2.0, 4.0]))
    assert [band.steering_kg.mean for band in found] == [1.0, 2.0, 4.0]
    assert found[1].steering_kg.sd is None


def test_counts_hold_whole_pounds() -> None:
    pounds = np.array([0, 249, 250, 79_999, 80_000, 149_999, 150_000, 900_000])
    found = gross_counts((pounds * KG_PER_LB).astype(np.float32))
    assert found.nonzero()[0].tolist() == [0, 1, 319, 320, 599, 600]
    assert found[[0, 600]].tolist() == [2, 2]
    assert gross_counts(np.array([np.nan, -5.0])).sum() == 0


def test_peak_fit_finds_the_components_from_another_start() -> None:
    """A fleet with other peaks: 40, 62 and 95 kip, far from the usual start."""
    rng = np.random.default_rng(14)
    weights = np.concatenate(
        [rng.normal(40, 3, 3000), rng.normal(62, 9, 3000), rng.normal(95, 4, 4000)]
    )
    fit = fit_reference(gross_counts(weights * KIP_KG))
    assert np.array(fit.mixture.means_kg) / KIP_KG == pytest.approx(
        [40, 62, 95], abs=0.8
    )
    assert fit.mixture.shares == pytest.approx([0.3, 0.3, 0.4], abs=0.03)
    assert fit.has_converged
    assert PeakFit.from_dict(json.loads(json.dumps(fit.as_dict()))) == fit


def test_too_few_trucks_are_refused_or_nothing() -> None:
    few = gross_counts(gross_kg(np.random.default_rng(1), 499))
    with pytest.raises(DomainError, match="500 trucks"):
        fit_reference(few)
    enough = fit_reference(gross_counts(gross_kg(np.random.default_rng(1), 2000)))
    assert fit_week(few, enough.mixture) is None
    assert smoothed_peak_kg(np.zeros(N_STEPS + 1), 34_000.0) is None


def test_spread_floor_holds_on_identical_trucks() -> None:
    """A thousand equal trucks: a deviation of one kip, not zero, and finite errors."""
    rng = np.random.default_rng(2)
    weights = np.concatenate([gross_kg(rng, 600), np.full(1000, 76.6 * KIP_KG)])
    enough = fit_reference(gross_counts(gross_kg(rng, 4000)))
    fit = fit_week(gross_counts(weights), enough.mixture)
    assert fit is not None
    assert min(fit.mixture.sds_kg) >= 0.999 * KIP_KG
    assert np.isfinite([fit.loaded_se_kg, fit.unloaded_se_kg]).all()


def test_share_without_and_with_vehicles() -> None:
    assert SampleShare.of(0, 0).share is None
    found = SampleShare.of(8500, 8760)
    assert (found.low, found.high) == (
        pytest.approx(0.9666, abs=5e-5),
        pytest.approx(0.9737, abs=5e-5),
    )
