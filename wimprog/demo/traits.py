"""What the demo's sensors and trucks are like. All figures are invented."""

from __future__ import annotations

from dataclasses import dataclass

KG_PER_KIP = 453.59237


@dataclass(frozen=True)
class SensorTraits:
    """How sensors of one technology behave in the demo.

    ``life_shape``, ``life_scale_years``: Weibull wear-out. ``drift_pct`` and
    ``drift_sd_pct``: change of sensitivity a year. ``temp_pct_per_c``: change with
    pavement temperature. ``axle_noise``: relative spread of one axle's reading.
    ``wet_mean_years``: mean time until moisture enters.
    """

    technology: str
    maker: str
    model: str
    life_shape: float
    life_scale_years: float
    wet_mean_years: float
    drift_pct: float
    drift_sd_pct: float
    temp_pct_per_c: float
    axle_noise: float
    wanted_class: str
    position: str
    length_m: float
    expected_life_years: float
    cost: int
    limits: tuple[tuple[str, float | None, float | None], ...]


_PIEZO_LIMITS = (
    ("insulation resistance", 20.0, None),
    ("capacitance", 6.4, 9.6),
    ("dissipation factor", None, 0.04),
)
_BRIDGE_LIMITS = (
    ("insulation resistance", 200.0, None),
    ("bridge input resistance", 340.0, 400.0),
    ("bridge output resistance", 345.0, 355.0),
)

WEIGHING: tuple[SensorTraits, ...] = (
    SensorTraits(
        "polymer piezo", "Tarnbeck", "flat strip 11", 2.0, 5.0, 9.0, -1.6, 1.2, 0.08,
        0.060, "Type II", "piezo", 3.5, 4.0, 9_500, _PIEZO_LIMITS,
    ),
    SensorTraits(
        "quartz piezo", "Quellmark", "bar 6", 2.2, 9.0, 16.0, -0.4, 0.5, 0.01,
        0.035, "Type I", "quartz", 3.0, 7.0, 24_000,
        (("insulation resistance", 100.0, None), ("capacitance", 0.8, 1.4)),
    ),
    SensorTraits(
        "bending plate", "Fenwright", "plate pair 4", 2.5, 11.0, 18.0, -0.6, 0.6, 0.02,
        0.040, "Type I", "plate", 1.75, 9.0, 31_000, _BRIDGE_LIMITS,
    ),
    SensorTraits(
        "ceramic piezo", "Tarnbeck", "round strip 7", 2.0, 4.5, 9.0, -2.0, 1.4, 0.10,
        0.065, "Type II", "piezo", 3.5, 4.0, 8_000, _PIEZO_LIMITS,
    ),
)  # fmt: skip
LOOP = SensorTraits(
    "inductive loop", "site-made", "6 ft square, 4 turns", 1.6, 13.0, 20.0, 0.0, 0.0,
    0.0, 0.0, "", "loop", 1.83, 10.0, 1_800,
    (
        ("insulation resistance", 10.0, None),
        ("series resistance", None, 10.0),
        ("inductance", 50.0, 700.0),
        ("quality factor", 5.0, None),
    ),
)  # fmt: skip
BY_TECHNOLOGY = {traits.technology: traits for traits in (*WEIGHING, LOOP)}


@dataclass(frozen=True)
class TruckKind:
    """One axle configuration of the stream; weights in kip, spacings in metres.

    ``split`` shares the weight that the steering axle leaves among the other axles.
    """

    vehicle_class: int
    share: float
    spacings_m: tuple[float, ...]
    split: tuple[float, ...]
    steering_kip: float
    steering_slope: float
    loads: tuple[tuple[float, float, float], ...]  # share, mean and sd of gross


STREAM: tuple[TruckKind, ...] = (
    TruckKind(4, 0.02, (7.6,), (1.0,), 10.5, 0.10, ((1.0, 27.0, 4.0),)),
    TruckKind(5, 0.20, (4.6,), (1.0,), 5.0, 0.18, ((0.6, 12.0, 2.5), (0.4, 19.0, 4.0))),
    TruckKind(6, 0.08, (5.2, 1.37), (0.5, 0.5), 9.0, 0.10,
              ((0.5, 26.0, 4.0), (0.5, 46.0, 6.0))),
    TruckKind(7, 0.02, (4.4, 1.4, 1.37), (0.34, 0.33, 0.33), 11.0, 0.08,
              ((0.4, 33.0, 4.0), (0.6, 62.0, 6.0))),
    TruckKind(8, 0.06, (4.3, 8.2, 1.3), (0.4, 0.3, 0.3), 8.0, 0.06,
              ((0.6, 32.0, 5.0), (0.4, 48.0, 7.0))),
    TruckKind(9, 0.56, (5.2, 1.32, 9.9, 1.25), (0.26, 0.26, 0.24, 0.24), 9.2, 0.022,
              ((0.30, 33.0, 3.2), (0.30, 55.0, 9.0), (0.40, 76.0, 3.6))),
    TruckKind(10, 0.03, (5.3, 1.35, 9.4, 1.3, 1.3), (0.22, 0.22, 0.19, 0.19, 0.18),
              10.2, 0.018, ((0.4, 38.0, 4.0), (0.6, 86.0, 6.0))),
    TruckKind(11, 0.02, (4.0, 6.6, 2.9, 6.6), (0.26, 0.25, 0.25, 0.24), 9.0, 0.020,
              ((1.0, 60.0, 10.0),)),
    TruckKind(12, 0.005, (4.4, 1.35, 6.3, 2.9, 6.3), (0.22, 0.22, 0.19, 0.19, 0.18),
              9.4, 0.018, ((1.0, 64.0, 10.0),)),
    TruckKind(13, 0.005, (5.0, 1.35, 8.5, 1.3, 3.2, 7.0),
              (0.18, 0.18, 0.17, 0.16, 0.16, 0.15), 10.4, 0.012, ((1.0, 94.0, 12.0),)),
)  # fmt: skip

# Share of the day's heavy vehicles in each hour, weekdays (Monday first), months.
HOURS = (
    1.4, 1.2, 1.2, 1.5, 2.3, 3.4, 4.6, 5.6, 6.2, 6.5, 6.6, 6.5, 6.3, 6.3, 6.2, 5.8,
    5.2, 4.6, 4.0, 3.4, 2.9, 2.4, 2.0, 1.7,
)  # fmt: skip
WEEKDAYS = (1.08, 1.16, 1.18, 1.17, 1.10, 0.74, 0.57)
MONTHS = (0.92, 0.94, 0.98, 1.0, 1.03, 1.05, 1.03, 1.05, 1.04, 1.04, 0.98, 0.94)

# The two test trucks: static axle weights [kip] and spacings [m].
TEST_TRUCKS = (
    ("Loaded five-axle, no. 41", 9, (11.6, 16.8, 16.9, 17.1, 17.0),
     (5.13, 1.34, 9.92, 1.25)),
    ("Part-loaded five-axle, no. 52", 9, (11.0, 12.3, 12.2, 12.8, 12.7),
     (5.28, 1.31, 9.70, 1.27)),
)  # fmt: skip
