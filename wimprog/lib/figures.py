"""House style of the figures in reports, on matplotlib's Figure object.

Never pyplot: its shared state leaks in a server. The same facts give the same bytes, so
that a report can be compared with the one printed last year.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from cycler import cycler
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wimprog.lib.svg import BLUE, GREEN, GREY, ORANGE, PURPLE, SKY, VERMILLION

MM_PER_IN = 25.4
INK = "#16202b"
PALETTE = (BLUE, VERMILLION, GREEN, PURPLE, ORANGE, SKY, GREY)

_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.0,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.prop_cycle": cycler(color=list(PALETTE)),
    "axes.unicode_minus": True,
    "grid.color": "#d3d8dd",
    "grid.linewidth": 0.5,
    "lines.linewidth": 1.3,
    "lines.markersize": 4.0,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "legend.frameon": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "wimprog",
    "pdf.fonttype": 42,
}


@contextmanager
def house_style() -> Iterator[None]:
    """The style, for what is drawn inside the ``with`` (it changes nothing outside)."""
    with mpl.rc_context(_STYLE):
        yield


def new_figure(
    width_mm: float, height_mm: float, *, rows: int = 1, columns: int = 1
) -> tuple[Figure, list[Axes]]:
    """A figure of a size on paper with its axes, in reading order, already styled.

    Parameters
    ----------
    width_mm, height_mm
        Size on paper [mm].
    rows, columns
        Axes down and across; they share nothing.
    """
    if width_mm <= 0 or height_mm <= 0:
        raise ValueError("a figure needs a width and a height greater than zero")
    with house_style():
        figure = Figure(
            figsize=(width_mm / MM_PER_IN, height_mm / MM_PER_IN), layout="constrained"
        )
        grid = figure.subplots(rows, columns, squeeze=False)
        axes: list[Axes] = [ax for line in grid for ax in line]
        for ax in axes:
            ax.grid(visible=True, axis="y")
            ax.set_axisbelow(True)
    return figure, axes


def label_axes(ax: Axes, *, x: str, y: str, title: str = "") -> None:
    """Say what each axis is, with its unit, and what the figure shows."""
    with house_style():
        ax.set_xlabel(x)
        ax.set_ylabel(y)
        if title:
            ax.set_title(title)


def limit_line(ax: Axes, value: float, label: str) -> None:
    """A limit across the axes, dashed, with its name on the line."""
    with house_style():
        ax.axhline(value, color=INK, linewidth=0.8, linestyle=(0, (5, 4)))
        ax.annotate(
            label,
            xy=(0.01, value),
            xycoords=("axes fraction", "data"),
            xytext=(0, 2),
            textcoords="offset points",
            fontsize=7,
        )


def caption_n(figure: Figure, text: str) -> None:
    """The line under a figure: n, the method and the interval."""
    with house_style():
        figure.supxlabel(text, x=0.01, ha="left", fontsize=7, color="#434d58")


def say_no_data(ax: Axes) -> None:
    """Empty axes that say so."""
    with house_style():
        ax.set_xticks([])
        ax.set_yticks([])
        ax.text(0.5, 0.5, "no data", transform=ax.transAxes, ha="center", va="center")


def figure_svg(figure: Figure) -> bytes:
    """The figure as SVG; the same facts give the same bytes."""
    buffer = io.BytesIO()
    with house_style():
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue()


def figure_png(figure: Figure, *, dpi: int = 150) -> bytes:
    """The figure as PNG, for workbooks."""
    buffer = io.BytesIO()
    with house_style():
        figure.savefig(buffer, format="png", dpi=dpi, metadata={"Software": None})
    return buffer.getvalue()
