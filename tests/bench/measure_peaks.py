"""How well gross weight peaks find a changed scale, and how far intervals hold.

Run with: python -m tests.bench.measure_peaks [weeks without a shift]

Prints the tables of quality/calc/MEASURED_PEAKS.md.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from quality.calc.distribution_distance import distance
from quality.calc.gain_offset import gain_and_offset
from quality.calc.loaded_peak import (
    choose_fit,
    fit_reference,
    gross_counts,
    smoothed_peak_kg,
    step_centres_kg,
)
from quality.calc.mixture_fit import (
    KIP_KG,
    N_STEPS,
    STEP_KG,
    PeakFit,
)

SHIFTS_PCT = (1, 2, 3, 5, -3)
SIZES = (500, 2_000, 10_000)
REFERENCE_WEEKS = 26
FLEET = np.array([0.30, 0.30, 0.40])
MIX_WEIGHT = 200  # of a Dirichlet: loaded share scatters by 3.5 points
Drawn = Callable[[np.random.Generator, np.ndarray], np.ndarray]


def right_model(rng: np.random.Generator, counts: np.ndarray) -> np.ndarray:
    """Three normal components [kip]."""
    means, sds = (33.0, 55.0, 76.5), (3.5, 11.0, 4.0)
    parts = zip(means, sds, counts, strict=True)
    return np.concatenate([rng.normal(m, s, k) for m, s, k in parts])


def wrong_model(rng: np.random.Generator, counts: np.ndarray) -> np.ndarray:
    """Unloaded skewed upwards, flat middle, loaded skewed downwards [kip]."""
    up = 29.5 + rng.gamma(3.0, 2.0, counts[0])
    flat = rng.uniform(38.0, 72.0, counts[1])
    down = 82.0 - rng.gamma(3.0, 2.3, counts[2])
    return np.concatenate([up, flat, down])


@dataclass
class Lane:
    """One lane's way of making weeks."""

    name: str
    drawn: Drawn
    scatter_pct: float = 0.0

    def week(
        self, rng: np.random.Generator, n: int, gain: float = 1.0, *, mixed: bool = True
    ) -> np.ndarray:
        """Gross weights of one week [kg]."""
        shares = rng.dirichlet(MIX_WEIGHT * FLEET) if mixed else FLEET
        scale = gain * (1 + rng.normal(0.0, self.scatter_pct / 100))
        # one in millions of the wide middle component would weigh less than nothing
        return scale * KIP_KG * np.abs(self.drawn(rng, rng.multinomial(n, shares)))


LANES = (
    Lane("right model", right_model),
    Lane("wrong model, weeks scatter by 0.5 %", wrong_model, 0.5),
)
ESTIMATES = (
    "loaded mean, chosen fit (used)",
    "loaded mean, reference's shape",
    "loaded mean, free fit",
    "smoothed peak",
    "peak of a 2-kip histogram",
    "scale of least distance",
    "mean gross weight",
)
DISTANCES = ("Wasserstein", "largest gap of shares", "stability index")


def coarse_peak(counts: np.ndarray) -> float:
    """Middle of the fullest step of 2 kips above 60 kip [kg]."""
    wide = counts[:N_STEPS].reshape(-1, 8).sum(axis=1)
    return float((30 + np.argmax(wide[30:]) + 0.5) * 2 * KIP_KG)


@dataclass
class Reference:
    """What a week is held against."""

    counts: np.ndarray
    peaks: PeakFit
    smoothed_kg: float
    coarse_kg: float
    ranks: np.ndarray
    mean_kg: float

    @classmethod
    def of(cls, rng: np.random.Generator, lane: Lane, n: int) -> Reference:
        weeks = [lane.week(rng, n) for _ in range(REFERENCE_WEEKS)]
        counts = np.sum([gross_counts(week) for week in weeks], axis=0)
        peaks = fit_reference(counts)
        every = np.concatenate(weeks)
        return cls(
            counts,
            peaks,
            smoothed_peak_kg(counts, peaks.loaded_kg) or np.nan,
            coarse_peak(counts),
            np.quantile(every, LEVELS),
            float(every.mean()),
        )


LEVELS = (np.arange(400) + 0.5) / 400


def measures(week: np.ndarray, ref: Reference) -> tuple[list[float], list[float]]:
    """Change by each estimate [%] and each distance."""
    counts = gross_counts(week)
    chosen = choose_fit(counts, ref.peaks.mixture)
    if chosen is None:
        raise RuntimeError("a simulated week is too thin")
    fit = chosen.fit
    followed, free = fit.loaded_kg, chosen.other_loaded_kg
    if not chosen.has_reference_shape:
        followed, free = free, followed
    smoothed = smoothed_peak_kg(counts, fit.loaded_kg) or np.nan
    ranks = np.quantile(week, LEVELS)
    ratio = ranks / ref.ranks
    order = np.argsort(ratio)
    below = np.cumsum(ref.ranks[order])
    scale = ratio[order][np.searchsorted(below, below[-1] / 2)]
    changes = [
        fit.loaded_kg / ref.peaks.loaded_kg,
        followed / ref.peaks.loaded_kg,
        free / ref.peaks.loaded_kg,
        smoothed / ref.smoothed_kg,
        coarse_peak(counts) / ref.coarse_kg,
        float(scale),
        week.mean() / ref.mean_kg,
    ]
    apart = distance(ref.counts, counts, STEP_KG)
    gaps = np.cumsum(ref.counts) / ref.counts.sum() - np.cumsum(counts) / counts.sum()
    if apart is None:
        raise RuntimeError("a simulated week is empty")
    return (
        [100 * (one - 1) for one in changes],
        [apart.wasserstein_kg, float(np.abs(gaps).max()), apart.stability_index],
    )


def detection(lane: Lane, n: int, weeks: int) -> list[str]:
    """Rows of the table of detection for one lane and size."""
    rng = np.random.default_rng(n)
    ref = Reference.of(rng, lane, n)
    drawn = {
        shift: [
            measures(lane.week(rng, n, 1 + shift / 100), ref)
            for _ in range(weeks if shift == 0 else weeks // 2)
        ]
        for shift in (0, *SHIFTS_PCT)
    }
    rows = []
    for k, name in enumerate(ESTIMATES):
        values = {
            shift: np.array([one[0][k] for one in drawn[shift]]) for shift in drawn
        }
        limit = np.nanquantile(np.abs(values[0]), 0.95)
        found = " | ".join(
            f"{np.nanmean(np.abs(values[s]) > limit):.2f}" for s in SHIFTS_PCT
        )
        error = float(np.sqrt(np.nanmean((values[2] - 2) ** 2)))
        rows.append(
            f"| {lane.name} | {n:,} | {name} | {np.nanstd(values[0]):.2f} | "
            f"{error:.2f} | {found} |"
        )
    for k, name in enumerate(DISTANCES):
        apart = {
            shift: np.array([one[1][k] for one in drawn[shift]]) for shift in drawn
        }
        limit = np.quantile(apart[0], 0.95)
        found = " | ".join(f"{np.mean(apart[s] > limit):.2f}" for s in SHIFTS_PCT)
        rows.append(f"| {lane.name} | {n:,} | {name} | – | – | {found} |")
    return rows


def coverage(lane: Lane, n: int, weeks: int) -> str:
    """Share of intervals that hold what the method finds in endless trucks."""
    rng = np.random.default_rng(n + 1)
    still = Lane(lane.name, lane.drawn)
    endless = fit_reference(gross_counts(still.week(rng, 4_000_000, mixed=False)))
    ref = fit_reference(
        np.sum(
            [gross_counts(still.week(rng, n)) for _ in range(REFERENCE_WEEKS)], axis=0
        )
    )
    held = {"loaded": 0, "unloaded": 0, "mixed": 0, "gain": 0, "offset": 0}
    for _ in range(weeks):
        one = choose_fit(gross_counts(still.week(rng, n, mixed=False)), ref.mixture)
        two = choose_fit(gross_counts(still.week(rng, n)), ref.mixture)
        if one is None or two is None:
            raise RuntimeError("a simulated week is too thin")
        fixed, mixed = one.fit, two.fit
        loaded, unloaded = fixed.loaded_interval(), fixed.unloaded_interval()
        held["loaded"] += loaded.low <= endless.loaded_kg <= loaded.high
        held["unloaded"] += unloaded.low <= endless.unloaded_kg <= unloaded.high
        loaded = mixed.loaded_interval()
        held["mixed"] += loaded.low <= endless.loaded_kg <= loaded.high
        moved = gain_and_offset(mixed, ref)
        held["gain"] += moved.gain_interval.low <= 1 <= moved.gain_interval.high
        held["offset"] += moved.offset_interval.low <= 0 <= moved.offset_interval.high
    cells = " | ".join(f"{count / weeks:.3f}" for count in held.values())
    return f"| {lane.name.split(',')[0]} | {n:,} | {cells} |"


def large_shifts(n: int, weeks: int) -> list[str]:
    """Whether the fit still follows when the scale is far off."""
    rng = np.random.default_rng(77)
    lane = LANES[0]
    ref = Reference.of(rng, lane, n).peaks
    rows = []
    for shift in (-20, -10, 10, 20):
        off, settled = [], 0
        for _ in range(weeks):
            week = lane.week(rng, n, 1 + shift / 100)
            chosen = choose_fit(gross_counts(week), ref.mixture)
            if chosen is None:
                raise RuntimeError("a simulated week is too thin")
            fit = chosen.fit
            off.append(100 * (fit.loaded_kg / ref.loaded_kg - 1) - shift)
            settled += fit.has_converged
        off_sorted = np.abs(off)
        rows.append(
            f"| {shift:+d} % | {n:,} | {np.mean(off):+.2f} | "
            f"{np.quantile(off_sorted, 0.95):.2f} | {off_sorted.max():.2f} | "
            f"{settled / weeks:.2f} |"
        )
    return rows


def noisier(lane: Lane, n: int, weeks: int) -> list[str]:
    """Whether more random error of weighing is taken for a change of scale."""
    rng = np.random.default_rng(78)
    ref = Reference.of(rng, lane, n).peaks
    rows = []
    for sd_pct in (0, 3, 6, 9):
        used, followed, gains, changed = [], [], [], 0
        for _ in range(weeks):
            week = lane.week(rng, n) * (1 + rng.normal(0, sd_pct / 100, n))
            chosen = choose_fit(gross_counts(week), ref.mixture)
            if chosen is None:
                raise RuntimeError("a simulated week is too thin")
            changed += not chosen.has_reference_shape
            used.append(chosen.fit.loaded_kg)
            followed.append(
                chosen.fit.loaded_kg
                if chosen.has_reference_shape
                else chosen.other_loaded_kg
            )
            gains.append(100 * (gain_and_offset(chosen.fit, ref).gain - 1))
        off = [100 * (np.mean(one) / ref.loaded_kg - 1) for one in (used, followed)]
        rows.append(
            f"| {lane.name.split(',')[0]} | {sd_pct} % | {changed / weeks:.2f} | "
            f"{off[0]:+.2f} | {off[1]:+.2f} | {np.mean(gains):+.2f} |"
        )
    return rows


def main() -> None:
    weeks = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    if step_centres_kg()[-1] < 120 * KIP_KG:
        raise RuntimeError("the histogram ends below the heaviest trucks")
    shifts = " | ".join(f"{shift:+d} %" for shift in SHIFTS_PCT)
    _tell(f"| trucks are | n a week | method | null sd % | error at +2 % | {shifts} |")
    _tell("| --- " * (5 + len(SHIFTS_PCT)) + "|")
    for lane in LANES:
        for n in SIZES:
            for row in detection(lane, n, weeks):
                _tell(row)
    _tell("")
    _tell(
        "| trucks are | n a week | loaded, same mix | unloaded, same mix | "
        "loaded, mix changes | gain 1 held | offset 0 held |"
    )
    _tell("| --- " * 7 + "|")
    for lane in LANES:
        for n in SIZES:
            _tell(coverage(lane, n, 4 * weeks))
    _tell("")
    _tell("| scale off by | n a week | mean error % | 95 % within | worst | settled |")
    _tell("| --- " * 6 + "|")
    for n in (500, 2_000):
        for row in large_shifts(n, weeks // 2):
            _tell(row)
    _tell("")
    _tell(
        "| trucks are | random error added | free fit chosen | loaded, chosen % | "
        "loaded, reference's shape % | gain, chosen % |"
    )
    _tell("| --- " * 6 + "|")
    for lane in LANES:
        for row in noisier(lane, 2_000, weeks // 2):
            _tell(row)


def _tell(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
