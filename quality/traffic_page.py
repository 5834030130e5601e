"""The page "What a lane carried" as plain rows and charts, made from its sums."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wimprog.lib.units import Kind, UnitSystem, format_si

if TYPE_CHECKING:
    from quality.calc.carried_frames import CarriedYear
    from quality.selectors.using import LaneCarried

MONTH_NAMES = (
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
)  # fmt: skip


def class_name(number: int) -> str:
    """A vehicle class in words."""
    return f"class {number}" if number else "unclassified"


def traffic_page(
    answer: LaneCarried,
    year: CarriedYear,
    *,
    vehicle_class: int | None,
    axle_kind: str,
    system: UnitSystem,
) -> dict[str, Any]:
    """What the template prints: rows, charts and the words about them."""
    what = "all classes" if vehicle_class is None else class_name(vehicle_class)
    carried = year.carried
    return {
        "what": what,
        "carried": carried,
        **_volumes(year, vehicle_class, what),
        **_gross(answer, year, vehicle_class, what, system),
        **_spectra(year, vehicle_class, axle_kind, what),
        "over_rows": _over(answer, year, vehicle_class, system),
        "class_rows": _classes(year),
        **_factors(year, vehicle_class, what),
    }


def _volumes(year: CarriedYear, chosen: int | None, what: str) -> dict[str, Any]:
    from quality.figures_using import daily_chart, hour_chart

    days = year.carried.days
    daily = year.daily(chosen)
    means = year.hour_means(chosen)
    return {
        "daily_chart": daily_chart(days, daily, title=f"Vehicles a day, {what}"),
        "hour_chart": hour_chart(means, title=f"Vehicles by hour of the day, {what}"),
        "hour_rows": list(zip(range(24), *means.tolist(), strict=True)),
        "day_rows": list(zip(days.tolist(), daily.tolist(), strict=True)),
        "n_whole_days": int((~np.isnan(daily)).sum()),
    }


def _gross(
    answer: LaneCarried,
    year: CarriedYear,
    chosen: int | None,
    what: str,
    system: UnitSystem,
) -> dict[str, Any]:
    from quality.figures_using import gross_chart

    gross = year.carried.gross
    by_class = gross.counts.sum(axis=0)
    counts = by_class.sum(axis=0) if chosen is None else by_class[chosen]
    edges = gross.edges_kg
    n = int(counts.sum())
    rows = [
        (
            format_si(edges[k], Kind.MASS, system),
            "and more" if k == len(counts) - 1
            else f"to {format_si(edges[k + 1], Kind.MASS, system)}",
            int(counts[k]),
            float(counts[k]) / n,
        )
        for k in np.flatnonzero(counts)
    ]  # fmt: skip
    chart = gross_chart(
        gross, counts, limit_kg=answer.limits.gross_kg,
        title=f"Gross weight, {what}", system=system,
    )  # fmt: skip
    return {"gross_rows": rows, "gross_chart": chart}


def _spectra(
    year: CarriedYear, chosen: int | None, axle_kind: str, what: str
) -> dict[str, Any]:
    from quality.calc.axle_groups import AxleKind
    from quality.calc.load_spectra import BINS
    from quality.figures_using import spectrum_chart

    kind = AxleKind[axle_kind.upper()]
    spectra, edges = year.carried.spectra, BINS[kind].edges_lb
    counts = spectra.counts[kind]
    by_month = counts.sum(axis=1) if chosen is None else counts[:, chosen]
    inside = by_month[:, :-1]
    totals = inside.sum(axis=1)
    used = np.flatnonzero(inside.sum(axis=0))
    shares = np.divide(
        inside, totals[:, None],
        out=np.full(inside.shape, np.nan), where=totals[:, None] > 0,
    )  # fmt: skip
    rows = [
        (
            int(edges[k]),
            int(edges[k + 1]),
            int(inside[:, k].sum()),
            shares[:, k].tolist(),
        )
        for k in used
    ]
    vehicles = spectra.n_vehicles.sum(axis=0)
    n_vehicles = int(vehicles.sum() if chosen is None else vehicles[chosen])
    n = int(by_month.sum())
    larger = spectra.n_larger.sum(axis=0)
    return {
        "axle_kind": axle_kind,
        "spectrum_months": [month.item() for month in spectra.months],
        "spectrum_totals": totals.tolist(),
        "spectrum_rows": rows,
        "spectrum_beyond": int(by_month[:, -1].sum()),
        "spectrum_larger": int(larger.sum() if chosen is None else larger[chosen]),
        "spectrum_n": n,
        "groups_per_vehicle": n / n_vehicles if n_vehicles else None,
        "spectrum_chart": spectrum_chart(
            edges, inside.sum(axis=0), title=f"Axle load spectrum, {axle_kind}, {what}"
        ),
    }


def _over(
    answer: LaneCarried,
    year: CarriedYear,
    chosen: int | None,
    system: UnitSystem,
) -> list[tuple[str, str, Any]]:
    """Kind, its limit in words, and the share over it with n and interval."""
    limits = answer.limits
    words = {
        "single axle": format_si(limits.single_kg, Kind.MASS, system),
        "tandem": format_si(limits.tandem_kg, Kind.MASS, system),
        "gross": format_si(limits.gross_kg, Kind.MASS, system),
        "bridge formula": "23 CFR 658.17",
        "any": "any of these",
    }
    shares = year.carried.over_shares(chosen)
    return [(kind, words[kind], share) for kind, share in shares.items()]


def _classes(year: CarriedYear) -> list[tuple[Any, ...]]:
    """Class, vehicles, share, mean a whole day, loads and loads a vehicle."""
    carried = year.carried
    daily = year.volumes.daily()
    known = ~np.isnan(daily[:, 0])
    rows = []
    for number in np.flatnonzero(carried.by_class):
        n = int(carried.by_class[number])
        mean = float(daily[known, number].mean()) if known.any() else None
        flexible = float(carried.flexible.by_class[number])
        rigid = float(carried.rigid.by_class[number])
        rows.append(
            (
                class_name(int(number)), n, n / carried.n_vehicles, mean,
                flexible, flexible / n, rigid, rigid / n,
            )
        )  # fmt: skip
    return rows


def _factors(year: CarriedYear, chosen: int | None, what: str) -> dict[str, Any]:
    from quality.calc.seasonal_factors import WEEKDAYS
    from quality.figures_using import factor_chart

    factors = year.factors(chosen)
    if factors is None:
        return {"factors": None}
    return {
        "factors": factors,
        "month_chart": factor_chart(
            MONTH_NAMES, factors.month_factor, title=f"Monthly factors, {what}"
        ),
        "month_rows": list(
            zip(
                MONTH_NAMES,
                factors.n_days.tolist(),
                factors.month_mean.tolist(),
                factors.month_factor.tolist(),
                strict=True,
            )
        ),
        "weekday_rows": list(
            zip(
                WEEKDAYS,
                factors.n_weekdays.tolist(),
                factors.weekday_mean.tolist(),
                factors.weekday_factor.tolist(),
                strict=True,
            )
        ),
    }
