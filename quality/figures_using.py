"""Charts of what lanes carried, from plain arrays."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from wimprog.lib.chart import Chart, Limit, Point, Series
from wimprog.lib.units import Kind, UnitSystem, shown_unit

if TYPE_CHECKING:
    from quality.calc.load_spectra import GrossHistogram


def daily_chart(days: np.ndarray, volumes: np.ndarray, *, title: str) -> Chart | None:
    """Vehicles of each day; days without data break the line. None without any."""
    known = int((~np.isnan(volumes)).sum())
    if known == 0:
        return None
    points = tuple(
        Point(day, None if np.isnan(n) else float(n))
        for day, n in zip(days.astype("datetime64[D]").tolist(), volumes, strict=True)
        if isinstance(day, dt.date)
    )
    return Chart(
        title=title,
        x_label="Day",
        y_label="Vehicles a day",
        series=(Series("", points),),
        caption=f"{known:,} whole days of {len(days):,}; gaps are days without data "
        "or with an hour missing.",
    )


def hour_chart(means: np.ndarray, *, title: str) -> Chart | None:
    """Mean vehicles of each hour of the day, (2, 24); None without data."""
    if np.isnan(means).all():
        return None
    series = tuple(
        Series(
            label,
            tuple(
                Point(float(hour), None if np.isnan(n) else float(n))
                for hour, n in enumerate(row)
            ),
        )
        for label, row in zip(("Mon–Fri", "Sat, Sun"), means, strict=True)
        if not np.isnan(row).all()
    )
    return Chart(
        title=title,
        x_label="Hour beginning",
        y_label="Mean vehicles an hour",
        series=series,
        caption="Mean over the hours that were recorded.",
    )


def gross_chart(
    gross: GrossHistogram,
    counts: np.ndarray,
    *,
    limit_kg: float,
    title: str,
    system: UnitSystem | str,
) -> Chart | None:
    """Vehicles by gross weight, (bins + 1,), the last heavier than all bins."""
    n = int(counts.sum())
    if n == 0:
        return None
    unit = shown_unit(Kind.MASS, UnitSystem(system))
    edges = [unit.from_si(edge) for edge in gross.edges_kg]
    last = int(np.flatnonzero(counts)[-1]) + 1
    shown = min(max(last + 1, 10), len(edges))
    shares = [100 * float(c) / n for c in counts[: shown - 1]] + [0.0]
    points = tuple(
        Point(edge, share) for edge, share in zip(edges[:shown], shares, strict=True)
    )
    beyond = f"; {int(counts[-1]):,} heavier than all bins" if counts[-1] else ""
    limit = unit.from_si(limit_kg)
    return Chart(
        title=title,
        x_label=f"Gross weight, {unit.symbol}",
        y_label="Share of vehicles, %",
        series=(Series("", points, kind="steps"),),
        marks=((limit, "legal gross"),) if limit <= edges[shown - 1] else (),
        caption=f"{n:,} vehicles in steps of {unit.from_si(gross.step_kg):,.0f} "
        f"{unit.symbol}{beyond}.",
    )


def spectrum_chart(
    edges_lb: np.ndarray, counts: np.ndarray, *, title: str
) -> Chart | None:
    """Share of the groups in each design bin; ``counts`` (bins,). None without any."""
    n = int(counts.sum())
    if n == 0:
        return None
    last = int(np.flatnonzero(counts)[-1]) + 1
    shown = min(last + 1, len(counts))
    shares = [100 * float(c) / n for c in counts[:shown]] + [0.0]
    points = tuple(
        Point(float(edge) / 1000, share)
        for edge, share in zip(edges_lb[: shown + 1], shares, strict=True)
    )
    return Chart(
        title=title,
        x_label="Load of the axle group, kip (1,000 lb)",
        y_label="Share of groups, %",
        series=(Series("", points, kind="steps"),),
        caption=f"{n:,} axle groups in the bins of pavement design; the first bin "
        "holds all that is lighter.",
    )


def factor_chart(
    names: tuple[str, ...], factors: np.ndarray, *, title: str
) -> Chart | None:
    """Factors about their line of one; None without any."""
    if np.isnan(factors).all():
        return None
    points = tuple(
        Point(float(place), None if np.isnan(value) else float(value))
        for place, value in enumerate(factors)
    )
    return Chart(
        title=title,
        x_label="",
        y_label="Factor",
        series=(Series("", points, kind="points"),),
        names=names,
        limits=(Limit(1.0, ""),),
        caption="Broken line: a volume equal to the mean.",
    )
