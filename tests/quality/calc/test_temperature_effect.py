"""Temperature and season are taken out when told, and left in with a reason."""

from __future__ import annotations

import numpy as np
import pytest

from quality.calc.false_alarms import simulate_weeks
from quality.calc.temperature_effect import Adjusted, take_out_temperature

MONDAY = np.datetime64("2030-01-07")


def noise(n: int, seed: int, phi: float = 0.3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return simulate_weeks(phi=phi, n_weeks=n, n_runs=1, rng=rng)[0]


def days(n: int) -> np.ndarray:
    return MONDAY + 7 * np.arange(n)


def warmth(n: int, seed: int = 0) -> np.ndarray:
    scatter = 3.0 * np.random.default_rng(seed).standard_normal(n)
    return 10.0 - 12.0 * np.cos(2 * np.pi * np.arange(n) / 52.18) + scatter


def test_a_known_temperature_is_taken_out() -> None:
    warm = warmth(104)
    result = take_out_temperature(
        days(104), noise(104, 1) + 0.12 * (warm - warm.mean()), temperature_c=warm
    )
    assert result.kind is Adjusted.TEMPERATURE
    assert result.interval.low < 0.12 < result.interval.high
    assert result.interval.low > 0.0
    assert result.effect.mean() == pytest.approx(0.0, abs=1e-9)
    assert result.sentence.startswith("Adjusted for temperature, 0.1")


def test_a_step_in_spring_is_not_taken_for_warmth() -> None:
    warm = warmth(104)
    step = np.where(np.arange(104) >= 65, 3.0, 0.0)
    held = 0
    for seed in range(20):
        values = noise(104, seed) + step + 0.1 * (warm - warm.mean())
        result = take_out_temperature(days(104), values, temperature_c=warm)
        held += result.interval is not None and (
            result.interval.low <= 0.1 <= result.interval.high
        )
    assert held >= 16


def test_a_season_is_taken_out_after_a_year() -> None:
    wave = 2.0 * np.cos(2 * np.pi * np.arange(130) / 52.18)
    result = take_out_temperature(days(130), noise(130, 2) + wave)
    assert result.kind is Adjusted.SEASON
    assert result.season_pct == pytest.approx(2.0, abs=0.5)
    assert np.corrcoef(result.effect, wave)[0, 1] > 0.97
    early = take_out_temperature(days(60), noise(60, 2) + wave[:60])
    assert "less than two years" in early.sentence


def test_periods_keep_their_own_levels() -> None:
    period = np.repeat([0, 1], 52)
    warm = warmth(104)
    values = noise(104, 3) + 8.0 * period + 0.1 * (warm - warm.mean())
    result = take_out_temperature(days(104), values, temperature_c=warm, period=period)
    assert result.pct_per_c == pytest.approx(0.1, abs=0.03)
    assert result.values[52:].mean() - result.values[:52].mean() == pytest.approx(
        8.0, abs=0.8
    )


@pytest.mark.parametrize(
    ("n", "warm", "reason"),
    [
        (20, None, "20 weeks; 26 are needed"),
        (40, None, "holds no full year"),
        (40, np.full(40, 15.0), "ranges over 0.0 °C; 8 are needed"),
        (40, np.append(np.full(20, np.nan), warmth(20)), "known for 20 of 40 weeks"),
        (40, warmth(40), "no effect of temperature beyond chance"),
        (110, None, "show no season beyond chance"),
    ],
)
def test_what_is_not_adjusted_is_said_with_the_reason(
    n: int, warm: np.ndarray | None, reason: str
) -> None:
    values = noise(n, 9)
    result = take_out_temperature(days(n), values, temperature_c=warm)
    assert result.kind is Adjusted.NOTHING
    assert (result.values == values).all()
    assert not result.effect.any()
    assert result.sentence.startswith("Not adjusted for temperature or season, because")
    assert reason in result.sentence
