"""The report's pictures: matplotlib figures from the year's facts, with their texts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from quality.report.sections import MONTH_LETTERS
from quality.report.types import YearFacts
from wimprog.lib.figures import figure_svg, house_style, new_figure

BLUE, VERMILLION, GREY, ORANGE = "#0072B2", "#D55E00", "#777777", "#E69F00"


@dataclass(frozen=True)
class Picture:
    """An SVG with the text that stands for it and its caption."""

    key: str
    svg: bytes
    alt: str
    caption: str


def _months(facts: YearFacts) -> tuple[Figure, str, str]:
    lanes = facts.lanes
    height = 22 + 4.2 * max(len(lanes), 1)
    figure, (axes,) = new_figure(170, min(height, 235))
    axes.grid(visible=False)
    shares = np.array(
        [[np.nan if m is None else m for m in lane.months] for lane in lanes],
        dtype=float,
    ).reshape(len(lanes), 12)
    axes.pcolormesh(
        np.arange(13),
        np.arange(len(lanes) + 1),
        shares,
        cmap="Blues",
        vmin=0,
        vmax=1,
        edgecolors="white",
        linewidth=0.8,
    )
    for row, column in zip(*np.nonzero(np.isnan(shares)), strict=True):
        axes.plot(
            [column + 0.15, column + 0.85], [row + 0.5] * 2, color=GREY, linewidth=0.6
        )
    axes.set_xticks(np.arange(12) + 0.5, MONTH_LETTERS)
    axes.set_yticks(
        np.arange(len(lanes)) + 0.5, [lane.name for lane in lanes], fontsize=6
    )
    axes.invert_yaxis()
    axes.tick_params(length=0)
    for side in axes.spines.values():
        side.set_visible(False)
    known = shares[~np.isnan(shares)]
    middle = (
        f"median {100 * float(np.median(known)):.0f} %" if known.size else "no data"
    )
    caption = (
        f"Accepted share of each lane's months in {facts.year}, n {len(lanes)} lanes; "
        f"darker is more ({middle}), a thin line is no data."
    )
    return figure, caption, caption


def _month_axis(axes: Axes, facts: YearFacts) -> None:
    first = facts.first_on
    starts = [(first.replace(month=month) - first).days for month in range(1, 13)]
    axes.set_xticks(starts, MONTH_LETTERS)
    axes.set_xlim(-4, 370)


def _calibrations(facts: YearFacts) -> tuple[Figure, str, str]:
    rows = [r for r in facts.calibrations if r.mean_pct is not None]
    figure, (axes,) = new_figure(170, 75)
    for stage, colour, marker, offset in (
        ("as found", ORANGE, "D", 0.0),
        ("as left", BLUE, "o", 1.2),
    ):
        chosen = [r for r in rows if r.stage == stage and r.low_pct is not None]
        if not chosen:
            continue
        days = [(r.held_on - facts.first_on).days + offset for r in chosen]
        mean = np.array([r.mean_pct for r in chosen], dtype=float)
        low = np.array([r.low_pct for r in chosen], dtype=float)
        high = np.array([r.high_pct for r in chosen], dtype=float)
        axes.errorbar(
            days,
            mean,
            yerr=[mean - low, high - mean],
            fmt=marker,
            color=colour,
            markersize=3.5,
            elinewidth=0.8,
            label=f"{stage} (n {len(chosen)})",
        )
    axes.axhline(0, color=GREY, linewidth=0.6)
    starts = [
        (facts.first_on.replace(month=m) - facts.first_on).days for m in range(1, 13)
    ]
    axes.set_xticks(starts, MONTH_LETTERS)
    axes.set_xlim(-4, 370)
    axes.set_ylabel("Gross weight error, %")
    if rows:
        axes.legend(frameon=False, loc="upper right", fontsize=7, ncols=2)
    caption = (
        f"Mean gross weight error of each calibration in {facts.year} with its 95 % "
        f"interval; {len(rows)} results."
    )
    found = [
        r.mean_pct for r in rows if r.stage == "as found" and r.mean_pct is not None
    ]
    alt = caption
    if found:
        alt += f" As found they run from {min(found):.1f} to {max(found):.1f} %."
    return figure, alt, caption


def _steering(facts: YearFacts) -> tuple[Figure, str, str]:
    figure, (axes,) = new_figure(170, 75)
    drifting = {
        r.lane
        for r in facts.drifts
        if r.change_pct is not None and abs(r.change_pct) >= facts.watch_drift_pct
    }
    n_drawn = 0
    for name, weeks in sorted(facts.weeks.items()):
        if len(weeks) < 8:
            continue
        n_drawn += 1
        values = np.array([mean for _, mean in weeks])
        change = 100 * (values / np.median(values) - 1)
        days = [(day - facts.first_on).days for day, _ in weeks]
        loud = name in drifting
        axes.plot(
            days,
            change,
            color=VERMILLION if loud else GREY,
            linewidth=1.0 if loud else 0.4,
            alpha=1.0 if loud else 0.5,
        )
    axes.axhline(0, color="black", linewidth=0.5)
    starts = [
        (facts.first_on.replace(month=m) - facts.first_on).days for m in range(1, 13)
    ]
    axes.set_xticks(starts, MONTH_LETTERS)
    axes.set_xlim(-4, 370)
    axes.set_ylabel("Steering axle against the\nlane's own median, %")
    caption = (
        f"Weekly mean class 9 steering axle of {n_drawn} lanes in {facts.year}; "
        f"{len(drifting)} lanes beyond the watch limit at the end are drawn bold."
    )
    return figure, caption, caption


PICTURES: dict[str, Callable[[YearFacts], tuple[Figure, str, str]]] = {
    "months": _months,
    "calibrations": _calibrations,
    "steering": _steering,
}


def all_pictures(facts: YearFacts) -> tuple[Picture, ...]:
    """Every picture of the report."""
    made = []
    for key, draw in PICTURES.items():
        with house_style():
            figure, alt, caption = draw(facts)
        made.append(Picture(key, figure_svg(figure), alt, caption))
    return tuple(made)
